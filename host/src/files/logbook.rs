//! A logbook: the folder that holds a workshop's vehicles, their rigs and runs, and the file that names it.

use super::{Example, FileErrors, Item, LoadError, read, read_text};
use crate::explain::{Explain, Status, pasted};
use std::path::{Path, PathBuf};

/// The file that makes a folder a logbook.
pub const LOGBOOK_FILE: &str = "logbook.toml";
/// A vehicle's design, in its folder.
pub const VEHICLE_FILE: &str = "vehicle.toml";
/// A vehicle's rig, in its folder.
pub const RIG_FILE: &str = "rig.toml";

/// Units that screens use; angles are in degrees either way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ScreenUnits {
    /// mm and deg.
    #[default]
    Millimetres,
    /// in and deg.
    Inches,
}

impl ScreenUnits {
    /// Both, with the words that files and flags use.
    pub const WORDS: [(&'static str, ScreenUnits); 2] =
        [("mm", ScreenUnits::Millimetres), ("in", ScreenUnits::Inches)];
}

/// A logbook that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logbook {
    /// Its folder.
    pub folder: PathBuf,
    /// What its owner calls it.
    pub name: String,
    /// Units for screens.
    pub screen: ScreenUnits,
}

/// Why no logbook was found.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// Neither the folder nor any above it is one.
    #[error("there is no logbook in {} or in any folder above it", .0.display())]
    None(PathBuf),
    /// The folder that was named is not one.
    #[error("{} is not a logbook: it holds no {LOGBOOK_FILE}", .0.display())]
    NotOne(PathBuf),
    /// Its file is wrong.
    #[error(transparent)]
    File(#[from] LoadError),
}

impl Explain for LogbookError {
    fn status(&self) -> Status {
        match self {
            LogbookError::None(_) | LogbookError::NotOne(_) => Status::BadInput,
            LogbookError::File(error) => error.status(),
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            LogbookError::None(_) => {
                Some("hingeline init DIR makes one; or name yours with --logbook DIR".to_owned())
            }
            LogbookError::NotOne(folder) => Some(format!("hingeline init {}", pasted(folder))),
            LogbookError::File(error) => error.hint(),
        }
    }

    fn report(&self, styled: bool) -> Option<String> {
        match self {
            LogbookError::File(error) => error.report(styled),
            _ => None,
        }
    }
}

impl Logbook {
    /// The logbook at `named` (as `--logbook` gives it), or the nearest at or above the folder `working`.
    ///
    /// # Errors
    /// If there is none, or if its file has mistakes.
    pub fn find(named: Option<&Path>, working: &Path) -> Result<Logbook, LogbookError> {
        if let Some(folder) = named {
            if !folder.join(LOGBOOK_FILE).is_file() {
                return Err(LogbookError::NotOne(folder.to_owned()));
            }
            return Ok(Self::open(folder)?);
        }
        // Folders above are only known of an absolute path; one that cannot be made absolute is searched as it is.
        let start = std::path::absolute(working).unwrap_or_else(|_| working.to_owned());
        match start.ancestors().find(|folder| folder.join(LOGBOOK_FILE).is_file()) {
            Some(folder) => Ok(Self::open(folder)?),
            None => Err(LogbookError::None(working.to_owned())),
        }
    }

    fn open(folder: &Path) -> Result<Logbook, LoadError> {
        let path = folder.join(LOGBOOK_FILE);
        let text = read_text(&path)?;
        Ok(parse(&text, &path.display().to_string(), folder)?)
    }

