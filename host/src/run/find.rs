//! Which run a person means, and which runs a logbook holds.

use super::folder::HEADER;
use crate::explain::{Explain, pasted};
use crate::files::logbook::{Logbook, RIG_FILE, VEHICLE_FILE};
use crate::files::nearest;
use std::path::{Path, PathBuf};

/// The folder of a vehicle's runs, in the vehicle's folder.
pub const RUNS: &str = "runs";

/// What a RUN on the command line turned out to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RunRef {
    /// A run folder.
    Folder(PathBuf),
    /// A bare table.
    Table(PathBuf),
}

/// Why no run is meant.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FindError {
    /// There is no such run.
    #[error("there is no run \"{name}\"")]
    NoRun {
        /// The name asked for.
        name: String,
        /// The one that was probably meant, as VEHICLE/NAME.
        near: Option<String>,
        /// Some runs that there are, as VEHICLE/NAME.
        runs: Vec<String>,
    },
    /// It is a vehicle.
    #[error("\"{name}\" is a vehicle, and a run is asked for")]
    Vehicle {
        /// As it was named.
        name: String,
        /// Its folder.
        folder: PathBuf,
        /// Its latest runs, as they can be named from here.
        runs: Vec<String>,
    },
    /// Several vehicles have a run of this name.
    #[error("several vehicles have a run \"{name}\"")]
    Ambiguous {
        /// The name asked for.
        name: String,
        /// As VEHICLE/NAME.
        candidates: Vec<String>,
    },
}

impl Explain for FindError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            Self::NoRun { near: Some(near), .. } => format!("Did you mean \"{near}\"?"),
            Self::NoRun { runs, .. } if runs.is_empty() => {
                "Name a run folder or a table by its path, or record a run first.".to_owned()
            }
            Self::NoRun { runs, .. } => format!("There are: {}.", runs.join(", ")),
            Self::Vehicle { folder, runs, .. } if runs.is_empty() => format!(
                "It has no run yet; hingeline record or hingeline import makes one of it. What it does as drawn is told by \
                 hingeline predict {}.",
                pasted(folder)
            ),
            Self::Vehicle { folder, runs, .. } => format!(
                "Name one of its runs: {}. What it does as drawn is told by hingeline predict {}.",
                runs.join(", "),
                pasted(folder)
            ),
            Self::Ambiguous { candidates, .. } => format!("Say which: {}.", candidates.join(" or ")),
        })
    }
}

/// Puts runs in the order in which they were made. A name begins with its time; runs of the same minute count on behind it, and
/// the tenth comes after the ninth.
pub fn in_order(a: &str, b: &str) -> std::cmp::Ordering {
    let counted = |name: &str| -> (String, u64) {
        let split =
            name.rsplit_once('-').and_then(|(stem, count)| Some((stem.to_owned(), count.parse().ok()?)));
        split.unwrap_or_else(|| (name.to_owned(), 1))
    };
    counted(a).cmp(&counted(b)).then_with(|| a.cmp(b))
}

/// Names of a vehicle's runs, sorted: by time, as their names begin with it. None where the folder cannot be listed.
pub fn runs_of(vehicle_folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(vehicle_folder.join(RUNS))
        .into_iter()
        .flatten()
        .flatten()
        .filter(|entry| entry.path().join(HEADER).is_file())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        // A run in the making, or what a crash left of one.
        .filter(|name| !name.starts_with('.'))
        .collect();
    names.sort_by(|a, b| in_order(a, b));
    names
}

/// The folder of a run.
pub fn run_folder(logbook: &Logbook, vehicle: &str, run: &str) -> PathBuf {
    logbook.vehicle_folder(vehicle).join(RUNS).join(run)
}

/// Every run of a logbook as its vehicle and its name.
pub fn all_runs(logbook: &Logbook) -> Vec<(String, String)> {
    let of = |vehicle: String| {
        runs_of(&logbook.vehicle_folder(&vehicle)).into_iter().map(move |run| (vehicle.clone(), run))
    };
    logbook.vehicles().unwrap_or_default().into_iter().flat_map(of).collect()
}

