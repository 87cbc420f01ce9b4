//! From the elements of a vehicle file to bodies and rows.

use super::bodies::{Bodies, Carrier, Crank, End};
use super::rows::{BushRows, Element, Member, Rows};
use crate::design::error::DesignError;
use crate::geometry::Vector3;
use crate::vehicle::{Axle, JointKind, Link, RadiusArm, Side, Watts, Wishbone};
use nalgebra::Unit;

/// Rows of an axle with the stiffness that its file states, and with stated lengths kept aside: members start at the lengths
/// that the points draw.
pub(super) struct Drawn {
    pub rows: Rows,
    /// Stated length of each member, where it is not the drawn one, m.
    pub stated_m: Vec<Option<f64>>,
}

pub(super) fn draw(axle: &Axle) -> Result<Drawn, DesignError> {
    let mut members = Vec::new();
    for (k, link) in axle.locating.links.iter().enumerate() {
        let name = link.name.clone();
        let member = member(name, Element::Link(k), link_ends(link), link.stiffness_n_per_m, link.joints);
        members.push((member, link.length_m));
    }
    for (index, wishbone) in axle.locating.wishbones.iter().enumerate() {
        let part_of = Element::Wishbone(index);
        for (k, ends) in leg_ends(wishbone).into_iter().enumerate() {
            let name = format!("{} leg {}", wishbone.name, k + 1);
            members.push((member(name, part_of, ends, wishbone.stiffness_n_per_m, wishbone.joints), None));
        }
    }
    let mut cranks = Vec::new();
    for watts in &axle.locating.watts {
        members.extend(watts_members(watts, cranks.len()).map(|m| (m, None)));
        let axis = Unit::new_normalize(watts.axis);
        cranks.push(Crank { on: watts.pivot_on, pivot: watts.pivot.point(), axis });
    }
    let mut bushes = Vec::new();
    for (k, arm) in axle.locating.radius_arms.iter().enumerate() {
        if !holds_its_spin(arm) {
            return Err(DesignError::ArmSpins { axle: axle.name.clone(), arm: arm.name.clone() });
        }
        bushes.extend(arm_bushes(arm, k));
    }
    for (place, (member, _)) in members.iter_mut().enumerate() {
        member.place = place;
    }
    // Rigid members first: the solver counts them from the start.
    members.sort_by_key(|(m, _)| m.stiffness_n_per_m.is_some());
    let (members, stated_m) = members.into_iter().unzip();
    let arms = axle.locating.radius_arms.iter().map(|a| a.chassis.point()).collect();
    let bodies = Bodies { centre: axle.centre(), arms, cranks };
    Ok(Drawn { rows: Rows { bodies, members, bushes, half_track_m: 0.5 * axle.track_m }, stated_m })
}

fn end(carrier: Carrier, point: Vector3<f64>) -> End {
    End { carrier, point }
}

/// The body of an element's own part, and the other one.
fn carriers(on: Side) -> (Carrier, Carrier) {
    match on {
        Side::Chassis => (Carrier::Chassis, Carrier::Axle),
        Side::Axle => (Carrier::Axle, Carrier::Chassis),
    }
}

/// Ends of a link's member.
pub(super) fn link_ends(link: &Link) -> [End; 2] {
    [end(Carrier::Chassis, link.chassis.point()), end(Carrier::Axle, link.axle.point())]
}

/// Ends of the members of a wishbone's legs.
pub(super) fn leg_ends(wishbone: &Wishbone) -> [[End; 2]; 2] {
    let (apex_on, legs_on) = carriers(wishbone.apex_on);
    wishbone.legs.each_ref().map(|leg| [end(legs_on, leg.point()), end(apex_on, wishbone.apex.point())])
}

/// Ends of the members of a Watts linkage, whose crank is counted from 0.
pub(super) fn watts_ends(watts: &Watts, crank: usize) -> [[End; 2]; 2] {
    let (_, far) = carriers(watts.pivot_on);
    std::array::from_fn(|k| [end(Carrier::Crank(crank), watts.crank[k]), end(far, watts.ends[k].point())])
}

fn member(
    name: String,
    part_of: Element,
    ends: [End; 2],
    stiffness_n_per_m: Option<f64>,
    joints: Option<[JointKind; 2]>,
) -> Member {
    let length_m = (ends[1].point - ends[0].point).norm();
    let assumed_n_per_m = joints.map(JointKind::in_series_n_per_m);
    Member { name, place: 0, part_of, ends, length_m, stiffness_n_per_m, assumed_n_per_m }
}

fn watts_members(watts: &Watts, crank: usize) -> impl Iterator<Item = Member> {
    watts_ends(watts, crank).into_iter().enumerate().map(move |(k, ends)| {
        let name = format!("{} link {}", watts.name, k + 1);
        member(name, Element::Watts(crank), ends, watts.stiffness_n_per_m, None)
    })
}

/// Torsion about the bolts holds an arm only as long as it has not begun to turn: without conical stiffness it can spin about
/// its own length, although a rank test at ride height does not see it.
fn holds_its_spin(arm: &RadiusArm) -> bool {
    arm.chassis_bush.stiffness.conical_nm_per_rad > 0.0 || arm.axle_bush.stiffness.conical_nm_per_rad > 0.0
}

fn arm_bushes(arm: &RadiusArm, index: usize) -> [BushRows; 3] {
    let bush = |place: &str, carrier, joint, bush| {
        BushRows::new(format!("{} {place}", arm.name), carrier, index, joint, &arm.bolt, bush)
    };
    [
        bush("chassis bush", Side::Chassis, arm.chassis.point(), &arm.chassis_bush),
        bush("axle bush 1", Side::Axle, arm.axle[0].point(), &arm.axle_bush),
        bush("axle bush 2", Side::Axle, arm.axle[1].point(), &arm.axle_bush),
    ]
}
