//! The line of headings: which column is the time, the phase, a sensor's reading, and in which unit.

use super::Choices;
use super::error::{Spot, TableError, Trouble};
use super::lines::{Lines, cells};
use super::units::{ColumnUnit, Measures, bracketed, measured_by, suffixed};
use crate::files::nearest;
use crate::rig::Rig;
use std::io::{BufReader, Read};

/// What one column holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Column {
    /// Times; so many seconds in one.
    Time { to_s: f64 },
    /// Phases.
    Phase,
    /// Readings of a channel; in a unit of its own, else as the rig file's scale says.
    Reading { sensor: usize, channel: usize, to_si: Option<f64> },
    /// Left out.
    Ignored,
}

/// The line of headings.
pub struct Headings {
    /// What stands between cells.
    pub delimiter: char,
    /// As written.
    pub names: Vec<String>,
    /// What each holds.
    pub columns: Vec<Column>,
}

impl Headings {
    /// Whether a column has the phases.
    pub fn have_phases(&self) -> bool {
        self.columns.contains(&Column::Phase)
    }

    /// Whether a column has the readings of this channel.
    pub fn have(&self, wanted: (usize, usize)) -> bool {
        self.columns
            .iter()
            .any(|c| matches!(c, Column::Reading { sensor, channel, .. } if (*sensor, *channel) == wanted))
    }
}

/// The heading of a sensor's channel.
pub fn heading(sensor: &str, suffix: &str) -> String {
    if suffix.is_empty() { sensor.to_owned() } else { format!("{sensor}.{suffix}") }
}

/// The headings that a rig's table may have, beside time and phase.
pub fn expected_headings(rig: &Rig) -> Vec<String> {
    rig.sensors.iter().flat_map(|s| s.channel_suffixes().iter().map(|c| heading(&s.name, c))).collect()
}

/// Reads on to the line of headings, and makes sense of it.
///
/// # Errors
/// With its line and column, what is wrong with it.
pub fn read<R: Read>(
    lines: &mut Lines<BufReader<R>>,
    rig: &Rig,
    choices: &Choices,
) -> Result<Headings, TableError> {
    let trouble = |line, trouble| Err(TableError::at(Spot::line(line), trouble));
    loop {
        if lines.next_line()?.is_none() {
            return trouble(lines.number.max(1), Trouble::NoTime);
        }
        let bytes = lines.line();
        if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
            return trouble(lines.number, Trouble::Utf16);
        }
        let Ok(text) = std::str::from_utf8(bytes) else { return trouble(lines.number, Trouble::NotUtf8) };
        let text = text.trim_start_matches('\u{feff}');
        if text.trim().is_empty() {
            continue;
        }
        let Some(delimiter) =
            ['\t', ';', ','].into_iter().find(|d| cells(text, *d).any(|c| time_unit(&c).is_some()))
        else {
            return trouble(lines.number, Trouble::NoTime);
        };
        let names: Vec<String> = cells(text, delimiter).map(|c| c.into_owned()).collect();
        return sense(names, delimiter, rig, choices).map_err(|(column, trouble)| {
            let named = |k: usize| names_at(text, delimiter, k);
            let spot =
                column.map_or(Spot::line(lines.number), |k| Spot::cell(lines.number, k + 1, &named(k)));
            TableError::at(spot, trouble)
        });
    }
}

fn names_at(text: &str, delimiter: char, column: usize) -> String {
    cells(text, delimiter).nth(column).map(|c| c.into_owned()).unwrap_or_default()
}

/// What is wrong with the headings, and with which.
type Wrong = (Option<usize>, Trouble);

fn sense(names: Vec<String>, delimiter: char, rig: &Rig, choices: &Choices) -> Result<Headings, Wrong> {
    for (k, name) in names.iter().enumerate() {
        if !name.is_empty() && names.iter().take(k).any(|n| n == name) {
            return Err((Some(k), Trouble::Twice { heading: name.clone() }));
        }
    }
    let columns = names
        .iter()
        .enumerate()
        .map(|(k, name)| column(rig, name, choices).map_err(|trouble| (Some(k), trouble)))
        .collect::<Result<Vec<_>, _>>()?;
    let found = Headings { delimiter, names, columns };
    found.once()?;
    if !choices.ignore_unknown {
        found.nothing_misspelt(rig)?;
    }
    if !found.columns.iter().any(|c| matches!(c, Column::Reading { .. })) {
        let columns = found.names.clone();
        return Err((None, Trouble::NoSensor { columns, sensors: expected_headings(rig) }));
    }
    Ok(found)
}

