//! Run folders: one folder per run, made whole or not at all, never overwritten, readable after a crash at any byte.
//!
//! `FORMAT.md` beside this folder describes every file in it.

mod draft;
mod repair;
mod verify;
mod writer;

#[cfg(test)]
mod tests;

pub use draft::Draft;
pub use repair::{Repair, Repaired, is_mendable, repair};
pub use verify::{Checked, Found, is_recording, verify};
pub use writer::{Keep, Writer};

use super::header::{Header, HeaderError, Source};
use super::marks::{self, Mark};
use super::plan::Test;
use super::table::{self, Choices, ColumnUnit, TableError};
use super::wire::{Context, WireReader};
use super::{Facts, Recording};
use crate::explain::{Explain, Status};
use crate::geometry::Vector3;
use crate::rig::Rig;
use std::fs::File;
use std::io::{self, BufReader, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// The header.
pub const HEADER: &str = "run.toml";
/// Copy of the vehicle file as it was.
pub const VEHICLE: &str = "vehicle.toml";
/// Copy of the rig file as it was.
pub const RIG: &str = "rig.toml";
/// Copy of the calibration as it was, where there is one.
pub const CALIBRATION: &str = "calibration.toml";
/// The bytes off the wire, as they came.
pub const WIRE: &str = "wire.bin";
/// When they came.
pub const ARRIVALS: &str = "arrivals.bin";
/// Marks.
pub const MARKS: &str = "marks.jsonl";
/// The table of an imported run.
pub const TABLE: &str = "table.csv";

/// What the header is written as before it has its name.
const FRESH_HEADER: &str = ".run.toml.new";
/// An empty file that is locked while a program appends to the run.
const RECORDING: &str = ".recording";

/// Bytes of one record of the arrivals: offset and host time, 64 bits each, lowest byte first.
pub const ARRIVAL_BYTES: usize = 16;

/// Pieces in which a wire log is read.
const PIECE: usize = 64 * 1024;

/// Why a run folder cannot be made, written or read.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The folder is no run.
    #[error("{} is not a run: it has no {HEADER}", .0.display())]
    NotARun(PathBuf),
    /// The header makes no sense.
    #[error("{}: {source}", .path.display())]
    Header {
        /// The header's path.
        path: PathBuf,
        /// What is wrong.
        source: HeaderError,
    },
    /// The disk is full.
    #[error("the disk is full: {} could not be written", .0.display())]
    DiskFull(PathBuf),
    /// Something else with the disk.
    #[error("{}: {source}", .path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The table in the folder is wrong.
    #[error("{}: {source}", .path.display())]
    Table {
        /// The table's path.
        path: PathBuf,
        /// What is wrong.
        source: TableError,
    },
}

impl FolderError {
    /// An I/O error at a path; a full disk is told apart.
    pub fn io(path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| match source.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
                Self::DiskFull(path)
            }
            _ => Self::Io { path, source },
        }
    }
}

impl Explain for FolderError {
    fn status(&self) -> Status {
        match self {
            Self::NotARun(_) | Self::Header { .. } => Status::BadInput,
            Self::DiskFull(_) => Status::Device,
            Self::Io { source, .. } if source.kind() == ErrorKind::NotFound => Status::BadInput,
            Self::Io { .. } => Status::Device,
            Self::Table { source, .. } => source.status(),
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            Self::NotARun(_) => Some("Name a folder below VEHICLE/runs, or a run by its name.".into()),
            Self::Header { source: HeaderError::Newer { .. }, .. } => {
                Some("Read it with the version of this program that wrote it, or a newer one.".into())
            }
            Self::Header { .. } => Some(
                "hingeline runs repair makes it anew from what is beside it; wire.bin and marks.jsonl are untouched."
                    .into(),
            ),
            Self::DiskFull(_) => Some(
                "What was written before is kept. Free some space on that disk and record the rest as another run; \
                 hingeline runs repair ends this one properly."
                    .into(),
            ),
            Self::Io { .. } => None,
            Self::Table { source, .. } => source.hint(),
        }
    }
}

/// A run on the disk.
#[derive(Debug, Clone, PartialEq)]
pub struct RunFolder {
    /// Its folder.
    pub path: PathBuf,
    /// Its header.
    pub header: Header,
}

