//! New files that never overwrite old ones.

use crate::explain::{Explain, Status};
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The disk did not take a file or a folder.
#[derive(Debug, thiserror::Error)]
#[error("{} cannot be written: {source}", .path.display())]
pub struct WriteError {
    /// The file or folder.
    pub path: PathBuf,
    /// What the system says.
    pub source: io::Error,
}

impl Explain for WriteError {
    fn status(&self) -> Status {
        Status::Device
    }
}

/// Makes `folder` and those above it.
///
/// # Errors
/// If the system refuses.
pub(super) fn make_folder(folder: &Path) -> Result<(), WriteError> {
    std::fs::create_dir_all(folder).map_err(|source| WriteError { path: folder.to_owned(), source })
}

/// Writes a file that must not be there yet, and sees it onto the disk. A file that could not be written whole is taken
/// away again.
///
/// # Errors
/// If it is there (`AlreadyExists`), or the system refuses.
pub(super) fn write_new(path: &Path, text: &str) -> Result<(), WriteError> {
    let refused = |source| WriteError { path: path.to_owned(), source };
    let file = OpenOptions::new().write(true).create_new(true).open(path).map_err(refused)?;
    fill(file, text).map_err(|source| {
        // The first error is the one to tell; a file that cannot be removed either stays visible.
        let _ = std::fs::remove_file(path);
        refused(source)
    })
}

fn fill(mut file: File, text: &str) -> io::Result<()> {
    file.write_all(text.as_bytes())?;
    file.sync_all()
}
