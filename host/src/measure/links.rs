//! Links as the measured motion sees them: the distance of their drawn ends at every measured pose.
//!
//! A link whose ends are where they were drawn keeps its apparent length. What changes over the travel says that an end is
//! somewhere else; the length itself, and any shift along the link, only shows with absolute wires.

use crate::geometry::Vector3;
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use crate::rig::model::PoseGradient;
use crate::vehicle::{Axle, Mount, Side};

/// A distance that the axle keeps while it moves.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Name of the element, with the leg where it has several.
    pub name: String,
    /// Bracket on the chassis.
    pub chassis: Mount,
    /// Bracket on the axle.
    pub axle: Mount,
    /// Standard deviation of each coordinate of its ends, m.
    pub tolerance_m: f64,
}

/// Every link of an axle, and every leg of a wishbone.
pub fn lines(axle: &Axle, tolerance_m: f64) -> Vec<Line> {
    let links = axle.locating.links.iter().map(|link| Line {
        name: link.name.clone(),
        chassis: link.chassis.clone(),
        axle: link.axle.clone(),
        tolerance_m: link.tolerance_m.unwrap_or(tolerance_m),
    });
    let legs = axle.locating.wishbones.iter().flat_map(|wishbone| {
        wishbone.legs.iter().enumerate().map(move |(k, leg)| {
            let (chassis, axle) = match wishbone.apex_on {
                Side::Axle => (leg.clone(), wishbone.apex.clone()),
                Side::Chassis => (wishbone.apex.clone(), leg.clone()),
            };
            Line { name: format!("{} leg {}", wishbone.name, k + 1), chassis, axle, tolerance_m }
        })
    });
    links.chain(legs).collect()
}

impl Line {
    /// Length as drawn, m.
    pub fn nominal_m(&self) -> f64 {
        (self.axle.point() - self.chassis.point()).norm()
    }

    /// Apparent length `ℓ = ‖R(b − c) + c + p − a‖` and its derivative by the pose.
    pub fn apparent(&self, body: &PlacedBody) -> (f64, PoseGradient) {
        let end = self.axle.point();
        let d = distance(&self.chassis.point(), &body.position(&end));
        (d.length_m, body.jacobian(&end).tr_mul(&d.direction))
    }

    /// Derivative of the apparent length by its chassis end and its axle end.
    pub fn end_gradients(&self, body: &PlacedBody) -> [Vector3<f64>; 2] {
        let direction = distance(&self.chassis.point(), &body.position(&self.axle.point())).direction;
        [-direction, body.rotation().tr_mul(&direction)]
    }
}
