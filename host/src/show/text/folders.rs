//! Whether runs are as they were made.

use super::page::{Ink, Page};
use crate::jobs::runs::{Mended, Verified};
use crate::run::folder::{Checked, Found};
use crate::show::words;
use std::path::Path;

/// Runs that were looked at.
pub fn verified(verified: &[Verified], columns: usize) -> String {
    let mut page = Page::plain(columns);
    let sound = verified.iter().filter(|v| v.checked.as_ref().is_ok_and(|c| c.found.is_empty())).count();
    page.paragraph(&format!("Runs looked at: {}; as they were made: {sound}.", verified.len()), Ink::Plain);
    for run in verified {
        let name = named(&run.vehicle, &run.run, &run.folder);
        match &run.checked {
            Err(error) => page.paragraph(&format!("{name} cannot be looked at: {error}."), Ink::Plain),
            Ok(checked) if checked.found.is_empty() => {
                if let Some(said) = beside(checked) {
                    page.paragraph(&format!("{name}: {said}."), Ink::Plain);
                }
            }
            Ok(checked) => {
                page.gap();
                page.paragraph(&format!("{name}:"), Ink::Plain);
                list(&mut page, &checked.found);
                if let Some(said) = beside(checked) {
                    page.item("-", &said);
                }
                if run.mendable.contains(&false) {
                    copy_needed(&mut page, &checked.found, &run.mendable, &run.folder);
                }
            }
        }
    }
    if verified.iter().any(|run| run.mendable.contains(&true)) {
        page.gap();
        page.paragraph(
            "`hingeline runs repair` mends what can be mended, and keeps the originals.",
            Ink::Plain,
        );
    }
    page.finish()
}

/// What no repair can mend, and where a copy of it goes.
fn copy_needed(page: &mut Page, found: &[Found], mendable: &[bool], folder: &Path) {
    let beyond =
        found.iter().zip(mendable).filter(|(found, can)| !**can && !matches!(found, Found::Newer(_)));
    let mut files: Vec<&str> = beyond.map(|(found, _)| found.file()).collect();
    files.dedup();
    if files.is_empty() {
        page.paragraph(
            "Look at it with the version of this program that wrote it, or a newer one.",
            Ink::Plain,
        );
        return;
    }
    let text = format!(
        "No repair can bring back {}: put a copy of yours into {}, or leave the run as it is.",
        words::list(&files),
        folder.display()
    );
    page.paragraph(&text, Ink::Plain);
}

/// A run by its vehicle and name; by its path where it lies in no vehicle's folder.
fn named(vehicle: &str, run: &str, folder: &Path) -> String {
    if vehicle.is_empty() { folder.display().to_string() } else { format!("{vehicle}/{run}") }
}

/// What is no damage and worth knowing.
fn beside(checked: &Checked) -> Option<String> {
    if checked.recording {
        return Some("it is being recorded".into());
    }
    (checked.damaged_frames > 0).then(|| {
        format!("the line damaged {} of {} frames, as they came", checked.damaged_frames, checked.frames)
    })
}

fn list(page: &mut Page, found: &[Found]) {
    for found in found {
        page.item("-", &found.to_string());
    }
}

/// Runs that were mended.
pub fn mended(mended: &[Mended], columns: usize) -> String {
    let mut page = Page::plain(columns);
    let done = mended.iter().filter(|m| m.repaired.as_ref().is_ok_and(|r| !r.done.is_empty())).count();
    let what = match done {
        0 if mended.iter().any(|m| m.repaired.as_ref().is_ok_and(|r| !r.left.is_empty())) => {
            "nothing could be mended".to_owned()
        }
        0 if mended.iter().any(|m| m.repaired.is_err()) => "nothing was mended".to_owned(),
        0 => "nothing needed mending".to_owned(),
        1 => "1 of them was mended, as follows".to_owned(),
        many => format!("{many} of them were mended, as follows"),
    };
    page.paragraph(&format!("Runs looked at: {}; {what}.", mended.len()), Ink::Plain);
    for run in mended {
        let name = named(&run.vehicle, &run.run, &run.folder);
        match &run.repaired {
            Err(error) => page.paragraph(&format!("{name} cannot be mended: {error}."), Ink::Plain),
            Ok(repaired) => {
                if repaired.done.is_empty() && repaired.left.is_empty() {
                    continue;
                }
                page.gap();
                page.paragraph(&format!("{name}:"), Ink::Plain);
                for done in &repaired.done {
                    page.item("-", done);
                }
                if let Some(folder) = &repaired.originals {
                    page.item("-", &format!("the originals are in {}", folder.display()));
                }
                if !repaired.left.is_empty() {
                    page.paragraph("What stays:", Ink::Plain);
                    list(&mut page, &repaired.left);
                    copy_needed(&mut page, &repaired.left, &vec![false; repaired.left.len()], &run.folder);
                }
            }
        }
    }
    page.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::folder::FolderError;
    use crate::show::text::WIDTH;

    fn run(vehicle: &str, found: Vec<Found>, mendable: Vec<bool>) -> Verified {
        let mut checked = Checked::default();
        checked.found = found;
        let folder = Path::new("/shed/kept").to_owned();
        Verified { vehicle: vehicle.into(), run: "kept".into(), folder, checked: Ok(checked), mendable }
    }

    #[test]
    fn a_repair_that_the_disk_refused_is_not_called_needless() {
        let refused = FolderError::DiskFull("/shed/kept/marks.jsonl".into());
        let folder = Path::new("/shed/kept").to_owned();
        let run = Mended { vehicle: "Bramble".into(), run: "kept".into(), folder, repaired: Err(refused) };
        let told = mended(&[run], WIDTH);
        assert!(told.contains("cannot be mended") && !told.contains("nothing needed mending"), "{told}");
    }

    #[test]
    fn what_a_repair_mends_and_what_needs_a_copy_are_told_apart() {
        let advice = "runs repair";
        let told = |runs: &[Verified]| verified(runs, WIDTH).replace('\n', " ");
        let cut = told(&[run("Bramble", vec![Found::CutFrame(3)], vec![true])]);
        assert!(
            cut.contains(advice) && cut.contains("Bramble/kept:") && !cut.contains("copy of yours"),
            "{cut}"
        );
        let gone = told(&[run("", vec![Found::Missing("vehicle.toml")], vec![false])]);
        assert!(!gone.contains(advice), "nothing that a repair could do: {gone}");
        assert!(
            gone.contains("/shed/kept:") && gone.contains("put a copy of yours into /shed/kept"),
            "{gone}"
        );
        let both = told(&[run("Bramble", vec![Found::NoEnd, Found::Changed("wire.bin")], vec![true, false])]);
        assert!(both.contains(advice) && both.contains("bring back wire.bin"), "{both}");
        let newer = told(&[run("Bramble", vec![Found::Newer(9)], vec![false])]);
        assert!(newer.contains("newer one") && !newer.contains("copy of yours"), "{newer}");
    }
}
