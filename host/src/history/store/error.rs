//! Why the history's database cannot be used.

use crate::explain::{Explain, Status};
use rusqlite::ErrorCode;
use std::path::{Path, PathBuf};

/// What is wrong with the database.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Its content makes no sense; it can be set aside and made again from the runs.
    #[error("{} is damaged: {detail}", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What the database says.
        detail: String,
    },
    /// Written by a newer program.
    #[error("{} has version {found}, this program reads up to {known}", .path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: usize,
        /// The newest version that is known.
        known: usize,
    },
    /// Another program has held it for too long.
    #[error("{} is in use by another program", .0.display())]
    Busy(PathBuf),
    /// The disk.
    #[error("{}: {detail}", .path.display())]
    Disk {
        /// The file.
        path: PathBuf,
        /// What the system says.
        detail: String,
    },
}

impl StoreError {
    /// Sorts what the database says.
    pub fn of(path: &Path, error: &rusqlite::Error) -> Self {
        let path = path.to_owned();
        let detail = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy(path),
            Some(
                ErrorCode::CannotOpen
                | ErrorCode::ReadOnly
                | ErrorCode::PermissionDenied
                | ErrorCode::SystemIoFailure
                | ErrorCode::DiskFull
                | ErrorCode::OutOfMemory
                | ErrorCode::FileLockingProtocolFailed,
            ) => Self::Disk { path, detail },
            // Not a database, a broken page, a table or a column that is not there, a value of another kind.
            _ => Self::Damaged { path, detail },
        }
    }

    /// Whether the remedy is to make it again from the runs.
    pub fn is_damage(&self) -> bool {
        matches!(self, Self::Damaged { .. })
    }
}

impl Explain for StoreError {
    fn status(&self) -> Status {
        match self {
            Self::Newer { .. } => Status::BadInput,
            _ => Status::Device,
        }
    }

    fn hint(&self) -> Option<String> {
        Some(match self {
            Self::Damaged { .. } => "hingeline history --rebuild".into(),
            Self::Newer { .. } => {
                "Read it with the version of this program that wrote it, or a newer one.".into()
            }
            Self::Busy(_) => "Try again when the other program is done; nothing is lost meanwhile.".into(),
            Self::Disk { .. } => {
                "Check that the logbook's folder can be written to and has room; the runs are untouched."
                    .into()
            }
        })
    }
}
