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

/// New files in new folders: all of them stay, or none.
///
/// Unless it is kept, what it made is taken away again, so that a full disk leaves neither half a vehicle nor an empty folder.
#[derive(Debug, Default)]
pub(super) struct Fresh {
    files: Vec<PathBuf>,
    /// The innermost last.
    folders: Vec<PathBuf>,
}

impl Fresh {
    /// Makes `folder` and those above it.
    ///
    /// # Errors
    /// If the system refuses.
    pub fn folder(&mut self, folder: &Path) -> Result<(), WriteError> {
        let mut missing: Vec<PathBuf> =
            folder.ancestors().take_while(|f| !f.exists()).map(Path::to_owned).collect();
        missing.retain(|f| !f.as_os_str().is_empty());
        std::fs::create_dir_all(folder).map_err(|source| WriteError { path: folder.to_owned(), source })?;
        self.folders.extend(missing.into_iter().rev());
        Ok(())
    }

    /// Writes a file that must not be there yet, and sees it onto the disk.
    ///
    /// # Errors
    /// If it is there (`AlreadyExists`), or the system refuses.
    pub fn write(&mut self, path: &Path, text: &str) -> Result<(), WriteError> {
        let refused = |source| WriteError { path: path.to_owned(), source };
        let file = OpenOptions::new().write(true).create_new(true).open(path).map_err(refused)?;
        self.files.push(path.to_owned());
        fill(file, text).map_err(refused)
    }

    /// All of it stays.
    pub fn keep(mut self) {
        self.files.clear();
        self.folders.clear();
    }
}

impl Drop for Fresh {
    fn drop(&mut self) {
        // The first error is the one to tell; what cannot be removed either stays visible.
        for file in &self.files {
            let _ = std::fs::remove_file(file);
        }
        for folder in self.folders.iter().rev() {
            // Only an empty one goes.
            let _ = std::fs::remove_dir(folder);
        }
    }
}

/// Writes one file that must not be there yet; one that could not be written whole is taken away again.
///
/// # Errors
/// As for [`Fresh::write`].
pub(super) fn write_new(path: &Path, text: &str) -> Result<(), WriteError> {
    let mut fresh = Fresh::default();
    fresh.write(path, text)?;
    fresh.keep();
    Ok(())
}

fn fill(mut file: File, text: &str) -> io::Result<()> {
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_kept_leaves_nothing_and_what_was_there_stays() {
        let dir = tempfile::tempdir().unwrap();
        let (mine, deep) = (dir.path().join("mine"), dir.path().join("mine/a/b"));
        std::fs::create_dir(&mine).unwrap();
        for keep in [false, true] {
            let mut fresh = Fresh::default();
            fresh.folder(&deep).unwrap();
            fresh.write(&deep.join("one.toml"), "1").unwrap();
            // A folder stands where the second file should go: the disk refuses.
            std::fs::create_dir(deep.join("two.toml")).unwrap();
            assert!(fresh.write(&deep.join("two.toml"), "2").is_err());
            std::fs::remove_dir(deep.join("two.toml")).unwrap();
            if keep {
                fresh.keep();
            } else {
                drop(fresh);
            }
            assert_eq!(deep.join("one.toml").exists(), keep);
            assert_eq!(mine.join("a").exists(), keep);
            assert!(mine.exists());
        }
    }
}
