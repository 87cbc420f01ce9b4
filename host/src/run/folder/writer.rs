//! Appends to a run while it records.

use super::{ARRIVALS, FolderError, MARKS, WIRE, sync_folder};
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
    synced_us: u64,
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
        let writer = Self {
            wire: Appending::open(run.join(WIRE))?,
            arrivals: Appending::open(run.join(ARRIVALS))?,
            marks: Appending::open(run.join(MARKS))?,
            offset: 0,
            synced_us: 0,
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
        let mut arrival = self.offset.to_le_bytes().to_vec();
        arrival.extend_from_slice(&host_us.to_le_bytes());
        self.wire.append(bytes)?;
        self.offset += bytes.len() as u64;
        self.arrivals.append(&arrival)?;
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
        self.sync()
    }
}
