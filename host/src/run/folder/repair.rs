//! Mends a run that a crash, a full disk or a careless hand has left wanting. The original of every file that is changed is
//! kept in a folder of its own within the run.

use super::verify::{Checked, Found, hash_of, read_if_there, sound_arrivals, verify};
use super::{
    ARRIVALS, CALIBRATION, FolderError, HEADER, MARKS, RECORDING, RIG, RunFolder, TABLE, VEHICLE, WIRE,
    arrival, sync_folder, write_synced,
};
use crate::run::Phase;
use crate::run::header::{FORMAT, Header, Logger, Source};
use crate::run::marks::{self, Instant, Mark};
use crate::run::plan::Test;
use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// What was done to a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Repaired {
    /// What was mended, sentences.
    pub done: Vec<String>,
    /// Where the originals are, if any was changed.
    pub originals: Option<PathBuf>,
    /// What is still not as it was made.
    pub left: Vec<Found>,
}

/// How to repair.
#[derive(Debug, Clone)]
pub struct Repair<'a> {
    /// What the folder of the originals is marked with: the time.
    pub stamp: &'a str,
    /// The zone in which runs are named.
    pub zone: &'a TimeZone,
    /// Folders that may hold a file with the right content hash: the vehicle's own, and its other runs.
    pub donors: &'a [PathBuf],
}

/// Mends a run as far as its files tell how.
///
/// # Errors
/// When the disk does not take something; what was there before is then still there, under its own name or in the folder of
/// the originals.
pub fn repair(path: &Path, how: &Repair<'_>) -> Result<Repaired, FolderError> {
    let checked = verify(path)?;
    let mut work = Work { path, how, done: Vec::new(), originals: None };
    let newer = checked.found.iter().any(|found| matches!(found, Found::Newer(_)));
    if checked.found.is_empty() || checked.recording || newer {
        return Ok(Repaired { left: checked.found, ..Repaired::default() });
    }
    for found in &checked.found {
        match found {
            Found::Missing(name) | Found::Changed(name)
                if [VEHICLE, RIG, CALIBRATION, TABLE].contains(name) =>
            {
                work.restore(name)?;
            }
            Found::LeftOver(name) => work.put_away(name)?,
            _ => {}
        }
    }
    if checked.found.iter().any(|found| matches!(found, Found::NoHeader | Found::BadHeader(_))) {
        work.header(&checked)?;
    }
    let of_readings = |found: &Found| [WIRE, ARRIVALS, MARKS].contains(&found.file());
    if path.join(WIRE).is_file() && checked.found.iter().any(of_readings) {
        work.readings(&checked)?;
    }
    sync_folder(path)?;
    Ok(Repaired { done: work.done, originals: work.originals, left: verify(path)?.found })
}

/// Whether [`repair`] can mend this of a run; what it cannot needs a copy from elsewhere. `donors` as for [`Repair`].
///
/// # Errors
/// When the disk does not give a file that is there.
pub fn is_mendable(path: &Path, found: &Found, donors: &[PathBuf]) -> Result<bool, FolderError> {
    Ok(match found {
        Found::CutFrame(_)
        | Found::CutArrivals(_)
        | Found::WrongArrivals(_)
        | Found::BadMarks(_)
        | Found::NoEnd
        | Found::LeftOver(_) => true,
        Found::NoHeader | Found::BadHeader(_) => [VEHICLE, RIG].iter().all(|name| path.join(name).is_file()),
        Found::Missing(name) | Found::Changed(name) => {
            let wanted = RunFolder::open(path).ok().and_then(|run| hash_of_copy(run.header, name));
            donor(name, wanted.as_deref(), donors)?.is_some()
        }
        Found::Newer(_) | Found::Unreadable(..) => false,
    })
}

/// The content hash that a header keeps of a copy.
fn hash_of_copy(header: Header, name: &str) -> Option<String> {
    match name {
        VEHICLE => Some(header.vehicle_hash),
        RIG => Some(header.rig_hash),
        CALIBRATION => header.calibration_hash,
        TABLE => header.table_hash,
        _ => None,
    }
}