    /// The folder of the vehicle `name`.
    pub fn vehicle_folder(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// The vehicle that is called `name` but for small and large letters: on many systems its folder is the same.
    pub fn alike(&self, name: &str) -> Option<String> {
        let vehicles = self.vehicles().unwrap_or_default();
        vehicles.into_iter().find(|vehicle| vehicle.to_lowercase() == name.to_lowercase())
    }

    /// Names of the folders that hold a vehicle, sorted.
    ///
    /// # Errors
    /// If the folder cannot be listed.
    pub fn vehicles(&self) -> Result<Vec<String>, LoadError> {
        let unreadable = |source| LoadError::Unreadable { path: self.folder.clone(), source };
        let mut names = Vec::new();
        for entry in std::fs::read_dir(&self.folder).map_err(unreadable)? {
            let entry = entry.map_err(unreadable)?;
            if entry.path().join(VEHICLE_FILE).is_file() {
                names.push(entry.file_name().to_string_lossy().into_owned());
            }
        }
        names.sort();
        Ok(names)
    }
}

/// Reads the logbook file `text` of `folder`; `path_label` is what messages call it.
///
/// # Errors
/// Every mistake of the file at once.
fn parse(text: &str, path_label: &str, folder: &Path) -> Result<Logbook, FileErrors> {
    read(text, path_label, |root| {
        let name = root.require("name", Example::Text("\"workshop\""), "what you call this logbook");
        let name = name.and_then(|i| i.name());
        let screen = root.or("units", ScreenUnits::default(), |i| screen_units(&i));
        Some(Logbook { folder: folder.to_owned(), name: name?, screen: screen? })
    })
}

fn screen_units(item: &Item<'_>) -> Option<ScreenUnits> {
    let mut section = item.section("`units`")?;
    let length = section.or("length", ScreenUnits::default(), |i| i.choice(&ScreenUnits::WORDS));
    let angle = section.or("angle", (), |i| i.choice(&[("deg", ())]));
    section.finish();
    angle.and(length)
}

/// The file of a new logbook called `name`.
pub fn new_text(name: &str) -> String {
    let quoted = toml::Value::String(name.to_owned());
    format!(
        "# A logbook: one folder per vehicle, each with vehicle.toml, rig.toml and its runs.\n\
         # hingeline new LAYOUT NAME adds a vehicle.\n\
         format = 1\n\
         name = {quoted}\n\
         units = {{ length = \"mm\", angle = \"deg\" }}    # on screens: \"mm\" or \"in\"; files say their own\n"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(folder: &Path, text: &str) {
        std::fs::create_dir_all(folder).unwrap();
        std::fs::write(folder.join(LOGBOOK_FILE), text).unwrap();
    }

    #[test]
    fn the_nearest_above_is_found_and_a_named_one_wins() {
        let dir = tempfile::tempdir().unwrap();
        let (outer, inner) = (dir.path().join("outer"), dir.path().join("outer/a/inner"));
        made(&outer, &new_text("outer"));
        made(&inner, &new_text("inner"));
        std::fs::create_dir_all(inner.join("x/y")).unwrap();
        assert_eq!(Logbook::find(None, &inner.join("x/y")).unwrap().name, "inner");
        assert_eq!(Logbook::find(None, &outer.join("a")).unwrap().name, "outer");
        assert_eq!(Logbook::find(Some(&outer), &inner).unwrap().folder, outer);
    }

    #[test]
    fn none_is_said_with_what_to_do() {
        let dir = tempfile::tempdir().unwrap();
        let error = Logbook::find(None, dir.path()).unwrap_err();
        assert!(matches!(error, LogbookError::None(_)), "{error}");
        assert!(error.hint().unwrap().contains("hingeline init"));
        let error = Logbook::find(Some(dir.path()), dir.path()).unwrap_err();
        assert!(matches!(error, LogbookError::NotOne(_)), "{error}");
        assert_eq!(error.status(), Status::BadInput);
    }

    #[test]
    fn its_vehicles_are_the_folders_that_hold_one() {
        let dir = tempfile::tempdir().unwrap();
        made(dir.path(), &new_text("workshop"));
        for name in ["b", "a"] {
            std::fs::create_dir(dir.path().join(name)).unwrap();
            std::fs::write(dir.path().join(name).join(VEHICLE_FILE), "").unwrap();
        }
        std::fs::create_dir(dir.path().join("notes")).unwrap();
        let logbook = Logbook::find(None, dir.path()).unwrap();
        assert_eq!(logbook.vehicles().unwrap(), ["a", "b"]);
        assert_eq!(logbook.vehicle_folder("a"), dir.path().join("a"));
    }

    #[test]
    fn screens_may_be_in_inches() {
        let read = |text: &str| parse(text, LOGBOOK_FILE, Path::new("."));
        let inches = read(&new_text("w").replace("\"mm\", a", "\"in\", a")).unwrap();
        assert_eq!(inches.screen, ScreenUnits::Inches);
        assert_eq!(read("format = 1\nname = \"w\"\n").unwrap().screen, ScreenUnits::Millimetres);
        let wrong =
            read("format = 1\nunits = { length = \"ft\", angle = \"rad\" }\nnames = \"w\"\n").unwrap_err();
        insta::assert_snapshot!(wrong.render(false));
    }

    #[test]
    fn odd_names_are_quoted() {
        let text = new_text("the \"old\" barn\\shed");
        assert_eq!(parse(&text, LOGBOOK_FILE, Path::new(".")).unwrap().name, "the \"old\" barn\\shed");
    }
}
