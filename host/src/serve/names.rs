//! Names in addresses: of vehicles and of runs, never paths.

use super::problem::Answer;
use super::state::App;
use crate::explain::{Explain, Status};
use crate::jobs::history::known_vehicle;
use crate::run::find::run_folder;
use crate::run::folder::HEADER;
use std::path::PathBuf;

/// There is no such thing in the logbook.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the logbook has no {what} \"{name}\"")]
pub struct Unknown {
    /// A run, a vehicle.
    pub what: &'static str,
    /// As asked for.
    pub name: String,
}

impl Explain for Unknown {
    fn status(&self) -> Status {
        Status::BadInput
    }

    fn hint(&self) -> Option<String> {
        Some("Choose one from the list.".into())
    }
}

/// Whether a name is one folder's and no way to anywhere else.
pub fn plain(name: &str) -> bool {
    let parts = std::path::Path::new(name).components();
    let one = parts.count() == 1 && !name.contains(['/', '\\', '\0', ':']);
    one && !name.starts_with('.') && name.len() <= 255
}

/// The folder of a vehicle.
pub fn vehicle(app: &App, name: &str) -> Answer<PathBuf> {
    if plain(name) && known_vehicle(&app.book, name).is_ok() {
        Ok(app.book.vehicle_folder(name))
    } else {
        Err(Unknown { what: "vehicle", name: name.to_owned() }.into())
    }
}

/// The folder of a run.
pub fn run(app: &App, of: &str, name: &str) -> Answer<PathBuf> {
    vehicle(app, of)?;
    let folder = run_folder(&app.book, of, name);
    if plain(name) && folder.join(HEADER).is_file() {
        Ok(folder)
    } else {
        Err(Unknown { what: "run", name: format!("{of}/{name}") }.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_leads_nowhere_else() {
        for good in ["Bramble", "2026-11-25-1412-ramp", "Grüne Kiste 2", "a..b"] {
            assert!(plain(good), "{good}");
        }
        for bad in ["", ".", "..", "../x", "a/b", "a\\b", "/etc", "C:x", "a\0b", ".draft-1-0", "x/"] {
            assert!(!plain(bad), "{bad}");
        }
        assert!(!plain(&"x".repeat(256)));
    }
}