/// The folder in which the same file lies.
fn donor<'a>(
    name: &str,
    wanted: Option<&str>,
    donors: &'a [PathBuf],
) -> Result<Option<&'a PathBuf>, FolderError> {
    let Some(wanted) = wanted else { return Ok(None) };
    for folder in donors {
        if hash_of(&folder.join(name))?.as_deref() == Some(wanted) {
            return Ok(Some(folder));
        }
    }
    Ok(None)
}

struct Work<'a> {
    path: &'a Path,
    how: &'a Repair<'a>,
    done: Vec<String>,
    originals: Option<PathBuf>,
}

impl Work<'_> {
    /// Keeps the original of a file, where there is one, before it is changed.
    fn keep(&mut self, name: &str) -> Result<(), FolderError> {
        let from = self.path.join(name);
        if !from.is_file() {
            return Ok(());
        }
        let folder = match &self.originals {
            Some(folder) => folder.clone(),
            None => self.make_folder()?,
        };
        let to = folder.join(name);
        fs::copy(&from, &to).map_err(FolderError::io(&to))?;
        File::open(&to).and_then(|file| file.sync_all()).map_err(FolderError::io(&to))?;
        sync_folder(&folder)
    }

    fn make_folder(&mut self) -> Result<PathBuf, FolderError> {
        for n in 1.. {
            let more = if n == 1 { String::new() } else { format!("-{n}") };
            let folder = self.path.join(format!("before-repair-{}{more}", self.how.stamp));
            match fs::create_dir(&folder) {
                Ok(()) => {
                    self.originals = Some(folder.clone());
                    return Ok(folder);
                }
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(FolderError::io(&folder)(e)),
            }
        }
        Err(FolderError::io(self.path)(io::ErrorKind::AlreadyExists.into()))
    }

    /// Puts a file in place of what has its name, in one step.
    fn replace(&mut self, name: &str, bytes: &[u8]) -> Result<(), FolderError> {
        self.keep(name)?;
        let (fresh, path) = (self.path.join(format!(".{name}.new")), self.path.join(name));
        write_synced(&fresh, bytes)?;
        fs::rename(&fresh, &path).map_err(FolderError::io(&path))
    }

    /// Takes a file out of the way; an empty one is of no use to anybody.
    fn put_away(&mut self, name: &str) -> Result<(), FolderError> {
        let path = self.path.join(name);
        if name != RECORDING {
            self.keep(name)?;
        }
        fs::remove_file(&path).map_err(FolderError::io(&path))?;
        self.done.push(format!("{name}, left by a crash, was taken out"));
        Ok(())
    }

    /// Brings back a file by its content hash from where the same file lies.
    fn restore(&mut self, name: &str) -> Result<(), FolderError> {
        let Ok(run) = RunFolder::open(self.path) else { return Ok(()) };
        let wanted = hash_of_copy(run.header, name);
        let Some(donor) = donor(name, wanted.as_deref(), self.how.donors)? else { return Ok(()) };
        let from = donor.join(name);
        let bytes = fs::read(&from).map_err(FolderError::io(&from))?;
        self.replace(name, &bytes)?;
        self.done.push(format!("{name} was brought back from {}", donor.display()));
        Ok(())
    }

    /// Makes the header anew from the name of the run, its copies and its readings.
    fn header(&mut self, checked: &Checked) -> Result<(), FolderError> {
        let copies = [hash_of(&self.path.join(VEHICLE))?, hash_of(&self.path.join(RIG))?];
        let [Some(vehicle_hash), Some(rig_hash)] = copies else { return Ok(()) };
        let name = self.path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let (started, words) = self.started(&name)?;
        let table_hash = hash_of(&self.path.join(TABLE))?;
        let (marks, _) = marks::parse(&read_if_there(&self.path.join(MARKS))?);
        let plan: Vec<Phase> = marks
            .iter()
            .filter_map(|mark| if let Mark::Phase { phase, .. } = mark { Some(*phase) } else { None })
            .collect();
        let header = Header {
            format: FORMAT,
            source: if table_hash.is_some() { Source::Table } else { Source::Wire },
            started,
            test: words.and_then(|words| Test::parse(&words)).map(|test| test.words().to_owned()),
            plan,
            ramp_angle_rad: None,
            taped_left_m: None,
            taped_right_m: None,
            load_n: None,
            notes: "Header made anew by a repair: what had been typed in is lost.".into(),
            vehicle_hash,
            rig_hash,
            calibration_hash: hash_of(&self.path.join(CALIBRATION))?,
            table_name: None,
            table_units: Vec::new(),
            table_hash,
            logger: checked.logger.as_ref().map(Logger::from),
            stored: None,
        };
        let path = self.path.join(HEADER);
        let text = header.to_text().map_err(|source| FolderError::Header { path, source })?;
        self.replace(HEADER, text.as_bytes())?;
        self.done.push(format!(
            "{HEADER} was made anew from the run's name, its copies and its readings: the ramp's angle, taped distances, loads and \
             notes are lost, type them in again"
        ));
        Ok(())
    }

    /// When a run began and its test's words, from its name, else from the age of its files.
    fn started(&self, name: &str) -> Result<(String, Option<String>), FolderError> {
        let written = |time: jiff::ZonedDateTime| time.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
        let parts: Vec<&str> = name.splitn(5, '-').collect();
        if let [year, month, day, clock, rest @ ..] = parts.as_slice()
            && let Ok(day) = format!("{year}-{month}-{day}").parse::<Date>()
            && let Ok(minutes) = clock.parse::<i16>()
            && let Ok(time) = Time::new((minutes / 100) as i8, (minutes % 100) as i8, 0, 0)
            && let Ok(time) = day.to_datetime(time).to_zoned_datetime(self.how.zone.clone())
        {
            let words = rest.first().map(|words| {
                words.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-').replace('-', " ")
            });
            return Ok((written(time), words));
        }
        let data = [WIRE, TABLE, VEHICLE].map(|name| self.path.join(name));
        let oldest = data.iter().find(|path| path.is_file()).unwrap_or(&data[0]);
        let modified = fs::metadata(oldest).and_then(|m| m.modified()).map_err(FolderError::io(oldest))?;
        let time = Timestamp::try_from(modified).unwrap_or(Timestamp::UNIX_EPOCH);
        Ok((written(time.to_zoned_datetime(self.how.zone.clone())), None))
    }

    /// Leaves whole frames, records and lines, and ends the run where it was cut off.
    fn readings(&mut self, checked: &Checked) -> Result<(), FolderError> {
        let wire = self.path.join(WIRE);
        let whole = checked.whole_bytes;
        if checked.found.iter().any(|found| matches!(found, Found::CutFrame(_))) {
            let mut bytes = Vec::new();
            File::open(&wire)
                .and_then(|file| file.take(whole).read_to_end(&mut bytes))
                .map_err(FolderError::io(&wire))?;
            self.replace(WIRE, &bytes)?;
            self.done.push(format!("{WIRE} now ends with its last whole frame, after {whole} bytes"));
        }
        let bytes = fs::metadata(&wire).map_err(FolderError::io(&wire))?.len();
        let arrived = read_if_there(&self.path.join(ARRIVALS))?;
        let sound = sound_arrivals(&arrived, bytes);
        if checked.found.iter().any(|found| found.file() == ARRIVALS) {
            let records: Vec<u8> = sound.iter().flat_map(|(offset, us)| arrival(*offset, *us)).collect();
            self.replace(ARRIVALS, &records)?;
            self.done.push(format!("{ARRIVALS} now holds its {} sound records", sound.len()));
        }
        if checked.found.iter().any(|found| found.file() == MARKS || matches!(found, Found::CutFrame(_))) {
            let (mut kept, bad) = marks::parse(&read_if_there(&self.path.join(MARKS))?);
            if !kept.iter().any(|mark| matches!(mark, Mark::End { .. })) {
                let host_us = sound.last().map_or(0, |(_, us)| *us);
                let at = Instant { host_us, ..Instant::default() };
                kept.push(Mark::End { at, why: "it was cut off".into() });
            }
            if !kept.iter().any(|mark| matches!(mark, Mark::Seal { .. })) {
                let wire_hash = hash_of(&wire)?.unwrap_or_default();
                kept.push(Mark::Seal { wire_bytes: bytes, wire_hash });
            }
            let text: String = kept.iter().map(Mark::line).collect();
            self.replace(MARKS, text.as_bytes())?;
            let without =
                if bad > 0 { format!(", without {bad} lines that make no sense") } else { String::new() };
            self.done.push(format!("{MARKS} now ends the run{without}"));
        }
        Ok(())
    }
}
