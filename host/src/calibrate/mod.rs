//! From readings of sensors in known positions to what the sensors are worth: zeros, scales, the six positions of an
//! accelerometer, the heading of a unit. Each with a standard uncertainty that a test holds to the error made.

pub mod heading;
pub mod line;
pub mod rest;
#[cfg(test)]
mod tests;
pub mod tumble;
pub mod zero;

use crate::explain::Explain;

/// Rests of one sensor that count as independent readings at the most: slow drifts do not average away.
const INDEPENDENT_READINGS: usize = 100;

/// Standard uncertainty of a rest's mean.
fn mean_u(scatter: f64, count: usize) -> f64 {
    scatter / (count.clamp(1, INDEPENDENT_READINGS) as f64).sqrt()
}

/// Why readings calibrate nothing.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CalibrateError {
    /// A position that never rests.
    #[error(
        "\"{sensor}\" does not rest for {least_s} s in position {position}, between {from_s:.1} s and {to_s:.1} s"
    )]
    Restless {
        /// The sensor.
        sensor: String,
        /// Counted from 1.
        position: usize,
        /// Rest that is needed, s.
        least_s: f64,
        /// Start of the position, s.
        from_s: f64,
        /// Its end, s.
        to_s: f64,
    },
    /// More or fewer positions than known values.
    #[error("\"{sensor}\" rests in {found} positions, and {wanted} were named")]
    Positions {
        /// The sensor.
        sensor: String,
        /// Rests found.
        found: usize,
        /// Positions named.
        wanted: usize,
    },
    /// No readings at all.
    #[error("there are no readings of \"{sensor}\"")]
    NoReadings {
        /// The sensor.
        sensor: String,
    },
    /// Too few known values.
    #[error("a {what} needs at least {least} {points}, and there are {given}")]
    TooFew {
        /// What is calibrated.
        what: &'static str,
        /// Least.
        least: usize,
        /// Given.
        given: usize,
        /// Of what.
        points: &'static str,
    },
    /// Known values that do not differ, or readings that do not follow them.
    #[error("the readings of \"{sensor}\" say nothing of its scale: {why}")]
    NoSlope {
        /// The sensor.
        sensor: String,
        /// Why.
        why: &'static str,
    },
    /// Readings that fall where the known values rise.
    #[error("the readings of \"{sensor}\" run backwards: they fall where the known values rise")]
    Backwards {
        /// The sensor.
        sensor: String,
    },
    /// Known values and readings that lie on no straight line.
    #[error(
        "the readings of \"{sensor}\" tell its scale to {:.0} % only, and {:.0} % is the worst that is kept",
        100.0 * .relative_u, 100.0 * .worst
    )]
    VagueScale {
        /// The sensor.
        sensor: String,
        /// Relative standard uncertainty.
        relative_u: f64,
        /// Worst that is kept.
        worst: f64,
    },
    /// An axis that was never up, or never down.
    #[error("the {axis} axis of \"{sensor}\" never pointed {way}")]
    NeverPointed {
        /// The sensor.
        sensor: String,
        /// x, y or z.
        axis: char,
        /// Up or down.
        way: &'static str,
    },
    /// A fit that leaves too much.
    #[error("the positions of \"{sensor}\" contradict one another by {residual:.2} m/s²")]
    Contradict {
        /// The sensor.
        sensor: String,
        /// Root mean square, m/s².
        residual: f64,
    },
    /// No tilt, or none that was seen.
    #[error("no position of \"{sensor}\" is tilted by {least_deg}° or more")]
    NotTilted {
        /// The sensor.
        sensor: String,
        /// Least tilt, degrees.
        least_deg: f64,
    },
    /// A tilt that is not the one that was named.
    #[error(
        "in position {position} \"{sensor}\" sees a tilt of {seen_deg:.1}°, and {named_deg:.1}° was named"
    )]
    OtherTilt {
        /// The sensor.
        sensor: String,
        /// Counted from 1.
        position: usize,
        /// Seen, degrees.
        seen_deg: f64,
        /// Named, degrees.
        named_deg: f64,
    },
}

impl Explain for CalibrateError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            Self::Restless { .. } => {
                "Hold every position for five seconds without touching the sensor; mark each as still in the phase column.".into()
            }
            Self::Positions { .. } => {
                "Name one value per position with --at, in the order of the readings; hold each for five seconds and move at once."
                    .into()
            }
            Self::NoReadings { .. } => "Check that the column or the logger's sensor is named as in rig.toml.".into(),
            Self::TooFew { .. } => "Add positions.".into(),
            Self::NoSlope { .. } => "Take values far apart, over the range that the test will use.".into(),
            Self::Backwards { .. } => {
                "Check that each reading stands behind its own value; if it does, give `scale` in rig.toml the other sign.".into()
            }
            Self::VagueScale { .. } => {
                "Check that each reading stands behind its own value, and take values further apart.".into()
            }
            Self::NeverPointed { .. } => {
                "Take six positions at least, each face of the unit down in turn.".into()
            }
            Self::Contradict { .. } => {
                "Lay the unit on something firm and do not touch it; take the positions anew.".into()
            }
            Self::NotTilted { .. } => "Tilt it further: ten degrees serve well.".into(),
            Self::OtherTilt { .. } => {
                "Check the angle, its sign (roll: left side up; pitch: nose down) and the order of the positions.".into()
            }
        })
    }
}
