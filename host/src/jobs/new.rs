//! `new LAYOUT NAME`: writes a commented starter, `NAME/vehicle.toml` and `NAME/rig.toml`.

use super::WriteError;
use super::writing::Fresh;
use crate::explain::{Explain, Status};
use crate::files::logbook::{RIG_FILE, VEHICLE_FILE};
use crate::files::nearest;
use crate::files::starters::Layout;
use std::path::{Path, PathBuf};

#[cfg(test)]
mod tests;

/// A vehicle that was started.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewVehicle {
    /// Its name.
    pub name: String,
    /// Its layout's word.
    pub layout: &'static str,
    /// Its design.
    pub vehicle_file: PathBuf,
    /// Its rig.
    pub rig_file: PathBuf,
}

/// Why no vehicle was started.
#[derive(Debug, thiserror::Error)]
pub enum NewError {
    /// There is no starter of that layout.
    #[error("there is no layout called \"{layout}\"")]
    UnknownLayout {
        /// What was asked for.
        layout: String,
    },
    /// The name cannot be the name of a folder.
    #[error("\"{name}\" cannot be a vehicle's name, because its folder could not be called that")]
    BadName {
        /// What was asked for.
        name: String,
    },
    /// One of the files is there, and nothing is overwritten.
    #[error("{} is there already", .0.display())]
    Already(PathBuf),
    /// A vehicle is called alike, but for small and large letters.
    #[error("there is a vehicle \"{there}\", and on many systems a folder \"{name}\" would be the same")]
    Alike {
        /// What was asked for.
        name: String,
        /// The vehicle that there is.
        there: String,
    },
    /// The disk refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl Explain for NewError {
    fn status(&self) -> Status {
        match self {
            NewError::Write(error) => error.status(),
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            NewError::UnknownLayout { layout } => Some(match nearest(layout, words()) {
                Some(word) => format!("did you mean {word}?"),
                None => format!("the layouts are: {}", words().collect::<Vec<_>>().join(", ")),
            }),
            NewError::BadName { .. } => Some(
                "use letters, digits, spaces, dots, - and _, and begin with a letter or digit".to_owned(),
            ),
            NewError::Alike { .. } => Some("choose another name".to_owned()),
            NewError::Already(_) => Some("choose another name, or edit the files that are there".to_owned()),
            NewError::Write(error) => error.hint(),
        }
    }
}

fn words() -> impl Iterator<Item = &'static str> {
    Layout::WORDS.iter().map(|(word, _)| *word)
}

/// Writes the starter of `layout` for a vehicle called `name` into the folder `base/name`. Nothing is overwritten.
///
/// # Errors
/// If there is no such layout, if the name cannot be a folder's, if a file is there already, or if the disk refuses.
pub fn run(layout: &str, name: &str, base: &Path) -> Result<NewVehicle, NewError> {
    let Some((word, starter)) = Layout::WORDS.into_iter().find(|(word, _)| *word == layout) else {
        return Err(NewError::UnknownLayout { layout: layout.to_owned() });
    };
    if !fit_for_a_folder(name) {
        return Err(NewError::BadName { name: name.escape_debug().to_string() });
    }
    let folder = base.join(name);
    let (vehicle_file, rig_file) = (folder.join(VEHICLE_FILE), folder.join(RIG_FILE));
    for path in [&vehicle_file, &rig_file] {
        if path.symlink_metadata().is_ok() {
            return Err(NewError::Already(path.clone()));
        }
    }
    if let Some(there) = alike(base, name) {
        return Err(NewError::Alike { name: name.to_owned(), there });
    }
    let mut fresh = Fresh::default();
    fresh.folder(&folder)?;
    fresh.write(&vehicle_file, &starter.vehicle_text(name))?;
    fresh.write(&rig_file, starter.rig_text())?;
    fresh.keep();
    Ok(NewVehicle { name: name.to_owned(), layout: word, vehicle_file, rig_file })
}

/// A vehicle below `base` whose name differs from `name` in small and large letters only.
fn alike(base: &Path, name: &str) -> Option<String> {
    let names = std::fs::read_dir(base).into_iter().flatten().flatten();
    let folders = names.filter(|entry| entry.path().join(VEHICLE_FILE).is_file());
    let mut names = folders.map(|entry| entry.file_name().to_string_lossy().into_owned());
    names.find(|there| there != name && there.to_lowercase() == name.to_lowercase())
}

/// Whether `name` is one plain folder name on every system: no separators, nothing hidden, no trailing dot or space.
fn fit_for_a_folder(name: &str) -> bool {
    /// Longest file name that every common file system takes, bytes, with room for an ending.
    const LONGEST: usize = 200;
    name.len() <= LONGEST
        && name.starts_with(char::is_alphanumeric)
        && !name.ends_with(['.', ' '])
        && name.chars().all(|c| c.is_alphanumeric() || " ._-".contains(c))
}
