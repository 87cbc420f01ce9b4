//! The mechanism that holds an axle: links, wishbones, radius arms and Watts linkages, rigid and elastic mixed.
//!
//! Heave and articulation are imposed; every other coordinate minimises the elastic energy `E = ½ Σ k r²` subject to the rigid
//! members. States are reached by continuation from ride height, so that they stay on the branch that a real axle follows.

mod bodies;
mod build;
mod just_determined;
mod locate;
mod reactions;
mod rehang;
mod rows;
mod settle;
mod state;
mod strained;
#[cfg(test)]
mod tests;
mod walk;

pub use reactions::{AppliedForce, Reactions};
pub use state::State;
pub use walk::Follower;

use super::drag_link::{self, BumpSteer};
use super::error::{DesignError, Loose, OutOfReach};
use super::springs;
use crate::geometry::{Pose, Vector3};
use crate::vehicle::numbers::{self, AxleFacts, Key, Numbers};
use crate::vehicle::{Axle, DragLink, Spring, Vehicle};
use build::Drawn;
pub use rows::Element;
use rows::Rows;

/// The mechanism of one axle, solved at ride height.
#[derive(Debug, Clone)]
pub struct Mechanism {
    axle: String,
    rows: Rows,
    facts: AxleFacts,
    /// Whether the members just determine the coordinates, so that no state has strain.
    just_determined: bool,
    mobility: usize,
    redundant: usize,
    notes: Vec<String>,
    /// Rows of the members in file order.
    order: Vec<usize>,
    springs: Vec<Spring>,
    drag_link: Option<DragLink>,
    ride: State,
}

impl Mechanism {
    /// The mechanism of the axle with this index (counted from 0).
    ///
    /// # Errors
    /// [`DesignError`] where nothing holds the axle in some direction, where rigid members are redundant, where a radius arm
    /// can spin about its own length, or where stated lengths cannot be joined.
    pub fn new(vehicle: &Vehicle, axle_index: usize) -> Result<Self, DesignError> {
        let axle = vehicle
            .axles
            .get(axle_index)
            .ok_or_else(|| DesignError::NoAxle { vehicle: vehicle.name.clone(), index: axle_index })?;
        let Drawn { mut rows, mut stated_m } = build::draw(axle)?;
        let drawn = vec![0.0; rows.bodies.coordinates()];
        let loose = locate::loose_motions(&rows, &drawn, &names(axle));
        if !loose.is_empty() {
            return Err(DesignError::NotLocated { axle: axle.name.clone(), loose });
        }
        let location = locate::location(&rows, &drawn);
        let mut notes = assumed_bushes(axle);
        notes.extend(locate::weakly_held(&rows, &drawn, &names(axle)).iter().map(Loose::caution));
        if location.redundant > 0 {
            let flexing = rows.assume_stiffness(&mut stated_m);
            if !flexing.is_empty() {
                notes.push(assumed_members(location.redundant, &flexing));
            }
            refuse_rigid_redundancy(axle, &rows, &drawn)?;
        }
        let just_determined = location.redundant == 0 && rows.bushes.is_empty();
        if just_determined {
            // Such a layout moves without strain whatever the stiffness.
            rows.members.iter_mut().for_each(|m| m.stiffness_n_per_m = None);
        }
        let mut order: Vec<usize> = (0..rows.members.len()).collect();
        order.sort_by_key(|&row| rows.members[row].place);
        let ride = walk::join(&axle.name, &mut rows, just_determined, &stated_m)?;
        let (mobility, redundant) = (location.mobility, location.redundant);
        let facts = AxleFacts::of(vehicle, axle);
        Ok(Self {
            axle: axle.name.clone(),
            rows,
            facts,
            just_determined,
            mobility,
            redundant,
            notes,
            order,
            springs: axle.springs.clone(),
            drag_link: axle.drag_link.clone(),
            ride,
        })
    }

    /// The state at `heave_m` (bump positive) and `roll_rad` (left side up positive), reached from ride height.
    ///
    /// # Errors
    /// [`OutOfReach`] with the member that stops it.
    pub fn solve(&self, heave_m: f64, roll_rad: f64) -> Result<State, OutOfReach> {
        Follower::new(self).into_state_at(heave_m, roll_rad)
    }

    /// The state at ride height.
    pub fn ride(&self) -> &State {
        &self.ride
    }

