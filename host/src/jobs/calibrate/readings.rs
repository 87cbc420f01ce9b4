//! Where a calibration's readings come from: a run, a table, or one of either for each position.

use super::error::CalibrateJobError;
use crate::calibrate::rest::{Rest, first_rest, rests};
use crate::explain::Failure;
use crate::files::logbook::Logbook;
use crate::jobs::own_copy;
use crate::jobs::vehicle_folder::VehicleFolder;
use crate::rig::calibration::{changed, fitted};
use crate::rig::{Rig, Sensor};
use crate::run::Recording;
use crate::run::find::{self, RunRef};
use crate::run::folder::RunFolder;
use crate::run::table::{self, Choices};
use std::fs::File;
use std::path::Path;

/// Recordings with the names that people know them by.
#[derive(Debug, Clone)]
pub struct Readings {
    recordings: Vec<Recording>,
    /// What they are called, with commas between.
    pub name: String,
    /// Their content hashes as one.
    pub hash: String,
}

impl Readings {
    /// Reads what was named, as `rig` reads it. `sensors` are those that matter: a run must have been recorded with them where they
    /// are now.
    ///
    /// # Errors
    /// Where there is no such run or table, it is wrong, or a sensor was elsewhere.
    pub fn open(
        from: &[String],
        folder: &VehicleFolder,
        rig: &Rig,
        sensors: &[&Sensor],
        columns: &Choices,
        logbook: Option<&Logbook>,
    ) -> Result<Self, Failure> {
        if from.is_empty() {
            return Err(CalibrateJobError::NoSource.into());
        }
        let (mut recordings, mut names, mut hashes) = (Vec::new(), Vec::new(), Vec::new());
        for name in from {
            let recording = match find::resolve(name, Path::new(""), logbook)? {
                RunRef::Folder(path) => of_run(&path, folder, rig, sensors)?,
                RunRef::Table(path) => of_table(&path, folder, rig, columns)?,
            };
            names
                .push(Path::new(name).file_name().map_or(name.clone(), |n| n.to_string_lossy().into_owned()));
            hashes.push(recording.provenance.data_hash.clone());
            recordings.push(recording);
        }
        let hash = match hashes.as_slice() {
            [one] => one.clone(),
            several => blake3::hash(several.join("\n").as_bytes()).to_hex().to_string(),
        };
        Ok(Self { recordings, name: names.join(", "), hash })
    }

    /// The rests of a sensor in its positions; none named: as many as there are.
    ///
    /// # Errors
    /// Where it does not rest, or in another number of positions.
    pub fn rests(
        &self,
        sensor: &Sensor,
        place: usize,
        positions: Option<usize>,
    ) -> Result<Vec<Rest>, Failure> {
        match self.recordings.as_slice() {
            [one] => Ok(rests(sensor, place, one, positions)?),
            several => {
                if positions.is_some_and(|wanted| wanted != several.len()) {
                    let wanted = positions.unwrap_or_default();
                    return Err(CalibrateJobError::Recordings { given: several.len(), wanted }.into());
                }
                let each = several.iter().map(|recording| first_rest(sensor, place, recording));
                Ok(each.collect::<Result<_, _>>()?)
            }
        }
    }

    /// The first rest of a sensor.
    ///
    /// # Errors
    /// Where it has no readings or does not rest.
    pub fn first(&self, sensor: &Sensor, place: usize) -> Result<Rest, Failure> {
        let first = self.recordings.first().ok_or(CalibrateJobError::NoSource)?;
        Ok(first_rest(sensor, place, first)?)
    }

    /// Whether there are readings of a sensor at all.
    pub fn have(&self, place: usize) -> bool {
        let has =
            |r: &Recording| r.series.get(place).is_some_and(|all| all.iter().all(|s| !s.t_s.is_empty()));
        self.recordings.first().is_some_and(has)
    }
}

fn of_run(path: &Path, folder: &VehicleFolder, rig: &Rig, sensors: &[&Sensor]) -> Result<Recording, Failure> {
    let run = RunFolder::open(path)?;
    let then = own_copy::rig(&run, &own_copy::vehicle(&run)?)?;
    for sensor in sensors {
        let was = then.sensors.iter().find(|s| s.name == sensor.name).map(fitted);
        let now = folder.rig.sensors.iter().find(|s| s.name == sensor.name).map(fitted).unwrap_or_default();
        let what = was.map_or_else(|| Some("name".to_owned()), |was| changed(&was, &now));
        if let Some(what) = what {
            let sensor = sensor.name.clone();
            return Err(CalibrateJobError::OtherRig { run: run.name(), sensor, what }.into());
        }
    }
    Ok(run.read(rig, &folder.centres())?)
}

fn of_table(path: &Path, folder: &VehicleFolder, rig: &Rig, columns: &Choices) -> Result<Recording, Failure> {
    let file = File::open(path).map_err(|source| CalibrateJobError::Open { path: path.into(), source })?;
    let choices = Choices { no_phases: true, ..columns.clone() };
    let read = table::read(file, rig, &folder.centres(), None, &choices);
    Ok(read.map_err(|source| CalibrateJobError::Table { path: path.into(), source })?)
}
