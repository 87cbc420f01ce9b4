//! Appends to a run while it records.

use super::{ARRIVALS, FolderError, MARKS, RECORDING, WIRE, arrival, sync_folder};
use crate::run::marks::Mark;
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

/// How often the disk is made to have what was appended, µs: what a power cut can cost.
pub const SYNC_EVERY_US: u64 = 5_000_000;

/// Where a recording goes.
pub trait Keep {
    /// Appends bytes that arrived at `host_us` (µs since the recording began).
    ///
    /// # Errors
    /// When they cannot be kept; what was kept before stays.
    fn append(&mut self, bytes: &[u8], host_us: u64) -> Result<(), FolderError>;

    /// Appends a mark.
    ///
    /// # Errors
    /// When it cannot be kept.
    fn mark(&mut self, mark: &Mark) -> Result<(), FolderError>;

    /// Nothing more will come.
    ///
    /// # Errors
    /// When the disk does not take what is still on its way.
    fn close(&mut self) -> Result<(), FolderError>;
}

/// A published run's files, open for appending.
///
/// Every append goes to the system at once (no buffer of our own), first the bytes, then their arrival: a program that
/// crashes loses nothing. The disk is made to have them every 5 s, at every mark and at the end: a power cut loses 5 s.
#[derive(Debug)]
pub struct Writer {
    wire: Appending,
    arrivals: Appending,
    marks: Appending,
    offset: u64,
    hasher: blake3::Hasher,
    /// Whether every append so far went through whole.
    sound: bool,
    synced_us: u64,
    run: PathBuf,
    /// Locked as long as this writer lives.
    _recording: File,
}

#[derive(Debug)]
struct Appending {
    path: PathBuf,
    file: File,
}

impl Appending {
    fn open(path: PathBuf) -> Result<Self, FolderError> {
        let file =
            OpenOptions::new().create(true).append(true).open(&path).map_err(FolderError::io(&path))?;
        Ok(Self { path, file })
    }

    fn append(&mut self, bytes: &[u8]) -> Result<(), FolderError> {
        self.file.write_all(bytes).map_err(FolderError::io(&self.path))
    }

    fn sync(&self) -> Result<(), FolderError> {
        self.file.sync_data().map_err(FolderError::io(&self.path))
    }
}

impl Writer {
    /// Opens a run that was just published.
    ///
    /// # Errors
    /// When its files cannot be made.
    pub fn open(run: &Path) -> Result<Self, FolderError> {
        let path = run.join(RECORDING);
        let recording = File::create(&path).map_err(FolderError::io(&path))?;
        // A file system without locks only means that nobody can see that this run is being recorded.
        let _ = recording.try_lock();
        let writer = Self {
            wire: Appending::open(run.join(WIRE))?,
            arrivals: Appending::open(run.join(ARRIVALS))?,
            marks: Appending::open(run.join(MARKS))?,
            offset: 0,
            hasher: blake3::Hasher::new(),
            sound: true,
            synced_us: 0,
            run: run.to_owned(),
            _recording: recording,
        };
        sync_folder(run)?;
        Ok(writer)
    }

    fn sync(&self) -> Result<(), FolderError> {
        self.wire.sync()?;
        self.arrivals.sync()?;
        self.marks.sync()
    }
}

impl Keep for Writer {
    fn append(&mut self, bytes: &[u8], host_us: u64) -> Result<(), FolderError> {
        if bytes.is_empty() {
            return Ok(());
        }
        let record = arrival(self.offset, host_us);
        // A write that fails may have written a part: then nobody can vouch for what is there.
        self.sound = false;
        self.wire.append(bytes)?;
        self.sound = true;
        self.hasher.update(bytes);
        self.offset += bytes.len() as u64;
        self.arrivals.append(&record)?;
        if host_us.saturating_sub(self.synced_us) >= SYNC_EVERY_US {
            self.sync()?;
            self.synced_us = host_us;
        }
        Ok(())
    }

    fn mark(&mut self, mark: &Mark) -> Result<(), FolderError> {
        self.marks.append(mark.line().as_bytes())?;
        self.marks.sync()
    }

    fn close(&mut self) -> Result<(), FolderError> {
        if self.sound {
            let wire_hash = self.hasher.finalize().to_hex().to_string();
            self.mark(&Mark::Seal { wire_bytes: self.offset, wire_hash })?;
        }
        self.sync()?;
        // Whoever looks for it knows by its lock, which ends with this program, that nobody records.
        let _ = std::fs::remove_file(self.run.join(RECORDING));
        Ok(())
    }
}
