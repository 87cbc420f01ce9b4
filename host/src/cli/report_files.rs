//! The files of a report: written whole or not at all, and never over what is there unasked.

use crate::explain::{Explain, Status};
use crate::show::report::Picture;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The file is there.
    #[error("{} is already there", .0.display())]
    Exists(PathBuf),
    /// The folder for pictures holds something.
    #[error("{} is there and is not empty", .0.display())]
    NotEmpty(PathBuf),
    /// The name is taken by something that a report must not replace: a folder, a device, a link.
    #[error("{} is there and is no ordinary file", .0.display())]
    NotAFile(PathBuf),
    /// The name for the pictures is taken by something that is no folder.
    #[error("{} is there and is no folder", .0.display())]
    NotAFolder(PathBuf),
    /// Loads of a run.
    #[error("loads are worked out for vehicles as drawn, and {0} is a run")]
    LoadsOfRun(String),
    /// A flag that says something of a run.
    #[error("{0} says something of a run, and this report is of vehicles as drawn")]
    RunFlag(&'static str),
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
            ReportError::Write { .. } | ReportError::NoViewer(_) => Status::Device,
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            ReportError::Exists(_) => {
                Some("Give another name with --output FILE, or --force to write over it.".into())
            }
            ReportError::NotEmpty(_) => {
                Some("Give another folder with --pictures DIR, or --force to write into it.".into())
            }
            ReportError::NotAFile(_) => Some("Give the name of a file with --output FILE.".into()),
            ReportError::NotAFolder(_) => Some("Give the name of a folder with --pictures DIR.".into()),
            ReportError::LoadsOfRun(_) => Some("Name the vehicle's file instead.".into()),
            ReportError::RunFlag(flag) => Some(format!("Leave {flag} out, or name a run.")),
            ReportError::Write { .. } => None,
            ReportError::NoViewer(file) => Some(format!("Open {} in a browser yourself.", file.display())),
        }
    }
}

/// Whether a report may be written there.
///
/// # Errors
/// Where something is in the way.
pub fn free(file: &Path, pictures: Option<&Path>, force: bool) -> Result<(), ReportError> {
    if let Ok(there) = file.symlink_metadata() {
        if !there.is_file() {
            return Err(ReportError::NotAFile(file.to_owned()));
        }
        if !force {
            return Err(ReportError::Exists(file.to_owned()));
        }
    }
    let Some(folder) = pictures else { return Ok(()) };
    match std::fs::read_dir(folder).map(|mut entries| entries.next().is_some()) {
        Ok(true) if !force => Err(ReportError::NotEmpty(folder.to_owned())),
        Err(_) if folder.symlink_metadata().is_ok() => Err(ReportError::NotAFolder(folder.to_owned())),
        _ => Ok(()),
    }
}

/// Writes a file, whole or not at all.
///
/// # Errors
/// Where it cannot be written.
pub fn write(file: &Path, bytes: &[u8]) -> Result<(), ReportError> {
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(".part");
    let part = file.with_file_name(name);
    std::fs::write(&part, bytes).and_then(|()| std::fs::rename(&part, file)).map_err(|source| {
        // What was begun is of no use; if it cannot be removed either, the error says enough.
        let _ = std::fs::remove_file(&part);
        ReportError::Write { path: file.to_owned(), source }
    })
}

/// Writes pictures into a folder, which is made where it is not there.
///
/// # Errors
/// Where one cannot be written.
pub fn write_pictures(folder: &Path, pictures: &[Picture]) -> Result<(), ReportError> {
    let failed = |source| ReportError::Write { path: folder.to_owned(), source };
    std::fs::create_dir_all(folder).map_err(failed)?;
    pictures.iter().try_for_each(|picture| write(&folder.join(&picture.name), &picture.bytes))
}

/// The time as reports write it.
pub fn now() -> String {
    jiff::ZonedDateTime::now().strftime("%Y-%m-%d %H:%M").to_string()
}

/// Shows a file with whatever the system opens such files with.
///
/// # Errors
/// Where there is no such program.
pub fn open(file: &Path) -> Result<(), ReportError> {
    let programs: &[(&str, &[&str])] = if cfg!(target_os = "macos") {
        &[("open", &[])]
    } else if cfg!(windows) {
        &[("explorer", &[])]
    } else {
        &[("xdg-open", &[]), ("gio", &["open"])]
    };
    let started = programs.iter().any(|(program, first)| {
        Command::new(program)
            .args(*first)
            .arg(file)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .is_ok()
    });
    if started { Ok(()) } else { Err(ReportError::NoViewer(file.to_owned())) }
}
