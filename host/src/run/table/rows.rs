//! The rows of a table, one by one: times, phases and readings, and what was set aside of them.

use super::error::{Spot, TableError, Trouble};
use super::headings::{Column, Headings, heading};
use super::lines::{Decimal, cells, number};
use crate::files::nearest;
use crate::geometry::Vector3;
use crate::rig::{Rig, Scale};
use crate::run::channels::outside_range;
use crate::run::phases::{self, Untold};
use crate::run::plan::{Test, plain_words};
use crate::run::still::{self, median};
use crate::run::{Phase, PhaseSpan, Recording, Series, Timing, gap_limit_s};

/// Steps between rows that tell the period of a table: the first so many.
const STEPS_THAT_TELL: usize = 1 << 17;
/// Gaps that are told one by one.
const GAPS_TOLD: usize = 20;

/// What was set aside of one channel.
#[derive(Debug, Clone, Copy, Default)]
struct SetAside {
    missing: u64,
    out_of_range: u64,
}

/// Readings of one channel that are kept: all, or every so many-th.
#[derive(Debug, Clone, Copy)]
struct Thinning {
    every: u64,
    seen: u64,
}

/// Everything that reading the rows fills.
pub struct Filling<'a> {
    rig: &'a Rig,
    recording: Recording,
    set_aside: Vec<Vec<SetAside>>,
    thinning: Vec<Vec<Thinning>>,
    most_readings: Option<usize>,
    rows: Rows,
    decimal: Decimal,
}

/// The times of the rows, in bounded memory.
#[derive(Debug, Default)]
struct Rows {
    count: usize,
    now_s: Option<f64>,
    before_s: Option<f64>,
    /// Times of the first rows, until the period is known.
    first_s: Vec<f64>,
    period_s: Option<f64>,
    gaps: Vec<[f64; 2]>,
    more_gaps: u64,
}

impl Rows {
    fn push(&mut self, t_s: f64) {
        self.count += 1;
        self.before_s = self.now_s.replace(t_s);
        match (self.period_s, self.before_s) {
            (None, _) => {
                self.first_s.push(t_s);
                if self.first_s.len() > STEPS_THAT_TELL {
                    self.settle();
                }
            }
            (Some(period_s), Some(before_s)) => self.step(before_s, t_s, period_s),
            (Some(_), None) => {}
        }
    }

    fn step(&mut self, from_s: f64, to_s: f64, period_s: f64) {
        let gap = to_s - from_s > gap_limit_s(period_s);
        if gap && self.gaps.len() < GAPS_TOLD {
            self.gaps.push([from_s, to_s]);
        } else if gap {
            self.more_gaps += 1;
        }
    }

    /// The period is the median of the steps so far.
    fn settle(&mut self) -> f64 {
        if let Some(period_s) = self.period_s {
            return period_s;
        }
        let first_s = std::mem::take(&mut self.first_s);
        let mut steps: Vec<f64> = first_s.windows(2).map(|w| w[1] - w[0]).collect();
        let period_s = median(&mut steps);
        self.period_s = Some(period_s);
        first_s.windows(2).for_each(|w| self.step(w[0], w[1], period_s));
        period_s
    }
}

impl<'a> Filling<'a> {
    /// Nothing yet; of each channel no more than `most_readings` are kept.
    pub fn new(rig: &'a Rig, most_readings: Option<usize>) -> Self {
        fn by_channel<T: Clone>(rig: &Rig, each: T) -> Vec<Vec<T>> {
            rig.sensors.iter().map(|s| vec![each.clone(); s.channel_suffixes().len()]).collect()
        }
        Self {
            rig,
            recording: Recording::empty(rig),
            set_aside: by_channel(rig, SetAside::default()),
            thinning: by_channel(rig, Thinning { every: 1, seen: 0 }),
            most_readings,
            rows: Rows::default(),
            decimal: Decimal::Unknown,
        }
    }

