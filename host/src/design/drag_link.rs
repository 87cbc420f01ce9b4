//! Bump steer of a steered axle: with the steering wheel held, the drag link keeps its length while its knuckle end turns
//! about the kingpin.

use super::mechanism::State;
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{Pose, Vector3};
use crate::vehicle::DragLink;
use nalgebra::{Rotation3, Unit};

/// What the drag link makes of a state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BumpSteer {
    /// Turn of the knuckle about its kingpin since ride height, left positive, rad.
    pub steer_rad: f64,
    /// Heading of the wheel relative to the chassis, left positive, rad; it includes the steer of the axle.
    pub heading_rad: f64,
    /// Steer per heave, rad/m.
    pub steer_per_heave: f64,
    /// Steer per roll, rad/rad.
    pub steer_per_roll: f64,
    /// Heading per heave, rad/m.
    pub heading_per_heave: f64,
    /// Heading per roll, rad/rad.
    pub heading_per_roll: f64,
}

/// Newton steps at the most; from zero it takes four or five.
const STEPS: usize = 30;
/// A last step of this size leaves an error of its square.
const SETTLED_RAD: f64 = 1e-9;

/// The knuckle of a drag link on an axle with its centre at `centre` (m).
struct Knuckle<'a> {
    link: &'a DragLink,
    axis: Unit<Vector3<f64>>,
    length_m: f64,
}

impl<'a> Knuckle<'a> {
    fn new(link: &'a DragLink) -> Self {
        let upward =
            if link.kingpin_direction.z < 0.0 { -link.kingpin_direction } else { link.kingpin_direction };
        let length_m = distance(&link.chassis, &link.axle).length_m;
        Self { link, axis: Unit::new_normalize(upward), length_m }
    }

    /// The knuckle end turned by `steer_rad`, in the axle's floor coordinates, and its derivative.
    fn end(&self, steer_rad: f64) -> (Vector3<f64>, Vector3<f64>) {
        let arm =
            Rotation3::from_axis_angle(&self.axis, steer_rad) * (self.link.axle - self.link.kingpin_point);
        (self.link.kingpin_point + arm, self.axis.cross(&arm))
    }
}

/// Bump steer at a state; `None` where the drag link does not reach.
pub fn bump_steer(link: &DragLink, centre: Vector3<f64>, state: &State) -> Option<BumpSteer> {
    let knuckle = Knuckle::new(link);
    let body = PlacedBody::new(&state.pose, centre);
    let steer_rad = knuckle.steer(&body)?;
    Some(slopes(&knuckle, &body, state, steer_rad))
}

/// Turn of the knuckle about its kingpin at a pose of the axle, rad, and the turn as a rotation in the axle's axes; `None` where the
/// drag link does not reach.
pub fn knuckle_turn(link: &DragLink, centre: Vector3<f64>, pose: &Pose) -> Option<(f64, Rotation3<f64>)> {
    let knuckle = Knuckle::new(link);
    let steer_rad = knuckle.steer(&PlacedBody::new(pose, centre))?;
    Some((steer_rad, Rotation3::from_axis_angle(&knuckle.axis, steer_rad)))
}

impl Knuckle<'_> {
    /// Newton's method on the length of the drag link.
    fn steer(&self, body: &PlacedBody) -> Option<f64> {
        let mut steer_rad = 0.0_f64;
        for _ in 0..STEPS {
            let (end, slope) = self.end(steer_rad);
            let d = distance(&self.link.chassis, &body.position(&end));
            let per_steer = d.direction.dot(&(body.rotation() * slope));
            let step = (d.length_m - self.length_m) / per_steer;
            steer_rad -= step;
            // Beyond a quarter turn the knuckle end has gone over the centre: no steering does that.
            if !step.is_finite() || steer_rad.abs() > std::f64::consts::FRAC_PI_2 {
                return None;
            }
            if step.abs() < SETTLED_RAD {
                return Some(steer_rad);
            }
        }
        None
    }
}

