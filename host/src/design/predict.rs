//! Everything about the axles of a vehicle as they were drawn: counts, numbers at ride height with their uncertainty, sweeps
//! over heave and articulation, travel limits, joints, loads.

use super::clearance::{cautions, clearances};
use super::driveshaft::driveshaft;
use super::error::{DesignError, OutOfReach};
use super::loads::{self, Column, LoadCase, ShaftDrive, drive_roll_nm};
use super::mechanism::{Element, Follower, Mechanism, MemberView, Reactions, State};
use super::misalignment::{Misalignment, misalignment};
use super::over_travel::Travel;
use super::prediction::*;
use super::ramp::{RAMP_RAD, ramp};
use super::springs::{installation_ratios, strut};
use super::tolerance::number_u;
use super::travel_ends::{articulation_limits, travel_ends};
use crate::geometry::Pose;
use crate::vehicle::{Axle, Link, Sweep, TorqueReaction, Vehicle, plausible};

/// Steps from ride height to each end of a sweep.
const STEPS: usize = 20;

/// What to predict beyond ride height and sweeps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wanted {
    /// States to solve: heave m, roll rad.
    pub states: Vec<(f64, f64)>,
    /// Load cases to work out at ride height and at these states.
    pub loads: Vec<LoadCase>,
    /// Whether a drive force brings the torque of the driveshaft along.
    pub shaft_torque: bool,
    /// Turns of the pinion per turn of the wheels, where it is not what the file says.
    pub final_drive: Option<f64>,
    /// Angle of the ramp, rad, where it is not the usual one.
    pub ramp_rad: Option<f64>,
}

/// Predicts every axle of a vehicle.
///
/// # Errors
/// The first axle's [`DesignError`] that keeps it from having any state.
pub fn predict(vehicle: &Vehicle) -> Result<Prediction, DesignError> {
    predict_wanted(vehicle, &Wanted::default())
}

/// As [`predict`], with the states and loads that are wanted.
///
/// # Errors
/// As [`predict`]; a state that the links cannot reach is an answer, not an error.
pub fn predict_wanted(vehicle: &Vehicle, wanted: &Wanted) -> Result<Prediction, DesignError> {
    let mut axles =
        (0..vehicle.axles.len()).map(|k| predict_axle(vehicle, k, wanted)).collect::<Result<Vec<_>, _>>()?;
    if let [one, other] = axles.as_mut_slice() {
        let ramp_rad = wanted.ramp_rad.unwrap_or(RAMP_RAD);
        let ramps = [
            ramp(one, other, vehicle.wheelbase_m, ramp_rad),
            ramp(other, one, vehicle.wheelbase_m, ramp_rad),
        ];
        [one.ramp, other.ramp] = ramps.map(Some);
    }
    Ok(Prediction {
        vehicle: vehicle.name.clone(),
        wheelbase_m: vehicle.wheelbase_m,
        axles,
        defaults_used: vehicle.defaults_used.clone(),
    })
}

fn predict_axle(vehicle: &Vehicle, index: usize, wanted: &Wanted) -> Result<AxlePrediction, DesignError> {
    let mechanism = Mechanism::new(vehicle, index)?;
    let axle = &vehicle.axles[index];
    let solved = solve_all(&mechanism, &wanted.states);
    let states = wanted.states.iter().zip(&solved).map(|(&(heave_m, roll_rad), outcome)| AtState {
        heave_m,
        roll_rad,
        outcome: outcome.as_ref().map(|s| reached(&mechanism, s)).map_err(Clone::clone),
    });
    let solved: Vec<Option<&State>> = solved.iter().map(|s| s.as_ref().ok()).collect();
    let travel = Travel::new(axle, &mechanism);
    let sweeps = sweeps(&axle.sweep, &mechanism);
    let shaft = shaft_drive(axle, wanted)?;
    let clear = clearances(axle, &mechanism, &travel);
    Ok(AxlePrediction {
        name: axle.name.clone(),
        position: axle.position,
        track_m: axle.track_m,
        tyre_radius_m: axle.tyre_radius_m,
        mobility: mechanism.mobility(),
        redundant: mechanism.redundant(),
        implausible: plausible::remarks(vehicle, axle),
        notes: (mechanism.notes().iter().cloned())
            .chain(preload_note(axle))
            .chain(cautions(axle, &clear))
            .collect(),
        ride_shift: mechanism.ride_shift(),
        ride: reached(&mechanism, mechanism.ride()),
        ride_u: number_u(vehicle, index)?,
        states: states.collect(),
        sweep: axle.sweep,
        links: links(axle, &mechanism, &solved, &travel),
        loads: wanted.loads.iter().map(|&case| load(&mechanism, case, shaft.as_ref(), &solved)).collect(),
        struts: struts(axle, &mechanism),
        ends: travel_ends(axle, &mechanism),
        clearances: clear,
        driveshaft: driveshaft(axle, &mechanism, &solved, &sweeps, &travel),
        sweeps,
        articulation: articulation_limits(axle, &mechanism),
        ramp: None,
    })
}

