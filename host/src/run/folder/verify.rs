//! Looks whether a run is as it was made: header, copies, bytes, arrivals, marks.

use super::{
    ARRIVAL_BYTES, ARRIVALS, CALIBRATION, FolderError, HEADER, MARKS, RECORDING, RIG, RunFolder, TABLE,
    VEHICLE, WIRE, arrivals,
};
use crate::rig;
use crate::run::header::{HeaderError, Source};
use crate::run::marks::{self, Mark};
use crate::vehicle;
use hingeline_protocol::{DeviceMessage, FrameDecoder, Identity, Received};
use std::fmt;
use std::fs::{self, File};
use std::io::{BufReader, ErrorKind, Read};
use std::path::Path;

/// Something about a run that is not as it was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Found {
    /// There is no header.
    NoHeader,
    /// The header makes no sense.
    BadHeader(String),
    /// The header is of a newer program.
    Newer(u32),
    /// A file that the header speaks of is not there.
    Missing(&'static str),
    /// A file is not the one that the header or the seal was made with.
    Changed(&'static str),
    /// A copy cannot be read by this program although it is the right one.
    Unreadable(&'static str, String),
    /// The readings end within a frame: so many bytes.
    CutFrame(u64),
    /// The arrivals end within a record: so many bytes.
    CutArrivals(u64),
    /// So many arrivals point beyond the readings, or back.
    WrongArrivals(u64),
    /// So many lines of the marks make no sense.
    BadMarks(u64),
    /// There is no end mark.
    NoEnd,
    /// A crash left this file.
    LeftOver(&'static str),
}

impl Found {
    /// The file that it is about.
    pub fn file(&self) -> &'static str {
        match self {
            Found::NoHeader | Found::BadHeader(_) | Found::Newer(_) => HEADER,
            Found::Missing(file) | Found::Changed(file) | Found::LeftOver(file) => file,
            Found::Unreadable(file, _) => file,
            Found::CutFrame(_) => WIRE,
            Found::CutArrivals(_) | Found::WrongArrivals(_) => ARRIVALS,
            Found::BadMarks(_) | Found::NoEnd => MARKS,
        }
    }

    /// A word for scripts.
    pub fn kind(&self) -> &'static str {
        match self {
            Found::NoHeader | Found::Missing(_) => "missing",
            Found::BadHeader(_) | Found::Unreadable(..) => "unreadable",
            Found::Newer(_) => "newer",
            Found::Changed(_) => "changed",
            Found::CutFrame(_) | Found::CutArrivals(_) => "cut",
            Found::WrongArrivals(_) | Found::BadMarks(_) => "wrong",
            Found::NoEnd => "no end",
            Found::LeftOver(_) => "left over",
        }
    }
}

/// A number of things: `1 line`, `2 lines`.
fn several(number: u64, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let file = self.file();
        match self {
            Found::NoHeader | Found::Missing(_) => write!(f, "{file} is missing"),
            Found::BadHeader(why) | Found::Unreadable(_, why) => write!(f, "{file} cannot be read: {why}"),
            Found::Newer(format) => write!(f, "{file} has format {format}, which a newer program wrote"),
            Found::Changed(_) => write!(f, "{file} is not as it was when the run was made"),
            Found::CutFrame(bytes) => {
                let bytes = several(*bytes, "byte");
                write!(f, "{file} ends in the middle of a frame, {bytes} after the last whole one")
            }
            Found::CutArrivals(bytes) => {
                write!(f, "{file} ends in the middle of a record, {} of it", several(*bytes, "byte"))
            }
            Found::WrongArrivals(records) => {
                write!(f, "{file} has {} out of order or beyond {WIRE}", several(*records, "record"))
            }
            Found::BadMarks(lines) => write!(f, "{file} has {} without sense", several(*lines, "line")),
            Found::NoEnd => write!(f, "{file} has no end: the recording was cut off"),
            Found::LeftOver(_) => write!(f, "{file} was left by a program that was cut off"),
        }
    }
}

