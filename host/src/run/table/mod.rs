//! A table of readings (CSV) becomes a recording.
//!
//! The first line heads the columns: `t_s` (s, rising), optionally `phase`, and one column per sensor in the unit of the rig
//! file, an inertial unit with six (`NAME.ax` … `NAME.gz`, m/s² and rad/s). A heading may state a unit of its own,
//! `NAME [mm]` or `NAME_mm`. Read row by row: memory grows with the readings that are kept, and these can be bounded.

mod error;
mod headings;
mod lines;
mod rows;
#[cfg(test)]
mod tests;
mod units;

pub use error::{Spot, TableError, Trouble};
pub use units::ColumnUnit;

use super::Recording;
use super::plan::Test;
use crate::geometry::Vector3;
use crate::rig::Rig;
use lines::{Hashing, Lines};
use rows::Filling;
use std::io::{BufReader, Read};

/// How a table is to be read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Choices {
    /// Units of columns that state none, instead of the rig file's scales; at most one per quantity.
    pub units: Vec<ColumnUnit>,
    /// Leave a column out although its heading looks like a sensor's name mistyped.
    pub ignore_unknown: bool,
    /// Keep no more readings of a channel than this, evenly over the time; the checks, counts and phases are those of all.
    pub most_readings: Option<usize>,
    /// Take a table without a phase column as it is: nobody asks what was done when.
    pub no_phases: bool,
}

/// Mistakes that are told at once.
const MOST_MISTAKES: usize = 10;

/// Reads a table.
///
/// `centres` are the axle centres at ride height (m, floor coordinates) by axle of the vehicle. Without a phase column the
/// readings up to the first motion are the still, and the rest takes the phase of `test`; a test of two sides, and no test
/// at all, are told from the readings where the sensors allow it.
///
/// # Errors
/// With line and column of the cells that are wrong; when there are no readings; when the phases cannot be told.
pub fn read(
    source: impl Read,
    rig: &Rig,
    centres: &[Vector3<f64>],
    test: Option<Test>,
    choices: &Choices,
) -> Result<Recording, TableError> {
    let mut lines = Lines::new(BufReader::with_capacity(1 << 16, Hashing::new(source)));
    let headings = headings::read(&mut lines, rig, choices)?;
    let mut filling = Filling::new(rig, choices.most_readings);
    let mut mistakes = Vec::new();
    while lines.next_line()?.is_some() {
        let (line, number) = (String::from_utf8_lossy(lines.line()), lines.number);
        if line.chars().any(|c| !c.is_whitespace() && c != headings.delimiter) {
            filling.row(&headings, &line, number, &mut mistakes);
            if mistakes.len() >= MOST_MISTAKES {
                mistakes.truncate(MOST_MISTAKES);
                return Err(TableError::Several { mistakes, read_on: false });
            }
        }
    }
    match mistakes.pop() {
        None => {}
        Some((spot, trouble)) if mistakes.is_empty() => return Err(TableError::at(spot, trouble)),
        Some(last) => {
            mistakes.push(last);
            return Err(TableError::Several { mistakes, read_on: true });
        }
    }
    let told = (!choices.no_phases).then_some((centres, test));
    filling.finish(&headings, told, lines.source().get_ref().hash())
}
