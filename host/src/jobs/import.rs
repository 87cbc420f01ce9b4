//! `import`: a table of readings becomes a run.

use super::vehicle_folder::{VehicleFolder, run_name, time_text};
use crate::explain::{Explain, Failure, Status};
use crate::run::folder::{RunFolder, TABLE};
use crate::run::header::{FORMAT, Header, Source};
use crate::run::plan::Test;
use crate::run::table::{self, Choices, TableError};
use crate::run::{Facts, Phase, Recording};
use jiff::ZonedDateTime;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// What to import.
#[derive(Debug, Clone)]
pub struct Request {
    /// The table.
    pub table: PathBuf,
    /// The folder of the vehicle that it belongs to.
    pub vehicle_folder: PathBuf,
    /// The test, for a table without a phase column.
    pub test: Option<Test>,
    /// Angle of the ramp, taped distances, notes.
    pub facts: Facts,
    /// Now.
    pub now: ZonedDateTime,
}

/// A table that became a run.
#[derive(Debug, Clone)]
pub struct Imported {
    /// The run's name.
    pub name: String,
    /// Its folder.
    pub folder: PathBuf,
    /// What it holds: counts, phases, remarks.
    pub recording: Recording,
}

/// Why a table did not become a run.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// The table cannot be opened.
    #[error("{} cannot be read: {source}", .path.display())]
    Open {
        /// The table.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The table is wrong.
    #[error("{}: {source}", .path.display())]
    Table {
        /// The table.
        path: PathBuf,
        /// What is wrong.
        source: TableError,
    },
}

impl Explain for ImportError {
    fn status(&self) -> Status {
        match self {
            Self::Open { source, .. }
                if matches!(source.kind(), io::ErrorKind::NotFound | io::ErrorKind::IsADirectory) =>
            {
                Status::BadInput
            }
            Self::Open { .. } => Status::Device,
            Self::Table { source, .. } => source.status(),
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            Self::Open { .. } => Some("Check the name and the folder you are in.".to_owned()),
            Self::Table { source, .. } => source.hint(),
        }
    }
}

/// Readings of a channel that an import keeps in memory: enough to tell phases from, whatever the table's size.
const MOST_READINGS: usize = 1 << 17;

/// Bytes between two words on how far the reading is.
const TOLD_EVERY: u64 = 1 << 23;

/// Makes a run from a table whose columns are in the rig file's units.
///
/// # Errors
/// As [`run_with`].
pub fn run(request: &Request) -> Result<Imported, Failure> {
    run_with(request, &Choices::default(), &mut |_| {})
}

/// How far an import is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Bytes of the table that were read.
    pub read: u64,
    /// Bytes that it has.
    pub of: u64,
}

/// Makes a run from a table. The table is copied first and read from the copy, so that the run holds what was read. Memory
/// does not grow with the table: of a long one the recording that is given back holds every so many-th reading.
///
/// # Errors
/// Where the vehicle's files or the table are missing or wrong, or the disk refuses; then nothing is left behind.
pub fn run_with(
    request: &Request,
    choices: &Choices,
    progress: &mut dyn FnMut(Progress),
) -> Result<Imported, Failure> {
    let folder = VehicleFolder::load(&request.vehicle_folder)?;
    let open = |source| ImportError::Open { path: request.table.clone(), source };
    let mut table = File::open(&request.table).map_err(open)?;
    if request.table.is_dir() {
        return Err(open(io::ErrorKind::IsADirectory.into()).into());
    }
    let draft = folder.begin_run()?;
    draft.copy(TABLE, &mut table)?;
    let wrong = |source| ImportError::Table { path: request.table.clone(), source };
    let copy = draft.read(TABLE)?;
    let of = copy.metadata().map_or(0, |meta| meta.len());
    let source = Told { source: copy, read: 0, told: 0, of, progress };
    let bounded = Choices { most_readings: Some(MOST_READINGS), ..choices.clone() };
    let mut recording =
        table::read(source, &folder.rig, &folder.centres(), request.test, &bounded).map_err(wrong)?;
    let phases: Vec<Phase> = recording.phases.iter().map(|s| s.phase).collect();
    let mut header = header(request);
    header.table_hash = Some(recording.provenance.data_hash.clone());
    header.table_units = choices.units.iter().map(|unit| unit.word.to_owned()).collect();
    folder.describe(&draft, &mut header)?;
    let path = draft.publish(&run_name(&request.now, request.test, &phases))?;
    let run = RunFolder { path, header };
    run.name_origin(&mut recording);
    Ok(Imported { name: run.name(), folder: run.path, recording })
}

