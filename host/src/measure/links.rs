//! Links as the measured motion sees them: the distance of their drawn ends at every measured pose.
//!
//! A link whose ends are where they were drawn keeps its apparent length. What changes over the travel says that an end is
//! somewhere else; the length itself, and any shift along the link, only shows with absolute wires. A radius arm gives one such
//! distance per axle bush, which changes besides by what its bushes give; a wishbone one per leg; a Watts linkage one: with its
//! crank turned so that its first link keeps its length, the length of the second.

use crate::geometry::Vector3;
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use crate::rig::model::PoseGradient;
use crate::vehicle::{Axle, Mount, RadiusArm, Side, Watts};
use nalgebra::{Rotation3, Unit};

/// A distance that the axle keeps while it moves.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Name of the element, with the leg or the bush where it has several.
    pub name: String,
    /// Between which points.
    pub shape: Shape,
    /// Standard deviation of each coordinate of its ends, m.
    pub tolerance_m: f64,
}

/// Between which points a distance is kept.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A bracket on the chassis and one on the axle.
    Straight {
        /// On the chassis.
        chassis: Mount,
        /// On the axle.
        axle: Mount,
    },
    /// The second link of a Watts linkage whose first keeps its length.
    Watts(Watts),
}

/// Every link of an axle, every leg of a wishbone, every axle bush of a radius arm and every Watts linkage.
pub fn lines(axle: &Axle, tolerance_m: f64) -> Vec<Line> {
    let straight = |name: String, chassis: &Mount, axle: &Mount, tolerance_m: f64| Line {
        name,
        shape: Shape::Straight { chassis: chassis.clone(), axle: axle.clone() },
        tolerance_m,
    };
    let locating = &axle.locating;
    let links = locating.links.iter().map(|link| {
        straight(link.name.clone(), &link.chassis, &link.axle, link.tolerance_m.unwrap_or(tolerance_m))
    });
    let legs = locating.wishbones.iter().flat_map(|wishbone| {
        wishbone.legs.iter().enumerate().map(move |(k, leg)| {
            let (chassis, axle) = match wishbone.apex_on {
                Side::Axle => (leg, &wishbone.apex),
                Side::Chassis => (&wishbone.apex, leg),
            };
            straight(format!("{} leg {}", wishbone.name, k + 1), chassis, axle, tolerance_m)
        })
    });
    let arms = locating.radius_arms.iter().flat_map(|arm| {
        let words = bush_words(arm);
        [0, 1].map(|k| {
            straight(format!("{}, {} bush", arm.name, words[k]), &arm.chassis, &arm.axle[k], tolerance_m)
        })
    });
    let watts = locating.watts.iter().map(|watts| Line {
        name: watts.name.clone(),
        shape: Shape::Watts(watts.clone()),
        tolerance_m,
    });
    links.chain(legs).chain(arms).chain(watts).collect()
}

/// What a builder calls the two axle bushes of an arm.
pub fn bush_words(arm: &RadiusArm) -> [&'static str; 2] {
    let apart = arm.axle[0].point() - arm.axle[1].point();
    match (apart.x.abs() >= apart.z.abs(), apart.x > 0.0, apart.z > 0.0) {
        (true, true, _) => ["front", "rear"],
        (true, false, _) => ["rear", "front"],
        (false, _, true) => ["top", "bottom"],
        (false, _, false) => ["bottom", "top"],
    }
}

/// Newton steps for the angle of a crank: quadratic from within half a radian.
const CRANK_STEPS: usize = 8;

impl Line {
    /// Length as drawn, m.
    pub fn nominal_m(&self) -> f64 {
        match &self.shape {
            Shape::Straight { chassis, axle } => (axle.point() - chassis.point()).norm(),
            Shape::Watts(watts) => watts_link_m(watts, 1),
        }
    }

    /// The points that it hangs on as drawn, m.
    pub fn points(&self) -> Vec<Vector3<f64>> {
        match &self.shape {
            Shape::Straight { chassis, axle } => vec![chassis.point(), axle.point()],
            Shape::Watts(watts) => {
                watts.ends.iter().map(Mount::point).chain(watts.crank).chain([watts.pivot.point()]).collect()
            }
        }
    }

