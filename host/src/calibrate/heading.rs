//! The heading of an inertial unit about the vertical, from attitudes of its body that are known: the still at ride height, and one
//! or more in which the body is tilted about an axis that is known.
//!
//! A still levels the unit and leaves its heading open. Tilt the body to the left: a unit that is turned by ψ about the vertical
//! sees part of the tilt as fore-and-aft. With the levelled up direction m of a position and the up direction p that its named
//! attitude makes, both in the body's horizontal plane, `ψ = atan2(m × p, m·p)`: the alignment of two vectors by a third that both
//! share (Wahba's problem with one angle free, SIAM Rev. 7, 1965, from memory).

use super::rest::Rest;
use super::{CalibrateError, mean_u};
use crate::geometry::Vector3;
use crate::rig::calibration::HeadingFound;
use crate::rig::inertial::{Levelling, UnitErrors};
use crate::rig::{Inertial, Sensor};
use nalgebra::Rotation3;

/// Least tilt that a heading is read from, rad: at 3° half a degree of the named attitude makes ten of heading.
const LEAST_TILT_RAD: f64 = 3.0 * std::f64::consts::PI / 180.0;

/// A tilt that differs from the one that was named by more than this part, and by more than 2°, is another position.
const OTHER_TILT: f64 = 0.3;
const OTHER_TILT_RAD: f64 = 2.0 * std::f64::consts::PI / 180.0;

/// The attitude of the body that carries the unit, against the level of the first still.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Attitude {
    /// Left side up positive, rad.
    pub roll_rad: f64,
    /// Nose down positive, rad.
    pub pitch_rad: f64,
}

impl Attitude {
    /// The up direction in the body's axes.
    fn up(&self) -> Vector3<f64> {
        Rotation3::from_euler_angles(self.roll_rad, self.pitch_rad, 0.0).inverse() * Vector3::z()
    }
}

/// A position: the named attitude and what the unit read there.
pub type Position<'a> = (Attitude, &'a Rest);

/// Fits the heading of a unit. The first position is the level one that the others count from; `named_u_rad` is how well roll and
/// pitch of the others are known.
///
/// # Errors
/// Where no position is tilted, or one is tilted otherwise than it was named.
pub fn fit(
    sensor: &Sensor,
    unit: &Inertial,
    level: &Rest,
    positions: &[Position<'_>],
    named_u_rad: f64,
) -> Result<HeadingFound, CalibrateError> {
    let plain = Inertial { found: crate::rig::UnitFound { heading_rad: 0.0, ..unit.found }, ..unit.clone() };
    let force = |rest: &Rest| {
        let read = Vector3::from_fn(|k, _| rest.channels.get(k).map_or(0.0, |c| c.mean));
        plain.found.force(&read)
    };
    let levelling = Levelling { still_force: force(level), still_rate: Vector3::zeros() };
    let seen = |rest: &Rest, errors: &UnitErrors| levelling.force(&plain, errors, &force(rest)).normalize();
    let none = UnitErrors::default();
    for (k, (named, rest)) in positions.iter().enumerate() {
        check(sensor, k + 2, named, &seen(rest, &none))?;
    }
    let tilted: Vec<Position<'_>> =
        positions.iter().copied().filter(|(a, _)| tilt(&a.up()) >= LEAST_TILT_RAD).collect();
    if tilted.is_empty() {
        return Err(CalibrateError::NotTilted {
            sensor: sensor.name.clone(),
            least_deg: LEAST_TILT_RAD.to_degrees(),
        });
    }
    let heading = |errors: &UnitErrors| {
        let (cross, dot) = tilted.iter().fold((0.0, 0.0), |(c, d), (named, rest)| {
            let (m, p) = (seen(rest, errors), named.up());
            (c + m.x * p.y - m.y * p.x, d + m.x * p.x + m.y * p.y)
        });
        cross.atan2(dot)
    };
    let found = heading(&none);
    // The named attitudes are wrong each by itself; weights are the squares of the tilts.
    let squares: f64 = tilted.iter().map(|(a, _)| tilt(&a.up()).powi(2)).sum();
    let mut variance = named_u_rad.powi(2) / squares;
    let scatter = level.channels.iter().take(3).map(|c| c.scatter).fold(unit.accel_noise, f64::max);
    let still_u = mean_u(scatter, level.channels.iter().map(|c| c.count).min().unwrap_or(1));
    variance += (still_u / crate::rig::inertial::STANDARD_GRAVITY).powi(2) * 2.0 / squares;
    for error in errors(unit, still_u) {
        variance += (heading(&error) - found).powi(2);
    }
    let residuals_rad = tilted.iter().map(|(named, rest)| {
        let (m, p) = (seen(rest, &none), named.up());
        (m.x * p.y - m.y * p.x).atan2(m.x * p.x + m.y * p.y) - found
    });
    Ok(HeadingFound { heading_rad: found, u_rad: variance.sqrt(), residuals_rad: residuals_rad.collect() })
}

/// How far an up direction is from the body's own.
fn tilt(up: &Vector3<f64>) -> f64 {
    up.x.hypot(up.y).atan2(up.z)
}

fn check(
    sensor: &Sensor,
    position: usize,
    named: &Attitude,
    seen: &Vector3<f64>,
) -> Result<(), CalibrateError> {
    let (seen_rad, named_rad) = (tilt(seen), tilt(&named.up()));
    let against = seen.x * named.up().x + seen.y * named.up().y < 0.0;
    let off = (seen_rad - named_rad).abs();
    if off > OTHER_TILT_RAD && off > OTHER_TILT * named_rad || against && named_rad >= LEAST_TILT_RAD {
        let sign = if against { -1.0 } else { 1.0 };
        return Err(CalibrateError::OtherTilt {
            sensor: sensor.name.clone(),
            position,
            seen_deg: sign * seen_rad.to_degrees(),
            named_deg: named_rad.to_degrees(),
        });
    }
    Ok(())
}

/// One standard deviation of each error that the unit may have.
fn errors(unit: &Inertial, still_u: f64) -> Vec<UnitErrors> {
    let along = |k: usize, size: f64| Vector3::from_fn(|i, _| if i == k { size } else { 0.0 });
    (0..3)
        .flat_map(|k| {
            [
                UnitErrors { scale: along(k, unit.scale_u), ..UnitErrors::default() },
                UnitErrors { bias: along(k, unit.accel_bias_u), ..UnitErrors::default() },
                UnitErrors { still: along(k, still_u), ..UnitErrors::default() },
            ]
        })
        .collect()
}
