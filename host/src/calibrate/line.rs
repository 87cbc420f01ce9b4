//! The scale of a wire or an angle sensor: a straight line through known values, weighted.
//!
//! `known = offset + factor·reading + bow + error`. The straight line is the least-squares one (JCGM 100:2008, H.3, and Press et
//! al., Numerical Recipes, 15.2); a sensor that is not straight bends along, as one wave over its range whose sine and
//! cosine are known to the file's linearity (generalised least squares, Aitken 1935; both from memory). The bow's width
//! stays in the uncertainty of the slope, which more readings of the same places cannot lower.

use super::rest::Settled;
use super::{CalibrateError, mean_u};
use crate::geometry::{DMatrix, DVector};
use crate::rig::calibration::ScaleFound;
use crate::rig::{Reading, Sensor};

/// Known values from which on the residuals say how straight the sensor is: three degrees of freedom.
const TELL_STRAIGHTNESS: usize = 5;

/// Part of the sensor's range that the known values must cover for that.
const COVERED: f64 = 0.5;

/// Largest relative uncertainty of a scale that is worth keeping: an uncalibrated sensor of any kind is known better than that.
const WORST_U: f64 = 0.2;

/// A known value and the reading of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// m, rad or N.
    pub known: f64,
    /// Its standard uncertainty: the tape's, the protractor's.
    pub known_u: f64,
    /// The reading, as the rig file's scale gives it.
    pub reading: Settled,
}

/// Fits the scale of a sensor to two or more known values.
///
/// # Errors
/// Where there are fewer than two, they are all alike, the readings run backwards, or the points do not lie on a line.
pub fn fit(sensor: &Sensor, reading: &Reading, points: &[Point]) -> Result<ScaleFound, CalibrateError> {
    if points.len() < 2 {
        return Err(CalibrateError::TooFew {
            what: "scale",
            least: 2,
            given: points.len(),
            points: "known values",
        });
    }
    let none = |why| CalibrateError::NoSlope { sensor: sensor.name.clone(), why };
    let (low, high) = extent(points.iter().map(|p| p.known));
    let greatest_u = points.iter().map(|p| p.known_u).fold(0.0, f64::max);
    if high - low <= 4.0 * greatest_u {
        return Err(none("the known values are too close together"));
    }
    let (read_low, read_high) = extent(points.iter().map(|p| p.reading.mean));
    let scatter = points.iter().map(|p| p.reading.scatter).fold(0.0, f64::max);
    if read_high - read_low <= 4.0 * scatter || read_high <= read_low {
        return Err(none("it reads the same in every position"));
    }
    // The slope that the weights need: from end to end.
    let rough = (high - low) / (read_high - read_low);
    let line =
        Line::solve(reading, points, rough).ok_or_else(|| none("the known values are too close together"))?;
    let relative_u = line.factor_u / line.factor.abs();
    if relative_u.is_nan() || relative_u > WORST_U {
        return Err(CalibrateError::VagueScale { sensor: sensor.name.clone(), relative_u, worst: WORST_U });
    }
    if line.factor <= 0.0 {
        return Err(CalibrateError::Backwards { sensor: sensor.name.clone() });
    }
    let residuals: Vec<f64> =
        points.iter().map(|p| p.known - line.offset - line.factor * p.reading.mean).collect();
    let freedom = points.len().saturating_sub(2).max(1) as f64;
    let residual = (residuals.iter().map(|r| r * r).sum::<f64>() / freedom).sqrt();
    let span = reading.range.map_or(0.0, |[low, high]| high - low);
    let tells = points.len() >= TELL_STRAIGHTNESS && high - low >= COVERED * span;
    let greatest = residuals.iter().map(|r| r.abs()).fold(0.0, f64::max);
    Ok(ScaleFound {
        factor: line.factor,
        relative_u,
        offset: line.offset,
        known: points.iter().map(|p| p.known).collect(),
        residuals,
        residual,
        // The line bends towards the points: what is left of few is less than there is.
        linearity: tells.then(|| greatest * (points.len() as f64 / freedom).sqrt()),
    })
}

fn extent(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
}

/// The straight line.
struct Line {
    factor: f64,
    factor_u: f64,
    offset: f64,
}

impl Line {
    /// Unknowns: value in the middle, slope, sine and cosine of the bow; the last two held by what the file says.
    fn solve(reading: &Reading, points: &[Point], rough: f64) -> Option<Line> {
        let (low, high) = extent(points.iter().map(|p| p.known));
        let span = reading.range.map_or(high - low, |[low, high]| high - low).max(high - low);
        let middle = points.iter().map(|p| p.reading.mean).sum::<f64>() / points.len() as f64;
        let half = 0.5 * (high - low) / rough.abs();
        // Of a bow whose width is evenly likely up to the stated one and whose phase is anything.
        let bow_u = (reading.linearity / 6f64.sqrt()).max(f64::MIN_POSITIVE);
        let rows = points.len() + 2;
        let (mut a, mut b) = (DMatrix::zeros(rows, 4), DVector::zeros(rows));
        for (k, point) in points.iter().enumerate() {
            let weight = 1.0 / sigma(reading, point, rough);
            let (sin, cos) = (std::f64::consts::TAU * point.known / span).sin_cos();
            let row = [1.0, (point.reading.mean - middle) / half, bow_u * sin, bow_u * cos];
            for (column, value) in row.into_iter().enumerate() {
                a[(k, column)] = weight * value;
            }
            b[k] = weight * point.known;
        }
        a[(rows - 2, 2)] = 1.0;
        a[(rows - 1, 3)] = 1.0;
        let cholesky = a.tr_mul(&a).cholesky()?;
        let x = cholesky.solve(&a.tr_mul(&b));
        let covariance = cholesky.inverse();
        let freedom = points.len() as f64 - 2.0;
        // Residuals that are larger than what was stated widen what follows from them (Birge 1932), never the other way.
        let chi = (&a * &x - &b).norm_squared();
        let birge = if freedom > 0.0 { (chi / freedom).max(1.0) } else { 1.0 };
        let factor = x[1] / half;
        Some(Line {
            factor,
            factor_u: (covariance[(1, 1)] * birge).sqrt() / half,
            offset: x[0] - factor * middle,
        })
    }
}

/// Standard deviation of one known value against its reading, SI: the tape, the noise, and the flank of the hysteresis loop that
/// the sensor was left on. A loop's half width is evenly likely up to half the stated one, so its mean square is a twelfth of
/// the stated width's.
fn sigma(reading: &Reading, point: &Point, rough: f64) -> f64 {
    let noise = reading.noise.max(point.reading.scatter * rough.abs());
    let flank = reading.hysteresis / 12f64.sqrt();
    let all = point.known_u.hypot(mean_u(noise, point.reading.count)).hypot(flank);
    all.max(f64::MIN_POSITIVE)
}
