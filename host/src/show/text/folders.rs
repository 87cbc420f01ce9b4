//! Whether runs are as they were made.

use super::page::{Ink, Page};
use crate::jobs::runs::{Mended, Verified};
use crate::run::folder::{Checked, Found};

/// Runs that were looked at.
pub fn verified(verified: &[Verified]) -> String {
    let mut page = Page::new(false);
    let sound = verified.iter().filter(|v| v.checked.as_ref().is_ok_and(|c| c.found.is_empty())).count();
    page.paragraph(&format!("Runs looked at: {}; as they were made: {sound}.", verified.len()), Ink::Plain);
    for run in verified {
        let name = format!("{}/{}", run.vehicle, run.run);
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
            }
        }
    }
    if sound < verified.len() {
        page.gap();
        page.paragraph(
            "hingeline runs repair mends what can be mended, and keeps the originals.",
            Ink::Plain,
        );
    }
    page.finish()
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
pub fn mended(mended: &[Mended]) -> String {
    let mut page = Page::new(false);
    let done = mended.iter().filter(|m| m.repaired.as_ref().is_ok_and(|r| !r.done.is_empty())).count();
    page.paragraph(&format!("Runs looked at: {}; mended: {done}.", mended.len()), Ink::Plain);
    for run in mended {
        let name = format!("{}/{}", run.vehicle, run.run);
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
                    page.paragraph("What stays, and needs a copy of yours:", Ink::Plain);
                    list(&mut page, &repaired.left);
                }
            }
        }
    }
    page.finish()
}
