//! What a report is about: one run, or vehicles as drawn.

use crate::explain::{Explain, Failure};
use crate::files::logbook::{Logbook, VEHICLE_FILE};
use crate::files::nearest;
use crate::run::find::{self, FindError, all_runs};
use crate::run::folder::HEADER;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What a report is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// A run set beside its drawing, as it was named.
    Run(String),
    /// Vehicle files, side by side.
    Vehicles(Vec<PathBuf>),
}

/// Why there is nothing to report on.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SubjectError {
    /// A name that stands for nothing.
    #[error("there is no run and no vehicle \"{name}\"")]
    Nothing {
        /// The name asked for.
        name: String,
        /// The one that was probably meant.
        near: Option<String>,
        /// Some names that there are.
        known: Vec<String>,
    },
    /// A name that stands for a vehicle and for a run.
    #[error("\"{name}\" is a vehicle and a run")]
    Both {
        /// The name asked for.
        name: String,
        /// As VEHICLE/RUN.
        run: String,
    },
    /// A run among several names.
    #[error("\"{name}\" is a run: a report is of one run, or of vehicles as drawn")]
    RunAmongOthers {
        /// The run.
        name: String,
    },
}

impl Explain for SubjectError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            SubjectError::Nothing { near: None, known, .. } if known.is_empty() => {
                "Name a vehicle file, a run folder or a table of readings by its path.".to_owned()
            }
            SubjectError::Nothing { near: Some(near), .. } => format!("Did you mean \"{near}\"?"),
            SubjectError::Nothing { known, .. } => format!("There are: {}.", known.join(", ")),
            SubjectError::Both { name, run } => format!("Say which: {name}/{VEHICLE_FILE} or {run}."),
            SubjectError::RunAmongOthers { .. } => {
                "Report on the run alone; hingeline compare RUN OTHER-RUN sets two runs side by side."
                    .to_owned()
            }
        })
    }
}

/// Finds out what people mean by these names: each a vehicle file, a folder with one, a vehicle of the logbook, or a run.
/// Paths are taken from `here`.
///
/// # Errors
/// [`SubjectError`], and [`FindError`] where several vehicles have a run of that name.
pub fn subject(names: &[String], here: &Path, logbook: Option<&Logbook>) -> Result<Subject, Failure> {
    let mut vehicles = Vec::new();
    for name in names {
        match one(name, here, logbook)? {
            Named::Vehicle(file) => vehicles.push(file),
            Named::Run if names.len() == 1 => return Ok(Subject::Run(name.clone())),
            Named::Run => return Err(SubjectError::RunAmongOthers { name: name.clone() }.into()),
        }
    }
    Ok(Subject::Vehicles(vehicles))
}

enum Named {
    Vehicle(PathBuf),
    Run,
}

fn one(name: &str, here: &Path, logbook: Option<&Logbook>) -> Result<Named, Failure> {
    let vehicle = vehicle_file(name, here, logbook);
    let run = find::resolve(name, here, logbook);
    match (vehicle, run) {
        (Some(file), Err(FindError::NoRun { .. } | FindError::Vehicle { .. })) => Ok(Named::Vehicle(file)),
        // A file of vehicles is a file too: a path to it means the vehicle.
        (Some(file), _) if here.join(name) == file => Ok(Named::Vehicle(file)),
        (None, Ok(_)) => Ok(Named::Run),
        (Some(_), _) => {
            let run = logbook.map(all_runs).unwrap_or_default().into_iter().find(|(_, run)| run == name);
            let run = run.map_or_else(|| name.to_owned(), |(vehicle, run)| format!("{vehicle}/{run}"));
            Err(SubjectError::Both { name: name.to_owned(), run }.into())
        }
        (None, Err(error @ (FindError::Ambiguous { .. } | FindError::Vehicle { .. }))) => Err(error.into()),
        (None, Err(FindError::NoRun { near, runs, .. })) => {
            let vehicles = logbook.and_then(|book| book.vehicles().ok()).unwrap_or_default();
            let vehicle = nearest(name, vehicles.iter().map(String::as_str)).map(str::to_owned);
            let near = vehicle.or(near);
            let known = vehicles.into_iter().chain(runs).collect();
            Err(SubjectError::Nothing { name: name.to_owned(), near, known }.into())
        }
    }
}