    /// Takes a row in; what is wrong with it is put to the mistakes.
    pub fn row(
        &mut self,
        headings: &Headings,
        line: &str,
        line_number: u64,
        mistakes: &mut Vec<(Spot, Trouble)>,
    ) {
        let width = headings.columns.len();
        let count = cells(line, headings.delimiter).count();
        // Spreadsheets end rows with empty cells.
        let extra = cells(line, headings.delimiter).skip(width).any(|c| !c.is_empty());
        let name = |k: usize| headings.names.get(k).map_or("", String::as_str);
        let spot = |k: usize| Spot::cell(line_number, k + 1, name(k));
        if count < width || extra {
            let decimal_comma = headings.delimiter == ',' && count > width;
            let trouble = Trouble::Ragged { cells: count, headings: width, decimal_comma };
            let at = if count < width { spot(count) } else { Spot::line(line_number) };
            mistakes.push((at, trouble));
            return;
        }
        let row = || headings.columns.iter().zip(cells(line, headings.delimiter)).enumerate();
        let Some((k, to_s, cell)) = row().find_map(|(k, (column, cell))| match column {
            Column::Time { to_s } => Some((k, *to_s, cell)),
            _ => None,
        }) else {
            mistakes.push((Spot::line(line_number), Trouble::TimeMissing));
            return;
        };
        let now_s = match self.time(&cell, to_s) {
            Ok(now_s) => now_s,
            Err(trouble) => {
                mistakes.push((spot(k), trouble));
                // The rest of the row is looked at all the same.
                self.rows.now_s.unwrap_or_default()
            }
        };
        for (k, (column, cell)) in row() {
            let result = match *column {
                Column::Phase => self.phase(&cell, now_s),
                Column::Reading { sensor, channel, to_si } => {
                    self.reading(&cell, now_s, (sensor, channel), to_si)
                }
                Column::Time { .. } | Column::Ignored => Ok(()),
            };
            if let Err(trouble) = result {
                mistakes.push((spot(k), trouble));
            }
        }
    }

    fn time(&mut self, cell: &str, to_s: f64) -> Result<f64, Trouble> {
        let now_s = number(cell, &mut self.decimal)?.ok_or(Trouble::TimeMissing)? * to_s;
        let before_s = self.rows.now_s;
        // Also after a mistake: the next row is held to this one.
        self.rows.push(now_s);
        match before_s {
            Some(before_s) if now_s == before_s => Err(Trouble::TimeRepeats { now_s }),
            Some(before_s) if now_s < before_s => Err(Trouble::TimeGoesBack { now_s, before_s }),
            _ => Ok(now_s),
        }
    }

    /// Opens a span of a phase, or lengthens the one that the row before was in.
    fn phase(&mut self, cell: &str, now_s: f64) -> Result<(), Trouble> {
        if cell.is_empty() {
            return Ok(());
        }
        let words = plain_words(cell);
        let phase = Phase::parse(&words).ok_or_else(|| Trouble::NotAPhase {
            text: cell.chars().take(40).collect(),
            near: nearest(&words, Phase::WORDS.map(|(words, _)| words)),
        })?;
        let before_s = self.rows.before_s;
        match self.recording.phases.last_mut() {
            Some(span) if span.phase == phase && Some(span.to_s) == before_s => span.to_s = now_s,
            _ => self.recording.phases.push(PhaseSpan { phase, from_s: now_s, to_s: now_s }),
        }
        Ok(())
    }

    fn reading(
        &mut self,
        cell: &str,
        now_s: f64,
        (sensor, channel): (usize, usize),
        to_si: Option<f64>,
    ) -> Result<(), Trouble> {
        let raw = number(cell, &mut self.decimal)?;
        let (Some(spec), Some(series), Some(aside), Some(thinning)) = (
            self.rig.sensors.get(sensor),
            self.recording.series.get_mut(sensor).and_then(|s| s.get_mut(channel)),
            self.set_aside.get_mut(sensor).and_then(|s| s.get_mut(channel)),
            self.thinning.get_mut(sensor).and_then(|s| s.get_mut(channel)),
        ) else {
            return Ok(());
        };
        self.recording.counts.received += 1;
        let reading = spec.reading();
        let value = raw.map(|raw| match to_si {
            Some(to_si) => raw * to_si * reading.map_or(1.0, |r| r.gain),
            None => reading.map_or(&Scale::Linear(1.0), |r| &r.scale).apply(raw),
        });
        match value {
            None => aside.missing += 1,
            Some(v) if reading.and_then(|r| r.range).is_some_and(|[low, high]| v < low || v > high) => {
                aside.out_of_range += 1;
            }
            Some(v) => {
                thinning.keep(series, self.most_readings, now_s, v);
                return Ok(());
            }
        }
        self.recording.counts.excluded += 1;
        Ok(())
    }