    /// The pose at ride height, where stated lengths disagree with the drawn points; `None` where they agree.
    pub fn ride_shift(&self) -> Option<Pose> {
        /// Above rounding, below what a tape could show.
        const SHIFTED: f64 = 1e-9;
        self.ride.pose.to_array().iter().any(|v| v.abs() > SHIFTED).then_some(self.ride.pose)
    }

    /// All numbers at a state, those of springs and drag link among them.
    pub fn numbers(&self, state: &State) -> Numbers {
        let mut n = numbers::at_state(&self.facts, &state.motion);
        if let Some(rates) = springs::rates(self, &self.springs, state) {
            n.set(Key::HeaveRate, rates.heave_n_per_m);
            n.set(Key::RollRate, rates.roll_nm_per_rad);
        }
        if let Some(bump_steer) = self.bump_steer(state) {
            n.set(Key::BumpSteerHeave, bump_steer.steer_per_heave);
            n.set(Key::BumpSteerRoll, bump_steer.steer_per_roll);
        }
        n
    }

    /// Bump steer at a state; `None` without a drag link, or where it does not reach.
    pub fn bump_steer(&self, state: &State) -> Option<BumpSteer> {
        drag_link::bump_steer(self.drag_link.as_ref()?, self.centre(), state)
    }

    /// Axle centre at ride height, m, floor coordinates.
    pub fn centre(&self) -> Vector3<f64> {
        self.rows.bodies.centre
    }

    /// What the formulas know of the axle.
    pub fn facts(&self) -> &AxleFacts {
        &self.facts
    }

    /// Degrees of freedom at ride height that distances and bush translations leave; 2 (heave and roll) is just right.
    pub fn mobility(&self) -> usize {
        self.mobility
    }

    /// Distances and bush translations beyond what the free coordinates need; above 0 the axle moves by bush deflection.
    pub fn redundant(&self) -> usize {
        self.redundant
    }

    /// Sentences about what was assumed.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The two-force members: links, then legs of wishbones, then links of Watts linkages, in file order.
    pub fn members(&self) -> impl Iterator<Item = MemberView<'_>> {
        let members = self.order.iter().map(|&row| &self.rows.members[row]);
        members.map(|m| MemberView { name: &m.name, length_m: m.length_m, part_of: m.part_of })
    }

    /// Both ends of each member at a state, m in the chassis frame, in the order of [`Self::members`].
    pub fn member_ends(&self, state: &State) -> Vec<[Vector3<f64>; 2]> {
        let mut q = vec![0.0; self.rows.bodies.coordinates()];
        state.predicted(state.pose.z_m, state.pose.roll_rad, &mut q);
        let placed = self.rows.bodies.place(&q);
        let members = self.order.iter().map(|&row| &self.rows.members[row]);
        members.map(|m| m.ends.each_ref().map(|end| placed.position(end))).collect()
    }
}

/// A two-force member as others see it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MemberView<'a> {
    /// Its name.
    pub name: &'a str,
    /// Between joint centres, m.
    pub length_m: f64,
    /// The element that it is or belongs to.
    pub part_of: Element,
}

fn names(axle: &Axle) -> locate::Names {
    locate::Names {
        arms: axle.locating.radius_arms.iter().map(|a| a.name.clone()).collect(),
        cranks: axle.locating.watts.iter().map(|w| w.name.clone()).collect(),
    }
}

fn refuse_rigid_redundancy(axle: &Axle, rows: &Rows, q: &[f64]) -> Result<(), DesignError> {
    match locate::rigid_redundancy(rows, q) {
        0 => Ok(()),
        redundant => {
            let members = rows.members.iter().take(rows.rigid()).map(|m| m.name.clone()).collect();
            Err(DesignError::Overconstrained { axle: axle.name.clone(), redundant, members })
        }
    }
}

fn assumed_members(redundant: usize, names: &[String]) -> String {
    format!(
        "Redundant by {redundant}: the axle articulates by deflecting bushes. Stiffness assumed from joint kinds for {}.",
        names.join(", ")
    )
}

fn assumed_bushes(axle: &Axle) -> Vec<String> {
    let arms = axle.locating.radius_arms.iter();
    arms.filter(|a| a.chassis_bush.assumed_from.is_some() || a.axle_bush.assumed_from.is_some())
        .map(|a| format!("Bush stiffness of {} assumed from its joint kind.", a.name))
        .collect()
}