/// What a run's files are like.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Checked {
    /// What is not as it was made.
    pub found: Vec<Found>,
    /// Frames of the readings that are whole.
    pub frames: u64,
    /// Frames that the line damaged, as they came.
    pub damaged_frames: u64,
    /// Whether a program is recording it now.
    pub recording: bool,
    /// Bytes of the readings up to the last whole frame.
    pub(super) whole_bytes: u64,
    /// Who the logger is, where its readings say so.
    pub(super) logger: Option<Identity>,
}

/// Looks at a run folder; nothing is changed.
///
/// # Errors
/// Where the disk does not give a file that is there.
pub fn verify(path: &Path) -> Result<Checked, FolderError> {
    let mut checked = Checked { recording: is_recording(path), ..Checked::default() };
    let header = match RunFolder::open(path) {
        Ok(run) => Some(run.header),
        Err(FolderError::NotARun(_)) => {
            checked.found.push(Found::NoHeader);
            None
        }
        Err(FolderError::Header { source: HeaderError::Newer { found }, .. }) => {
            // What a newer program wrote may be right in ways that this one does not know.
            checked.found.push(Found::Newer(found));
            return Ok(checked);
        }
        Err(FolderError::Header { source, .. }) => {
            checked.found.push(Found::BadHeader(source.to_string()));
            None
        }
        Err(error) => return Err(error),
    };
    if let Some(header) = &header {
        let copies = [
            (VEHICLE, Some(&header.vehicle_hash)),
            (RIG, Some(&header.rig_hash)),
            (CALIBRATION, header.calibration_hash.as_ref()),
            (TABLE, header.table_hash.as_ref()),
        ];
        for (name, hash) in copies {
            let Some(hash) = hash else { continue };
            match hash_of(&path.join(name))? {
                None => checked.found.push(Found::Missing(name)),
                Some(found) if found != *hash => checked.found.push(Found::Changed(name)),
                Some(_) => {}
            }
        }
    }
    copies_are_readable(path, &mut checked);
    let is_table = header.as_ref().map_or(path.join(TABLE).is_file(), |h| h.source == Source::Table);
    if is_table {
        if !path.join(TABLE).is_file() && !checked.found.contains(&Found::Missing(TABLE)) {
            checked.found.push(Found::Missing(TABLE));
        }
    } else {
        readings(path, &mut checked)?;
    }
    for name in [super::FRESH_HEADER, RECORDING] {
        if path.join(name).is_file() && !checked.recording {
            checked.found.push(Found::LeftOver(name));
        }
    }
    Ok(checked)
}

/// Whether a program holds the run open for appending.
pub fn is_recording(path: &Path) -> bool {
    let held = |file: File| matches!(file.try_lock(), Err(fs::TryLockError::WouldBlock));
    File::open(path.join(RECORDING)).is_ok_and(held)
}

/// The copies that are the right ones must also make sense.
fn copies_are_readable(path: &Path, checked: &mut Checked) {
    let sound = |checked: &Checked, name: &str| !checked.found.iter().any(|found| found.file() == name);
    if sound(checked, CALIBRATION)
        && let Err(error) = rig::calibration::file::load_if_there(&path.join(CALIBRATION))
    {
        checked.found.push(Found::Unreadable(CALIBRATION, error.to_string()));
    }
    if !sound(checked, VEHICLE) || !path.join(VEHICLE).is_file() {
        return;
    }
    let vehicle = match vehicle::file::load(&path.join(VEHICLE)) {
        Ok(vehicle) => vehicle,
        Err(error) => return checked.found.push(Found::Unreadable(VEHICLE, error.to_string())),
    };
    if sound(checked, RIG)
        && path.join(RIG).is_file()
        && let Err(error) = rig::file::load(&path.join(RIG), &vehicle)
    {
        checked.found.push(Found::Unreadable(RIG, error.to_string()));
    }
}

/// BLAKE3 of a file, hex; none where it is not there.
pub(super) fn hash_of(path: &Path) -> Result<Option<String>, FolderError> {
    let file = match File::open(path) {
        Ok(file) => file,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(FolderError::io(path)(e)),
    };
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(BufReader::new(file)).map_err(FolderError::io(path))?;
    Ok(Some(hasher.finalize().to_hex().to_string()))
}