fn header(request: &Request) -> Header {
    let mut header = Header {
        format: FORMAT,
        source: Source::Table,
        started: time_text(&request.now),
        test: None,
        plan: Vec::new(),
        ramp_angle_rad: None,
        taped_left_m: None,
        taped_right_m: None,
        load_n: None,
        notes: String::new(),
        vehicle_hash: String::new(),
        rig_hash: String::new(),
        calibration_hash: None,
        table_name: Some(file_name(&request.table)),
        table_units: Vec::new(),
        table_hash: None,
        logger: None,
        stored: None,
    };
    let test = request.test.map(|t| t.words().to_owned()).or_else(|| request.facts.test.clone());
    header.set_facts(&Facts { test, ..request.facts.clone() });
    header
}

/// Hands bytes on, and says from time to time how many there were.
struct Told<'a, R> {
    source: R,
    read: u64,
    told: u64,
    of: u64,
    progress: &'a mut dyn FnMut(Progress),
}

impl<R: io::Read> io::Read for Told<'_, R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.source.read(buffer)?;
        self.read += count as u64;
        if self.read - self.told >= TOLD_EVERY {
            self.told = self.read;
            (self.progress)(Progress { read: self.read, of: self.of });
        }
        Ok(count)
    }
}

/// The last part of a path.
pub(super) fn file_name(path: &Path) -> String {
    path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::vehicle_folder::tests::{logbook_with_rig, some_time};
    use std::fs;

    const RIG: &str = r#"
format = 1
[[sensor]]
name = "left"
kind = "draw-wire"
chassis = [0, 500, 1000]
axle = [0, 620, 460]
"#;
    const TABLE_TEXT: &str = "t_s;phase;left;oil\r\n0,0;still;540,5;1\r\n0,1;ramp left;541;1\r\n";

    fn request(vehicle_folder: PathBuf, text: &str) -> Request {
        let table = vehicle_folder.join("day one.csv");
        fs::write(&table, text).unwrap();
        let facts = Facts { ramp_angle_rad: Some(0.35), notes: "dry".into(), ..Facts::default() };
        Request { table, vehicle_folder, test: None, facts, now: some_time() }
    }

    #[test]
    fn a_table_becomes_a_run_that_reads_the_same() {
        let (_dir, vehicle) = logbook_with_rig(RIG);
        let request = request(vehicle.clone(), TABLE_TEXT);
        let first = run(&request).map_err(|e| e.to_string()).unwrap();
        assert_eq!(first.name, "2026-11-25-1412-ramp");
        assert_eq!(fs::read_to_string(first.folder.join(TABLE)).unwrap(), TABLE_TEXT);
        let opened = RunFolder::open(&first.folder).unwrap();
        assert_eq!(opened.header.table_name.as_deref(), Some("day one.csv"));
        let folder = VehicleFolder::load(&vehicle).map_err(|e| e.to_string()).unwrap();
        assert_eq!(opened.read(&folder.rig, &folder.centres()).unwrap(), first.recording);
        let second = run(&request).map_err(|e| e.to_string()).unwrap();
        assert_eq!(second.name, "2026-11-25-1412-ramp-2");
    }

    #[test]
    fn a_wrong_table_leaves_nothing_behind() {
        let (_dir, vehicle) = logbook_with_rig(RIG);
        let request = request(vehicle.clone(), &TABLE_TEXT.replace("541", "high"));
        let error = run(&request).err().unwrap();
        assert_eq!(error.status(), Status::BadInput);
        let told = error.to_string();
        assert!(told.ends_with("day one.csv: line 3, column 3 (left): \"high\" is not a number"), "{told}");
        assert_eq!(fs::read_dir(vehicle.join("runs")).unwrap().count(), 0);
        let missing = Request { table: vehicle.join("none.csv"), ..request };
        assert_eq!(run(&missing).err().unwrap().status(), Status::BadInput);
    }
}
