//! Finds the still at the start of a recording that does not say what was done when.

use super::Series;
use crate::rig::{Kind, Rig, Sensor};

/// Shortest still that is taken for one, s.
pub const SHORTEST_STILL_S: f64 = 3.0;

/// Pieces in which the readings are looked at, s: the slowest test (8 s a cycle, 50 mm) moves 4 mm in the first one.
const WINDOW_S: f64 = 0.5;

/// How many times its stated noise a reading may scatter, or its mean move, and still count as still: room for a noise
/// that a data sheet states too low, far below any travel.
const QUIET: f64 = 4.0;

/// The noise that a sensor states for one of its channels, SI.
pub fn channel_noise(sensor: &Sensor, channel: usize) -> f64 {
    match &sensor.kind {
        Kind::Inertial(unit) if channel < 3 => unit.accel_noise,
        Kind::Inertial(unit) => unit.gyro_noise,
        _ => sensor.reading().map_or(0.0, |r| r.noise),
    }
}

/// Median and scatter (1.4826 times the median absolute deviation: the standard deviation of normal noise, blind to single
/// spikes) of the values with `from_s <= t < to_s`; `None` for fewer than two.
pub fn median_and_scatter(series: &Series, from_s: f64, to_s: f64) -> Option<(f64, f64)> {
    let from = series.t_s.partition_point(|t| *t < from_s);
    let to = series.t_s.partition_point(|t| *t < to_s);
    let mut values = series.value.get(from..to)?.to_vec();
    if values.len() < 2 {
        return None;
    }
    let middle = median(&mut values);
    values.iter_mut().for_each(|v| *v = (*v - middle).abs());
    Some((middle, 1.4826 * median(&mut values)))
}

/// Median of some numbers; the upper of the two middle ones for an even count, 0 for none.
pub fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}

/// End of the still that a recording begins with, s; `series` by sensor and channel.
///
/// A still is a stretch from the first reading on in which every channel scatters at its noise and stays where it began.
/// Its last half second is left out, in which slow motion may have begun unseen.
///
/// # Errors
/// What moved, as a part of a sentence.
pub fn leading_still(rig: &Rig, series: &[Vec<Series>]) -> Result<f64, String> {
    let channels: Vec<_> = rig
        .sensors
        .iter()
        .zip(series)
        .flat_map(|(sensor, all)| {
            all.iter().enumerate().map(move |(k, s)| (sensor, channel_noise(sensor, k), s))
        })
        .filter(|(_, _, s)| !s.t_s.is_empty())
        .collect();
    let first = |s: &Series| s.t_s.first().copied().unwrap_or(f64::INFINITY);
    let last = |s: &Series| s.t_s.last().copied().unwrap_or(f64::NEG_INFINITY);
    let start_s = channels.iter().map(|(_, _, s)| first(s)).fold(f64::INFINITY, f64::min);
    let end_s = channels.iter().map(|(_, _, s)| last(s)).fold(f64::NEG_INFINITY, f64::max);
    if end_s - start_s < SHORTEST_STILL_S {
        return Err(format!("it is only {:.1} s long", (end_s - start_s).max(0.0)));
    }
    let mut quiet_until_s = end_s;
    for (sensor, noise, s) in &channels {
        let (until_s, moved) = quiet_until(s, *noise, start_s, end_s);
        if until_s < start_s + SHORTEST_STILL_S {
            return Err(format!(
                "\"{}\" moves by {:.1} times its noise after {:.1} s",
                sensor.name,
                moved,
                until_s - start_s
            ));
        }
        quiet_until_s = quiet_until_s.min(until_s);
    }
    // A recording that never moves is a still to its end.
    let backed_off_s = if quiet_until_s < end_s { quiet_until_s - WINDOW_S } else { end_s };
    Ok(backed_off_s.max(start_s + SHORTEST_STILL_S))
}

/// Until when a channel is quiet, and by how many times its noise it moves then.
fn quiet_until(series: &Series, noise: f64, start_s: f64, end_s: f64) -> (f64, f64) {
    // Slow tables: a window holds at least three readings.
    let mut steps: Vec<f64> = series.t_s.windows(2).map(|w| w[1] - w[0]).collect();
    let window_s = WINDOW_S.max(3.5 * median(&mut steps));
    let Some((rest, _)) = median_and_scatter(series, start_s, start_s + window_s) else {
        return (end_s, 0.0);
    };
    // A reading that states no noise may still move by the rounding of its table.
    let unit = noise.max(1e-6 * rest.abs()).max(1e-9);
    let mut from = 0;
    while let Some(from_s) = series.t_s.get(from) {
        let to_s = from_s + window_s;
        if let Some((middle, scatter)) = median_and_scatter(series, *from_s, to_s) {
            let moved = (middle - rest).abs().max(scatter) / unit;
            if moved > QUIET {
                return (*from_s, moved);
            }
        }
        // At least one further, also where a huge time swallows the window.
        from = series.t_s.partition_point(|t| *t < to_s).max(from + 1);
    }
    (end_s, 0.0)
}
