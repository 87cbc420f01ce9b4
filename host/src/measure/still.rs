//! The still period: zeros, noise and the levelling of inertial units.

use super::MeasureError;
use crate::geometry::Vector3;
use crate::rig::inertial::Levelling;
use crate::rig::{Kind, Rig};
use crate::run::{Phase, PhaseSpan, Recording, Series};

/// Shortest still that serves, s: shorter ones leave the mean at the mercy of one gust or footstep.
pub const LEAST_STILL_S: f64 = 2.0;

/// Ends of the still that are left out, s: whoever marks it may still be letting go of the vehicle.
const SETTLE_S: f64 = 0.2;

/// Mean of one channel during the still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelStill {
    /// Mean, SI.
    pub mean: f64,
    /// Standard deviation of one reading, SI.
    pub scatter: f64,
    /// Readings.
    pub count: usize,
}

/// What the still says of one sensor.
#[derive(Debug, Clone, PartialEq)]
pub enum SensorStill {
    /// A scalar sensor.
    Scalar(ChannelStill),
    /// An inertial unit.
    Unit {
        /// Its levelling.
        levelling: Levelling,
        /// Scatter of one accelerometer reading, m/s² (largest axis).
        accel_scatter: f64,
        /// Readings.
        count: usize,
    },
}

/// By sensor of the rig; none where a sensor has no data during the still.
pub fn stills(rig: &Rig, recording: &Recording) -> Result<Vec<Option<SensorStill>>, MeasureError> {
    let span = recording
        .spans(Phase::Still)
        .find(|s| s.to_s - s.from_s >= LEAST_STILL_S)
        .ok_or(MeasureError::NoStill { least_s: LEAST_STILL_S })?;
    let span = PhaseSpan { from_s: span.from_s + SETTLE_S, to_s: span.to_s - SETTLE_S, ..*span };
    Ok(rig
        .sensors
        .iter()
        .zip(&recording.series)
        .map(|(sensor, channels)| {
            let channels: Option<Vec<ChannelStill>> =
                channels.iter().map(|c| channel_still(c, &span)).collect();
            let channels = channels?;
            match (&sensor.kind, channels.as_slice()) {
                (Kind::Inertial(unit), [ax, ay, az, gx, gy, gz]) => Some(SensorStill::Unit {
                    levelling: Levelling {
                        still_force: unit.found.force(&Vector3::new(ax.mean, ay.mean, az.mean)),
                        still_rate: Vector3::new(gx.mean, gy.mean, gz.mean),
                    },
                    accel_scatter: ax.scatter.max(ay.scatter).max(az.scatter),
                    count: ax.count.min(ay.count).min(az.count),
                }),
                (_, [only]) => Some(SensorStill::Scalar(*only)),
                _ => None,
            }
        })
        .collect())
}

fn channel_still(series: &Series, span: &PhaseSpan) -> Option<ChannelStill> {
    let from = series.t_s.partition_point(|t| *t < span.from_s);
    let to = series.t_s.partition_point(|t| *t <= span.to_s);
    let values = series.value.get(from..to)?;
    let count = values.len();
    if count < 3 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / count as f64;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (count - 1) as f64;
    Some(ChannelStill { mean, scatter: variance.sqrt(), count })
}
