//! The driveshaft over the travel: how much its slip joint gives, how far its joints bend, how unevenly they turn.
//!
//! A Hooke's joint bent by β turns its far side at `cos β/(1 − sin²β·cos²θ)` times the near side's speed (textbook
//! kinematics), between `cos β` and `1/cos β`. Two of them on one shaft with their yokes in line act like one joint bent by
//! `√|β₁² − β₂²·e^{2iγ}|`, γ the twist between the planes in which they bend.

use super::mechanism::{Mechanism, State};
use super::over_travel::{Region, Travel};
use super::prediction::{AtState, ShaftPrediction, ShaftRange, ShaftWhere, Sweeps};
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::vehicle::{Axle, Driveshaft};

/// A driveshaft at a state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShaftAt {
    /// Between its joints, m.
    pub length_m: f64,
    /// Longer than at ride height, m.
    pub plunge_m: f64,
    /// How far the joint at the transfer case bends, rad.
    pub output_rad: f64,
    /// How far the joint at the pinion bends, rad.
    pub pinion_rad: f64,
    /// Greatest less least speed of the shaft for a steady output, as a part of its mean: `1/cos β − cos β` of the first joint.
    pub output_fluctuation: f64,
    /// The same of the joint at the pinion by itself.
    pub pinion_fluctuation: f64,
    /// The one joint that both together are like, rad.
    pub equivalent_rad: f64,
}

/// `1/cos β − cos β`.
pub fn fluctuation(angle_rad: f64) -> f64 {
    1.0 / angle_rad.cos() - angle_rad.cos()
}

/// The shaft with the axle at `pose`; `ride_length_m` is what its plunge counts from.
pub fn shaft_at(shaft: &Driveshaft, centre: Vector3<f64>, pose: &Pose, ride_length_m: f64) -> ShaftAt {
    let axle = PlacedBody::new(pose, centre);
    let along = distance(&shaft.output, &axle.position(&shaft.pinion));
    // Square to the plane in which each joint bends, as long as the sine of its angle; shafts have no sense, so neither has it.
    let bends = [shaft.output_axis, axle.rotation() * shaft.pinion_axis]
        .map(|axis| (along.direction.cross(&axis), axis));
    let [output_rad, pinion_rad] =
        bends.map(|(bend, axis)| bend.norm().atan2(along.direction.dot(&axis).abs()));
    let [first, second] =
        bends.map(|(bend, _)| bend.try_normalize(f64::MIN_POSITIVE).unwrap_or(Vector3::zeros()));
    // cos 2γ; a straight joint has no plane, and its part of the sum is nothing.
    let cos_two_gamma = 2.0 * first.dot(&second).powi(2) - 1.0;
    let (b1, b2) = (output_rad.powi(2), pinion_rad.powi(2));
    let of_both = (b1 * b1 + b2 * b2 - 2.0 * b1 * b2 * cos_two_gamma).max(0.0).sqrt();
    ShaftAt {
        length_m: along.length_m,
        plunge_m: along.length_m - ride_length_m,
        output_rad,
        pinion_rad,
        output_fluctuation: fluctuation(output_rad),
        pinion_fluctuation: fluctuation(pinion_rad),
        equivalent_rad: of_both.sqrt(),
    }
}

