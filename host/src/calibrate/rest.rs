//! Where a sensor rests in a recording: its mean, its scatter, how many readings.

use super::CalibrateError;
use crate::rig::Sensor;
use crate::run::still::{channel_noise, median};
use crate::run::{Phase, PhaseSpan, Recording, Series};

/// Shortest rest that counts, s: shorter ones leave the mean at the mercy of one footstep.
pub const LEAST_REST_S: f64 = 2.0;

/// Pieces in which readings are looked at, s.
const WINDOW_S: f64 = 0.5;

/// How many times its noise a piece may scatter, and its mean stray from the rest's, and still be at rest: room for a noise that a
/// data sheet states too low, far below any position that somebody chose.
const QUIET: f64 = 4.0;

/// A rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Rest {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// By channel of the sensor.
    pub channels: Vec<Settled>,
}

/// One channel at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settled {
    /// Mean, SI.
    pub mean: f64,
    /// Standard deviation of one reading, SI.
    pub scatter: f64,
    /// Readings.
    pub count: usize,
}

/// The rests of one sensor, one per position, in order of time: the last in each marked still; where fewer stills are marked
/// than there are positions, wherever the sensor rests. Without a number of positions: as many as there are.
///
/// # Errors
/// Where there are no readings, a still without a rest, or another number of rests than of positions.
pub fn rests(
    sensor: &Sensor,
    place: usize,
    recording: &Recording,
    positions: Option<usize>,
) -> Result<Vec<Rest>, CalibrateError> {
    let name = || sensor.name.clone();
    let series = recording.series.get(place).map_or(&[][..], Vec::as_slice);
    if series.is_empty() || series.iter().any(|s| s.t_s.is_empty()) {
        return Err(CalibrateError::NoReadings { sensor: name() });
    }
    let noise = noise(sensor, series);
    let stills: Vec<&PhaseSpan> = recording.spans(Phase::Still).collect();
    let as_wanted = |found: usize| match positions {
        Some(wanted) if wanted != found => Err(CalibrateError::Positions { sensor: name(), found, wanted }),
        _ => Ok(()),
    };
    if stills.len() < positions.unwrap_or(2) {
        let found = stretches(series, &noise, whole(series));
        return as_wanted(found.len()).map(|()| found);
    }
    as_wanted(stills.len())?;
    let one = |(k, span): (usize, &&PhaseSpan)| {
        let found = stretches(series, &noise, [span.from_s, span.to_s]);
        // Whoever marks the end of a position is in it: what rested before was on the way there.
        found.into_iter().next_back().ok_or_else(|| CalibrateError::Restless {
            sensor: name(),
            position: k + 1,
            least_s: LEAST_REST_S,
            from_s: span.from_s,
            to_s: span.to_s,
        })
    };
    stills.iter().enumerate().map(one).collect()
}

/// The first rest of a recording: in its first still where one is marked, else wherever the sensor first rests.
///
/// # Errors
/// Where there are no readings or no rest.
pub fn first_rest(sensor: &Sensor, place: usize, recording: &Recording) -> Result<Rest, CalibrateError> {
    let series = recording.series.get(place).map_or(&[][..], Vec::as_slice);
    if series.is_empty() || series.iter().any(|s| s.t_s.is_empty()) {
        return Err(CalibrateError::NoReadings { sensor: sensor.name.clone() });
    }
    let [from_s, to_s] =
        recording.spans(Phase::Still).next().map_or_else(|| whole(series), |s| [s.from_s, s.to_s]);
    stretches(series, &noise(sensor, series), [from_s, to_s]).into_iter().next().ok_or_else(|| {
        CalibrateError::Restless {
            sensor: sensor.name.clone(),
            position: 1,
            least_s: LEAST_REST_S,
            from_s,
            to_s,
        }
    })
}

/// From the first reading to the last.
fn whole(series: &[Series]) -> [f64; 2] {
    let ends = series.iter().filter_map(|s| Some((*s.t_s.first()?, *s.t_s.last()?)));
    ends.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], (from, to)| [a.min(from), b.max(to)])
}

/// By channel the noise of one reading: the file's, or what its quieter windows show where that is more.
fn noise(sensor: &Sensor, series: &[Series]) -> Vec<f64> {
    let of = |(channel, series): (usize, &Series)| {
        let [from_s, to_s] = whole(std::slice::from_ref(series));
        let count = ((to_s - from_s) / WINDOW_S) as usize;
        let mut scatters: Vec<f64> = (0..count)
            .filter_map(|k| settled(series, from_s + k as f64 * WINDOW_S, from_s + (k + 1) as f64 * WINDOW_S))
            .map(|s| s.scatter)
            .collect();
        // Positions are held at least half of the time.
        channel_noise(sensor, channel).max(median(&mut scatters))
    };
    series.iter().enumerate().map(of).collect()
}

fn settled(series: &Series, from_s: f64, to_s: f64) -> Option<Settled> {
    let from = series.t_s.partition_point(|t| *t < from_s);
    let to = series.t_s.partition_point(|t| *t < to_s);
    let values = series.value.get(from..to)?;
    let count = values.len();
    if count < 3 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / count as f64;
    let square: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    Some(Settled { mean, scatter: (square / (count - 1) as f64).sqrt(), count })
}