/// What a person means by RUN: a path to a run folder or a table; VEHICLE/NAME; a run's name. Paths are taken from `here`.
///
/// # Errors
/// When nothing or more than one thing is meant.
pub fn resolve(run: &str, here: &Path, logbook: Option<&Logbook>) -> Result<RunRef, FindError> {
    let path = here.join(run);
    if path.join(HEADER).is_file() {
        return Ok(RunRef::Folder(path));
    }
    if path.is_file() {
        return match path.file_name() {
            Some(name) if name == HEADER => Ok(RunRef::Folder(path.parent().unwrap_or(here).to_owned())),
            _ => vehicle(run, here, logbook).map_or(Ok(RunRef::Table(path)), Err),
        };
    }
    let vehicle = vehicle(run, here, logbook);
    let Some(logbook) = logbook else {
        return Err(vehicle.unwrap_or(FindError::NoRun {
            name: run.to_owned(),
            near: None,
            runs: Vec::new(),
        }));
    };
    let all = all_runs(logbook);
    let full = |(vehicle, name): &(String, String)| format!("{vehicle}/{name}");
    let meant: Vec<_> = all.iter().filter(|both| both.1 == run || full(both) == run).collect();
    match meant.as_slice() {
        [(vehicle, name)] => Ok(RunRef::Folder(run_folder(logbook, vehicle, name))),
        [] => {
            let latest = latest(all.iter().map(full));
            Err(vehicle.unwrap_or(FindError::NoRun {
                name: run.to_owned(),
                near: nearest_run(run, &all),
                runs: latest,
            }))
        }
        several => Err(FindError::Ambiguous {
            name: run.to_owned(),
            candidates: several.iter().map(|both| full(both)).collect(),
        }),
    }
}

/// The last few of many.
fn latest(all: impl DoubleEndedIterator<Item = String>) -> Vec<String> {
    const TOLD: usize = 5;
    let mut last: Vec<String> = all.rev().take(TOLD).collect();
    last.reverse();
    last
}

/// That a vehicle is meant where a run is asked for: its folder, one of its files, or its name in the logbook.
fn vehicle(name: &str, here: &Path, logbook: Option<&Logbook>) -> Option<FindError> {
    let path = here.join(name);
    let own_file =
        path.file_name().is_some_and(|file| file == VEHICLE_FILE || file == RIG_FILE) && path.is_file();
    let by_path = if own_file { path.parent().map(Path::to_owned) } else { Some(path) };
    let folders = [by_path, logbook.map(|book| book.vehicle_folder(name))];
    let is_vehicle = |folder: &PathBuf| folder.join(VEHICLE_FILE).is_file() && !folder.join(HEADER).is_file();
    let folder = folders.into_iter().flatten().find(is_vehicle)?;
    let inside = std::path::absolute(&folder).ok().filter(|folder| {
        let parent = logbook.and_then(|book| std::path::absolute(&book.folder).ok());
        folder.parent() == parent.as_deref()
    });
    let called = inside.as_deref().and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned());
    let run = |run: String| match &called {
        Some(vehicle) => format!("{vehicle}/{run}"),
        None => folder.join(RUNS).join(run).display().to_string(),
    };
    let runs = latest(runs_of(&folder).into_iter().map(run));
    Some(FindError::Vehicle { name: name.to_owned(), folder, runs })
}

