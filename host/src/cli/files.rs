//! Files that a command writes beside its output; none is ever written over.

use crate::explain::{Explain, Failure, Status};
use crate::show::plot::{self, Plot, PlotError};
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Pixels per CSS px of a picture.
const PNG_SCALE: f64 = 3.0;

/// Why a file was not written.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The name's ending is no picture's.
    #[error("{} is not the name of a picture", .0.display())]
    NotAPicture(PathBuf),
    /// It is there.
    #[error("{} is already there", .0.display())]
    Exists(PathBuf),
    /// Nothing to draw.
    #[error(transparent)]
    Plot(#[from] PlotError),
    /// The disk said no.
    #[error("cannot write {}: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

impl Explain for FileError {
    fn status(&self) -> Status {
        match self {
            FileError::Write { .. } => Status::Device,
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            FileError::NotAPicture(_) => Some("End the name in .svg or .png.".into()),
            FileError::Exists(_) => Some("Give another name: nothing is written over.".into()),
            FileError::Plot(PlotError::Empty(_)) => Some("No run that was asked for has measured it.".into()),
            FileError::Plot(_) | FileError::Write { .. } => None,
        }
    }
}

/// Writes a file that must not be there; one that could not be written whole is taken away again.
///
/// # Errors
/// If it is there, or the system refuses.
pub fn save_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let refused = |source: std::io::Error| match source.kind() {
        ErrorKind::AlreadyExists => FileError::Exists(path.to_owned()),
        _ => FileError::Write { path: path.to_owned(), source },
    };
    let mut file = OpenOptions::new().write(true).create_new(true).open(path).map_err(refused)?;
    file.write_all(bytes).and_then(|()| file.sync_all()).map_err(|source| {
        // The first error is the one to tell; a file that cannot be removed either stays visible.
        let _ = std::fs::remove_file(path);
        refused(source).into()
    })
}

/// Draws a plot into a new file, as its ending says.
///
/// # Errors
/// If the ending is no picture's, there is nothing to draw, or the file cannot be written.
pub fn save_plot(plot: &Plot, path: &Path) -> Result<(), Failure> {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    let bytes = match ending.as_deref() {
        Some("svg") => plot::svg(plot).map_err(FileError::Plot)?.into_bytes(),
        Some("png") => plot::png(plot, PNG_SCALE).map_err(FileError::Plot)?,
        _ => return Err(FileError::NotAPicture(path.to_owned()).into()),
    };
    save_new(path, &bytes)
}
