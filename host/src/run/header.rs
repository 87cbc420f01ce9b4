//! The header of a run, `run.toml`: what was recorded, with which files, by which logger.

use super::{Facts, Phase};
use crate::files::written;
use hingeline_protocol::Identity;
use serde::{Deserialize, Serialize};

/// Format of run folders that this program writes, and the newest that it reads.
pub const FORMAT: u32 = 1;

/// Where a run's readings came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// A logger's wire, recorded live: `wire.bin`.
    Wire,
    /// What a logger had kept by itself, fetched over the wire: `wire.bin`.
    Store,
    /// A table: `table.csv`.
    Table,
}

/// The logger that recorded a run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Logger {
    /// The board.
    pub board: String,
    /// The controller's unique number, hex.
    pub unique_id: String,
    /// Version of the firmware.
    pub firmware: String,
    /// Which build of it: the firmware's own content hash or label.
    pub build: String,
}

impl From<&Identity> for Logger {
    fn from(identity: &Identity) -> Self {
        Self {
            board: identity.board.as_str().to_owned(),
            unique_id: identity.unique_id.iter().map(|byte| format!("{byte:02x}")).collect(),
            firmware: identity.firmware.as_str().to_owned(),
            build: identity.build.as_str().to_owned(),
        }
    }
}

/// Which of its starts a board kept by itself. No two recordings of a board have the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct StoredStart {
    /// The boot during which it began.
    pub boot: u32,
    /// When it began, µs since that boot.
    pub begun_us: u64,
    /// When its last block ended, µs since that boot.
    pub ended_us: u64,
}

/// What `run.toml` says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// Format of the folder.
    pub format: u32,
    /// Where the readings came from.
    pub source: Source,
    /// When it began, RFC 3339 with the zone's offset.
    pub started: String,
    /// The test's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test: Option<String>,
    /// The phases that were planned, in order.
    #[serde(default)]
    pub plan: Vec<Phase>,
    /// Angle of the ramp, rad.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ramp_angle_rad: Option<f64>,
    /// Distance along the ramp as taped with the left wheel up, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taped_left_m: Option<f64>,
    /// The same with the right wheel up, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taped_right_m: Option<f64>,
    /// Load of a rock or a shove on the axle, N.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load_n: Option<f64>,
    /// Free notes.
    #[serde(default)]
    pub notes: String,
    /// BLAKE3 of `vehicle.toml` beside it, hex.
    pub vehicle_hash: String,
    /// BLAKE3 of `rig.toml` beside it, hex.
    pub rig_hash: String,
    /// BLAKE3 of `calibration.toml` beside it, hex, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_hash: Option<String>,
    /// The name that an imported table had.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub table_name: Option<String>,
    /// Units of an imported table's columns that state none, instead of the rig file's scales.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub table_units: Vec<String>,
    /// BLAKE3 of an imported table, hex.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub table_hash: Option<String>,
    /// The logger.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub logger: Option<Logger>,
    /// What it is in its logger's own store, where it was fetched from there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stored: Option<StoredStart>,
}

/// Why a header cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum HeaderError {
    /// Written by a newer program.
    #[error("it has format {found}, this program reads up to {FORMAT}")]
    Newer {
        /// Its format.
        found: u32,
    },
    /// Not the header of a run.
    #[error("{0}")]
    Wrong(String),
}

impl Header {
    /// The header's text.
    ///
    /// # Errors
    /// When a value has no form in TOML, which no value of these types has.
    pub fn to_text(&self) -> Result<String, HeaderError> {
        written::to_text(self).map_err(HeaderError::Wrong)
    }

    /// The header in a text.
    ///
    /// # Errors
    /// For a newer format, and for a text that is no header.
    pub fn parse(text: &str) -> Result<Self, HeaderError> {
        #[derive(Deserialize)]
        struct OnlyFormat {
            format: u32,
        }
        let OnlyFormat { format } = written::from_text(text).map_err(HeaderError::Wrong)?;
        if format > FORMAT {
            return Err(HeaderError::Newer { found: format });
        }
        written::from_text(text).map_err(HeaderError::Wrong)
    }

    /// What a person typed in.
    pub fn facts(&self) -> Facts {
        Facts {
            test: self.test.clone(),
            ramp_angle_rad: self.ramp_angle_rad,
            taped_ramp_m: [self.taped_left_m, self.taped_right_m],
            load_n: self.load_n,
            notes: self.notes.clone(),
        }
    }

    /// Puts in what a person typed.
    pub fn set_facts(&mut self, facts: &Facts) {
        self.test.clone_from(&facts.test);
        self.ramp_angle_rad = facts.ramp_angle_rad;
        [self.taped_left_m, self.taped_right_m] = facts.taped_ramp_m;
        self.load_n = facts.load_n;
        self.notes.clone_from(&facts.notes);
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;

    pub fn header(source: Source) -> Header {
        Header {
            format: FORMAT,
            source,
            started: "2026-11-25T14:12:03+01:00".into(),
            test: Some("ramp".into()),
            plan: vec![Phase::Still, Phase::RampLeft],
            ramp_angle_rad: Some(0.35),
            taped_left_m: None,
            taped_right_m: Some(1.8),
            load_n: None,
            notes: "wet \"grass\"\nsecond line".into(),
            vehicle_hash: "aa".into(),
            rig_hash: "bb".into(),
            calibration_hash: None,
            table_name: None,
            table_units: Vec::new(),
            table_hash: None,
            logger: Some(Logger {
                board: "pico".into(),
                unique_id: "0102".into(),
                firmware: "0.1.0".into(),
                build: "abc".into(),
            }),
            stored: (source == Source::Store).then_some(StoredStart { boot: 3, begun_us: 5, ended_us: 9 }),
        }
    }

    #[test]
    fn a_header_comes_back_and_its_text_is_the_documented_one() {
        let header = header(Source::Wire);
        let text = header.to_text().unwrap();
        assert_eq!(Header::parse(&text), Ok(header));
        insta::assert_snapshot!(text);
        let fetched = self::header(Source::Store);
        assert_eq!(Header::parse(&fetched.to_text().unwrap()), Ok(fetched));
    }

    #[test]
    fn a_newer_format_is_refused_whatever_else_it_says() {
        assert_eq!(Header::parse("format = 2\nwhatever = 3"), Err(HeaderError::Newer { found: 2 }));
        assert!(matches!(Header::parse("format = 1"), Err(HeaderError::Wrong(_))));
        assert!(matches!(Header::parse("\u{0}"), Err(HeaderError::Wrong(_))));
    }
}
