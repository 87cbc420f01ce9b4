//! What a calibration found out about the sensors of a vehicle, `calibration.toml`, and how it takes the place of what the
//! rig file says.
//!
//! The rig file says what a data sheet promises; a calibration says what this sensor does. Where there is one its values
//! and their uncertainties are used, until the sensor is moved or the calibration is too old.

pub mod file;
mod fitted;
mod overlay;
#[cfg(test)]
mod tests;

pub use fitted::{changed, fitted};
pub use overlay::{Standing, Void, overlay};

use crate::files::Quantity;
use crate::geometry::{Matrix3, Vector3};
use crate::rig::Kind;

/// The file in a vehicle's folder.
pub const CALIBRATION_FILE: &str = "calibration.toml";

/// How long a calibration holds where nobody says otherwise, days: a year, as workshops keep their gauges (common practice, no
/// source).
pub const VALID_DAYS: f64 = 365.0;

/// Everything that was found out, in the order in which it was found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Calibration {
    /// The entries.
    pub entries: Vec<Entry>,
    /// Content hash of the file's bytes (BLAKE3, hex).
    pub hash: String,
}

/// One thing that was found out about one sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The sensor's name.
    pub sensor: String,
    /// What was found.
    pub found: Found,
    /// When, RFC 3339.
    pub date: String,
    /// The same, µs since 1970.
    pub at_us: i64,
    /// How long it holds, days.
    pub valid_days: f64,
    /// How, in words.
    pub method: String,
    /// The run or the table that it came from.
    pub from: String,
    /// Content hash of that (BLAKE3, hex); none for typed readings.
    pub from_hash: Option<String>,
    /// Readings or positions that it came from.
    pub points: usize,
    /// Where and how the sensor was fitted then, as [`fitted`] says it.
    pub fitted: Vec<String>,
}

/// What was found out.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// What a reading is short of the true length or angle.
    Zero(ZeroFound),
    /// What a reading is worth.
    Scale(ScaleFound),
    /// Bias, scale and misalignment of an accelerometer, and the bias of the gyro beside it.
    Tumble(Box<TumbleFound>),
    /// The heading of an inertial unit about the vertical.
    Heading(HeadingFound),
}

/// `true value = reading + offset`, with the scale that was in use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZeroFound {
    /// m, rad or N.
    pub offset: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// The reading at the still, as the scale in use gave it.
    pub reading: f64,
    /// The factor of the scale in use: another one makes another zero.
    pub factor: f64,
}

/// `true change = factor · change of what the rig file's scale gives`.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleFound {
    /// No unit.
    pub factor: f64,
    /// Its relative standard uncertainty.
    pub relative_u: f64,
    /// Where the straight line meets a reading of zero, m, rad or N.
    pub offset: f64,
    /// The known values, m, rad or N.
    pub known: Vec<f64>,
    /// By known value: known less straight line.
    pub residuals: Vec<f64>,
    /// Root mean square of the residuals, for the degrees of freedom that are left.
    pub residual: f64,
    /// Largest departure from the straight line, as far as the points go; none where they are too few or too close to tell.
    pub linearity: Option<f64>,
}

/// `true force = matrix · (force read − bias)`, sensor axes.
#[derive(Debug, Clone, PartialEq)]
pub struct TumbleFound {
    /// m/s².
    pub bias: Vector3<f64>,
    /// Standard uncertainties, m/s².
    pub bias_u: Vector3<f64>,
    /// Symmetric: on its diagonal what each axis' scale is multiplied with, beside it half of what two axes are short of a right
    /// angle, rad.
    pub matrix: Matrix3<f64>,
    /// Relative standard uncertainties of the diagonal.
    pub scale_u: Vector3<f64>,
    /// Standard uncertainties of yz, zx, xy, rad.
    pub misalignment_u_rad: Vector3<f64>,
    /// rad/s.
    pub gyro_bias: Vector3<f64>,
    /// Standard uncertainties, rad/s.
    pub gyro_bias_u: Vector3<f64>,
    /// By position: length of the force found less gravity, m/s².
    pub residuals: Vec<f64>,
    /// Their root mean square for the degrees of freedom that are left, m/s².
    pub residual: f64,
}

/// How far a unit is turned about the vertical against what `axes` say, seen from above against the clock.
#[derive(Debug, Clone, PartialEq)]
pub struct HeadingFound {
    /// rad
    pub heading_rad: f64,
    /// Its standard uncertainty, rad.
    pub u_rad: f64,
    /// By tilted position: heading that it alone gives less the heading found, rad.
    pub residuals_rad: Vec<f64>,
}

impl Found {
    /// The word that files and people use.
    pub fn word(&self) -> &'static str {
        match self {
            Found::Zero(_) => "zero",
            Found::Scale(_) => "scale",
            Found::Tumble(_) => "tumble",
            Found::Heading(_) => "heading",
        }
    }

    /// What is left over of the fit, SI, where there was more than the fit needs.
    pub fn residual(&self) -> Option<f64> {
        match self {
            Found::Zero(_) => None,
            Found::Scale(f) => (f.residuals.len() > 2).then_some(f.residual),
            Found::Tumble(f) => Some(f.residual),
            Found::Heading(f) if f.residuals_rad.len() > 1 => {
                let square = f.residuals_rad.iter().map(|r| r * r).sum::<f64>();
                Some((square / (f.residuals_rad.len() - 1) as f64).sqrt())
            }
            Found::Heading(_) => None,
        }
    }
}

/// What a kind of sensor measures; none for an inertial unit, which measures several things.
pub fn quantity(kind: &Kind) -> Option<Quantity> {
    match kind {
        Kind::DrawWire(_) | Kind::Range(_) => Some(Quantity::Length),
        Kind::Angle(_) => Some(Quantity::Angle),
        Kind::Force(_) => Some(Quantity::Force),
        Kind::Inertial(_) => None,
    }
}
