//! How near links, axle tube, pinion, driveshaft and tyres come to boxes that must stay free, and to each other, over the
//! whole range of travel.
//!
//! A link is a cylinder of its tube's diameter with round ends, a line where the file gives no tube; a tyre is a torus whose
//! section is a circle of the tyre's width below its loaded radius, so that square shoulders stand a little outside it, and
//! it stands straight ahead. A part that is fixed to the body that carries a box does not count against it.

use super::mechanism::{Element, Mechanism, State};
use super::over_travel::{Least, Region, Travel};
use super::prediction::{Clearance, Nearest, Obstacle};
use crate::geometry::Vector3;
use crate::geometry::clearance::{Cuboid, Ring, Segment, between_segments_m};
use crate::geometry::placed::PlacedBody;
use crate::vehicle::{Axle, KeepOut, Position, Side};

/// What the pinion line is called.
const PINION: &str = "pinion";
/// Two parts that never come nearer to each other than this are not told of, m.
pub const NEAR_M: f64 = 0.1;

/// A part whose way is watched.
#[derive(Debug, Clone)]
struct Part {
    name: String,
    kind: Kind,
    /// Of its section, m; 0 for a line.
    radius_m: f64,
}

/// Where a part's centreline comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    /// A member of the mechanism, by its place in file order, of an element.
    Member(usize, Element),
    /// From a radius arm's chassis joint to one of its axle bushes.
    Arm(usize, Segment),
    /// Fixed to the axle.
    OnAxle(Segment),
    /// From a point of the chassis to a point of the axle.
    Between(Segment),
    /// A tyre, about this centre.
    Tyre(Vector3<f64>),
}

/// A part's centreline, m in the frame of one body.
#[derive(Debug, Clone, Copy)]
enum Line {
    Straight(Segment),
    Round(Ring),
}

/// Every clearance of an axle, in the order of boxes and parts, then pairs of parts that come near each other.
pub fn clearances(axle: &Axle, mechanism: &Mechanism, travel: &Travel) -> Vec<Clearance> {
    let parts = parts(axle, mechanism);
    let mut all = Vec::new();
    for keep_out in &axle.keep_outs {
        for part in parts.iter().filter(|part| !part.rides_with(keep_out.on)) {
            let gap = |state: &State| part.gap_to_box_m(keep_out, mechanism, state);
            all.extend(least(travel, gap).map(|(least, within_stops)| Clearance {
                part: part.name.clone(),
                diameter_m: 2.0 * part.radius_m,
                obstacle: Obstacle::KeepOut(keep_out.name.clone()),
                least,
                within_stops,
            }));
        }
    }
    for (k, part) in parts.iter().enumerate() {
        for other in parts.iter().skip(k + 1).filter(|other| part.can_meet(other, mechanism)) {
            let gap = |state: &State| part.gap_to_part_m(other, mechanism, state);
            let near = travel.states().any(|state| gap(state) < NEAR_M);
            all.extend(near.then(|| least(travel, gap)).flatten().map(|(least, within_stops)| Clearance {
                part: part.name.clone(),
                diameter_m: 2.0 * part.radius_m,
                obstacle: Obstacle::Part(other.name.clone()),
                least,
                within_stops,
            }));
        }
    }
    all
}

/// The least of a gap over the reach of the links, and over what stops leave of it where there are any.
fn least(travel: &Travel, gap: impl Fn(&State) -> f64) -> Option<(Nearest, Option<Nearest>)> {
    let nearest = |l: Least| Nearest { gap_m: l.value, heave_m: l.heave_m, roll_rad: l.roll_rad };
    let reach = travel.least(Region::Reach, &gap).map(nearest)?;
    let within_stops = match travel.has_stops() {
        true => travel.least(Region::WithinStops, &gap).map(nearest),
        false => None,
    };
    Some((reach, within_stops))
}

fn parts(axle: &Axle, mechanism: &Mechanism) -> Vec<Part> {
    let locating = &axle.locating;
    let mut parts: Vec<Part> = mechanism
        .members()
        .enumerate()
        .map(|(k, member)| {
            let tube = match member.part_of {
                Element::Link(k) => locating.links.get(k).and_then(|l| l.tube),
                Element::Wishbone(k) => locating.wishbones.get(k).and_then(|w| w.tube),
                Element::Watts(k) => locating.watts.get(k).and_then(|w| w.tube),
            };
            let radius_m = tube.map_or(0.0, |t| 0.5 * t.diameter_m);
            Part { name: member.name.to_owned(), kind: Kind::Member(k, member.part_of), radius_m }
        })
        .collect();
    for (k, arm) in locating.radius_arms.iter().enumerate() {
        let radius_m = arm.tube.map_or(0.0, |t| 0.5 * t.diameter_m);
        parts.extend(arm.axle.iter().enumerate().map(|(bush, end)| Part {
            name: format!("{} to axle bush {}", arm.name, bush + 1),
            kind: Kind::Arm(k, [arm.chassis.point(), end.point()]),
            radius_m,
        }));
    }
    let centre = axle.centre();
    let part = |name: &str, kind: Kind, radius_m: f64| Part { name: name.into(), kind, radius_m };
    let to_tyre = Vector3::y() * (0.5 * (axle.track_m - axle.tyre_width_m)).max(0.0);
    parts.push(part("axle tube", Kind::OnAxle([centre + to_tyre, centre - to_tyre]), 0.5 * axle.axle_tube_m));
    if let Some(shaft) = &axle.driveshaft {
        let foot = Vector3::new(centre.x, shaft.pinion.y, centre.z);
        parts.push(part(PINION, Kind::OnAxle([foot, shaft.pinion]), 0.0));
        let radius_m = 0.5 * shaft.diameter_m.unwrap_or(0.0);
        parts.push(part("driveshaft", Kind::Between([shaft.output, shaft.pinion]), radius_m));
    }
    let to_wheel = Vector3::y() * (0.5 * axle.track_m);
    let tyre = |name, at| part(name, Kind::Tyre(at), 0.5 * axle.tyre_width_m);
    parts.extend([tyre("left tyre", centre + to_wheel), tyre("right tyre", centre - to_wheel)]);
    parts
}

