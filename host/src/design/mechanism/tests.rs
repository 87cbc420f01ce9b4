//! Derivatives against differences over random layouts of every element, and the two ways of settling against each other.

use super::*;
use crate::design::cases;
use crate::geometry::Vector3;
use crate::geometry::pose::COORDINATES;
use crate::vehicle::{Locating, Mount, Side, Vehicle};
use proptest::prelude::*;

/// Central differences: third derivatives of order 100 give 2e-8, settling to 1e-13 gives 3e-9.
const STEP: f64 = 3e-5;
const FINITE_DIFFERENCE: f64 = 1e-7;

/// A wishbone with its apex on the chassis, a Watts crank on the chassis: the cases have the other kinds.
fn turned_round() -> Vehicle {
    let mut vehicle = cases::q();
    let Locating { links, watts, wishbones, .. } = &mut vehicle.axles[0].locating;
    let watts = &mut watts[0];
    watts.pivot_on = Side::Chassis;
    let upper = links.pop().unwrap();
    let mut wishbone = cases::w().axles[0].locating.wishbones[0].clone();
    wishbone.apex_on = Side::Chassis;
    wishbone.apex = Mount::fixed(Vector3::new(0.80, 0.0, 0.66));
    wishbone.legs = [Mount::fixed(upper.axle.point()), Mount::fixed(Vector3::new(0.03, -0.33, 0.62))];
    wishbones.push(wishbone);
    // The wishbone holds the axle sideways already; the Watts linkage gives way.
    watts.stiffness_n_per_m = Some(3e6);
    vehicle
}

/// Rigid links and elastic ones in one redundant layout.
fn mixed() -> Vehicle {
    let mut vehicle = cases::p();
    vehicle.axles[0].locating.links[0].stiffness_n_per_m = None;
    vehicle.axles[0].locating.links[4].stiffness_n_per_m = None;
    vehicle
}

fn layouts() -> Vec<Vehicle> {
    vec![cases::t(), cases::w(), cases::h(), cases::q(), cases::p(), cases::r(1.0), turned_round(), mixed()]
}

fn any_layout_and_state() -> impl Strategy<Value = (Vehicle, f64, f64)> {
    among(0..layouts().len())
}

/// One of these layouts with every point moved by up to 20 mm, and a state.
fn among(which: std::ops::Range<usize>) -> impl Strategy<Value = (Vehicle, f64, f64)> {
    let offsets = prop::collection::vec(prop::array::uniform3(-0.02..0.02f64), 24);
    (which, offsets, -0.08..0.08f64, -0.25..0.25f64).prop_map(|(which, offsets, heave, roll)| {
        let mut vehicle = layouts().swap_remove(which);
        let axle = &mut vehicle.axles[0];
        for (spot, offset) in axle.spots().into_iter().zip(offsets) {
            axle.move_spot(spot, &Vector3::from(offset));
        }
        (vehicle, heave, roll)
    })
}