impl RunFolder {
    /// Opens a run.
    ///
    /// # Errors
    /// When the folder is no run, or of a newer format.
    pub fn open(path: &Path) -> Result<Self, FolderError> {
        let file = path.join(HEADER);
        let bytes = std::fs::read(&file).map_err(|e| match e.kind() {
            ErrorKind::NotFound | ErrorKind::NotADirectory => FolderError::NotARun(path.to_owned()),
            _ => FolderError::io(&file)(e),
        })?;
        let header = match std::str::from_utf8(&bytes) {
            Ok(text) => Header::parse(text),
            Err(_) => Err(HeaderError::Wrong("it is not UTF-8 text".into())),
        };
        let header = header.map_err(|source| FolderError::Header { path: file, source })?;
        Ok(Self { path: path.to_owned(), header })
    }

    /// The run's name.
    pub fn name(&self) -> String {
        self.path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
    }

    /// The vehicle file as it was.
    pub fn vehicle_file(&self) -> PathBuf {
        self.path.join(VEHICLE)
    }

    /// The rig file as it was.
    pub fn rig_file(&self) -> PathBuf {
        self.path.join(RIG)
    }

    /// The calibration as it was; the file is there only where the vehicle had one.
    pub fn calibration_file(&self) -> PathBuf {
        self.path.join(CALIBRATION)
    }

    /// Changes what a person typed in (a taped distance, a note). The header is replaced as a whole or not at all.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn set_facts(&mut self, facts: &Facts) -> Result<(), FolderError> {
        self.header.set_facts(facts);
        let path = self.path.join(HEADER);
        let text =
            self.header.to_text().map_err(|source| FolderError::Header { path: path.clone(), source })?;
        let fresh = self.path.join(FRESH_HEADER);
        write_synced(&fresh, text.as_bytes())?;
        std::fs::rename(&fresh, &path).map_err(FolderError::io(&path))?;
        sync_folder(&self.path)
    }

    /// Its marks, and how many lines of them made no sense.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn marks(&self) -> Result<(Vec<Mark>, usize), FolderError> {
        Ok(marks::parse(&self.read_if_there(MARKS)?))
    }

    /// The run as a recording. `rig` is the rig of [`Self::rig_file`]; `centres` are the axle centres at ride height, m.
    ///
    /// # Errors
    /// When a file cannot be read, or the table is wrong. A wire log is read as far as it goes and never wrong.
    pub fn read(&self, rig: &Rig, centres: &[Vector3<f64>]) -> Result<Recording, FolderError> {
        let test = self.header.test.as_deref().and_then(Test::parse);
        let mut recording = match self.header.source {
            Source::Table => self.read_table(rig, centres, test)?,
            Source::Wire | Source::Store => self.read_wire(rig, centres, test)?,
        };
        self.name_origin(&mut recording);
        Ok(recording)
    }

    /// Says in a recording which run it is of: what was typed in, hashes, when it was recorded, by which firmware.
    pub fn name_origin(&self, recording: &mut Recording) {
        // What was noted during the recording stands below what was typed in beforehand.
        let noted = std::mem::replace(&mut recording.facts, self.header.facts()).notes;
        let notes = [std::mem::take(&mut recording.facts.notes), noted];
        recording.facts.notes = notes.into_iter().filter(|n| !n.is_empty()).collect::<Vec<_>>().join("\n");
        recording.provenance.run = self.name();
        recording.provenance.vehicle_hash.clone_from(&self.header.vehicle_hash);
        recording.provenance.rig_hash.clone_from(&self.header.rig_hash);
        recording.provenance.calibration_hash.clone_from(&self.header.calibration_hash);
        recording.provenance.recorded = Some(self.header.started.clone());
        if let Some(logger) = &self.header.logger {
            recording.provenance.firmware = Some(format!("{} build {}", logger.firmware, logger.build));
        }
    }

    fn read_table(
        &self,
        rig: &Rig,
        centres: &[Vector3<f64>],
        test: Option<Test>,
    ) -> Result<Recording, FolderError> {
        let path = self.path.join(TABLE);
        let file = File::open(&path).map_err(FolderError::io(&path))?;
        // What was imported was checked then: a column that was left out stays out.
        let units = self.header.table_units.iter().filter_map(|word| ColumnUnit::parse(word)).collect();
        let choices = Choices { units, ignore_unknown: true, most_readings: None, no_phases: false };
        table::read(file, rig, centres, test, &choices).map_err(|source| FolderError::Table { path, source })
    }

    fn read_wire(
        &self,
        rig: &Rig,
        centres: &[Vector3<f64>],
        test: Option<Test>,
    ) -> Result<Recording, FolderError> {
        let (marks, bad_marks) = self.marks()?;
        let arrivals = arrivals(&self.read_if_there(ARRIVALS)?);
        let path = self.path.join(WIRE);
        let mut reader = WireReader::new(rig);
        let mut hasher = blake3::Hasher::new();
        match File::open(&path) {
            Ok(file) => {
                let mut file = BufReader::with_capacity(PIECE, file);
                feed(&mut file, &arrivals, &mut hasher, &mut reader).map_err(FolderError::io(&path))?;
            }
            Err(e) if e.kind() == ErrorKind::NotFound => {}
            Err(e) => return Err(FolderError::io(&path)(e)),
        }
        let context = Context { marks: &marks, plan: &self.header.plan, test, centres };
        let mut recording = reader.finish(&context);
        recording.provenance.data_hash = hasher.finalize().to_hex().to_string();
        let bytes = std::fs::metadata(&path).map_or(0, |m| m.len());
        if arrivals.last().is_some_and(|(offset, _)| *offset >= bytes) {
            recording.remarks.push(format!(
                "The readings end early: {WIRE} has {bytes} bytes, and more arrived. What comes after is missing here; `hingeline runs verify` tells more."
            ));
        }
        if bad_marks > 0 {
            recording.remarks.push(format!("Lines of the marks that make no sense, left out: {bad_marks}."));
        }
        Ok(recording)
    }

    fn read_if_there(&self, name: &str) -> Result<Vec<u8>, FolderError> {
        let path = self.path.join(name);
        match std::fs::read(&path) {
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(Vec::new()),
            other => other.map_err(FolderError::io(&path)),
        }
    }
}