/// The bytes off the wire, when they came, and the marks.
fn readings(path: &Path, checked: &mut Checked) -> Result<(), FolderError> {
    let wire = path.join(WIRE);
    let file = match File::open(&wire) {
        Ok(file) => file,
        Err(e) if e.kind() == ErrorKind::NotFound => {
            checked.found.push(Found::Missing(WIRE));
            return Ok(());
        }
        Err(e) => return Err(FolderError::io(&wire)(e)),
    };
    let (bytes, hash) = frames(BufReader::new(file), checked).map_err(FolderError::io(&wire))?;
    let cut = bytes - checked.whole_bytes;
    let marks_bytes = read_if_there(&path.join(MARKS))?;
    let (marks, bad) = marks::parse(&marks_bytes);
    let seal = marks.iter().rev().find_map(|mark| match mark {
        Mark::Seal { wire_bytes, wire_hash } => Some((*wire_bytes, wire_hash)),
        _ => None,
    });
    match seal {
        // Whatever the line ended with, it is what was sealed.
        Some(sealed) if sealed == (bytes, &hash) => {}
        Some(_) => checked.found.push(Found::Changed(WIRE)),
        None if cut > 0 && !checked.recording => checked.found.push(Found::CutFrame(cut)),
        None => {}
    }
    let arrived = read_if_there(&path.join(ARRIVALS))?;
    let left_over = (arrived.len() % ARRIVAL_BYTES) as u64;
    if left_over > 0 && !checked.recording {
        checked.found.push(Found::CutArrivals(left_over));
    }
    let wrong = arrivals(&arrived).len() - sound_arrivals(&arrived, bytes).len();
    if wrong > 0 && !checked.recording {
        checked.found.push(Found::WrongArrivals(wrong as u64));
    }
    if bad > 0 {
        checked.found.push(Found::BadMarks(bad as u64));
    }
    if !marks.iter().any(|mark| matches!(mark, Mark::End { .. })) && !checked.recording {
        checked.found.push(Found::NoEnd);
    }
    Ok(())
}

/// Counts the frames of a log; gives its bytes and their hash.
fn frames(mut source: impl Read, checked: &mut Checked) -> std::io::Result<(u64, String)> {
    let mut decoder = FrameDecoder::<DeviceMessage>::new();
    let mut hasher = blake3::Hasher::new();
    let mut piece = vec![0; super::PIECE];
    let mut bytes = 0_u64;
    loop {
        let count = match source.read(&mut piece) {
            Ok(0) => break,
            Err(e) if e.kind() == ErrorKind::Interrupted => continue,
            other => other?,
        };
        let piece = piece.get(..count).unwrap_or_default();
        hasher.update(piece);
        for byte in piece {
            bytes += 1;
            match decoder.push(*byte) {
                Some(Received::Message(message)) => {
                    checked.frames += 1;
                    if let DeviceMessage::Identity(identity) = message {
                        checked.logger.get_or_insert(identity);
                    }
                }
                Some(Received::OtherMajor(_)) | None => {}
            }
            // Every frame ends in a zero, also one that the line damaged.
            if *byte == 0 {
                checked.whole_bytes = bytes;
            }
        }
    }
    checked.damaged_frames = decoder.counts().refused().into();
    Ok((bytes, hasher.finalize().to_hex().to_string()))
}

/// The arrivals that go forward within `bytes` of readings.
pub(super) fn sound_arrivals(arrived: &[u8], bytes: u64) -> Vec<(u64, u64)> {
    let mut sound: Vec<(u64, u64)> = Vec::new();
    for (offset, host_us) in arrivals(arrived) {
        let forward = sound.last().is_none_or(|(o, t)| offset >= *o && host_us >= *t);
        if forward && offset <= bytes {
            sound.push((offset, host_us));
        }
    }
    sound
}

pub(super) fn read_if_there(path: &Path) -> Result<Vec<u8>, FolderError> {
    match fs::read(path) {
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(Vec::new()),
        other => other.map_err(FolderError::io(path)),
    }
}
