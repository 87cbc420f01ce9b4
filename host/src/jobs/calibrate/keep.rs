//! A calibration kept: entries are added at the end of the file, and the file as it was before stays under its date.

use super::error::CalibrateJobError;
use crate::explain::Failure;
use crate::jobs::writing::{WriteError, write_new};
use crate::rig::Rig;
use crate::rig::calibration::file::{HEAD, entry_text, parse};
use crate::rig::calibration::{CALIBRATION_FILE, Entry, quantity};
use jiff::ZonedDateTime;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Names that are tried for a file that stays.
const MOST_SUFFIXES: u32 = 1000;

/// Adds entries to the calibration of a vehicle's folder. Gives where the file as it was before stays, if there was one.
///
/// # Errors
/// Where the file has mistakes, or the disk refuses; then it is as it was.
pub fn add(
    folder: &Path,
    rig: &Rig,
    entries: &[Entry],
    now: &ZonedDateTime,
) -> Result<Option<PathBuf>, Failure> {
    let path = folder.join(CALIBRATION_FILE);
    let refused = |path: &Path| {
        let path = path.to_owned();
        move |source| WriteError { path, source }
    };
    let before = match std::fs::read_to_string(&path) {
        Ok(text) => Some(text),
        Err(e) if e.kind() == ErrorKind::NotFound => None,
        Err(e) => return Err(refused(&path)(e).into()),
    };
    let mut text = before.clone().filter(|t| !t.trim().is_empty()).unwrap_or_else(|| HEAD.to_owned());
    // A file with mistakes is mended before anything is added.
    parse(&text, &path.display().to_string())?;
    for entry in entries {
        let sensor = rig.sensors.iter().find(|s| s.name == entry.sensor);
        let added =
            entry_text(entry, sensor.and_then(|s| quantity(&s.kind))).map_err(CalibrateJobError::Text)?;
        text.push_str(if text.ends_with('\n') { "\n" } else { "\n\n" });
        text.push_str(added.trim_start());
    }
    let kept = before.map(|before| keep(folder, &before, now)).transpose()?;
    let fresh = folder.join(format!(".{CALIBRATION_FILE}.new"));
    match std::fs::remove_file(&fresh) {
        Err(e) if e.kind() != ErrorKind::NotFound => return Err(refused(&fresh)(e).into()),
        // What a crash left of an earlier one.
        _ => {}
    }
    write_new(&fresh, &text)?;
    std::fs::rename(&fresh, &path).map_err(refused(&path))?;
    Ok(kept)
}

/// Puts the file as it was before under the date until which it held.
fn keep(folder: &Path, text: &str, now: &ZonedDateTime) -> Result<PathBuf, WriteError> {
    let stem = now.strftime("calibration-until-%Y-%m-%d-%H%M").to_string();
    let mut n = 1;
    loop {
        let name = if n == 1 { format!("{stem}.toml") } else { format!("{stem}-{n}.toml") };
        let path = folder.join(name);
        match write_new(&path, text) {
            Err(e) if e.source.kind() == ErrorKind::AlreadyExists && n < MOST_SUFFIXES => n += 1,
            other => return other.map(|()| path),
        }
    }
}
