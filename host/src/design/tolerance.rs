//! How well the designed numbers are known: each coordinate of each point was measured or welded with a tolerance, and every
//! number inherits it.
//!
//! Coordinates are independent, also of mirrored points: a mirrored bracket is welded on its own. Propagation is linear
//! (JCGM 100:2008, 5.1.2), with derivatives through the solver: the axle is solved again with the point moved to either side.

use super::error::DesignError;
use super::mechanism::Mechanism;
use crate::geometry::Vector3;
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{Spot, Vehicle};

/// Half the distance between the two solutions, m: truncation is about 1e-10 of a number, rounding 1e-10.
pub(super) const STEP_M: f64 = 1e-5;

/// How the numbers follow one coordinate of one point.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensitivity {
    /// The point.
    pub spot: Spot,
    /// Its coordinate: 0 x, 1 y, 2 z.
    pub coordinate: usize,
    /// Its standard deviation, m.
    pub tolerance_m: f64,
    /// Derivative of each number, per m; none where there is no such number.
    pub per_m: Numbers,
    /// Derivative of the steer of the axle, rad/m.
    pub axle_steer_per_m: f64,
}

/// How well the axle is known at a state: standard uncertainties (k = 1).
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Of each number; none where there is no such number.
    pub numbers: Numbers,
    /// Of the steer of the axle, rad.
    pub axle_steer_rad: f64,
}

/// Derivatives of all numbers by every coordinate of every point, at a heave and roll.
///
/// # Errors
/// Those of [`Mechanism::new`] and [`Mechanism::solve`].
pub fn sensitivities(
    vehicle: &Vehicle,
    axle_index: usize,
    heave_m: f64,
    roll_rad: f64,
) -> Result<Vec<Sensitivity>, DesignError> {
    let Some(axle) = vehicle.axles.get(axle_index) else {
        return Err(DesignError::NoAxle { vehicle: vehicle.name.clone(), index: axle_index });
    };
    let mut moved = vehicle.clone();
    let mut numbers_with = |spot: Spot, offset: &Vector3<f64>| -> Result<(Numbers, f64), DesignError> {
        moved.axles[axle_index] = axle.clone();
        moved.axles[axle_index].move_spot(spot, offset);
        let mechanism = Mechanism::new(&moved, axle_index)?;
        let state = mechanism.solve(heave_m, roll_rad)?;
        Ok((mechanism.numbers(&state), state.pose.axle_steer_rad()))
    };
    let mut out = Vec::new();
    for spot in axle.spots() {
        let tolerance_m = axle.own_tolerance_m(spot).unwrap_or(vehicle.tolerance_m);
        for coordinate in 0..3 {
            let step = Vector3::ith(coordinate, STEP_M);
            let ((up, steer_up), (down, steer_down)) =
                (numbers_with(spot, &step)?, numbers_with(spot, &-step)?);
            let mut per_m = Numbers::default();
            for key in Key::ALL {
                if let (Some(up), Some(down)) = (up.get(key), down.get(key)) {
                    per_m.set(key, (up - down) / (2.0 * STEP_M));
                }
            }
            let axle_steer_per_m = (steer_up - steer_down) / (2.0 * STEP_M);
            out.push(Sensitivity { spot, coordinate, tolerance_m, per_m, axle_steer_per_m });
        }
    }
    Ok(out)
}

/// Standard uncertainty (k = 1) of each designed number at ride height; none where there is no such number.
///
/// # Errors
/// Those of [`Mechanism::new`].
pub fn number_u(vehicle: &Vehicle, axle_index: usize) -> Result<Numbers, DesignError> {
    number_u_at(vehicle, axle_index, 0.0, 0.0)
}

/// As [`number_u`], at a heave and roll.
///
/// # Errors
/// Those of [`Mechanism::new`] and [`Mechanism::solve`].
pub fn number_u_at(
    vehicle: &Vehicle,
    axle_index: usize,
    heave_m: f64,
    roll_rad: f64,
) -> Result<Numbers, DesignError> {
    Ok(known_at(vehicle, axle_index, heave_m, roll_rad)?.numbers)
}

/// How well the numbers and the steer of the axle are known at a heave and roll.
///
/// # Errors
/// Those of [`Mechanism::new`] and [`Mechanism::solve`].
pub fn known_at(
    vehicle: &Vehicle,
    axle_index: usize,
    heave_m: f64,
    roll_rad: f64,
) -> Result<Known, DesignError> {
    let all = sensitivities(vehicle, axle_index, heave_m, roll_rad)?;
    let mut u = Numbers::default();
    for key in Key::ALL {
        // A number that one of the moved layouts does not have (an instant centre gone to infinity) has no linear u.
        let parts: Option<Vec<f64>> =
            all.iter().map(|s| s.per_m.get(key).map(|d| d * s.tolerance_m)).collect();
        if let Some(parts) = parts.filter(|p| !p.is_empty()) {
            u.set(key, parts.iter().map(|p| p * p).sum::<f64>().sqrt());
        }
    }
    let steer = all.iter().map(|s| (s.axle_steer_per_m * s.tolerance_m).powi(2)).sum::<f64>();
    Ok(Known { numbers: u, axle_steer_rad: steer.sqrt() })
}
