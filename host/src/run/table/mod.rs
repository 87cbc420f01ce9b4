//! A table of readings (CSV) becomes a recording.
//!
//! The first line heads the columns: `t_s` (s, rising), optionally `phase`, and one column per sensor in the unit of the rig
//! file, an inertial unit with six (`NAME.ax` … `NAME.gz`, m/s² and rad/s). Read row by row: memory grows with the series only.

mod error;
mod lines;
#[cfg(test)]
mod tests;

pub use error::{Spot, TableError, Trouble};

use super::phases::{self, Untold};
use super::plan::{Test, plain_words};
use super::still::median;
use super::{Phase, PhaseSpan, Recording, Timing, gap_limit_s, still};
use crate::geometry::Vector3;
use crate::rig::{Rig, Scale};
use lines::{Decimal, Hashing, Lines, cells, number};
use std::io::{BufReader, Read};

/// What one column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Time,
    Phase,
    Reading { sensor: usize, channel: usize },
    Ignored,
}

/// The line of headings.
struct Headings {
    delimiter: char,
    names: Vec<String>,
    columns: Vec<Column>,
}

/// What was set aside of one channel.
#[derive(Debug, Clone, Copy, Default)]
struct SetAside {
    missing: u64,
    out_of_range: u64,
}

/// Everything that reading the rows fills.
struct Filling<'a> {
    rig: &'a Rig,
    recording: Recording,
    set_aside: Vec<Vec<SetAside>>,
    row_t_s: Vec<f64>,
    decimal: Decimal,
}

/// Reads a table.
///
/// `centres` are the axle centres at ride height (m, floor coordinates) by axle of the vehicle. Without a phase column the
/// readings up to the first motion are the still, and the rest takes the phase of `test`; a test of two sides, and no test
/// at all, are told from the readings where the sensors allow it.
///
/// # Errors
/// With the line and column of the first cell that is wrong; when there are no readings; when the phases cannot be told.
pub fn read(
    source: impl Read,
    rig: &Rig,
    centres: &[Vector3<f64>],
    test: Option<Test>,
) -> Result<Recording, TableError> {
    let mut lines = Lines::new(BufReader::new(Hashing::new(source)));
    let headings = headings(&mut lines, rig)?;
    let mut filling = Filling {
        rig,
        recording: Recording::empty(rig),
        set_aside: rig
            .sensors
            .iter()
            .map(|s| vec![SetAside::default(); s.channel_suffixes().len()])
            .collect(),
        row_t_s: Vec::new(),
        decimal: Decimal::Unknown,
    };
    while lines.next_line()?.is_some() {
        let (line, number) = (String::from_utf8_lossy(lines.line()), lines.number);
        if line.chars().any(|c| !c.is_whitespace() && c != headings.delimiter) {
            filling.row(&headings, &line, number)?;
        }
    }
    filling.recording.provenance.data_hash = lines.source().get_ref().hash();
    filling.finish(&headings, centres, test)
}

fn headings<R: Read>(lines: &mut Lines<BufReader<R>>, rig: &Rig) -> Result<Headings, TableError> {
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
        let Some(delimiter) = ['\t', ';', ','].into_iter().find(|d| cells(text, *d).any(|c| c == "t_s"))
        else {
            return trouble(lines.number, Trouble::NoTime);
        };
        let names: Vec<String> = cells(text, delimiter).map(|c| c.into_owned()).collect();
        for (k, name) in names.iter().enumerate() {
            if !name.is_empty() && names.iter().take(k).any(|n| n == name) {
                let spot = Spot::cell(lines.number, k + 1, name);
                return Err(TableError::at(spot, Trouble::Twice { heading: name.clone() }));
            }
        }
        let columns: Vec<Column> = names.iter().map(|name| column(rig, name)).collect();
        if !columns.iter().any(|c| matches!(c, Column::Reading { .. })) {
            return trouble(lines.number, Trouble::NoSensor { sensors: expected_headings(rig) });
        }
        return Ok(Headings { delimiter, names, columns });
    }
}