/// The vehicle file that a name stands for: the file itself, the one in a folder, the one of a vehicle of the logbook.
pub(super) fn vehicle_file(name: &str, here: &Path, logbook: Option<&Logbook>) -> Option<PathBuf> {
    let path = here.join(name);
    if path.is_file() {
        let is_toml = path.extension().is_some_and(|e| e == "toml");
        let is_header = path.file_name().is_some_and(|n| n == HEADER);
        return (is_toml && !is_header).then_some(path);
    }
    let folders = [Some(path), logbook.map(|book| book.vehicle_folder(name))];
    folders
        .into_iter()
        .flatten()
        .find(|folder| !folder.join(HEADER).is_file() && folder.join(VEHICLE_FILE).is_file())
        .map(|folder| folder.join(VEHICLE_FILE))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    /// A logbook with two vehicles; Bramble has a run `one`, and a run that is called like the other vehicle.
    fn logbook() -> (tempfile::TempDir, Logbook) {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("logbook.toml"), "format = 1\nname = \"shed\"\n").unwrap();
        for vehicle in ["Bramble", "Thistle"] {
            fs::create_dir(dir.path().join(vehicle)).unwrap();
            fs::write(dir.path().join(vehicle).join(VEHICLE_FILE), "").unwrap();
        }
        for run in ["one", "Thistle"] {
            let folder = dir.path().join("Bramble/runs").join(run);
            fs::create_dir_all(&folder).unwrap();
            fs::write(folder.join(HEADER), "").unwrap();
            fs::write(folder.join(VEHICLE_FILE), "").unwrap();
        }
        fs::write(dir.path().join("readings.csv"), "").unwrap();
        let book = Logbook::find(None, dir.path()).unwrap();
        (dir, book)
    }

    #[test]
    fn runs_and_vehicles_are_told_apart() {
        let (_dir, book) = logbook();
        let here = book.folder.clone();
        let of = |names: &[&str]| {
            let names: Vec<String> = names.iter().map(|n| (*n).to_owned()).collect();
            subject(&names, &here, Some(&book)).map_err(|e| e.to_string())
        };
        let bramble = here.join("Bramble").join(VEHICLE_FILE);
        for name in ["Bramble", "Bramble/vehicle.toml"] {
            assert_eq!(of(&[name]), Ok(Subject::Vehicles(vec![bramble.clone()])), "{name}");
        }
        for name in ["one", "Bramble/one", "Bramble/runs/one", "Bramble/runs/one/run.toml", "readings.csv"] {
            assert_eq!(of(&[name]), Ok(Subject::Run(name.to_owned())), "{name}");
        }
        let thistle = here.join("Thistle").join(VEHICLE_FILE);
        let both = of(&["Bramble", "Thistle/vehicle.toml"]);
        assert_eq!(both, Ok(Subject::Vehicles(vec![bramble, thistle])));
        assert_eq!(of(&["Thistle"]), Err("\"Thistle\" is a vehicle and a run".to_owned()));
        assert!(of(&["Bramble", "one"]).unwrap_err().starts_with("\"one\" is a run"));
        assert_eq!(of(&["nope"]), Err("there is no run and no vehicle \"nope\"".to_owned()));
    }

    #[test]
    fn what_is_not_there_is_told_with_what_is() {
        let (_dir, book) = logbook();
        let error = subject(&["nope".to_owned()], &book.folder, Some(&book)).unwrap_err();
        assert_eq!(error.hint().unwrap(), "There are: Bramble, Thistle, Bramble/Thistle, Bramble/one.");
        let slip = subject(&["Thistel".to_owned()], &book.folder, Some(&book)).unwrap_err();
        assert_eq!(slip.hint().unwrap(), "Did you mean \"Thistle\"?");
        assert!(
            subject(&["nope".to_owned()], &book.folder, None).unwrap_err().hint().unwrap().contains("path")
        );
    }
}
