//! Everything about the axles of a vehicle as they were drawn: counts, numbers at ride height with their uncertainty, sweeps
//! over heave and articulation, travel limits.

use super::error::{DesignError, OutOfReach};
use super::mechanism::{Follower, Mechanism, State};
use super::tolerance::number_u;
use crate::geometry::Pose;
use crate::vehicle::numbers::Numbers;
use crate::vehicle::{Axle, Position, Vehicle};

/// Steps from ride height to each end of a sweep.
const STEPS: usize = 20;

/// A vehicle as designed.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Its name.
    pub vehicle: String,
    /// In file order.
    pub axles: Vec<AxlePrediction>,
    /// Defaults that the file left to the project.
    pub defaults_used: Vec<String>,
}

/// One axle as designed.
#[derive(Debug, Clone, PartialEq)]
pub struct AxlePrediction {
    /// Its name.
    pub name: String,
    /// Front or rear.
    pub position: Position,
    /// Degrees of freedom that distances and bush translations leave; 2 is just right.
    pub mobility: usize,
    /// Distances and bush translations beyond what the free coordinates need.
    pub redundant: usize,
    /// What was assumed, and cautions.
    pub notes: Vec<String>,
    /// Pose at ride height where stated lengths disagree with the drawn points.
    pub ride_shift: Option<Pose>,
    /// At ride height.
    pub ride: AtState,
    /// Standard uncertainty (k = 1) of each number at ride height.
    pub ride_u: Numbers,
    /// The states that were asked for, in their order.
    pub states: Vec<AtState>,
    /// Over heave and over articulation.
    pub sweeps: Sweeps,
    /// Two-force members, legs and Watts links among them.
    pub links: Vec<LinkPrediction>,
}

/// Sweeps through ride height, lowest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweeps {
    /// From full droop to full bump, no articulation.
    pub heave: Vec<AtState>,
    /// From right wheel up to left wheel up, no heave.
    pub roll: Vec<AtState>,
}

/// A state that was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct AtState {
    /// Asked for, m.
    pub heave_m: f64,
    /// Asked for, rad.
    pub roll_rad: f64,
    /// What is there, or what keeps the axle from it.
    pub outcome: Result<Reached, OutOfReach>,
}

/// What an axle does at a state.
#[derive(Debug, Clone, PartialEq)]
pub struct Reached {
    /// Pose relative to the chassis.
    pub pose: Pose,
    /// Heading of the wheels' spin axis, rad.
    pub axle_steer_rad: f64,
    /// Travel of the left and the right wheel, m.
    pub wheel_travel_m: [f64; 2],
    /// Elastic energy in bushes, J.
    pub strain_energy_j: f64,
    /// Roll moment of binding, `dE/droll`, N·m.
    pub roll_moment_nm: f64,
    /// Every number there.
    pub numbers: Numbers,
}

/// A link, a leg of a wishbone, a link of a Watts linkage.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkPrediction {
    /// Its name.
    pub name: String,
    /// Between joint centres, m.
    pub length_m: f64,
}

/// Predicts every axle of a vehicle.
///
/// # Errors
/// The first axle's [`DesignError`] that keeps it from having any state.
pub fn predict(vehicle: &Vehicle) -> Result<Prediction, DesignError> {
    predict_states(vehicle, &[])
}

/// As [`predict`], and solves the given states (heave m, roll rad) of every axle.
///
/// # Errors
/// As [`predict`]; a state that the links cannot reach is an answer, not an error.
pub fn predict_states(vehicle: &Vehicle, wanted: &[(f64, f64)]) -> Result<Prediction, DesignError> {
    let axles =
        (0..vehicle.axles.len()).map(|k| predict_axle(vehicle, k, wanted)).collect::<Result<_, _>>()?;
    Ok(Prediction { vehicle: vehicle.name.clone(), axles, defaults_used: vehicle.defaults_used.clone() })
}

fn predict_axle(
    vehicle: &Vehicle,
    index: usize,
    wanted: &[(f64, f64)],
) -> Result<AxlePrediction, DesignError> {
    let mechanism = Mechanism::new(vehicle, index)?;
    let axle = &vehicle.axles[index];
    Ok(AxlePrediction {
        name: axle.name.clone(),
        position: axle.position,
        mobility: mechanism.mobility(),
        redundant: mechanism.redundant(),
        notes: mechanism.notes().to_vec(),
        ride_shift: mechanism.ride_shift(),
        ride: AtState { heave_m: 0.0, roll_rad: 0.0, outcome: Ok(reached(&mechanism, mechanism.ride())) },
        ride_u: number_u(vehicle, index)?,
        states: states(&mechanism, wanted.iter().copied()),
        sweeps: sweeps(axle, &mechanism),
        links: mechanism
            .members()
            .map(|(name, length_m)| LinkPrediction { name: name.into(), length_m })
            .collect(),
    })
}

/// Solves the given states (heave m, roll rad), each from the one before.
pub fn states(mechanism: &Mechanism, wanted: impl IntoIterator<Item = (f64, f64)>) -> Vec<AtState> {
    let mut follower = Follower::new(mechanism);
    wanted
        .into_iter()
        .map(|(heave_m, roll_rad)| {
            let outcome = follower.go(heave_m, roll_rad).map(|state| reached(mechanism, state));
            AtState { heave_m, roll_rad, outcome }
        })
        .collect()
}

fn reached(mechanism: &Mechanism, state: &State) -> Reached {
    Reached {
        pose: state.pose,
        axle_steer_rad: state.pose.axle_steer_rad(),
        wheel_travel_m: state.pose.wheel_travel_m(mechanism.facts().track_m),
        strain_energy_j: state.strain_energy_j,
        roll_moment_nm: state.roll_moment_nm,
        numbers: mechanism.numbers(state),
    }
}

fn sweeps(axle: &Axle, mechanism: &Mechanism) -> Sweeps {
    let sweep = &axle.sweep;
    let heave = both_ways(mechanism, -sweep.down_m, sweep.up_m, |h| (h, 0.0));
    let roll = both_ways(mechanism, -sweep.roll_rad, sweep.roll_rad, |r| (0.0, r));
    Sweeps { heave, roll }
}

/// From `low` to `high` through 0. Each half starts at ride height, so that a limit on one side does not hide the other.
fn both_ways(mechanism: &Mechanism, low: f64, high: f64, state: impl Fn(f64) -> (f64, f64)) -> Vec<AtState> {
    let part = |end: f64, k: usize| state(end * k as f64 / STEPS as f64);
    let mut all = states(mechanism, (0..=STEPS).map(|k| part(low, k)));
    all.reverse();
    all.extend(states(mechanism, (1..=STEPS).map(|k| part(high, k))));
    all
}
