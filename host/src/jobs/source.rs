//! What a command was pointed at: a table of readings or a run folder, with the vehicle and the rig that go with it.

use super::own_copy;
use crate::calibrate::rest::first_rest;
use crate::calibrate::zero;
use crate::explain::{Explain, Failure, Status};
use crate::files::logbook::{Logbook, RIG_FILE, VEHICLE_FILE};
use crate::files::{Quantity, instant_us};
use crate::geometry::Vector3;
use crate::rig::calibration::file::load_if_there;
use crate::rig::calibration::{CALIBRATION_FILE, Calibration, Found, Standing, overlay};
use crate::rig::{self, Rig};
use crate::run::Recording;
use crate::run::find::{self, RunRef};
use crate::run::folder::RunFolder;
use crate::run::plan::Test;
use crate::run::table::{self, Choices, TableError};
use crate::vehicle::{self, Vehicle, plausible};
use std::fs::File;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What the caller said of a run.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// A table's path, a run folder's path, a run's name, or VEHICLE/NAME.
    pub run: String,
    /// The vehicle file to use instead of the run's own.
    pub vehicle: Option<PathBuf>,
    /// The rig file to use instead of the run's own.
    pub rig: Option<PathBuf>,
    /// The test of a table without a phase column.
    pub test: Option<Test>,
    /// Angle of the ramp, rad, where the run does not say.
    pub ramp_angle_rad: Option<f64>,
    /// How a bare table is read.
    pub table: Choices,
    /// The logbook that was named, instead of the nearest one.
    pub logbook: Option<PathBuf>,
    /// Which calibration is laid over the rig.
    pub calibration: Which,
    /// Now, µs since 1970: how old a calibration is for a bare table. A run has a date of its own.
    pub now_us: Option<i64>,
}

/// Which calibration is laid over a rig.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Which {
    /// The one that the run was recorded with, or the one beside the rig file.
    #[default]
    Own,
    /// None.
    None,
    /// This file's.
    File(PathBuf),
}

/// A run ready to be measured.
#[derive(Debug, Clone)]
pub struct Source {
    /// The vehicle as drawn.
    pub vehicle: Vehicle,
    /// The rig.
    pub rig: Rig,
    /// What the sensors saw.
    pub recording: Recording,
    /// Where the calibration that was laid over the rig stands; empty without one.
    pub calibration: Vec<Standing>,
}