impl Headings {
    /// Two headings may not mean one thing in two units.
    fn once(&self) -> Result<(), Wrong> {
        let same = |a: &Column, b: &Column| match (a, b) {
            (Column::Time { .. }, Column::Time { .. }) | (Column::Phase, Column::Phase) => true,
            (Column::Reading { sensor: s, channel: c, .. }, Column::Reading { sensor, channel, .. }) => {
                (s, c) == (sensor, channel)
            }
            _ => false,
        };
        for (k, column) in self.columns.iter().enumerate() {
            if let Some(first) = self.columns.iter().take(k).position(|c| same(c, column)) {
                let name = |k: usize| self.names.get(k).cloned().unwrap_or_default();
                return Err((Some(k), Trouble::SameTwice { heading: name(k), other: name(first) }));
            }
        }
        Ok(())
    }

    /// A column that is left out must not be a sensor's whose name was mistyped.
    fn nothing_misspelt(&self, rig: &Rig) -> Result<(), Wrong> {
        let missing: Vec<String> = rig
            .sensors
            .iter()
            .enumerate()
            .flat_map(|(sensor, s)| {
                let all = s.channel_suffixes().iter().enumerate();
                all.filter(move |(channel, _)| !self.have((sensor, *channel)))
                    .map(|(_, c)| heading(&s.name, c))
            })
            .collect();
        for (k, (name, column)) in self.names.iter().zip(&self.columns).enumerate() {
            let bare = bracketed(name).map_or(name.as_str(), |(bare, _)| bare);
            let wanted = missing.iter().map(String::as_str).chain((!self.have_phases()).then_some("phase"));
            if *column == Column::Ignored
                && let Some(near) = nearest(bare, wanted)
            {
                return Err((Some(k), Trouble::Misspelt { heading: name.clone(), near: near.to_owned() }));
            }
        }
        Ok(())
    }
}

/// Seconds in one unit of a column, where its heading says that it holds times.
fn time_unit(name: &str) -> Option<f64> {
    let seconds = |unit: ColumnUnit| (unit.measures == Measures::Time).then_some(unit.to_si);
    let (bare, unit) = bracketed(name)
        .and_then(|(bare, word)| Some((bare, ColumnUnit::parse(word)?)))
        .or_else(|| suffixed(name))?;
    matches!(bare, "t" | "time" | "Time").then(|| seconds(unit)).flatten()
}

fn column(rig: &Rig, name: &str, choices: &Choices) -> Result<Column, Trouble> {
    if let Some(to_s) = time_unit(name) {
        return Ok(Column::Time { to_s });
    }
    if name == "phase" {
        return Ok(Column::Phase);
    }
    if let Some(at) = channel(rig, name) {
        let default = |m: Measures| choices.units.iter().find(|u| u.measures == m).map(|u| u.to_si);
        let to_si = measures(rig, at).and_then(default);
        return Ok(Column::Reading { sensor: at.0, channel: at.1, to_si });
    }
    let stated = bracketed(name)
        .and_then(|(bare, word)| Some((channel(rig, bare)?, ColumnUnit::parse(word).ok_or(word))))
        .or_else(|| suffixed(name).and_then(|(bare, unit)| Some((channel(rig, bare)?, Ok(unit)))));
    match stated {
        None => Ok(Column::Ignored),
        Some((_, Err(word))) => Err(Trouble::NoUnit { text: word.to_owned() }),
        Some((at, Ok(unit))) if measures(rig, at) == Some(unit.measures) => {
            Ok(Column::Reading { sensor: at.0, channel: at.1, to_si: Some(unit.to_si) })
        }
        Some((_, Ok(unit))) => Err(Trouble::OtherUnit { text: unit.word.to_owned() }),
    }
}

/// Sensor and channel of this heading.
fn channel(rig: &Rig, name: &str) -> Option<(usize, usize)> {
    rig.sensors.iter().enumerate().find_map(|(sensor, s)| {
        let channel = s.channel_suffixes().iter().position(|c| heading(&s.name, c) == name)?;
        Some((sensor, channel))
    })
}

fn measures(rig: &Rig, (sensor, channel): (usize, usize)) -> Option<Measures> {
    rig.sensors.get(sensor).map(|s| measured_by(s, channel))
}
