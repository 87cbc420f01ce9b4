//! `runs verify` and `runs repair`: whether runs are as they were made, and mending those that are not.

use super::catalogue::Progress;
use super::history::known_vehicle;
use crate::explain::{Explain, Failure};
use crate::files::logbook::Logbook;
use crate::run::find::{RUNS, nearest_run};
use crate::run::folder::{
    Checked, FolderError, HEADER, Repair, Repaired, TABLE, WIRE, is_mendable, repair, verify,
};
use jiff::tz::TimeZone;
use std::path::{Path, PathBuf};

/// Which runs.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// Only these runs: names, VEHICLE/NAME, or folders; every run of the logbook where none is named.
    pub runs: Vec<String>,
    /// Only runs of these vehicles.
    pub vehicles: Vec<String>,
}

/// Why no run is meant.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RunsError {
    /// No such run.
    #[error("there is no run folder \"{name}\"")]
    NoRun {
        /// The name asked for.
        name: String,
        /// The nearest one that there is.
        near: Option<String>,
    },
    /// Several vehicles have it.
    #[error("several vehicles have a run \"{name}\"")]
    Ambiguous {
        /// The name asked for.
        name: String,
        /// As VEHICLE/NAME.
        candidates: Vec<String>,
    },
}

impl Explain for RunsError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            Self::NoRun { near: Some(near), .. } => format!("Did you mean \"{near}\"?"),
            Self::NoRun { near: None, .. } => {
                "Name a run, VEHICLE/RUN, or the path of a run folder; without a name every run is looked at."
                    .into()
            }
            Self::Ambiguous { candidates, .. } => format!("Say which: {}.", candidates.join(" or ")),
        })
    }
}

/// A run folder, whole or not.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Place {
    vehicle: String,
    run: String,
    folder: PathBuf,
}

/// One run, looked at.
#[derive(Debug)]
pub struct Verified {
    /// The vehicle's folder; nothing where the run lies in none.
    pub vehicle: String,
    /// The run's name.
    pub run: String,
    /// Its folder.
    pub folder: PathBuf,
    /// What was found, or why it could not be looked at.
    pub checked: Result<Checked, FolderError>,
    /// Of what was found, in the same order: whether a repair can mend it.
    pub mendable: Vec<bool>,
}

/// One run, mended as far as that goes.
#[derive(Debug)]
pub struct Mended {
    /// The vehicle's folder.
    pub vehicle: String,
    /// The run's name.
    pub run: String,
    /// Its folder.
    pub folder: PathBuf,
    /// What was done, or why nothing could be.
    pub repaired: Result<Repaired, FolderError>,
}

