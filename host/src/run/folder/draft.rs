//! A run folder in the making: filled out of sight, then given its name in one step.

use super::{CALIBRATION, FolderError, HEADER, RIG, VEHICLE, sync_folder, write_synced};
use crate::run::header::Header;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// Most suffixes that are tried before a name counts as taken for good.
const MOST_SUFFIXES: u32 = 10_000;

/// A folder that is no run yet. Dropped before it is published, it is removed.
#[derive(Debug)]
pub struct Draft {
    runs: PathBuf,
    path: PathBuf,
    published: bool,
}

impl Draft {
    /// Begins a run below `runs`, which is made if it is not there.
    ///
    /// # Errors
    /// When the folder cannot be made.
    pub fn begin(runs: &Path) -> Result<Self, FolderError> {
        fs::create_dir_all(runs).map_err(FolderError::io(runs))?;
        for n in 0..MOST_SUFFIXES {
            let path = runs.join(format!(".draft-{}-{n}", std::process::id()));
            match fs::create_dir(&path) {
                Ok(()) => return Ok(Self { runs: runs.to_owned(), path, published: false }),
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(FolderError::io(&path)(e)),
            }
        }
        Err(FolderError::io(runs)(io::ErrorKind::AlreadyExists.into()))
    }

    /// Where it is while it is made.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Puts in the vehicle and rig files as they are now, the calibration where there is one, and the header, whose hashes
    /// are set from them.
    ///
    /// # Errors
    /// When a file cannot be written.
    pub fn describe(
        &self,
        header: &mut Header,
        vehicle: &[u8],
        rig: &[u8],
        calibration: Option<&[u8]>,
    ) -> Result<(), FolderError> {
        let hash = |bytes: &[u8]| blake3::hash(bytes).to_hex().to_string();
        header.vehicle_hash = hash(vehicle);
        header.rig_hash = hash(rig);
        header.calibration_hash = calibration.map(hash);
        let path = self.path.join(HEADER);
        let text = header.to_text().map_err(|source| FolderError::Header { path, source })?;
        self.write(VEHICLE, vehicle)?;
        self.write(RIG, rig)?;
        if let Some(bytes) = calibration {
            self.write(CALIBRATION, bytes)?;
        }
        self.write(HEADER, text.as_bytes())
    }

    /// Puts in a small file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), FolderError> {
        write_synced(&self.path.join(name), bytes)
    }

    /// Puts in a file of any size from a source.
    ///
    /// # Errors
    /// When it cannot be written, or the source not be read.
    pub fn copy(&self, name: &str, source: &mut impl io::Read) -> Result<(), FolderError> {
        let path = self.path.join(name);
        let mut copy = || {
            let mut file = File::create(&path)?;
            io::copy(source, &mut file)?;
            file.sync_all()
        };
        copy().map_err(FolderError::io(&path))
    }

    /// Opens a file that was put in.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn read(&self, name: &str) -> Result<File, FolderError> {
        let path = self.path.join(name);
        File::open(&path).map_err(FolderError::io(&path))
    }

    /// Gives the folder its name, or the name with -2, -3 … where that is taken, and gives its path.
    ///
    /// A folder is only ever renamed onto a name that is free, or onto an empty folder, which a run is not.
    ///
    /// # Errors
    /// When it cannot be renamed.
    pub fn publish(mut self, name: &str) -> Result<PathBuf, FolderError> {
        sync_folder(&self.path)?;
        for n in 1..MOST_SUFFIXES {
            let target = self.runs.join(if n == 1 { name.to_owned() } else { format!("{name}-{n}") });
            if target.exists() {
                continue;
            }
            match fs::rename(&self.path, &target) {
                Ok(()) => {
                    self.published = true;
                    sync_folder(&self.runs)?;
                    return Ok(target);
                }
                // Another process took the name in between.
                Err(e) if target.exists() && e.kind() != io::ErrorKind::PermissionDenied => {}
                Err(e) => return Err(FolderError::io(&target)(e)),
            }
        }
        Err(FolderError::io(&self.runs.join(name))(io::ErrorKind::AlreadyExists.into()))
    }
}

impl Drop for Draft {
    fn drop(&mut self) {
        if !self.published {
            // Best effort: a left-over draft begins with a dot and is never taken for a run.
            let _ = fs::remove_dir_all(&self.path);
        }
    }
}
