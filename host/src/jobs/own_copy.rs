//! The copies of the vehicle, rig and calibration files that a run keeps, read. Where one is damaged the person is told that it is
//! the run's and not theirs to mend, and how to go on.

use crate::explain::{Explain, Failure, Status, pasted};
use crate::files::LoadError;
use crate::rig::calibration::Calibration;
use crate::rig::calibration::file::load_if_there;
use crate::rig::{self, Rig};
use crate::run::find::RUNS;
use crate::run::folder::{CALIBRATION, RIG, RunFolder, VEHICLE};
use crate::vehicle::{self, Vehicle};
use std::path::{Path, PathBuf};

/// A run's own copy of a file cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("the run's own copy of {file} cannot be read: {source}")]
pub struct OwnCopyError {
    /// What the file is called.
    file: &'static str,
    /// The run, as commands take it.
    run: String,
    /// The vehicle's file of that name, where there is one, and whether it is the one that was copied.
    original: Option<(PathBuf, bool)>,
    /// What is wrong.
    source: LoadError,
}

impl Explain for OwnCopyError {
    fn status(&self) -> Status {
        self.source.status()
    }

    fn hint(&self) -> Option<String> {
        let Self { file, run, original, .. } = self;
        let flag = file.trim_end_matches(".toml");
        let kept = format!("It was kept when the run was made, so leave your own {file} as it is.");
        Some(match original {
            Some((path, true)) => format!(
                "{kept} The original is {}: hingeline runs repair {run} brings it back.",
                path.display()
            ),
            Some((path, false)) => format!(
                "{kept} hingeline runs repair {run} brings it back where another run still has it; --{flag} {} goes on with the file \
                 as it is today.",
                pasted(path)
            ),
            None => format!(
                "{kept} hingeline runs verify {run} says whether a repair can bring it back; --{flag} FILE goes on with another."
            ),
        })
    }

    /// The mistakes without the advice that is meant for a file of one's own, and what to do instead.
    fn report(&self, styled: bool) -> Option<String> {
        let LoadError::Wrong(mistakes) = &self.source else { return None };
        let mistakes = mistakes.render_without_help(styled);
        Some(format!("hingeline: {}\n\n{mistakes}\n\n  {}", self.sentence(), self.hint()?))
    }
}

impl OwnCopyError {
    fn sentence(&self) -> String {
        format!("the run's own copy of {} cannot be read", self.file)
    }
}

/// The vehicle as the run keeps it.
///
/// # Errors
/// Where the copy is missing or damaged.
pub fn vehicle(run: &RunFolder) -> Result<Vehicle, Failure> {
    kept(run, VEHICLE, &run.header.vehicle_hash, vehicle::file::load(&run.vehicle_file()))
}

/// The rig as the run keeps it.
///
/// # Errors
/// Where the copy is missing or damaged.
pub fn rig(run: &RunFolder, vehicle: &Vehicle) -> Result<Rig, Failure> {
    kept(run, RIG, &run.header.rig_hash, rig::file::load(&run.rig_file(), vehicle))
}

/// The calibration as the run keeps it; empty where it was recorded without one.
///
/// # Errors
/// Where the copy is damaged.
pub fn calibration(run: &RunFolder) -> Result<Calibration, Failure> {
    let hash = run.header.calibration_hash.as_deref().unwrap_or_default();
    kept(run, CALIBRATION, hash, load_if_there(&run.calibration_file()))
}

fn kept<T>(
    run: &RunFolder,
    file: &'static str,
    hash: &str,
    read: Result<T, LoadError>,
) -> Result<T, Failure> {
    read.map_err(|source| {
        let original = vehicle_folder(&run.path).map(|folder| folder.join(file)).and_then(|path| {
            let bytes = std::fs::read(&path).ok()?;
            Some((path, blake3::hash(&bytes).to_hex().as_str() == hash))
        });
        OwnCopyError { file, run: pasted(Path::new(&full_name(run))), original, source }.into()
    })
}

/// The folder of the vehicle in whose `runs` the run lies.
fn vehicle_folder(run: &Path) -> Option<PathBuf> {
    let whole = std::path::absolute(run).ok()?;
    let runs = whole.parent().filter(|runs| runs.file_name().is_some_and(|name| name == RUNS))?;
    runs.parent().map(Path::to_owned)
}

/// VEHICLE/NAME; the path of a run that lies in no vehicle's folder.
fn full_name(run: &RunFolder) -> String {
    let vehicle = vehicle_folder(&run.path).and_then(|folder| Some(folder.file_name()?.to_owned()));
    match vehicle {
        Some(vehicle) => format!("{}/{}", vehicle.to_string_lossy(), run.name()),
        None => run.path.display().to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::import;
    use crate::jobs::source::{Request, open};
    use crate::jobs::vehicle_folder::tests::{logbook_with_rig, some_time};
    use crate::run::Facts;
    use std::fs;

    const RIG_TEXT: &str = "format = 1\n[[sensor]]\nname = \"left\"\nkind = \"draw-wire\"\nchassis = [0, 500, 1000]\naxle = [0, 620, 460]\n";

    /// A run of a vehicle, and the vehicle's folder.
    fn a_run() -> (tempfile::TempDir, PathBuf, PathBuf) {
        let (dir, folder) = logbook_with_rig(RIG_TEXT);
        let table = folder.join("day.csv");
        fs::write(&table, "t_s,phase,left\n0,still,540\n0.1,bounce,541\n").unwrap();
        let request = import::Request {
            table,
            vehicle_folder: folder.clone(),
            test: None,
            facts: Facts::default(),
            now: some_time(),
        };
        let made = import::run(&request).map_err(|e| e.to_string()).unwrap();
        (dir, folder, made.folder)
    }

    fn refused(run: &Path) -> (String, String) {
        let request = Request { run: run.display().to_string(), ..Request::default() };
        let error = open(&request).err().unwrap();
        assert_eq!(error.status(), Status::BadInput);
        if let Some(report) = error.report(false) {
            assert!(report.contains("| format = ") && !report.contains("help"), "{report}");
            assert!(report.ends_with(&error.hint().unwrap()), "{report}");
        }
        (error.to_string(), error.hint().unwrap())
    }

    #[test]
    fn a_damaged_copy_is_said_to_be_the_runs_and_its_original_is_named() {
        let (_dir, folder, run) = a_run();
        for file in ["vehicle.toml", "rig.toml"] {
            let (copy, own) = (run.join(file), folder.join(file));
            let text = fs::read_to_string(&copy).unwrap();
            fs::write(&copy, text.replacen("format = 1", "format = \"1", 1)).unwrap();
            let (said, hint) = refused(&run);
            assert!(said.starts_with(&format!("the run's own copy of {file} cannot be read: ")), "{said}");
            assert!(hint.contains(&format!("leave your own {file} as it is")), "{hint}");
            assert!(hint.contains(&format!("The original is {}", own.display())), "{hint}");
            assert!(hint.contains("hingeline runs repair Bramble/2026-11-25-1412-bounce"), "{hint}");
            // The vehicle's file was changed since: it is not the original.
            fs::write(&own, format!("{text}# changed\n")).unwrap();
            let (_, hint) = refused(&run);
            assert!(!hint.contains("The original is") && hint.contains("hingeline runs repair"), "{hint}");
            assert!(hint.contains(&format!("--{} ", file.trim_end_matches(".toml"))), "{hint}");
            fs::remove_file(&copy).unwrap();
            assert!(refused(&run).0.contains("own copy"), "a copy that is gone is the run's too");
            fs::write(&copy, &text).unwrap();
            fs::write(&own, &text).unwrap();
        }
    }
}