    /// Covariance of two lengths as drawn from the tolerance of their ends, m²: of a line with itself both ends of it, of two that
    /// share one end that end along both.
    pub fn shared_with(&self, other: &Line) -> f64 {
        let variance = self.tolerance_m * other.tolerance_m;
        if self == other {
            return 2.0 * variance;
        }
        let (Shape::Straight { chassis: a, axle: b }, Shape::Straight { chassis: c, axle: d }) =
            (&self.shape, &other.shape)
        else {
            return 0.0;
        };
        let along = (b.point() - a.point()).normalize().dot(&(d.point() - c.point()).normalize());
        let shared = [a == c, b == d].iter().filter(|same| **same).count();
        variance * along * shared as f64
    }

    /// Apparent length `ℓ = ‖R(b − c) + c + p − a‖` and its derivative by the pose.
    pub fn apparent(&self, body: &PlacedBody) -> (f64, PoseGradient) {
        match &self.shape {
            Shape::Straight { chassis, axle } => {
                let d = distance(&chassis.point(), &body.position(&axle.point()));
                (d.length_m, body.jacobian(&axle.point()).tr_mul(&d.direction))
            }
            Shape::Watts(watts) => watts_apparent(watts, body),
        }
    }
}

fn watts_link_m(watts: &Watts, link: usize) -> f64 {
    (watts.crank[link] - watts.ends[link].point()).norm()
}

/// A Watts link's length with the crank at an angle, its derivative by the pose at that angle, and by the angle.
fn watts_link(watts: &Watts, body: &PlacedBody, crank_rad: f64, link: usize) -> (f64, PoseGradient, f64) {
    let turn = Rotation3::from_axis_angle(&Unit::new_normalize(watts.axis), crank_rad);
    let arm = turn * (watts.crank[link] - watts.pivot.point());
    let (end, far) = (watts.pivot.point() + arm, watts.ends[link].point());
    let sweeps = watts.axis.normalize().cross(&arm);
    match watts.pivot_on {
        Side::Axle => {
            let d = distance(&far, &body.position(&end));
            let by_angle = d.direction.dot(&(body.rotation() * sweeps));
            (d.length_m, body.jacobian(&end).tr_mul(&d.direction), by_angle)
        }
        Side::Chassis => {
            let d = distance(&end, &body.position(&far));
            (d.length_m, body.jacobian(&far).tr_mul(&d.direction), -d.direction.dot(&sweeps))
        }
    }
}

/// The second link's length where the crank is turned so that the first keeps its own, and its derivative by the pose:
/// `dℓ₂ = ∂ℓ₂ − (∂ℓ₂/∂φ)/(∂ℓ₁/∂φ)·∂ℓ₁`.
fn watts_apparent(watts: &Watts, body: &PlacedBody) -> (f64, PoseGradient) {
    let kept_m = watts_link_m(watts, 0);
    let mut crank_rad: f64 = 0.0;
    for _ in 0..CRANK_STEPS {
        let (length_m, _, by_angle) = watts_link(watts, body, crank_rad, 0);
        // A crank in line with its link turns no further.
        if by_angle.abs() < 1e-6 {
            break;
        }
        crank_rad -= ((length_m - kept_m) / by_angle).clamp(-0.3, 0.3);
    }
    let (_, first, first_by_angle) = watts_link(watts, body, crank_rad, 0);
    let (length_m, second, second_by_angle) = watts_link(watts, body, crank_rad, 1);
    let ratio = if first_by_angle.abs() < 1e-6 { 0.0 } else { second_by_angle / first_by_angle };
    (length_m, second - first * ratio)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::geometry::Pose;

    #[test]
    fn gradients_match_differences() {
        const STEP: f64 = 1e-6;
        // Rounding of lengths over the step, and its square.
        const TOLERANCE: f64 = 1e-8;
        let q = [0.004, -0.003, 0.05, 0.12, 0.02, 0.015];
        for (_, layout) in Layout::WORDS {
            let vehicle = crate::vehicle::file::parse(&layout.vehicle_text("Bramble"), "vehicle.toml")
                .expect("a starter");
            let centre = vehicle.axles[0].centre();
            for line in lines(&vehicle.axles[0], 0.003) {
                let gradient = line.apparent(&PlacedBody::new(&Pose::from_array(q), centre)).1;
                for k in 0..6 {
                    let at = |sign: f64| {
                        let mut q = q;
                        q[k] += sign * STEP;
                        line.apparent(&PlacedBody::new(&Pose::from_array(q), centre)).0
                    };
                    let difference = (at(1.0) - at(-1.0)) / (2.0 * STEP);
                    assert!((gradient[k] - difference).abs() < TOLERANCE, "{} by {k}", line.name);
                }
            }
        }
    }
}
