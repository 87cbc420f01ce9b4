//! What one setting does: its numbers at ride height, the ends of its travel, its joints.

use super::brackets::{Bracket, Hanging};
use crate::design::error::DesignError;
use crate::design::mechanism::{Follower, Mechanism};
use crate::design::misalignment::misalignment;
use crate::geometry::Pose;
use crate::vehicle::numbers::{self, Numbers};
use crate::vehicle::{Axle, Sweep, Vehicle};

/// An extreme of the travel that the axle's `sweep` asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Extreme {
    /// All of the bump, no articulation.
    FullBump,
    /// All of the droop, no articulation.
    FullDroop,
    /// All of the articulation, left wheel up.
    LeftUp,
    /// All of the articulation, right wheel up.
    RightUp,
}

impl Extreme {
    /// In the order in which they are solved and told.
    pub const ALL: [Extreme; 4] = [Extreme::FullBump, Extreme::FullDroop, Extreme::LeftUp, Extreme::RightUp];

    /// Heave (m) and roll (rad) there.
    pub fn state(self, sweep: &Sweep) -> (f64, f64) {
        match self {
            Extreme::FullBump => (sweep.up_m, 0.0),
            Extreme::FullDroop => (-sweep.down_m, 0.0),
            Extreme::LeftUp => (0.0, sweep.roll_rad),
            Extreme::RightUp => (0.0, -sweep.roll_rad),
        }
    }
}

/// An axle at an end of its travel.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Where it is.
    pub pose: Pose,
    /// Roll moment of binding, N·m.
    pub roll_moment_nm: f64,
    /// Energy in bushes, J.
    pub strain_energy_j: f64,
    /// Numbers of the motion there, without springs and steering.
    pub numbers: Numbers,
}

/// A link whose joint turns further from its bolt than it bears.
#[derive(Debug, Clone, PartialEq)]
pub struct JointPassed {
    /// The link.
    pub link: String,
    /// The furthest at ride height and at the ends of the travel, rad.
    pub worst_rad: f64,
    /// What it bears, rad.
    pub limit_rad: f64,
}

/// What a setting does.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// At ride height.
    pub ride: Numbers,
    /// At the ends of the travel, in the order of [`Extreme::ALL`]; where one is out of reach, the member that stops it.
    pub ends: [Result<Seen, String>; 4],
    /// Joints beyond what they bear.
    pub joints: Vec<JointPassed>,
}

/// One axle of a vehicle, hung in one setting after another.
#[derive(Debug, Clone)]
pub(super) struct Rack {
    vehicle: Vehicle,
    axle_index: usize,
    hanging: Hanging,
    mechanism: Option<Mechanism>,
}

impl Rack {
    /// For the axle as `vehicle` draws it; `brackets` are those of that axle.
    pub fn new(vehicle: Vehicle, axle_index: usize, brackets: &[Bracket]) -> Option<Self> {
        let hanging = Hanging::new(vehicle.axles.get(axle_index)?, brackets);
        Some(Self { vehicle, axle_index, hanging, mechanism: None })
    }

    /// The axle in the setting that was hung last.
    pub fn axle(&self) -> &Axle {
        &self.vehicle.axles[self.axle_index]
    }

    /// Hangs the axle in `holes`, one per bracket.
    ///
    /// # Errors
    /// Those of [`Mechanism::new`].
    pub fn hang(&mut self, holes: &[usize]) -> Result<&Mechanism, DesignError> {
        self.hanging.hang(&mut self.vehicle.axles[self.axle_index], holes);
        let axle = &self.vehicle.axles[self.axle_index];
        let rehung = self.mechanism.take().map(|mut m| m.rehang(axle).map(|hung| (hung, m))).transpose()?;
        let mechanism = match rehung {
            Some((true, mechanism)) => mechanism,
            _ => Mechanism::new(&self.vehicle, self.axle_index)?,
        };
        Ok(self.mechanism.insert(mechanism))
    }

    /// What the axle does in `holes`; numbers of the motion at the ends of the travel only where `along` wants them.
    ///
    /// # Errors
    /// Those of [`Mechanism::new`]; an end of the travel out of reach is an answer.
    pub fn look(&mut self, holes: &[usize], along: bool) -> Result<Look, DesignError> {
        self.hang(holes)?;
        let (axle, Some(mechanism)) = (self.axle(), &self.mechanism) else {
            return Err(DesignError::NoAxle { vehicle: self.vehicle.name.clone(), index: self.axle_index });
        };
        let ends = Extreme::ALL.map(|end| seen(mechanism, end.state(&axle.sweep), along));
        let joints = joints_passed(axle, mechanism, &ends);
        Ok(Look { ride: mechanism.numbers(mechanism.ride()), ends, joints })
    }
}

fn seen(mechanism: &Mechanism, (heave_m, roll_rad): (f64, f64), along: bool) -> Result<Seen, String> {
    let mut follower = Follower::new(mechanism);
    let state = follower.go(heave_m, roll_rad).map_err(|stop| stop.member)?;
    let motion = &state.motion;
    let numbers = if along { numbers::at_state(mechanism.facts(), motion) } else { Numbers::default() };
    Ok(Seen {
        pose: state.pose,
        roll_moment_nm: state.roll_moment_nm,
        strain_energy_j: state.strain_energy_j,
        numbers,
    })
}

fn joints_passed(axle: &Axle, mechanism: &Mechanism, ends: &[Result<Seen, String>; 4]) -> Vec<JointPassed> {
    let poses = || {
        let ride = std::iter::once(&mechanism.ride().pose);
        ride.chain(ends.iter().filter_map(|end| end.as_ref().ok()).map(|seen| &seen.pose))
    };
    let limited = axle.locating.links.iter().filter_map(|link| Some((link, link.misalignment_limit_rad?)));
    limited
        .filter_map(|(link, limit_rad)| {
            let worst_rad =
                poses().map(|pose| misalignment(axle, link, pose).worst_rad()).fold(0.0, f64::max);
            (worst_rad > limit_rad).then(|| JointPassed { link: link.name.clone(), worst_rad, limit_rad })
        })
        .collect()
}
