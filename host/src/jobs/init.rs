//! `init DIR`: makes a logbook.

use super::WriteError;
use super::writing::Fresh;
use crate::explain::{Explain, Status};
use crate::files::logbook::{LOGBOOK_FILE, new_text};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// A logbook that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewLogbook {
    /// Its folder.
    pub folder: PathBuf,
    /// Its name: the folder's.
    pub name: String,
}

/// Why no logbook was made.
#[derive(Debug, thiserror::Error)]
pub enum InitError {
    /// There is one already.
    #[error("{} is a logbook already", .0.display())]
    Already(PathBuf),
    /// Something that is no folder has the name.
    #[error("{} is a file, and a logbook is a folder", .0.display())]
    NotAFolder(PathBuf),
    /// The disk refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl Explain for InitError {
    fn status(&self) -> Status {
        match self {
            InitError::Already(_) | InitError::NotAFolder(_) => Status::BadInput,
            InitError::Write(error) => error.status(),
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            InitError::Already(folder) => {
                Some(format!("add a vehicle: hingeline --logbook {} new LAYOUT NAME", folder.display()))
            }
            InitError::NotAFolder(_) => Some("choose another name for the folder".to_owned()),
            InitError::Write(error) => error.hint(),
        }
    }
}

/// Makes the folder `dir` a logbook; what it holds already stays as it is.
///
/// # Errors
/// If it is a logbook already, if it is no folder, or if the disk refuses.
pub fn run(dir: &Path) -> Result<NewLogbook, InitError> {
    let mut fresh = Fresh::default();
    let made = make(dir, &mut fresh)?;
    fresh.keep();
    Ok(made)
}

/// [`run`], whose files stay when the caller keeps them.
pub(super) fn make(dir: &Path, fresh: &mut Fresh) -> Result<NewLogbook, InitError> {
    if dir.exists() && !dir.is_dir() {
        return Err(InitError::NotAFolder(dir.to_owned()));
    }
    fresh.folder(dir)?;
    let name = name_of(dir);
    match fresh.write(&dir.join(LOGBOOK_FILE), &new_text(&name)) {
        Ok(()) => Ok(NewLogbook { folder: dir.to_owned(), name }),
        Err(error) if error.source.kind() == ErrorKind::AlreadyExists => {
            Err(InitError::Already(dir.to_owned()))
        }
        Err(error) => Err(error.into()),
    }
}

/// The last part of the folder's full path, fit for a name.
fn name_of(dir: &Path) -> String {
    let full = std::path::absolute(dir).unwrap_or_else(|_| dir.to_owned());
    let last = full.file_name().map(|n| n.to_string_lossy().replace(char::is_control, " "));
    match last {
        Some(name) if !name.trim().is_empty() => name.trim().to_owned(),
        _ => "logbook".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::logbook::Logbook;

    #[test]
    fn a_new_folder_becomes_a_logbook_that_is_found() {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("a/workshop");
        let made = run(&folder).unwrap();
        assert_eq!(made, NewLogbook { folder: folder.clone(), name: "workshop".to_owned() });
        assert_eq!(Logbook::find(None, &folder).unwrap().name, "workshop");
    }

    #[test]
    fn it_never_overwrites() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join(LOGBOOK_FILE);
        std::fs::write(dir.path().join("notes.txt"), "mine").unwrap();
        run(dir.path()).unwrap();
        std::fs::write(&file, "format = 1\nname = \"mine\"\n").unwrap();
        let error = run(dir.path()).unwrap_err();
        assert!(matches!(error, InitError::Already(_)), "{error}");
        assert_eq!(error.status(), Status::BadInput);
        assert_eq!(std::fs::read_to_string(&file).unwrap(), "format = 1\nname = \"mine\"\n");
        assert_eq!(std::fs::read_to_string(dir.path().join("notes.txt")).unwrap(), "mine");
    }

    #[test]
    fn a_file_is_no_folder() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("thing");
        std::fs::write(&file, "").unwrap();
        assert!(matches!(run(&file), Err(InitError::NotAFolder(_))));
        let error = run(&file.join("below")).unwrap_err();
        assert!(matches!(&error, InitError::Write(_)), "{error}");
        assert_eq!(error.status(), Status::Device);
    }
}