/// Every rest of at least [`LEAST_REST_S`] in a span. Its first and last piece are left out: somebody is letting go there.
fn stretches(series: &[Series], noise: &[f64], [from_s, to_s]: [f64; 2]) -> Vec<Rest> {
    let count = ((to_s - from_s) / WINDOW_S).max(0.0) as usize;
    let mut found: Vec<Rest> = Vec::new();
    let mut open: Option<(usize, Vec<f64>)> = None;
    for k in 0..=count {
        let at_s = from_s + k as f64 * WINDOW_S;
        let piece = (k < count).then(|| quiet(series, noise, at_s)).flatten();
        let goes_on = match (&open, &piece) {
            (Some((_, first)), Some(means)) => near(first, means, noise),
            _ => false,
        };
        if goes_on {
            continue;
        }
        if let Some((first, means)) = open.take() {
            let inner = [from_s + (first as f64 + 1.0) * WINDOW_S, at_s - WINDOW_S];
            found.extend(rest(series, inner).filter(|r| {
                // A rest that a knock parted is one rest.
                found.last().is_none_or(|before| {
                    !near(&before.channels.iter().map(|c| c.mean).collect::<Vec<_>>(), &means, noise)
                        || r.from_s - before.to_s > 4.0 * WINDOW_S
                })
            }));
        }
        open = piece.map(|means| (k, means));
    }
    found
}

/// The means of a piece where every channel is at rest.
fn quiet(series: &[Series], noise: &[f64], from_s: f64) -> Option<Vec<f64>> {
    let one = |(series, noise): (&Series, &f64)| {
        let piece = settled(series, from_s, from_s + WINDOW_S)?;
        (piece.scatter <= QUIET * noise).then_some(piece.mean)
    };
    series.iter().zip(noise).map(one).collect()
}

fn near(a: &[f64], b: &[f64], noise: &[f64]) -> bool {
    a.iter().zip(b).zip(noise).all(|((a, b), noise)| (a - b).abs() <= QUIET * noise)
}

fn rest(series: &[Series], [from_s, to_s]: [f64; 2]) -> Option<Rest> {
    if to_s - from_s < LEAST_REST_S - 1e-9 {
        return None;
    }
    let channels: Option<Vec<Settled>> = series.iter().map(|s| settled(s, from_s, to_s)).collect();
    Some(Rest { from_s, to_s, channels: channels? })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::test_rig;

    /// Steps of 5 s with 1 s of moving between, 50 readings a second, noise that repeats every seven readings.
    fn steps(values: &[f64]) -> Series {
        let mut series = Series::default();
        let mut t_s = 0.0;
        for pair in values.windows(2).chain([[values[values.len() - 1]; 2].as_slice()]) {
            for k in 0..300 {
                let part = (f64::from(k) / 50.0 - 5.0).max(0.0);
                let noise = 1e-4 * (f64::from(k % 7) - 3.0);
                series.t_s.push(t_s);
                series.value.push(pair[0] + (pair[1] - pair[0]) * part + noise);
                t_s += 0.02;
            }
        }
        series
    }

    #[test]
    fn rests_are_found_with_marks_and_without() {
        let rig = test_rig::two_wires();
        let values = [0.1, 0.3, 0.5, 0.2];
        let mut recording = Recording::empty(&rig);
        recording.series[0][0] = steps(&values);
        let found = rests(&rig.sensors[0], 0, &recording, Some(4)).expect("four rests");
        for (rest, value) in found.iter().zip(values) {
            assert!((rest.channels[0].mean - value).abs() < 5e-5, "{rest:?}");
            assert!(rest.to_s - rest.from_s > 3.0);
        }
        let wrong = rests(&rig.sensors[0], 0, &recording, Some(5)).unwrap_err();
        assert!(matches!(wrong, CalibrateError::Positions { found: 4, wanted: 5, .. }), "{wrong}");
        let mark = |from_s: f64, to_s: f64| PhaseSpan { phase: Phase::Still, from_s, to_s };
        recording.phases = vec![mark(0.0, 6.0), mark(12.0, 18.0)];
        let found = rests(&rig.sensors[0], 0, &recording, Some(2)).expect("two rests");
        assert!((found[1].channels[0].mean - 0.5).abs() < 5e-5);
        recording.phases = vec![mark(0.0, 6.0), mark(10.9, 12.2)];
        let wrong = rests(&rig.sensors[0], 0, &recording, Some(2)).unwrap_err();
        assert!(matches!(wrong, CalibrateError::Restless { position: 2, .. }), "{wrong}");
        let first = first_rest(&rig.sensors[0], 0, &recording).expect("a rest");
        assert!((first.channels[0].mean - 0.1).abs() < 5e-5);
        recording.series[0][0] = Series::default();
        let none = first_rest(&rig.sensors[0], 0, &recording).unwrap_err();
        assert!(matches!(none, CalibrateError::NoReadings { .. }));
    }
}
