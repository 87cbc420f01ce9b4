//! A comparison as one file for people.

use super::compare::{Compared, with_design};
use super::source::Request;
use crate::explain::{Explain, Failure, Status};
use crate::show::{Units, report};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A report that was written.
#[derive(Debug, Clone)]
pub struct Written {
    /// The file.
    pub file: PathBuf,
    /// The verdict, one sentence per axle.
    pub verdict: String,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The file is there.
    #[error("{} is already there", .0.display())]
    Exists(PathBuf),
    /// The disk said no.
    #[error("cannot write {}: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// No program shows it.
    #[error("nothing on this machine opens {}", .0.display())]
    NoViewer(PathBuf),
}

impl Explain for ReportError {
    fn status(&self) -> Status {
        match self {
            ReportError::Exists(_) => Status::BadInput,
            ReportError::Write { .. } | ReportError::NoViewer(_) => Status::Device,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            ReportError::Exists(_) => Some("Give another name with --output FILE, or --force to write over it.".into()),
            ReportError::Write { .. } => None,
            ReportError::NoViewer(file) => Some(format!("Open {} in a browser yourself.", file.display())),
        }
    }
}

/// Measures a run, sets it beside its design and writes the report.
///
/// # Errors
/// As for [`with_design`]; where the file is there already and `force` is not given; where it cannot be written.
pub fn run(request: &Request, file: &Path, force: bool, units: Units) -> Result<Written, Failure> {
    if file.exists() && !force {
        return Err(ReportError::Exists(file.to_owned()).into());
    }
    let compared = with_design(request)?;
    Ok(write(&compared, file, units)?)
}

/// Writes the report of a comparison, whole or not at all.
///
/// # Errors
/// Where it cannot be written.
pub fn write(compared: &Compared, file: &Path, units: Units) -> Result<Written, ReportError> {
    let options = report::Options { units };
    let page = report::html(&compared.comparison, &compared.source.vehicle, &options);
    let part = file.with_extension("html.part");
    let written = std::fs::write(&part, page).and_then(|()| std::fs::rename(&part, file));
    if let Err(source) = written {
        // What was begun is of no use; if it cannot be removed either, the error says enough.
        let _ = std::fs::remove_file(&part);
        return Err(ReportError::Write { path: file.to_owned(), source });
    }
    Ok(Written { file: file.to_owned(), verdict: report::verdict(&compared.comparison) })
}

/// Shows a file with whatever the system opens such files with.
///
/// # Errors
/// Where there is no such program.
pub fn open(file: &Path) -> Result<(), ReportError> {
    let programs = if cfg!(target_os = "macos") {
        &["open"][..]
    } else if cfg!(windows) {
        &["explorer"]
    } else {
        &["xdg-open", "gio"]
    };
    let started = programs.iter().any(|program| {
        let mut command = Command::new(program);
        if *program == "gio" {
            command.arg("open");
        }
        command.arg(file).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().is_ok()
    });
    if started { Ok(()) } else { Err(ReportError::NoViewer(file.to_owned())) }
}