/// The shaft of an axle at ride height, at the states asked for, along the sweeps, and its extremes over the whole travel;
/// none without a shaft.
pub fn driveshaft(
    axle: &Axle,
    mechanism: &Mechanism,
    solved: &[Option<&State>],
    sweeps: &Sweeps,
    travel: &Travel,
) -> Option<ShaftPrediction> {
    let shaft = axle.driveshaft.as_ref()?;
    let centre = mechanism.centre();
    let ride_length_m = shaft_at(shaft, centre, &mechanism.ride().pose, 0.0).length_m;
    let at = |pose: &Pose| shaft_at(shaft, centre, pose, ride_length_m);
    let swept = |states: &[AtState]| -> Vec<Option<ShaftAt>> {
        states.iter().map(|s| s.outcome.as_ref().ok().map(|reached| at(&reached.pose))).collect()
    };
    let extreme = |region: Region, of: fn(&ShaftAt) -> f64| {
        let least = travel.least(region, |state| of(&at(&state.pose)))?;
        let state = mechanism.solve(least.heave_m, least.roll_rad).ok()?;
        Some(ShaftWhere { heave_m: least.heave_m, roll_rad: least.roll_rad, at: at(&state.pose) })
    };
    let range = |region: Region| {
        Some(ShaftRange {
            longest: extreme(region, |s| -s.length_m)?,
            shortest: extreme(region, |s| s.length_m)?,
            output_joint: extreme(region, |s| -s.output_rad)?,
            pinion_joint: extreme(region, |s| -s.pinion_rad)?,
            equivalent: extreme(region, |s| -s.equivalent_rad)?,
        })
    };
    Some(ShaftPrediction {
        limit_rad: shaft.limit_rad,
        ride: at(&mechanism.ride().pose),
        states: solved.iter().map(|s| s.map(|s| at(&s.pose))).collect(),
        heave: swept(&sweeps.heave),
        roll: swept(&sweeps.roll),
        reach: range(Region::Reach)?,
        within_stops: travel.has_stops().then(|| range(Region::WithinStops)).flatten(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;
    use crate::design::predict::states;
    use crate::vehicle::{Turning, Vehicle};
    use nalgebra::Rotation3;
    use proptest::prelude::*;

    /// Printed to six digits: half of the last one, and rounding.
    const PRINTED: f64 = 6e-6;

    fn shaft() -> Driveshaft {
        let (two, seven) = (2.0_f64.to_radians(), 7.0_f64.to_radians());
        Driveshaft {
            output: Vector3::new(1.05, 0.05, 0.60),
            pinion: Vector3::new(0.30, 0.03, 0.48),
            output_axis: Vector3::new(-1.0, 0.0, -two.tan()).normalize(),
            pinion_axis: Vector3::new(seven.cos(), 0.0, seven.sin()),
            diameter_m: None,
            limit_rad: None,
            final_drive: None,
            turning: Turning::Clockwise,
        }
    }

    fn case_d() -> Vehicle {
        let mut vehicle = cases::t();
        vehicle.axles[0].driveshaft = Some(shaft());
        vehicle
    }

    fn near(actual: f64, printed: f64) {
        assert!((actual - printed).abs() <= PRINTED * printed.abs(), "{actual} instead of {printed}");
    }

    /// Values computed by a program that shares no code with this one.
    #[test]
    fn worked_values_of_the_double_triangulated_four_link() {
        let vehicle = case_d();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let ride = shaft_at(&shaft(), m.centre(), &m.ride().pose, 0.759803);
        near(ride.length_m, 0.759803);
        near(ride.output_rad.to_degrees(), 7.24814);
        near(ride.pinion_rad.to_degrees(), 2.57747);
        near(ride.output_fluctuation, 0.0160463);
        near(ride.pinion_fluctuation, 0.00202437);
        near(ride.equivalent_rad.to_degrees(), 6.95090);
        let down = shaft_at(&shaft(), m.centre(), &m.solve(-0.08, 0.0).unwrap().pose, ride.length_m);
        near(1e3 * down.plunge_m, 5.06528);
        near(down.output_rad.to_degrees(), 12.8509);
        near(down.pinion_rad.to_degrees(), 6.94510);
        near(down.equivalent_rad.to_degrees(), 10.8766);
    }

    /// `cos β/(1 − sin²β·cos²θ)` over a turn at β = 20°: 0.939693, 1.064178, fluctuation 0.124485 (formula seen in public
    /// material, numbers computed).
    #[test]
    fn fluctuation_is_what_a_hookes_joint_does_over_a_turn() {
        let beta = 20.0_f64.to_radians();
        let ratio = |k: i32| {
            let theta = f64::from(k).to_radians();
            beta.cos() / (1.0 - (beta.sin() * theta.cos()).powi(2))
        };
        let (least, most) =
            (0..360).map(ratio).fold((f64::INFINITY, 0.0_f64), |(l, m), r| (l.min(r), m.max(r)));
        near(least, 0.939693);
        near(most, 1.064178);
        near(fluctuation(beta), 0.124485);
        assert!((most - least - fluctuation(beta)).abs() < 1e-12);
    }

    /// The speed of a shaft behind one Hooke's joint, from the joint's own constraint: the cross's arms stay square,
    /// `tan out = cos β·tan in`.
    fn behind_joint(angle: f64, bent: f64) -> f64 {
        (bent.cos() * angle.sin()).atan2(angle.cos())
    }

    #[test]
    fn the_equivalent_joint_is_what_two_joints_do_together() {
        // Small angles, so that terms of the fourth order do not count: half the fluctuation of the pinion's turning angle
        // against the output's is β²/4.
        let (b1, b2) = (0.06_f64, 0.04_f64);
        for gamma in [0.0, 0.3, 0.9, std::f64::consts::FRAC_PI_2] {
            let both = |k: i32| {
                let input = f64::from(k).to_radians();
                // Yokes in line: the shaft's second yoke meets its plane a quarter turn on, and twisted by γ.
                let shaft = behind_joint(input, b1) + std::f64::consts::FRAC_PI_2 - gamma;
                let out = behind_joint(shaft, b2);
                let lag = out - input - std::f64::consts::FRAC_PI_2 + gamma;
                lag - std::f64::consts::TAU * (lag / std::f64::consts::TAU).round()
            };
            let (least, most) =
                (0..360).map(both).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), v| (l.min(v), m.max(v)));
            let axis = |about: f64, bent: f64| {
                Rotation3::from_axis_angle(&Vector3::x_axis(), about)
                    * Rotation3::from_axis_angle(&Vector3::y_axis(), bent)
                    * Vector3::x()
            };
            let drawn = Driveshaft {
                output: Vector3::zeros(),
                pinion: Vector3::x(),
                output_axis: axis(0.0, b1),
                pinion_axis: axis(gamma, b2),
                ..shaft()
            };
            let at = shaft_at(&drawn, Vector3::zeros(), &Pose::default(), 1.0);
            assert!((at.output_rad - b1).abs() < 1e-12 && (at.pinion_rad - b2).abs() < 1e-12);
            let swing = at.equivalent_rad.powi(2) / 2.0;
            assert!(
                (most - least - swing).abs() < 0.02 * swing.max(1e-4),
                "{gamma}: {} {swing}",
                most - least
            );
        }
    }

    #[test]
    fn extremes_are_no_less_than_any_state() {
        let vehicle = case_d();
        let axle = &vehicle.axles[0];
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let sweeps = Sweeps {
            heave: states(&m, [(-0.13, 0.0), (0.09, 0.0), (5.0, 0.0)]),
            roll: states(&m, [(0.0, 0.3)]),
        };
        let told = driveshaft(axle, &m, &[], &sweeps, &Travel::new(axle, &m)).unwrap();
        assert_eq!(told.within_stops, None);
        assert!(told.heave[2].is_none(), "out of reach");
        let range = &told.reach;
        for i in 0..=30 {
            for j in 0..=30 {
                let (h, r) = (-0.13 + 0.22 * f64::from(i) / 30.0, -0.3 + 0.6 * f64::from(j) / 30.0);
                let at = shaft_at(
                    axle.driveshaft.as_ref().unwrap(),
                    m.centre(),
                    &m.solve(h, r).unwrap().pose,
                    told.ride.length_m,
                );
                /// The search ends within a few micrometres of travel.
                const SEARCHED: f64 = 1e-7;
                assert!(at.length_m <= range.longest.at.length_m + SEARCHED);
                assert!(at.length_m >= range.shortest.at.length_m - SEARCHED);
                assert!(at.output_rad <= range.output_joint.at.output_rad + SEARCHED);
                assert!(at.pinion_rad <= range.pinion_joint.at.pinion_rad + SEARCHED);
                assert!(at.equivalent_rad <= range.equivalent.at.equivalent_rad + SEARCHED);
            }
        }
        assert_eq!(range.plunge_m(), range.longest.at.length_m - range.shortest.at.length_m);
    }

    proptest! {
        #[test]
        fn a_shaft_has_no_sense_and_equal_bends_cancel(x in -0.3..0.3f64, y in -0.3..0.3f64) {
            let axis = Vector3::new(1.0, x, y).normalize();
            let drawn = Driveshaft { output: Vector3::zeros(), pinion: Vector3::x(), output_axis: axis, pinion_axis: axis, ..shaft() };
            let at = |d: &Driveshaft| shaft_at(d, Vector3::zeros(), &Pose::default(), 1.0);
            let turned = Driveshaft { output_axis: -axis, ..drawn.clone() };
            prop_assert_eq!(at(&drawn).output_rad, at(&turned).output_rad);
            // Parallel shafts: both joints bend alike in one plane, and nothing is left. Rounding of β⁴ under two roots.
            prop_assert!(at(&drawn).equivalent_rad < 1e-4);
            prop_assert!((at(&drawn).output_rad - x.hypot(y).atan()).abs() < 1e-12);
        }
    }
}