/// The headings that a rig's table may have, beside time and phase.
fn expected_headings(rig: &Rig) -> Vec<String> {
    rig.sensors.iter().flat_map(|s| s.channel_suffixes().iter().map(|c| heading(&s.name, c))).collect()
}

fn heading(sensor: &str, suffix: &str) -> String {
    if suffix.is_empty() { sensor.to_owned() } else { format!("{sensor}.{suffix}") }
}

fn column(rig: &Rig, name: &str) -> Column {
    let reading = || {
        rig.sensors.iter().enumerate().find_map(|(sensor, s)| {
            let channel = s.channel_suffixes().iter().position(|c| heading(&s.name, c) == name)?;
            Some(Column::Reading { sensor, channel })
        })
    };
    match name {
        "t_s" => Column::Time,
        "phase" => Column::Phase,
        _ => reading().unwrap_or(Column::Ignored),
    }
}

impl Filling<'_> {
    fn row(&mut self, headings: &Headings, line: &str, line_number: u64) -> Result<(), TableError> {
        let width = headings.columns.len();
        let count = cells(line, headings.delimiter).count();
        // Spreadsheets end rows with empty cells.
        let extra = cells(line, headings.delimiter).skip(width).any(|c| !c.is_empty());
        if count < width || extra {
            let decimal_comma = headings.delimiter == ',' && count > width;
            let trouble = Trouble::Ragged { cells: count, headings: width, decimal_comma };
            return Err(TableError::at(Spot::line(line_number), trouble));
        }
        let row =
            || headings.columns.iter().zip(&headings.names).zip(cells(line, headings.delimiter)).enumerate();
        let spot = |k: usize, name: &str| Spot::cell(line_number, k + 1, name);
        let mut now_s = None;
        for (k, ((column, name), cell)) in row() {
            if *column == Column::Time {
                let time = self.time(&cell).map_err(|t| TableError::at(spot(k, name), t))?;
                self.row_t_s.push(time);
                now_s = Some(time);
            }
        }
        let Some(now_s) = now_s else {
            return Err(TableError::at(Spot::line(line_number), Trouble::TimeMissing));
        };
        for (k, ((column, name), cell)) in row() {
            let result = match *column {
                Column::Phase => self.phase(&cell, now_s),
                Column::Reading { sensor, channel } => self.reading(&cell, now_s, sensor, channel),
                Column::Time | Column::Ignored => Ok(()),
            };
            result.map_err(|t| TableError::at(spot(k, name), t))?;
        }
        Ok(())
    }

    fn time(&mut self, cell: &str) -> Result<f64, Trouble> {
        let now_s = number(cell, &mut self.decimal)?.ok_or(Trouble::TimeMissing)?;
        match self.row_t_s.last() {
            Some(&before_s) if now_s == before_s => Err(Trouble::TimeRepeats { now_s }),
            Some(&before_s) if now_s < before_s => Err(Trouble::TimeGoesBack { now_s, before_s }),
            _ => Ok(now_s),
        }
    }

    /// Opens a span of a phase, or lengthens the one that the row before was in.
    fn phase(&mut self, cell: &str, now_s: f64) -> Result<(), Trouble> {
        if cell.is_empty() {
            return Ok(());
        }
        let phase = Phase::parse(&plain_words(cell))
            .ok_or_else(|| Trouble::NotAPhase { text: cell.chars().take(40).collect() })?;
        let before_s = self.row_t_s.iter().rev().nth(1).copied();
        match self.recording.phases.last_mut() {
            Some(span) if span.phase == phase && Some(span.to_s) == before_s => span.to_s = now_s,
            _ => self.recording.phases.push(PhaseSpan { phase, from_s: now_s, to_s: now_s }),
        }
        Ok(())
    }

    fn reading(&mut self, cell: &str, now_s: f64, sensor: usize, channel: usize) -> Result<(), Trouble> {
        let raw = number(cell, &mut self.decimal)?;
        let (Some(spec), Some(series), Some(aside)) = (
            self.rig.sensors.get(sensor),
            self.recording.series.get_mut(sensor).and_then(|s| s.get_mut(channel)),
            self.set_aside.get_mut(sensor).and_then(|s| s.get_mut(channel)),
        ) else {
            return Ok(());
        };
        self.recording.counts.received += 1;
        let reading = spec.reading();
        let value = raw.map(|raw| reading.map_or(&Scale::Linear(1.0), |r| &r.scale).apply(raw));
        match value {
            None => aside.missing += 1,
            Some(v) if reading.and_then(|r| r.range).is_some_and(|[low, high]| v < low || v > high) => {
                aside.out_of_range += 1;
            }
            Some(v) => {
                series.t_s.push(now_s);
                series.value.push(v);
                return Ok(());
            }
        }
        self.recording.counts.excluded += 1;
        Ok(())
    }

    fn finish(
        mut self,
        headings: &Headings,
        centres: &[Vector3<f64>],
        test: Option<Test>,
    ) -> Result<Recording, TableError> {
        if self.row_t_s.len() < 2 {
            return Err(TableError::TooShort { rows: self.row_t_s.len() });
        }
        let mut steps: Vec<f64> = self.row_t_s.windows(2).map(|w| w[1] - w[0]).collect();
        let period_s = median(&mut steps);
        self.recording.timing = Timing::SharedRow { period_s };
        self.recording.facts.test = test.map(|t| t.words().to_owned());
        self.remark_on_columns(headings);
        self.remark_on_readings();
        for w in self.row_t_s.windows(2) {
            if w[1] - w[0] > gap_limit_s(period_s) {
                self.recording.remarks.push(format!("No rows between {:.2} s and {:.2} s.", w[0], w[1]));
            }
        }
        if headings.columns.contains(&Column::Phase) {
            if self.recording.spans(Phase::Still).next().is_none() {
                self.recording.remarks.push("No row is marked still.".into());
            }
        } else {
            self.tell_phases(centres, test)?;
        }
        Ok(self.recording)
    }

    fn tell_phases(&mut self, centres: &[Vector3<f64>], test: Option<Test>) -> Result<(), TableError> {
        let spans =
            phases::tell(self.rig, centres, &self.recording.series, test).map_err(|untold| match untold {
                Untold::NoStill(why) => TableError::NoStill { needed_s: still::SHORTEST_STILL_S, why },
                Untold::Unclear(why) => TableError::UnknownPhase { why },
            })?;
        self.recording.remarks.push(phases::remark(&spans));
        self.recording.phases = spans;
        Ok(())
    }

    fn remark_on_columns(&mut self, headings: &Headings) {
        let remarks = &mut self.recording.remarks;
        for (name, column) in headings.names.iter().zip(&headings.columns) {
            if *column == Column::Ignored && !name.is_empty() {
                remarks.push(format!("Column \"{name}\" belongs to no sensor of the rig and was left out."));
            }
        }
        for (sensor, spec) in self.rig.sensors.iter().enumerate() {
            let missing: Vec<_> = spec
                .channel_suffixes()
                .iter()
                .enumerate()
                .filter(|(channel, _)| {
                    !headings.columns.contains(&Column::Reading { sensor, channel: *channel })
                })
                .map(|(_, suffix)| heading(&spec.name, suffix))
                .collect();
            if !missing.is_empty() {
                remarks.push(format!(
                    "The table has no column \"{}\": no data from it.",
                    missing.join("\", \"")
                ));
            }
        }
    }

    fn remark_on_readings(&mut self) {
        for (spec, all) in self.rig.sensors.iter().zip(&self.set_aside) {
            for (suffix, aside) in spec.channel_suffixes().iter().zip(all) {
                let name = heading(&spec.name, suffix);
                if aside.missing > 0 {
                    let cells = aside.missing;
                    self.recording.remarks.push(format!("\"{name}\": cells without a reading: {cells}."));
                }
                if aside.out_of_range > 0 {
                    let readings = aside.out_of_range;
                    self.recording.remarks.push(format!(
                        "\"{name}\": readings outside the sensor's range, set aside: {readings}."
                    ));
                }
            }
        }
    }
}