/// What a state's derivatives are derivatives of.
fn values(s: &State) -> [f64; COORDINATES + 3] {
    let q = s.pose.to_array();
    std::array::from_fn(|k| match k.checked_sub(COORDINATES) {
        None => q[k],
        Some(0) => s.strain_energy_j,
        Some(1) => s.heave_force_n,
        Some(_) => s.roll_moment_nm,
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn derivatives_match_differences((vehicle, heave, roll) in any_layout_and_state()) {
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let s = m.solve(heave, roll).unwrap();
        let difference = |dh: f64, dr: f64| {
            let up = values(&m.solve(heave + dh, roll + dr).unwrap());
            let down = values(&m.solve(heave - dh, roll - dr).unwrap());
            std::array::from_fn::<f64, { COORDINATES + 3 }, _>(|k| (up[k] - down[k]) / (2.0 * STEP))
        };
        let (by_heave, by_roll) = (difference(STEP, 0.0), difference(0.0, STEP));
        let mut identical = true;
        for k in 0..COORDINATES {
            for (analytic, difference) in [(s.motion.by_heave[k], by_heave[k]), (s.motion.by_roll[k], by_roll[k])] {
                prop_assert!((analytic - difference).abs() < FINITE_DIFFERENCE, "{k}: {analytic} {difference}");
                // Heave and roll themselves are imposed: 1 and 0 either way.
                identical &= analytic == difference || k == 2 || k == 3;
            }
        }
        prop_assert!(!identical, "a difference that equals the derivative to the last bit is the derivative");
        // Energies and forces are larger: relative to the stiffness.
        let scale = 1.0 + s.roll_stiffness_nm_per_rad.abs() + s.heave_stiffness_n_per_m.abs();
        for (analytic, difference) in [
            (s.heave_force_n, by_heave[COORDINATES]),
            (s.roll_moment_nm, by_roll[COORDINATES]),
            (s.heave_stiffness_n_per_m, by_heave[COORDINATES + 1]),
            (s.roll_stiffness_nm_per_rad, by_roll[COORDINATES + 2]),
        ] {
            prop_assert!((analytic - difference).abs() < 10.0 * FINITE_DIFFERENCE * scale, "{analytic} {difference}");
        }
    }

    /// The quick way knows nothing of the least-squares solver; from the same guess both must end at the same state.
    #[test]
    fn both_ways_of_settling_agree((vehicle, heave, roll) in among(0..4)) {
        let m = Mechanism::new(&vehicle, 0).unwrap();
        prop_assert!(m.just_determined);
        let quick = m.solve(heave, roll).unwrap();
        let mut guess = vec![0.0; m.rows.bodies.coordinates()];
        quick.predicted(heave, roll, &mut guess);
        for k in m.rows.bodies.free() {
            guess[k] += 1e-3;
        }
        let general = settle::settle(&m.rows, &guess).unwrap().state;
        let close = |a: &[f64], b: &[f64], by: f64| a.iter().zip(b).all(|(a, b)| (a - b).abs() < by);
        prop_assert!(close(&quick.pose.to_array(), &general.pose.to_array(), 1e-12));
        // Either Jacobian may be a last step (1e-11) from the settled state, times second derivatives of order ten.
        prop_assert!(close(&quick.motion.by_heave, &general.motion.by_heave, 1e-9));
        prop_assert!(close(&quick.motion.by_roll, &general.motion.by_roll, 1e-9));
        prop_assert_eq!(quick.branch, general.branch);
    }

    /// A path of many small steps, a path of a few large ones and the way back end at the same state.
    #[test]
    fn a_state_does_not_depend_on_the_path((vehicle, heave, roll) in any_layout_and_state()) {
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let direct = m.solve(heave, roll).unwrap();
        let mut follower = Follower::new(&m);
        follower.go(0.0, -roll).unwrap();
        for k in 0..=40 {
            let t = f64::from(k) / 40.0;
            follower.go(heave * t, roll * (2.0 * t - 1.0)).unwrap();
        }
        let walked = follower.go(heave, roll).unwrap();
        for (a, b) in direct.pose.to_array().iter().zip(walked.pose.to_array()) {
            prop_assert!((a - b).abs() < 1e-11);
        }
        // However small the step.
        let again = follower.go(heave + 1e-15, roll).unwrap();
        prop_assert!((again.pose.x_m - direct.pose.x_m).abs() < 1e-11);
    }
}

#[test]
fn mixed_layouts_have_rigid_and_elastic_members() {
    let m = Mechanism::new(&mixed(), 0).unwrap();
    assert_eq!((m.rows.rigid(), m.redundant()), (2, 1));
    let s = m.solve(0.0, 0.2).unwrap();
    let (residuals, _) = m.rows.evaluate(&[s.pose.to_array().as_slice(), &s.inner.q].concat());
    assert!(residuals.rows_range(..2).amax() < 1e-15, "rigid members keep their lengths to rounding");
    // Stiffer than with five elastic links, by up to 5 to 3.
    let elastic = Mechanism::new(&cases::p(), 0).unwrap().solve(0.0, 0.2).unwrap();
    let ratio = s.strain_energy_j / elastic.strain_energy_j;
    assert!(ratio > 1.0 && ratio < 5.0 / 3.0, "{ratio}");
}