/// The run that was probably meant, as VEHICLE/NAME; runs of one day differ in little, so of several as near it is the latest.
pub fn nearest_run(typed: &str, all: &[(String, String)]) -> Option<String> {
    let full = |(vehicle, name): &(String, String)| format!("{vehicle}/{name}");
    let names: Vec<String> =
        all.iter().rev().map(|both| if typed.contains('/') { full(both) } else { both.1.clone() }).collect();
    let near = nearest(typed, names.iter().map(String::as_str))?;
    all.iter().rev().find(|both| both.1 == near || full(both) == near).map(full)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn logbook(runs: &[(&str, &str)]) -> (tempfile::TempDir, Logbook) {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("logbook.toml"), "format = 1\nname = \"shed\"\n").unwrap();
        for (vehicle, run) in runs {
            let folder = dir.path().join(vehicle).join(RUNS).join(run);
            fs::create_dir_all(&folder).unwrap();
            fs::write(folder.join(HEADER), "").unwrap();
            fs::write(dir.path().join(vehicle).join("vehicle.toml"), "").unwrap();
        }
        let found = Logbook::find(None, dir.path()).unwrap();
        (dir, found)
    }

    #[test]
    fn a_run_is_found_by_path_by_name_and_by_vehicle() {
        let (_dir, book) = logbook(&[("Bramble", "one"), ("Bramble", "two"), ("Thistle", "two")]);
        let folder = |v, r| Ok(RunRef::Folder(run_folder(&book, v, r)));
        let at_root = |run| resolve(run, &book.folder, Some(&book));
        assert_eq!(at_root("one"), folder("Bramble", "one"));
        assert_eq!(at_root("Thistle/two"), folder("Thistle", "two"));
        assert_eq!(at_root("Bramble/runs/two"), folder("Bramble", "two"));
        assert_eq!(at_root("Bramble/runs/two/run.toml"), folder("Bramble", "two"));
        fs::write(book.folder.join("x.csv"), "").unwrap();
        assert_eq!(at_root("x.csv"), Ok(RunRef::Table(book.folder.join("x.csv"))));
        let Err(error @ FindError::Ambiguous { .. }) = at_root("two") else { panic!("two are meant") };
        assert_eq!(error.hint().unwrap(), "Say which: Bramble/two or Thistle/two.");
    }

    #[test]
    fn the_tenth_run_of_a_minute_comes_after_the_ninth() {
        let made = [
            "2026-11-26-0044-rock",
            "2026-11-26-0044-rock-2",
            "2026-11-26-0044-rock-10",
            "2026-11-26-0045-rock",
        ];
        let (_dir, book) = logbook(&made.map(|run| ("Bramble", run)));
        assert_eq!(runs_of(&book.vehicle_folder("Bramble")), made);
    }

    #[test]
    fn what_is_not_there_is_told_with_what_is() {
        let (_dir, book) = logbook(&[("Bramble", "one"), ("Bramble", ".draft-1-0")]);
        let error = resolve("ten", &book.folder, Some(&book)).unwrap_err();
        let told = format!("{error}\n{}", error.hint().unwrap());
        assert_eq!(told, "there is no run \"ten\"\nThere are: Bramble/one.");
        assert!(resolve("ten", &book.folder, None).is_err());
    }

    #[test]
    fn a_vehicle_is_told_from_a_run_with_the_runs_that_it_has() {
        let (_dir, book) = logbook(&[("Bramble", "one"), ("Bramble", "two")]);
        for vehicle in ["Bramble", "Thistle"] {
            let folder = book.folder.join(vehicle);
            fs::create_dir_all(&folder).unwrap();
            fs::write(folder.join(VEHICLE_FILE), "").unwrap();
        }
        let told = |typed: &str, book: Option<&Logbook>, here: &Path| {
            let error = resolve(typed, here, book).unwrap_err();
            format!("{error}\n{}", error.hint().unwrap())
        };
        for typed in ["Bramble", "Bramble/vehicle.toml"] {
            let told = told(typed, Some(&book), &book.folder);
            assert!(told.starts_with(&format!("\"{typed}\" is a vehicle, and a run is asked for")), "{told}");
            assert!(told.contains("Name one of its runs: Bramble/one, Bramble/two."), "{told}");
        }
        let none = told("Thistle", Some(&book), &book.folder);
        assert!(none.contains("no run yet; hingeline record or hingeline import"), "{none}");
        // Without a logbook a run is named by its path.
        let bare = told("Bramble", None, &book.folder);
        let path = book.folder.join("Bramble/runs/one");
        assert!(bare.contains(&path.display().to_string()), "{bare}");
    }

    #[test]
    fn a_slip_in_a_name_is_answered_with_the_latest_run_that_is_near() {
        let (_dir, book) = logbook(&[
            ("Bramble", "2026-11-26-0044-ramp"),
            ("Bramble", "2026-11-26-0045-ramp"),
            ("Thistle", "2026-11-25-0900-rock"),
        ]);
        let hint = |typed| resolve(typed, &book.folder, Some(&book)).unwrap_err().hint().unwrap();
        assert_eq!(hint("2026-11-26-0045-rmap"), "Did you mean \"Bramble/2026-11-26-0045-ramp\"?");
        assert_eq!(hint("bramble/2026-11-26-0044-ramp"), "Did you mean \"Bramble/2026-11-26-0044-ramp\"?");
        assert_eq!(hint("thistle/2026-11-25-0900-rock"), "Did you mean \"Thistle/2026-11-25-0900-rock\"?");
    }
}
