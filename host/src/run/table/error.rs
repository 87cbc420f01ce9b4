//! What can be wrong with a table, where, and how to mend it.

use super::units::ColumnUnit;
use crate::explain::{Explain, Status};
use crate::run::Phase;
use crate::run::plan::Test;
use std::fmt;

/// Where in a table, counted from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    /// Line of the file.
    pub line: u64,
    /// Column and its heading.
    pub column: Option<(usize, String)>,
}

impl Spot {
    /// A whole line.
    pub fn line(line: u64) -> Self {
        Self { line, column: None }
    }

    /// One cell.
    pub fn cell(line: u64, column: usize, heading: &str) -> Self {
        Self { line, column: Some((column, heading.to_owned())) }
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        match &self.column {
            Some((number, heading)) => write!(f, ", column {number} ({heading})"),
            None => Ok(()),
        }
    }
}

/// What is wrong at a place.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Trouble {
    #[error("the file is UTF-16 text")]
    Utf16,
    #[error("the line of headings is not UTF-8 text")]
    NotUtf8,
    #[error("the line is longer than 1 MiB")]
    LongLine,
    #[error("no column is headed t_s")]
    NoTime,
    #[error("two columns are headed \"{heading}\"")]
    Twice { heading: String },
    #[error("\"{heading}\" and \"{other}\" are the same column")]
    SameTwice { heading: String, other: String },
    #[error("no sensor of the rig is called \"{heading}\"")]
    Misspelt { heading: String, near: String },
    #[error("\"{text}\" is no unit")]
    NoUnit { text: String },
    #[error("this sensor reads nothing in \"{text}\"")]
    OtherUnit { text: String },
    #[error("no column is headed by a sensor of the rig")]
    NoSensor { columns: Vec<String>, sensors: Vec<String> },
    #[error("the row has {cells} cells, the headings {headings}")]
    Ragged { cells: usize, headings: usize, decimal_comma: bool },
    #[error("\"{text}\" is not a number")]
    NotANumber { text: String },
    #[error("\"{text}\" writes its fraction otherwise than the rows above")]
    MixedDecimals { text: String },
    #[error("the row has no time")]
    TimeMissing,
    #[error("time {now_s} s repeats the row before")]
    TimeRepeats { now_s: f64 },
    #[error("time {now_s} s goes back from {before_s} s")]
    TimeGoesBack { now_s: f64, before_s: f64 },
    #[error("\"{text}\" is not a phase")]
    NotAPhase { text: String, near: Option<&'static str> },
}

impl Trouble {
    fn hint(&self) -> String {
        match self {
            Trouble::Utf16 | Trouble::NotUtf8 => "Save it again as \"CSV UTF-8\".".into(),
            Trouble::LongLine => "Give each reading time a line of its own, ended by a line feed.".into(),
            Trouble::NoTime => {
                "Put a line of headings first: t_s for the time in seconds, then one heading per sensor, \
                 with commas, semicolons or tabs between."
                    .into()
            }
            Trouble::Misspelt { near, .. } => format!(
                "Did you mean \"{near}\"? Head the column so, or leave such columns out with --ignore-columns."
            ),
            Trouble::NoUnit { .. } => format!("Units in headings are: {}.", ColumnUnit::words()),
            Trouble::OtherUnit { .. } => {
                "Lengths are in mm, cm, m or in, angles in deg or rad, forces in N or lbf, accelerations in m/s2 or g, \
                 rates in rad/s or deg/s."
                    .into()
            }
            Trouble::Twice { .. } | Trouble::SameTwice { .. } => "Rename or delete one of them.".into(),
            Trouble::NoSensor { columns, sensors } => format!(
                "The columns are: {}. Head them with the names in the rig file: {}.",
                columns.join(", "),
                sensors.join(", ")
            ),
            Trouble::Ragged { decimal_comma: true, .. } => {
                "If its numbers have decimal commas, put semicolons between the columns; \
                 otherwise give each row as many cells as there are headings."
                    .into()
            }
            Trouble::Ragged { .. } => {
                "Give each row as many cells as there are headings; leave a cell empty where there is no reading."
                    .into()
            }
            Trouble::NotANumber { .. } => {
                "Write plain numbers such as 12.5 or 12,5, without units or thousands marks; \
                 leave the cell empty where there is no reading."
                    .into()
            }
            Trouble::MixedDecimals { .. } => {
                "Use either decimal points or decimal commas in the whole file, and no thousands marks.".into()
            }
            Trouble::TimeMissing => "Give each row its time in seconds, or delete the row.".into(),
            Trouble::TimeRepeats { .. } => {
                "Write times with more digits (milliseconds at least), or delete the row.".into()
            }
            Trouble::TimeGoesBack { .. } => {
                "Sort the rows by t_s; import two recordings as two files.".into()
            }
            Trouble::NotAPhase { near: Some(near), .. } => format!("Did you mean \"{near}\"?"),
            Trouble::NotAPhase { .. } => {
                let words: Vec<_> = Phase::WORDS.iter().map(|(words, _)| *words).collect();
                format!("The phases are: {}. Leave the cell empty between them.", words.join(", "))
            }
        }
    }
}

/// Why a table did not become a recording.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    #[error("the table cannot be read: {0}")]
    Read(#[source] std::io::Error),
    #[error("{spot}: {trouble}")]
    At { spot: Spot, trouble: Trouble },
    #[error(
        "{} mistakes{}:{}",
        mistakes.len(),
        if *read_on { "" } else { ", and it was read no further" },
        listed(mistakes)
    )]
    Several {
        mistakes: Vec<(Spot, Trouble)>,
        /// Whether the table was read to its end.
        read_on: bool,
    },
    #[error("the table has too few rows of readings: {rows}, at least two are needed")]
    TooShort { rows: usize },
    #[error("the table has no phase column, and no still of {needed_s} s can be found at its start: {why}")]
    NoStill { needed_s: f64, why: String },
    #[error(
        "the table has no phase column, and what follows the still cannot be told from the readings: {why}"
    )]
    UnknownPhase { why: String },
}

/// A line for each mistake.
fn listed(mistakes: &[(Spot, Trouble)]) -> String {
    mistakes.iter().map(|(spot, trouble)| format!("\n  {spot}: {trouble}")).collect()
}

impl TableError {
    /// Trouble at a place.
    pub fn at(spot: Spot, trouble: Trouble) -> Self {
        TableError::At { spot, trouble }
    }
}

impl Explain for TableError {
    fn status(&self) -> Status {
        match self {
            TableError::Read(error) if error.kind() != std::io::ErrorKind::NotFound => Status::Device,
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            TableError::Read(_) => None,
            TableError::At { trouble, .. } => Some(trouble.hint()),
            TableError::Several { mistakes, .. } => {
                let mut hints: Vec<String> = Vec::new();
                for (_, trouble) in mistakes {
                    let hint = trouble.hint();
                    if !hints.contains(&hint) {
                        hints.push(hint);
                    }
                }
                Some(hints.join("\n  "))
            }
            TableError::TooShort { .. } => Some("Record the test again, or export all of its rows.".into()),
            TableError::NoStill { .. } => Some(
                "Begin each recording with 3 s in which nothing moves, or add a column headed phase that says still, \
                 bounce, ramp left and so on; if the sensor is noisier than the rig file says, correct its noise there."
                    .into(),
            ),
            TableError::UnknownPhase { .. } => Some(format!(
                "Add a column headed phase, or say what the test was with --test: {}.",
                Test::WORDS
            )),
        }
    }
}
