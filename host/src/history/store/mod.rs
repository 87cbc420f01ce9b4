//! The history's database, `history.db` in the logbook: a catalogue of runs and what they measured. Everything in it can be
//! made again from the run folders and the service records.
//!
//! Write-ahead logging: readers go on while a run is put in. A run is put in whole or not at all.

mod error;
mod read;
pub mod schema;
mod write;

#[cfg(test)]
pub(crate) mod tests;

pub use error::StoreError;
pub use read::{AxleRow, Filter, RunRow, SeriesPoint, SeriesRow};

use super::record::Fingerprint;
use rusqlite::{Connection, OptionalExtension};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The file in a logbook.
pub const HISTORY_FILE: &str = "history.db";
/// How long another program's writing is waited for.
const PATIENCE: Duration = Duration::from_secs(10);

/// A run that the database knows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    /// The vehicle's folder.
    pub vehicle: String,
    /// The run's name.
    pub run: String,
    /// How its files looked.
    pub fingerprint: Fingerprint,
}

/// An open database.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    path: PathBuf,
}

impl Store {
    /// Opens the database, makes it if it is not there, and carries an older one forward. After a program that died while
    /// writing, every page is checked.
    ///
    /// # Errors
    /// When it is damaged, newer than this program, or cannot be read and written.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let log = path.with_extension("db-wal");
        let unclean = std::fs::metadata(&log).is_ok_and(|m| m.len() > 0);
        let connection = Connection::open(path).map_err(|e| StoreError::of(path, &e))?;
        let mut store = Self { connection, path: path.to_owned() };
        store.settle(unclean)?;
        Ok(store)
    }

    fn settle(&mut self, unclean: bool) -> Result<(), StoreError> {
        let path = self.path.clone();
        let told = |e: rusqlite::Error| StoreError::of(&path, &e);
        self.connection.busy_timeout(PATIENCE).map_err(told)?;
        let found = schema::version(&self.connection).map_err(told)?;
        let application: i32 =
            self.connection.pragma_query_value(None, "application_id", |row| row.get(0)).map_err(told)?;
        if found > 0 && application != schema::APPLICATION {
            return Err(StoreError::Damaged { path, detail: "it is some other program's database".into() });
        }
        if found > schema::MIGRATIONS.len() {
            return Err(StoreError::Newer { path, found, known: schema::MIGRATIONS.len() });
        }
        // Where a file system cannot share memory between programs, the database keeps its older way of logging.
        self.connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(())).map_err(told)?;
        // A power cut may take the last runs out again; they are put in anew from their folders.
        self.connection.pragma_update(None, "synchronous", "NORMAL").map_err(told)?;
        self.connection.pragma_update(None, "foreign_keys", true).map_err(told)?;
        if found < schema::MIGRATIONS.len() {
            schema::migrate(&mut self.connection).map_err(told)?;
        }
        if unclean { self.check() } else { Ok(()) }
    }

    /// Checks every page.
    ///
    /// # Errors
    /// When it is damaged.
    pub fn check(&self) -> Result<(), StoreError> {
        let said: Option<String> = self
            .connection
            .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
            .optional()
            .map_err(|e| self.told(&e))?;
        match said.as_deref() {
            None | Some("ok") => Ok(()),
            Some(detail) => {
                Err(StoreError::Damaged { path: self.path.clone(), detail: detail.replace('\n', " ") })
            }
        }
    }

    /// Its file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn told(&self, error: &rusqlite::Error) -> StoreError {
        StoreError::of(&self.path, error)
    }
}

/// Puts a database and its log out of the way under another name that `stamp` makes; nothing is deleted.
///
/// # Errors
/// When the system refuses.
pub fn set_aside(path: &Path, stamp: &str) -> std::io::Result<PathBuf> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let name = |n: usize| match n {
        0 => folder.join(format!("history-damaged-{stamp}.db")),
        n => folder.join(format!("history-damaged-{stamp}-{n}.db")),
    };
    let mut n = 0;
    while name(n).exists() {
        n += 1;
    }
    let aside = name(n);
    for ending in ["db-wal", "db-shm"] {
        let beside = path.with_extension(ending);
        if beside.exists() {
            std::fs::rename(&beside, aside.with_extension(ending))?;
        }
    }
    std::fs::rename(path, &aside)?;
    Ok(aside)
}

/// Removes a database and its log. Everything in it can be made again.
///
/// # Errors
/// When the system refuses.
pub fn remove(path: &Path) -> std::io::Result<()> {
    for ending in ["db-wal", "db-shm"] {
        let beside = path.with_extension(ending);
        if beside.exists() {
            std::fs::remove_file(&beside)?;
        }
    }
    std::fs::remove_file(path)
}