/// Offsets in the wire log and host times, µs, as far as they are whole.
fn arrivals(bytes: &[u8]) -> Vec<(u64, u64)> {
    let number = |bytes: &[u8]| bytes.iter().rev().fold(0_u64, |n, b| n << 8 | u64::from(*b));
    bytes
        .chunks_exact(ARRIVAL_BYTES)
        .map(|record| record.split_at(ARRIVAL_BYTES / 2))
        .map(|(offset, time)| (number(offset), number(time)))
        .collect()
}

/// One record of the arrivals.
fn arrival(offset: u64, host_us: u64) -> [u8; ARRIVAL_BYTES] {
    let mut record = [0; ARRIVAL_BYTES];
    let (first, second) = record.split_at_mut(ARRIVAL_BYTES / 2);
    first.copy_from_slice(&offset.to_le_bytes());
    second.copy_from_slice(&host_us.to_le_bytes());
    record
}

/// Feeds a wire log, every byte with the time at which it arrived.
fn feed(
    file: &mut impl Read,
    arrivals: &[(u64, u64)],
    hasher: &mut blake3::Hasher,
    reader: &mut WireReader,
) -> io::Result<()> {
    let mut arrivals = arrivals.iter().copied().peekable();
    let mut piece = vec![0; PIECE];
    let (mut offset, mut host_us) = (0_u64, None);
    loop {
        let count = match file.read(&mut piece) {
            Ok(0) => return Ok(()),
            Err(e) if e.kind() == ErrorKind::Interrupted => continue,
            other => other?,
        };
        let mut rest = piece.get(..count).unwrap_or_default();
        hasher.update(rest);
        while !rest.is_empty() {
            while let Some((_, at_us)) = arrivals.next_if(|(from, _)| *from <= offset) {
                host_us = Some(at_us);
            }
            let until = arrivals.peek().map_or(u64::MAX, |(from, _)| from - offset);
            let take = usize::try_from(until).unwrap_or(usize::MAX).min(rest.len());
            let (now, later) = rest.split_at(take);
            reader.feed(now, host_us);
            offset += take as u64;
            rest = later;
        }
    }
}

/// Writes a small file and waits until the disk has it.
fn write_synced(path: &Path, bytes: &[u8]) -> Result<(), FolderError> {
    let write = || {
        let mut file = File::create(path)?;
        file.write_all(bytes)?;
        file.sync_all()
    };
    write().map_err(FolderError::io(path))
}

/// Waits until the disk knows the names in a folder. Where folders cannot be opened there is nothing to wait for.
fn sync_folder(path: &Path) -> Result<(), FolderError> {
    match File::open(path) {
        Ok(folder) if cfg!(unix) => folder.sync_all().map_err(FolderError::io(path)),
        _ => Ok(()),
    }
}
