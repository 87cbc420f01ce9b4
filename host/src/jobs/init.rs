//! `init DIR`: makes a logbook.

use super::WriteError;
use super::writing::Fresh;
use crate::explain::{Explain, Status, pasted};
use crate::files::logbook::{LOGBOOK_FILE, Logbook, VEHICLE_FILE, new_text};
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
    /// It is a vehicle's folder, or would be on a system that knows no large letters.
    #[error("{} is the folder of the vehicle \"{vehicle}\", and a logbook is the folder above it", .dir.display())]
    Vehicle {
        /// The folder.
        dir: PathBuf,
        /// The vehicle.
        vehicle: String,
        /// The logbook that has it, where one does.
        logbook: Option<PathBuf>,
    },
    /// The disk refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl Explain for InitError {
    fn status(&self) -> Status {
        match self {
            InitError::Already(_) | InitError::NotAFolder(_) | InitError::Vehicle { .. } => Status::BadInput,
            InitError::Write(error) => error.status(),
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            InitError::Already(folder) => {
                Some(format!("add a vehicle: hingeline --logbook {} new LAYOUT NAME", pasted(folder)))
            }
            InitError::Vehicle { logbook: Some(_), .. } => {
                Some("it is in a logbook already; another vehicle: hingeline new LAYOUT NAME".to_owned())
            }
            InitError::Vehicle { dir, logbook: None, .. } => {
                let above = whole(dir).parent().map(Path::to_owned).unwrap_or_default();
                Some(format!("hingeline init {}", pasted(&above)))
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
    no_vehicle(dir)?;
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

/// Checks that a folder is no vehicle's.
fn no_vehicle(dir: &Path) -> Result<(), InitError> {
    // A folder that is a logbook and holds a vehicle file besides is told of as a logbook.
    if dir.join(LOGBOOK_FILE).is_file() {
        return Ok(());
    }
    let whole = whole(dir);
    let logbook = whole.parent().and_then(|above| Logbook::find(Some(above), above).ok());
    let name = whole.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let alike = logbook.as_ref().and_then(|book| book.alike(&name));
    let own = whole.join(VEHICLE_FILE).is_file().then_some(name);
    match alike.or(own) {
        None => Ok(()),
        Some(vehicle) => {
            let logbook = logbook.map(|book| book.folder);
            Err(InitError::Vehicle { dir: dir.to_owned(), vehicle, logbook })
        }
    }
}

fn whole(dir: &Path) -> PathBuf {
    dir.canonicalize().or_else(|_| std::path::absolute(dir)).unwrap_or_else(|_| dir.to_owned())
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

    #[test]
    fn a_new_folder_becomes_a_logbook_that_is_found() {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("a/workshop");
        let made = run(&folder).unwrap();
        assert_eq!(made, NewLogbook { folder: folder.clone(), name: "workshop".to_owned() });
        assert_eq!(Logbook::find(None, &folder).unwrap().name, "workshop");
    }

    #[test]
    fn a_vehicles_folder_becomes_no_logbook() {
        let dir = tempfile::tempdir().unwrap();
        let alone = dir.path().join("Thistle");
        std::fs::create_dir_all(&alone).unwrap();
        std::fs::write(alone.join(VEHICLE_FILE), "").unwrap();
        let error = run(&alone).unwrap_err();
        assert_eq!((error.status(), alone.join(LOGBOOK_FILE).exists()), (Status::BadInput, false));
        let above = dir.path().canonicalize().unwrap();
        assert_eq!(error.hint().unwrap(), format!("hingeline init {}", pasted(&above)));
        run(dir.path()).unwrap();
        for name in ["Thistle", "thistle"] {
            let error = run(&dir.path().join(name)).unwrap_err();
            assert!(error.to_string().contains("the folder of the vehicle \"Thistle\""), "{error}");
            assert!(error.hint().unwrap().contains("hingeline new"));
        }
        assert!(!dir.path().join("thistle").exists() || cfg!(not(target_os = "linux")));
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
