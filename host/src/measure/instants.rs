//! Readings brought to common instants: each channel by a straight line through its own readings near that instant.
//!
//! Windows of neighbouring instants do not overlap, so their noise is independent. Every channel is smoothed alike, so
//! relations between coordinates survive. Nothing is carried across a gap.

use crate::geometry::Vector3;
use crate::rig::{Kind, Rig};
use crate::run::{Phase, Recording, Series};

/// Shortest distance between instants, s.
const LEAST_STEP_S: f64 = 0.2;
/// Readings of the slowest channel that a window should hold.
const READINGS_PER_WINDOW: f64 = 4.0;
/// Readings that a window must hold for a channel to count.
const LEAST_READINGS: usize = 2;

/// A channel near an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smoothed {
    /// Value at the instant, SI.
    pub value: f64,
    /// Rate of change, SI per s.
    pub slope: f64,
    /// Where the reading stands in the sensor's hysteresis loop, once the motion has told.
    pub lag: Lag,
    /// Readings that made it.
    pub count: usize,
}

/// How far a reading lags behind its quantity, as a function of half the width of the loop near the width it was followed with.
///
/// On a flank it lags by just that half width. While a loop is crossed the reading rests, held where the last flank left it: a
/// wider loop had let it rest further back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lag {
    /// Lag in a loop of `half`, SI.
    pub behind: f64,
    /// Half the width that it was followed with, SI.
    pub half: f64,
    /// The flank that it is on or came from: 1 after rising, −1 after falling, 0 before the first.
    pub flank: f64,
    /// Standard deviation of what this leaves out, in half widths.
    pub u: f64,
}

impl Lag {
    /// Nothing is known: evenly between both flanks.
    pub const ANYWHERE: Self = Self { behind: 0.0, half: 0.0, flank: 0.0, u: 0.577 };

    /// On a flank, or, with 0, between both, with a standard deviation in half widths.
    pub fn on(flank: f64, u: f64) -> Self {
        Self { behind: 0.0, half: 0.0, flank, u }
    }

    /// Whether the reading is between the flanks.
    pub fn rests(&self) -> bool {
        self.behind.abs() < self.half
    }

    /// Lag in a loop of which half the width is `half`, SI.
    pub fn in_loop(&self, half: f64) -> f64 {
        self.behind + (half - self.half) * self.flank
    }
}

/// An inertial unit near an instant, raw sensor axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitSmoothed {
    /// Specific force, m/s².
    pub force: Vector3<f64>,
    /// Its rate of change, m/s³.
    pub force_slope: Vector3<f64>,
    /// Angular rate, rad/s.
    pub rate: Vector3<f64>,
    /// Readings that made it.
    pub count: usize,
}

/// What one sensor says at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SensorInstant {
    /// Nothing.
    Missing,
    /// A scalar.
    Scalar(Smoothed),
    /// An inertial unit.
    Unit(UnitSmoothed),
}

/// All sensors at one instant, by sensor of the rig.
#[derive(Debug, Clone, PartialEq)]
pub struct Instant {
    /// s
    pub t_s: f64,
    /// Part of the test.
    pub phase: Phase,
    /// By sensor of the rig.
    pub sensors: Vec<SensorInstant>,
}

/// The instants of a recording, and the step between them, s.
pub fn instants(rig: &Rig, recording: &Recording) -> (Vec<Instant>, f64) {
    let slowest = recording.series.iter().flatten().filter_map(rate_hz).fold(f64::INFINITY, f64::min);
    let step_s = LEAST_STEP_S.max(if slowest.is_finite() { READINGS_PER_WINDOW / slowest } else { 0.0 });
    let mut found = Vec::new();
    let mut cursors: Vec<Vec<usize>> = recording.series.iter().map(|c| vec![0; c.len()]).collect();
    for span in &recording.phases {
        let windows = ((span.to_s - span.from_s) / step_s).floor() as usize;
        for k in 0..windows {
            let t_s = span.from_s + (k as f64 + 0.5) * step_s;
            let sensors: Vec<_> = rig
                .sensors
                .iter()
                .zip(&recording.series)
                .zip(&mut cursors)
                .map(|((sensor, channels), cursors)| {
                    let smoothed: Option<Vec<Smoothed>> = channels
                        .iter()
                        .zip(cursors)
                        .map(|(c, at)| smooth(c, at, t_s, 0.5 * step_s))
                        .collect();
                    sensor_instant(&sensor.kind, smoothed)
                })
                .collect();
            if sensors.iter().any(|s| *s != SensorInstant::Missing) {
                found.push(Instant { t_s, phase: span.phase, sensors });
            }
        }
    }
    (found, step_s)
}