impl Part {
    fn rides_with(&self, side: Side) -> bool {
        side == Side::Axle && matches!(self.kind, Kind::OnAxle(_) | Kind::Tyre(_))
    }

    /// Whether a pair of parts is worth watching: not fixed to one body, not parts of one element, and no joint or bracket
    /// shared at ride height. A link begins and ends at the axle and at the chassis, so parts fixed to these are watched
    /// against links only where they are tyres.
    fn can_meet(&self, other: &Part, mechanism: &Mechanism) -> bool {
        let same = match (self.kind, other.kind) {
            (Kind::Member(_, a), Kind::Member(_, b)) => a == b && !matches!(a, Element::Link(_)),
            (Kind::Arm(a, _), Kind::Arm(b, _)) => a == b,
            (Kind::Tyre(_) | Kind::OnAxle(_), Kind::Tyre(_) | Kind::OnAxle(_)) => true,
            (Kind::OnAxle(_), _) | (_, Kind::OnAxle(_)) => true,
            _ => false,
        };
        let ends = |part: &Part| match part.line(mechanism, mechanism.ride()) {
            Some(Line::Straight(segment)) => segment.to_vec(),
            Some(Line::Round(_)) | None => Vec::new(),
        };
        let touching_m = self.radius_m + other.radius_m + JOINT_M;
        !same && !ends(self).iter().any(|a| ends(other).iter().any(|b| (a - b).norm() < touching_m))
    }

    /// Its centreline at a state, m in the chassis frame.
    fn line(&self, mechanism: &Mechanism, state: &State) -> Option<Line> {
        let axle = PlacedBody::new(&state.pose, mechanism.centre());
        Some(match self.kind {
            Kind::Member(k, _) => Line::Straight(*mechanism.member_ends(state).get(k)?),
            Kind::Arm(k, [joint, bush]) => {
                let arm = PlacedBody::new(&state.arm_pose(k)?, joint);
                Line::Straight([joint, bush].map(|p| arm.position(&p)))
            }
            Kind::OnAxle(ends) => Line::Straight(ends.map(|p| axle.position(&p))),
            Kind::Between([output, pinion]) => Line::Straight([output, axle.position(&pinion)]),
            Kind::Tyre(at) => Line::Round(Ring {
                centre: axle.position(&at),
                axis: axle.rotation() * Vector3::y(),
                radius_m: mechanism.facts().tyre_radius_m - self.radius_m,
            }),
        })
    }

    /// From its surface to a box, m; infinite where it has no place.
    fn gap_to_box_m(&self, keep_out: &KeepOut, mechanism: &Mechanism, state: &State) -> f64 {
        let cuboid = Cuboid { min: keep_out.min, max: keep_out.max };
        let Some(line) = self.line(mechanism, state) else { return f64::INFINITY };
        let line = match keep_out.on {
            Side::Chassis => line,
            Side::Axle => line.seen_from(&PlacedBody::new(&state.pose, mechanism.centre())),
        };
        let centreline_m = match line {
            Line::Straight(segment) => cuboid.to_segment_m(&segment),
            Line::Round(ring) => cuboid.to_ring_m(&ring),
        };
        centreline_m - self.radius_m
    }

    /// From its surface to that of another part, m.
    fn gap_to_part_m(&self, other: &Part, mechanism: &Mechanism, state: &State) -> f64 {
        let lines = (self.line(mechanism, state), other.line(mechanism, state));
        let (Some(one), Some(two)) = lines else { return f64::INFINITY };
        let centrelines_m = match (one, two) {
            (Line::Straight(a), Line::Straight(b)) => between_segments_m(&a, &b),
            (Line::Straight(segment), Line::Round(ring)) | (Line::Round(ring), Line::Straight(segment)) => {
                ring.to_segment_m(&segment)
            }
            (Line::Round(_), Line::Round(_)) => f64::INFINITY,
        };
        centrelines_m - self.radius_m - other.radius_m
    }
}

/// Two ends this near beyond their tubes share a bracket, m.
const JOINT_M: f64 = 0.03;

impl Line {
    /// The same in the body's own floor coordinates.
    fn seen_from(self, body: &PlacedBody) -> Self {
        match self {
            Line::Straight(ends) => Line::Straight(ends.map(|p| body.floor_coordinates(&p))),
            Line::Round(ring) => Line::Round(Ring {
                centre: body.floor_coordinates(&ring.centre),
                axis: body.rotation().tr_mul(&ring.axis),
                ..ring
            }),
        }
    }
}

/// What clearances leave out, as sentences.
pub fn cautions(axle: &Axle, all: &[Clearance]) -> Vec<String> {
    if all.is_empty() {
        return Vec::new();
    }
    let mut lines: Vec<&str> = Vec::new();
    for clearance in all.iter().filter(|c| c.diameter_m == 0.0 && c.part != PINION) {
        if !lines.contains(&clearance.part.as_str()) {
            lines.push(&clearance.part);
        }
    }
    let mut cautions = Vec::new();
    if !lines.is_empty() {
        cautions.push(format!(
            "Clearances take for a line, because the file gives no tube: {}.",
            lines.join(", ")
        ));
    }
    if axle.position == Position::Front {
        cautions.push("Clearances are with the wheels straight ahead.".to_owned());
    }
    cautions
}

#[cfg(test)]
mod tests;
