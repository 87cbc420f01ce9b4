//! Counts of a log to SI, once all of it has been read.

use super::RawSeries;
use crate::rig::Sensor;
use crate::run::Series;
use crate::run::channels::{counts_per_turn, in_unit, outside_range, saturated, to_si};
use std::collections::BTreeMap;

/// Longest time from a reading to the nearest reading of its excitation, µs. The excitation is read at 2 Hz or more and
/// changes slowly; a lost block or two are bridged.
const EXCITATION_WITHIN_US: i64 = 2_000_000;

/// What was set aside on the way.
#[derive(Debug, Default)]
pub struct Excluded {
    pub total: u64,
    pub remarks: Vec<String>,
}

/// Everything that the conversion of one channel needs beside its counts.
pub struct Conversion<'a> {
    pub excitations: &'a BTreeMap<u8, RawSeries>,
    /// Time zero of the recording on the log's time base, µs.
    pub origin_us: i64,
}

impl Conversion<'_> {
    /// One channel of a sensor in SI. Readings at an end of the part's range, outside the rig file's range, or without an
    /// excitation are set aside.
    pub fn convert(&self, sensor: &Sensor, suffix: &str, raw: &RawSeries, excluded: &mut Excluded) -> Series {
        let mut series = Series::default();
        let Some(row) = &raw.row else { return series };
        let turn = counts_per_turn(row);
        let range = sensor.reading().and_then(|r| r.range);
        let (mut at_end, mut outside, mut no_excitation) = (0, 0, 0);
        let mut before = None;
        for (t_us, &count) in raw.t_us.iter().zip(&raw.raw) {
            if saturated(row, count) {
                at_end += 1;
                continue;
            }
            let unwound = unwind(f64::from(count), before, turn);
            before = Some(unwound);
            let volts = row.ratio_to.and_then(|channel| self.excitation_v(channel, *t_us));
            match to_si(sensor, row, unwound, volts) {
                None => no_excitation += 1,
                Some(value) if range.is_some_and(|[low, high]| value < low || value > high) => outside += 1,
                Some(value) => {
                    series.t_s.push((t_us - self.origin_us) as f64 * 1e-6);
                    series.value.push(value);
                }
            }
        }
        let dot = if suffix.is_empty() { "" } else { "." };
        let name = format!("{}{dot}{suffix}", sensor.name);
        let told = |why: &str, count: u64| format!("\"{name}\": readings {why}, set aside: {count}.");
        let all = outside == raw.t_us.len() as u64;
        let remarks = [
            (at_end, told("at an end of its part's range", at_end)),
            (outside, outside_range(&name, outside, all, sensor)),
            (no_excitation, told("without a reading of the excitation", no_excitation)),
        ];
        for (count, remark) in remarks.into_iter().filter(|(count, _)| *count > 0) {
            excluded.total += count;
            excluded.remarks.push(remark);
        }
        series
    }

    /// The excitation at a time, V: on a straight line between its readings, or the nearest one at the ends.
    fn excitation_v(&self, channel: u8, t_us: i64) -> Option<f64> {
        let series = self.excitations.get(&channel)?;
        let row = series.row.as_ref()?;
        let after = series.t_us.partition_point(|t| *t < t_us);
        let reading = |k: usize| Some((*series.t_us.get(k)?, in_unit(row, f64::from(*series.raw.get(k)?))));
        let near = |at: &(i64, f64)| (at.0 - t_us).abs() <= EXCITATION_WITHIN_US;
        let earlier = after.checked_sub(1).and_then(reading).filter(near);
        let later = reading(after).filter(near);
        match (earlier, later) {
            (Some((t0, v0)), Some((t1, v1))) => Some(v0 + (v1 - v0) * (t_us - t0) as f64 / (t1 - t0) as f64),
            (one, other) => one.or(other).map(|(_, volts)| volts),
        }
    }
}

/// A count on a circle, taken to within half a turn of the one before, so that a shaft that passes zero does not jump.
fn unwind(count: f64, before: Option<f64>, turn: Option<f64>) -> f64 {
    match (before, turn) {
        (Some(before), Some(turn)) => count - turn * ((count - before) / turn).round(),
        _ => count,
    }
}