fn sensor_instant(kind: &Kind, channels: Option<Vec<Smoothed>>) -> SensorInstant {
    match (kind, channels.as_deref()) {
        (Kind::Inertial(unit), Some([ax, ay, az, gx, gy, gz])) => SensorInstant::Unit(UnitSmoothed {
            force: unit.found.force(&Vector3::new(ax.value, ay.value, az.value)),
            force_slope: unit.found.matrix * Vector3::new(ax.slope, ay.slope, az.slope),
            rate: Vector3::new(gx.value, gy.value, gz.value),
            count: ax.count.min(ay.count).min(az.count),
        }),
        (Kind::Inertial(_), _) | (_, None) => SensorInstant::Missing,
        (_, Some([only])) => SensorInstant::Scalar(*only),
        (_, Some(_)) => SensorInstant::Missing,
    }
}

fn rate_hz(series: &Series) -> Option<f64> {
    let (first, last) = (series.t_s.first()?, series.t_s.last()?);
    (last > first).then(|| (series.t_s.len() - 1) as f64 / (last - first))
}

/// Straight line through the readings within `half_s` of `t_s`, read off at `t_s`. `cursor` moves forward only.
fn smooth(series: &Series, cursor: &mut usize, t_s: f64, half_s: f64) -> Option<Smoothed> {
    while series.t_s.get(*cursor).is_some_and(|t| *t < t_s - half_s) {
        *cursor += 1;
    }
    let times = series.t_s.get(*cursor..)?;
    let count = times.iter().take_while(|t| **t < t_s + half_s).count();
    if count < LEAST_READINGS {
        return None;
    }
    let (times, values) = (&times[..count], &series.value[*cursor..*cursor + count]);
    let n = count as f64;
    let t_mean = times.iter().map(|t| t - t_s).sum::<f64>() / n;
    let v_mean = values.iter().sum::<f64>() / n;
    // Readings on one side of the instant only mean a gap in the window: no reading rather than a guess.
    if t_mean.abs() > 0.5 * half_s {
        return None;
    }
    let (mut tt, mut tv) = (0.0, 0.0);
    for (t, v) in times.iter().zip(values) {
        let dt = t - t_s - t_mean;
        tt += dt * dt;
        tv += dt * (v - v_mean);
    }
    let slope = if tt > 0.0 { tv / tt } else { 0.0 };
    Some(Smoothed { value: v_mean - slope * t_mean, slope, lag: Lag::ANYWHERE, count })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_read_off_exactly_and_a_gap_is_not_bridged() {
        let t_s: Vec<f64> = (0..100).map(|k| k as f64 * 0.01).filter(|t| !(0.40..0.62).contains(t)).collect();
        let value = t_s.iter().map(|t| 3.0 - 2.0 * t).collect();
        let series = Series { t_s, value };
        let mut cursor = 0;
        let at = smooth(&series, &mut cursor, 0.2, 0.1).expect("readings on both sides");
        assert!((at.value - 2.6).abs() < 1e-12 && (at.slope + 2.0).abs() < 1e-9);
        assert_eq!(smooth(&series, &mut cursor, 0.5, 0.1), None, "the gap");
        assert!(smooth(&series, &mut cursor, 0.8, 0.1).is_some());
    }
}
