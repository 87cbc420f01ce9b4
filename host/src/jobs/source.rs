//! What a command was pointed at: a table of readings or a run folder, with the vehicle and the rig that go with it.

use crate::explain::{Explain, Failure, Status};
use crate::files::logbook::{Logbook, RIG_FILE, VEHICLE_FILE};
use crate::geometry::Vector3;
use crate::rig::{self, Rig};
use crate::run::Recording;
use crate::run::find::{self, RunRef};
use crate::run::folder::RunFolder;
use crate::run::plan::Test;
use crate::run::table::{self, Choices, TableError};
use crate::vehicle::{self, Vehicle};
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
}

impl Explain for SourceError {
    fn status(&self) -> Status {
        match self {
            SourceError::Table { source, .. } => source.status(),
            SourceError::NoFile { .. } | SourceError::Open { .. } => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            SourceError::NoFile { missing, .. } => {
                let flag = missing.trim_end_matches(".toml");
                Some(format!("say which: --{flag} FILE"))
            }
            SourceError::Table { source, .. } => source.hint(),
            SourceError::Open { .. } => Some("check the name and the folder you are in".into()),
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
    let facts = &mut source.recording.facts;
    facts.ramp_angle_rad = request.ramp_angle_rad.or(facts.ramp_angle_rad);
    source.recording.provenance.vehicle_hash.clone_from(&source.vehicle.hash);
    source.recording.provenance.rig_hash.clone_from(&source.rig.hash);
    Ok(source)
}

fn open_table(request: &Request, path: &Path) -> Result<Source, Failure> {
    let vehicle = vehicle::file::load(&beside(path, request.vehicle.as_deref(), VEHICLE_FILE)?)?;
    let rig = rig::file::load(&beside(path, request.rig.as_deref(), RIG_FILE)?, &vehicle)?;
    let file = File::open(path).map_err(|source| SourceError::Open { path: path.into(), source })?;
    let mut recording = table::read(file, &rig, &centres(&vehicle), request.test, &request.table)
        .map_err(|source| SourceError::Table { path: path.into(), source })?;
    recording.provenance.run.clone_from(&request.run);
    Ok(Source { vehicle, rig, recording })
}

fn open_folder(request: &Request, path: &Path) -> Result<Source, Failure> {
    let run = RunFolder::open(path)?;
    let own = |named: &Option<PathBuf>, copy: PathBuf| named.clone().unwrap_or(copy);
    let vehicle = vehicle::file::load(&own(&request.vehicle, run.vehicle_file()))?;
    let rig = rig::file::load(&own(&request.rig, run.rig_file()), &vehicle)?;
    let mut recording = run.read(&rig, &centres(&vehicle))?;
    if vehicle.hash != run.header.vehicle_hash {
        recording.remarks.push("The vehicle file is not the one that this run was recorded with.".into());
    }
    if rig.hash != run.header.rig_hash {
        recording.remarks.push("The rig file is not the one that this run was recorded with.".into());
    }
    Ok(Source { vehicle, rig, recording })
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