/// Looks at runs; nothing is changed.
///
/// # Errors
/// Where there is no logbook, or a name is not there.
pub fn verify_all(
    request: &Request,
    progress: &mut dyn FnMut(Progress<'_>),
) -> Result<Vec<Verified>, Failure> {
    let places = places(request)?;
    let of = places.len();
    let look = |(k, place): (usize, Place)| {
        progress(Progress { vehicle: &place.vehicle, run: &place.run, number: k + 1, of });
        let (checked, mendable) = match looked_at(&place.folder) {
            Ok((checked, mendable)) => (Ok(checked), mendable),
            Err(error) => (Err(error), Vec::new()),
        };
        Verified { vehicle: place.vehicle, run: place.run, folder: place.folder, checked, mendable }
    };
    Ok(places.into_iter().enumerate().map(look).collect())
}

fn looked_at(folder: &Path) -> Result<(Checked, Vec<bool>), FolderError> {
    let checked = verify(folder)?;
    let donors = donors(folder);
    let mendable =
        checked.found.iter().map(|found| is_mendable(folder, found, &donors)).collect::<Result<_, _>>()?;
    Ok((checked, mendable))
}

/// Mends runs. `stamp` marks the folders of the originals; `zone` is the one in which runs are named.
///
/// # Errors
/// Where there is no logbook, or a name is not there.
pub fn repair_all(
    request: &Request,
    stamp: &str,
    zone: &TimeZone,
    progress: &mut dyn FnMut(Progress<'_>),
) -> Result<Vec<Mended>, Failure> {
    let places = places(request)?;
    let of = places.len();
    let mut mended = Vec::new();
    for (k, place) in places.into_iter().enumerate() {
        progress(Progress { vehicle: &place.vehicle, run: &place.run, number: k + 1, of });
        let donors = donors(&place.folder);
        let repaired = repair(&place.folder, &Repair { stamp, zone, donors: &donors });
        mended.push(Mended { vehicle: place.vehicle, run: place.run, folder: place.folder, repaired });
    }
    Ok(mended)
}

/// Where the same files may lie: the vehicle's folder, and its other runs.
fn donors(run: &Path) -> Vec<PathBuf> {
    let whole = std::path::absolute(run).unwrap_or_else(|_| run.to_owned());
    let Some(runs) = whole.parent() else { return Vec::new() };
    let others = folders(runs).into_iter().map(|(_, folder)| folder).filter(|folder| *folder != whole);
    runs.parent().map(Path::to_owned).into_iter().chain(others).collect()
}

/// Folders of a folder with their names, sorted; those that a program is filling begin with a dot and are left out.
fn folders(of: &Path) -> Vec<(String, PathBuf)> {
    let entries = std::fs::read_dir(of).into_iter().flatten().flatten();
    let mut found: Vec<_> = entries
        .filter(|entry| entry.path().is_dir())
        .map(|entry| (entry.file_name().to_string_lossy().into_owned(), entry.path()))
        .filter(|(name, _)| !name.starts_with('.'))
        .collect();
    found.sort();
    found
}

/// The run folders that are asked for. A run without a header is one too: that is what this is for.
fn places(request: &Request) -> Result<Vec<Place>, Failure> {
    let logbook = match Logbook::find(request.logbook.as_deref(), Path::new(".")) {
        Ok(logbook) => Some(logbook),
        Err(error) if request.logbook.is_some() || request.runs.is_empty() => return Err(error.into()),
        Err(_) => None,
    };
    let mut all = Vec::new();
    if let Some(logbook) = &logbook {
        request.vehicles.iter().try_for_each(|vehicle| known_vehicle(logbook, vehicle))?;
        for vehicle in logbook.vehicles()? {
            let runs = folders(&logbook.vehicle_folder(&vehicle).join(RUNS)).into_iter();
            all.extend(runs.map(|(run, folder)| Place { vehicle: vehicle.clone(), run, folder }));
        }
    }
    let mut meant = if request.runs.is_empty() { all } else { named(&request.runs, &all)? };
    meant.retain(|place| request.vehicles.is_empty() || request.vehicles.contains(&place.vehicle));
    Ok(meant)
}

fn named(names: &[String], all: &[Place]) -> Result<Vec<Place>, RunsError> {
    let full = |place: &Place| format!("{}/{}", place.vehicle, place.run);
    let mut meant = Vec::new();
    for name in names {
        let path = Path::new(name);
        if [HEADER, WIRE, TABLE].iter().any(|file| path.join(file).is_file()) {
            let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
            let word = |p: Option<&Path>| {
                p.and_then(Path::file_name).map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
            };
            // A copy that lies elsewhere belongs to no vehicle's folder.
            let kept = whole.parent().filter(|runs| word(Some(runs)) == RUNS);
            let vehicle = word(kept.and_then(Path::parent));
            meant.push(Place { vehicle, run: word(Some(&whole)), folder: path.to_owned() });
            continue;
        }
        let fitting: Vec<&Place> =
            all.iter().filter(|place| place.run == *name || full(place) == *name).collect();
        match fitting.as_slice() {
            [one] => meant.push((*one).clone()),
            [] => {
                let known: Vec<_> = all.iter().map(|p| (p.vehicle.clone(), p.run.clone())).collect();
                let near = nearest_run(name, &known);
                return Err(RunsError::NoRun { name: name.clone(), near });
            }
            several => {
                let candidates = several.iter().map(|place| full(place)).collect();
                return Err(RunsError::Ambiguous { name: name.clone(), candidates });
            }
        }
    }
    Ok(meant)
}