/// Why a run cannot be opened.
#[derive(Debug, Error)]
pub enum SourceError {
    /// A table without its vehicle or rig file.
    #[error("{table} is a table of readings, and there is no {missing} beside it")]
    NoFile {
        /// The table.
        table: PathBuf,
        /// The missing file's name.
        missing: &'static str,
    },
    /// The table is wrong.
    #[error("{path}: {source}")]
    Table {
        /// The table.
        path: PathBuf,
        /// What is wrong.
        source: TableError,
    },
    /// The table cannot be opened.
    #[error("cannot open {path}: {source}")]
    Open {
        /// The table.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// There is no such calibration file.
    #[error("there is no calibration file {}", .0.display())]
    NoCalibration(PathBuf),
}

impl Explain for SourceError {
    fn status(&self) -> Status {
        match self {
            SourceError::Table { source, .. } => source.status(),
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            SourceError::NoFile { missing, .. } => {
                let flag = missing.trim_end_matches(".toml");
                Some(format!("say which: --{flag} FILE"))
            }
            SourceError::Table { source, .. } => source.hint(),
            SourceError::Open { .. } | SourceError::NoCalibration(_) => {
                Some("check the name and the folder you are in".into())
            }
        }
    }
}

/// Opens what `request` names: a table with the files beside it, or a run folder with its own copies.
///
/// # Errors
/// Where a file is missing or wrong, or no run or several are meant.
pub fn open(request: &Request) -> Result<Source, Failure> {
    let logbook = match Logbook::find(request.logbook.as_deref(), Path::new(".")) {
        Ok(logbook) => Some(logbook),
        Err(error) if request.logbook.is_some() => return Err(error.into()),
        Err(_) => None,
    };
    let mut source = match find::resolve(&request.run, Path::new(""), logbook.as_ref())? {
        RunRef::Table(path) => open_table(request, &path)?,
        RunRef::Folder(path) => open_folder(request, &path)?,
    };
    see_still(&mut source);
    source.recording.remarks.splice(0..0, plausible::of_vehicle(&source.vehicle));
    let facts = &mut source.recording.facts;
    facts.ramp_angle_rad = request.ramp_angle_rad.or(facts.ramp_angle_rad);
    source.recording.provenance.vehicle_hash.clone_from(&source.vehicle.hash);
    source.recording.provenance.rig_hash.clone_from(&source.rig.hash);
    Ok(source)
}

/// A still this far from that of a zero is told beside every result, m and rad: as of a ride mark.
const OTHER_RIDE_HEIGHT: [f64; 2] = [0.010, 0.0175];

/// Compares the run's own still with the one at which its sensors were zeroed.
fn see_still(source: &mut Source) {
    let Source { rig, recording, calibration, .. } = source;
    for standing in calibration.iter_mut().filter(|s| s.void.is_none()) {
        let Found::Zero(zero) = &standing.entry.found else { continue };
        let found = rig.sensors.iter().enumerate().find(|(_, s)| s.name == standing.entry.sensor);
        let Some((place, sensor)) = found else { continue };
        let rest = first_rest(sensor, place, recording).ok();
        standing.since =
            rest.zip(sensor.reading()).and_then(|(rest, reading)| zero::since(reading, &rest, zero));
        let angle = standing.quantity == Some(Quantity::Angle);
        if let Some((change, _)) = standing.since
            && change.abs() > OTHER_RIDE_HEIGHT[usize::from(angle)]
        {
            let (size, unit) = if angle { (change.to_degrees(), "°") } else { (change * 1e3, " mm") };
            recording.remarks.push(format!(
                "At the still of this run \"{}\" reads {size:+.1}{unit} against its zero: the vehicle stands at another height, or \
                 the sensor was clipped elsewhere.",
                sensor.name
            ));
        }
    }
}

fn open_table(request: &Request, path: &Path) -> Result<Source, Failure> {
    let vehicle_file = beside(path, request.vehicle.as_deref(), VEHICLE_FILE)?;
    let vehicle = vehicle::file::load(&vehicle_file)?;
    // A rig file beside the table is the run's own; else the one beside the vehicle file that was named is meant.
    let rig_file = beside(path, request.rig.as_deref(), RIG_FILE).or_else(|error| {
        Some(vehicle_file.with_file_name(RIG_FILE)).filter(|file| file.is_file()).ok_or(error)
    })?;
    let mut rig = rig::file::load(&rig_file, &vehicle)?;
    let calibration = calibrated(request, &rig_file.with_file_name(CALIBRATION_FILE))?;
    let standings = overlay(&mut rig, &calibration, request.now_us);
    let file = File::open(path).map_err(|source| SourceError::Open { path: path.into(), source })?;
    let mut recording = table::read(file, &rig, &centres(&vehicle), request.test, &request.table)
        .map_err(|source| SourceError::Table { path: path.into(), source })?;
    recording.provenance.run.clone_from(&request.run);
    recording.provenance.calibration_hash = hash_of(&calibration);
    Ok(Source { vehicle, rig, recording, calibration: standings })
}

fn open_folder(request: &Request, path: &Path) -> Result<Source, Failure> {
    let run = RunFolder::open(path)?;
    let vehicle = match &request.vehicle {
        Some(file) => vehicle::file::load(file)?,
        None => own_copy::vehicle(&run)?,
    };
    let mut rig = match &request.rig {
        Some(file) => rig::file::load(file, &vehicle)?,
        None => own_copy::rig(&run, &vehicle)?,
    };
    let beside_rig = request.rig.as_ref().map(|rig| rig.with_file_name(CALIBRATION_FILE));
    let calibration = match beside_rig.filter(|file| file.is_file()) {
        Some(file) => calibrated(request, &file)?,
        None if request.calibration == Which::Own => own_copy::calibration(&run)?,
        None => calibrated(request, &run.calibration_file())?,
    };
    let standings = overlay(&mut rig, &calibration, instant_us(&run.header.started));
    let mut recording = run.read(&rig, &centres(&vehicle))?;
    recording.provenance.calibration_hash = hash_of(&calibration);
    if vehicle.hash != run.header.vehicle_hash {
        recording.remarks.push("The vehicle file is not the one that this run was recorded with.".into());
    }
    if rig.hash != run.header.rig_hash {
        recording.remarks.push("The rig file is not the one that this run was recorded with.".into());
    }
    if recording.provenance.calibration_hash != run.header.calibration_hash {
        recording.remarks.push("The calibration is not the one that this run was recorded with.".into());
    }
    Ok(Source { vehicle, rig, recording, calibration: standings })
}

/// The calibration that is asked for: the one of this file, or another, or none.
fn calibrated(request: &Request, own: &Path) -> Result<Calibration, Failure> {
    Ok(match &request.calibration {
        Which::Own => load_if_there(own)?,
        Which::None => Calibration::default(),
        Which::File(path) if !path.is_file() => return Err(SourceError::NoCalibration(path.clone()).into()),
        Which::File(path) => load_if_there(path)?,
    })
}

/// The hash of a calibration, where there is one.
fn hash_of(calibration: &Calibration) -> Option<String> {
    Some(calibration.hash.clone()).filter(|hash| !hash.is_empty())
}

fn centres(vehicle: &Vehicle) -> Vec<Vector3<f64>> {
    vehicle.axles.iter().map(|axle| axle.centre()).collect()
}

/// The file that was named, else the one beside the table.
fn beside(table: &Path, named: Option<&Path>, name: &'static str) -> Result<PathBuf, SourceError> {
    if let Some(named) = named {
        return Ok(named.to_owned());
    }
    let beside = table.parent().unwrap_or(Path::new("")).join(name);
    if beside.is_file() {
        Ok(beside)
    } else {
        Err(SourceError::NoFile { table: table.to_owned(), missing: name })
    }
}