/// What rates leave out where the file does not say how hard the springs press.
fn preload_note(axle: &Axle) -> Option<String> {
    let unknown = axle.springs.iter().any(|s| s.preload_n.is_none());
    unknown.then(|| "Spring preload is not given: heave and roll rates leave out what it adds.".to_owned())
}

fn solve_all(mechanism: &Mechanism, wanted: &[(f64, f64)]) -> Vec<Result<State, OutOfReach>> {
    let mut follower = Follower::new(mechanism);
    wanted.iter().map(|&(heave_m, roll_rad)| follower.go(heave_m, roll_rad).cloned()).collect()
}

/// Solves states (heave m, roll rad), each from the one before.
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
        bump_steer: mechanism.bump_steer(state),
    }
}

fn sweeps(sweep: &Sweep, mechanism: &Mechanism) -> Sweeps {
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

fn links(
    axle: &Axle,
    mechanism: &Mechanism,
    solved: &[Option<&State>],
    travel: &Travel,
) -> Vec<LinkPrediction> {
    let one = |member: MemberView| {
        let link = match member.part_of {
            Element::Link(k) => axle.locating.links.get(k),
            Element::Wishbone(_) | Element::Watts(_) => None,
        };
        let tube = match member.part_of {
            Element::Link(_) => link.and_then(|l| l.tube.as_ref()),
            Element::Wishbone(k) => axle.locating.wishbones.get(k).and_then(|w| w.tube.as_ref()),
            Element::Watts(k) => axle.locating.watts.get(k).and_then(|w| w.tube.as_ref()),
        };
        LinkPrediction {
            name: member.name.to_owned(),
            length_m: member.length_m,
            misalignment: link.map(|l| joints(axle, l, mechanism, solved, travel)),
            buckling_n: tube.map(|t| Column::of(t).critical_n(t, member.length_m)),
            joint_rating_n: link.and_then(|l| l.joint_rating_n),
        }
    };
    mechanism.members().map(one).collect()
}

fn joints(
    axle: &Axle,
    link: &Link,
    mechanism: &Mechanism,
    solved: &[Option<&State>],
    travel: &Travel,
) -> LinkMisalignment {
    let at = |pose: &Pose| misalignment(axle, link, pose);
    let ride_pose = mechanism.ride().pose;
    let mut worst = WorstMisalignment { heave_m: 0.0, roll_rad: 0.0, at: at(&ride_pose) };
    for State { pose, .. } in travel.states() {
        let here: Misalignment = at(pose);
        if here.worst_rad() > worst.at.worst_rad() {
            worst = WorstMisalignment { heave_m: pose.z_m, roll_rad: pose.roll_rad, at: here };
        }
    }
    LinkMisalignment {
        limit_rad: link.misalignment_limit_rad,
        ride: at(&ride_pose),
        states: solved.iter().map(|s| s.map(|s| at(&s.pose))).collect(),
        worst,
    }
}

/// The driveshaft whose torque is wanted; none where it is not, or where it never comes to the housing.
fn shaft_drive(axle: &Axle, wanted: &Wanted) -> Result<Option<ShaftDrive>, DesignError> {
    let drives = wanted.shaft_torque && axle.drive_torque == TorqueReaction::Housing;
    match ShaftDrive::of(axle, wanted.final_drive) {
        None if drives => Err(DesignError::NoFinalDrive { axle: axle.name.clone() }),
        shaft => Ok(shaft.filter(|_| drives)),
    }
}

fn load(
    mechanism: &Mechanism,
    case: LoadCase,
    shaft: Option<&ShaftDrive>,
    solved: &[Option<&State>],
) -> LoadPrediction {
    let drive_n = match case {
        LoadCase::Drive(n) => Some(n),
        LoadCase::Brake(_) | LoadCase::Side(_) => None,
    };
    let ride = mechanism.ride();
    let forces = |state: &State| {
        let Reactions { members_n, heave_n, roll_nm } = loads::reactions(mechanism, state, case, shaft)?;
        Some(LinkForces { links_n: members_n, heave_n, roll_nm })
    };
    let states = solved.iter().map(|s| s.and_then(forces)).collect();
    LoadPrediction {
        case,
        drive_roll_nm: drive_n.map(|n| drive_roll_nm(mechanism, ride, n)),
        shaft: drive_n.and_then(|n| Some(shaft?.torque(mechanism, ride, n))),
        ride: forces(ride),
        states,
    }
}

fn struts(axle: &Axle, mechanism: &Mechanism) -> Vec<StrutPrediction> {
    let springs = axle.springs.iter().map(|s| (&s.name, &s.chassis, &s.axle));
    let shocks = axle.shocks.iter().map(|s| (&s.name, &s.chassis, &s.axle));
    springs
        .chain(shocks)
        .map(|(name, chassis, end)| {
            let strut = strut(mechanism.centre(), chassis, end, mechanism.ride());
            let (heave_ratio, roll_ratio) = installation_ratios(&strut, axle.track_m);
            StrutPrediction { name: name.clone(), length_m: strut.length_m, heave_ratio, roll_ratio }
        })
        .collect()
}