    /// The recording that the rows made; `hash` is that of the table's bytes. `told` is what phases are told from where no column
    /// says them: the axle centres and the test; none: nobody asks.
    ///
    /// # Errors
    /// When there are too few rows, or the phases cannot be told.
    pub fn finish(
        mut self,
        headings: &Headings,
        told: Option<(&[Vector3<f64>], Option<Test>)>,
        hash: String,
    ) -> Result<Recording, TableError> {
        if self.rows.count < 2 {
            return Err(TableError::TooShort { rows: self.rows.count });
        }
        let period_s = self.rows.settle();
        self.recording.provenance.data_hash = hash;
        self.recording.timing = Timing::SharedRow { period_s };
        self.recording.facts.test = told.and_then(|(_, test)| test).map(|t| t.words().to_owned());
        self.remark_on_columns(headings);
        self.remark_on_readings();
        for [from_s, to_s] in &self.rows.gaps {
            self.recording.remarks.push(format!("No rows between {from_s:.2} s and {to_s:.2} s."));
        }
        if self.rows.more_gaps > 0 {
            let more = self.rows.more_gaps;
            self.recording.remarks.push(format!("More times without rows: {more}."));
        }
        if headings.have_phases() {
            if self.recording.spans(Phase::Still).next().is_none() {
                self.recording.remarks.push("No row is marked still.".into());
            }
        } else if let Some((centres, test)) = told {
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
        remarks.extend(without_column(self.rig, headings));
    }

    fn remark_on_readings(&mut self) {
        let sensors = self.rig.sensors.iter().zip(&self.set_aside).zip(&self.recording.series);
        for ((spec, all), series) in sensors {
            for (channel, (suffix, aside)) in spec.channel_suffixes().iter().zip(all).enumerate() {
                let left = series.get(channel);
                let name = heading(&spec.name, suffix);
                if aside.missing > 0 {
                    let cells = aside.missing;
                    self.recording
                        .remarks
                        .push(format!("\"{name}\": cells without a reading, set aside: {cells}."));
                }
                if aside.out_of_range > 0 {
                    let all = aside.missing == 0 && left.is_some_and(|s| s.t_s.is_empty());
                    let told = outside_range(&name, aside.out_of_range, all, spec);
                    self.recording.remarks.push(told);
                }
            }
        }
    }
}

/// Which sensors have no column or not all of theirs, and how to mend it; in one sentence, as a table that has few is often meant
/// to.
fn without_column(rig: &Rig, headings: &Headings) -> Option<String> {
    let (mut missing, mut units) = (Vec::new(), false);
    for (sensor, spec) in rig.sensors.iter().enumerate() {
        let suffixes = spec.channel_suffixes();
        let gone: Vec<String> = (0..suffixes.len())
            .zip(suffixes)
            .filter(|(channel, _)| !headings.have((sensor, *channel)))
            .map(|(_, suffix)| format!("\"{}\"", heading(&spec.name, suffix)))
            .collect();
        match gone.len() {
            0 => {}
            all if all == suffixes.len() => {
                units |= all > 1;
                missing.push(format!("\"{}\"", spec.name));
            }
            _ => missing.extend(gone),
        }
    }
    let named = match missing.as_slice() {
        [] => return None,
        [one] => format!("{one} has no column in the table, so nothing is known from it"),
        [most @ .., last] => {
            format!(
                "{} and {last} have no column in the table, so nothing is known from them",
                most.join(", ")
            )
        }
    };
    let six = if units { "; an inertial unit has six, NAME.ax to NAME.gz" } else { "" };
    Some(format!(
        "{named}. A column is headed by its sensor's name{six}. Where a sensor was not there, nothing need be done."
    ))
}

impl Thinning {
    /// Keeps a reading, or passes it over: where there are too many, every second goes.
    fn keep(&mut self, series: &mut Series, most: Option<usize>, t_s: f64, value: f64) {
        let wanted = self.seen.is_multiple_of(self.every);
        self.seen += 1;
        if !wanted {
            return;
        }
        series.t_s.push(t_s);
        series.value.push(value);
        if most.is_some_and(|most| series.t_s.len() > most) {
            for values in [&mut series.t_s, &mut series.value] {
                let mut k = 0;
                values.retain(|_| {
                    k += 1;
                    k % 2 == 1
                });
            }
            self.every *= 2;
        }
    }
}