/// From `dℓ = 0`: `∂ℓ/∂steer·dsteer + ∂ℓ/∂q·dq = 0`.
fn slopes(knuckle: &Knuckle, body: &PlacedBody, state: &State, steer_rad: f64) -> BumpSteer {
    let (end, slope) = knuckle.end(steer_rad);
    let d = distance(&knuckle.link.chassis, &body.position(&end));
    let gradient = body.gradient_along(&body.arm(&end), &d.direction);
    let per_steer = d.direction.dot(&(body.rotation() * slope));
    let in_axle = Rotation3::from_axis_angle(&knuckle.axis, steer_rad) * Vector3::y();
    let spin = body.rotation() * in_axle;
    let per_motion = |rates: &[f64; COORDINATES]| {
        let along: f64 = gradient.iter().zip(rates).map(|(g, r)| g * r).sum();
        let steer = -along / per_steer;
        let omega = state.pose.twist(*rates).omega;
        let spin_rate = omega.cross(&spin) + body.rotation() * knuckle.axis.cross(&in_axle) * steer;
        let flat = spin.x * spin.x + spin.y * spin.y;
        (steer, (spin.x * spin_rate.y - spin.y * spin_rate.x) / flat)
    };
    let (steer_per_heave, heading_per_heave) = per_motion(&state.motion.by_heave);
    let (steer_per_roll, heading_per_roll) = per_motion(&state.motion.by_roll);
    BumpSteer {
        steer_rad,
        heading_rad: (-spin.x).atan2(spin.y),
        steer_per_heave,
        steer_per_roll,
        heading_per_heave,
        heading_per_roll,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::{Mechanism, cases};

    fn right_knuckle() -> DragLink {
        let (caster, inclination) = (6.0_f64.to_radians(), 8.0_f64.to_radians());
        DragLink {
            chassis: Vector3::new(0.18, 0.38, 0.68),
            axle: Vector3::new(0.16, -0.66, 0.58),
            kingpin_point: Vector3::new(0.0, -0.70, 0.46),
            kingpin_direction: Vector3::new(-caster.tan(), inclination.tan(), 1.0).normalize(),
        }
    }

    /// Case H with a drag link; values computed by a program that shares no code with this one.
    #[test]
    fn worked_values_of_the_three_link() {
        let vehicle = cases::h();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let link = right_knuckle();
        let at =
            |heave: f64, roll: f64| bump_steer(&link, m.centre(), &m.solve(heave, roll).unwrap()).unwrap();
        let ride = at(0.0, 0.0);
        for (actual, printed) in [
            (ride.steer_per_heave, 0.0858853),
            (ride.steer_per_roll, 0.510300),
            (ride.heading_per_heave, 0.0765831),
            (ride.heading_per_roll, 0.409537),
        ] {
            assert!((actual - printed).abs() < 5.1e-7, "{actual} {printed}");
        }
        for (heave, roll, steer, heading) in [
            (0.08, 0.0, 0.275643, 0.249052),
            (-0.08, 0.0, -0.537588, -0.477778),
            (0.0, 0.2, 5.74229, 4.63748),
            (-0.06, 0.3, 9.93188, 7.32850),
        ] {
            let s = at(heave, roll);
            assert!((s.steer_rad.to_degrees() - steer).abs() < 5.1e-6, "{s:?}");
            assert!((s.heading_rad.to_degrees() - heading).abs() < 5.1e-6, "{s:?}");
        }
    }

    #[test]
    fn slopes_match_differences() {
        /// Central differences with a step of 1e-5.
        const FINITE_DIFFERENCE: f64 = 1e-8;
        let vehicle = cases::h();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let link = right_knuckle();
        let at =
            |heave: f64, roll: f64| bump_steer(&link, m.centre(), &m.solve(heave, roll).unwrap()).unwrap();
        let (h, r, step) = (-0.05, 0.2, 1e-5);
        let here = at(h, r);
        let slope = |f: fn(&BumpSteer) -> f64, dh: f64, dr: f64| {
            (f(&at(h + dh, r + dr)) - f(&at(h - dh, r - dr))) / (2.0 * step)
        };
        for (analytic, difference) in [
            (here.steer_per_heave, slope(|b| b.steer_rad, step, 0.0)),
            (here.steer_per_roll, slope(|b| b.steer_rad, 0.0, step)),
            (here.heading_per_heave, slope(|b| b.heading_rad, step, 0.0)),
            (here.heading_per_roll, slope(|b| b.heading_rad, 0.0, step)),
        ] {
            assert!((analytic - difference).abs() < FINITE_DIFFERENCE, "{analytic} {difference}");
        }
    }

    #[test]
    fn a_drag_link_that_does_not_reach_says_so() {
        let vehicle = cases::h();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        // A drag link straight up from a knuckle end near the kingpin: the axle cannot drop without tearing it.
        let link = DragLink {
            chassis: Vector3::new(0.02, -0.68, 0.78),
            axle: Vector3::new(0.02, -0.68, 0.58),
            ..right_knuckle()
        };
        assert_eq!(bump_steer(&link, m.centre(), &m.solve(-0.1, 0.0).unwrap()), None);
    }
}
