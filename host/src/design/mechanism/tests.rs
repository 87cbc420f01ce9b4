//! Derivatives against differences over random layouts of every element, and the two ways of settling against each other.

use super::*;
use crate::design::cases;
use crate::geometry::DVector;
use crate::geometry::Vector3;
use crate::geometry::pose::COORDINATES;
use crate::vehicle::{Locating, Mount, Side, Vehicle};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use std::collections::BTreeSet;

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

/// Radius arms, held sideways by a rigid Watts linkage.
fn arms_and_watts() -> Vehicle {
    let mut vehicle = cases::r(1.0);
    let Locating { links, watts, .. } = &mut vehicle.axles[0].locating;
    links.clear();
    *watts = cases::q().axles.swap_remove(0).locating.watts;
    vehicle
}

fn layouts() -> Vec<Vehicle> {
    vec![
        cases::t(),
        cases::w(),
        cases::h(),
        cases::q(),
        cases::p(),
        cases::r(1.0),
        turned_round(),
        mixed(),
        arms_and_watts(),
    ]
}

/// Layouts whose members just determine the coordinates, and those that strain.
const JUST_DETERMINED: std::ops::Range<usize> = 0..4;
const STRAINED: std::ops::Range<usize> = 4..9;

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

/// Tries a property on random variants of every layout in turn, so that none goes untried.
fn for_every_layout(
    which: std::ops::Range<usize>,
    property: impl Fn(Vehicle, f64, f64) -> Result<(), TestCaseError>,
) {
    /// Variants of each layout.
    const VARIANTS: u32 = 12;
    for layout in which {
        let mut runner = TestRunner::new(ProptestConfig::with_cases(VARIANTS));
        let outcome =
            runner.run(&among(layout..layout + 1), |(vehicle, heave, roll)| property(vehicle, heave, roll));
        outcome.unwrap_or_else(|e| panic!("layout {layout}: {e}"));
    }
}

/// Every kind of element, where it sits, rigid or elastic.
#[test]
fn the_layouts_hold_every_element() {
    let mut kinds = BTreeSet::new();
    for vehicle in layouts() {
        let Locating { links, wishbones, radius_arms, watts, .. } = &vehicle.axles[0].locating;
        let elastic = |stiffness: Option<f64>| if stiffness.is_some() { "elastic" } else { "rigid" };
        let on = |side: Side| if side == Side::Axle { "axle" } else { "chassis" };
        kinds.extend(links.iter().map(|l| format!("{} link", elastic(l.stiffness_n_per_m))));
        kinds.extend(
            wishbones
                .iter()
                .map(|w| format!("{} wishbone, apex on {}", elastic(w.stiffness_n_per_m), on(w.apex_on))),
        );
        kinds.extend(radius_arms.iter().map(|_| "radius arm".to_owned()));
        kinds.extend(
            watts.iter().map(|w| {
                format!("{} Watts linkage, pivot on {}", elastic(w.stiffness_n_per_m), on(w.pivot_on))
            }),
        );
    }
    let all = [
        "elastic Watts linkage, pivot on chassis",
        "elastic link",
        "radius arm",
        "rigid Watts linkage, pivot on axle",
        "rigid link",
        "rigid wishbone, apex on axle",
        "rigid wishbone, apex on chassis",
    ];
    assert_eq!(kinds, all.map(str::to_owned).into());
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

/// Residuals of every row of every element, away from equilibrium: first derivatives against differences of the residuals,
/// second derivatives against differences of the first.
#[test]
fn rows_match_differences() {
    /// Central differences with a step of 1e-6 relative to the stiffest row: rounding 1e-10, truncation below.
    const CLOSE: f64 = 1e-8;
    const STEP: f64 = 1e-6;
    for_every_layout(0..layouts().len(), |vehicle, heave, roll| {
        let rows = Mechanism::new(&vehicle, 0).unwrap().rows;
        let q: Vec<f64> = (0..rows.bodies.coordinates())
            .map(|k| match k {
                2 => heave,
                3 => roll,
                // Anywhere: rows have derivatives whether or not the mechanism can be there.
                k => 0.05 * (7.0 * k as f64 + 40.0 * heave + roll).sin(),
            })
            .collect();
        let weights = DVector::from_fn(rows.count(), |row, _| (3.0 * row as f64 + roll).cos());
        let moved = |k: usize, step: f64| {
            let mut q = q.clone();
            q[k] += step;
            rows.evaluate(&q)
        };
        let (_, jacobian) = rows.evaluate(&q);
        let curvature = rows.curvature(&q, &weights);
        let scale = 1.0 + jacobian.amax();
        let mut identical = true;
        for k in 0..q.len() {
            let ((r_up, j_up), (r_down, j_down)) = (moved(k, STEP), moved(k, -STEP));
            let by_difference = (r_up - r_down) / (2.0 * STEP);
            let off = (&by_difference - jacobian.column(k)).amax();
            prop_assert!(off < CLOSE * scale, "first derivatives by coordinate {k} are off by {off}");
            let bent = (j_up - j_down).tr_mul(&weights) / (2.0 * STEP);
            let off = (&bent - curvature.column(k)).amax();
            prop_assert!(off < CLOSE * scale, "second derivatives by coordinate {k} are off by {off}");
            identical &= by_difference == jacobian.column(k) || bent == curvature.column(k);
        }
        prop_assert!(!identical, "a difference that equals the derivative to the last bit is the derivative");
        Ok(())
    });
}

#[test]
fn derivatives_match_differences() {
    for_every_layout(0..layouts().len(), |vehicle, heave, roll| {
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
            for (analytic, difference) in
                [(s.motion.by_heave[k], by_heave[k]), (s.motion.by_roll[k], by_roll[k])]
            {
                prop_assert!(
                    (analytic - difference).abs() < FINITE_DIFFERENCE,
                    "{k}: {analytic} {difference}"
                );
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
            prop_assert!(
                (analytic - difference).abs() < 10.0 * FINITE_DIFFERENCE * scale,
                "{analytic} {difference}"
            );
        }
        Ok(())
    });
}

/// Where it is, with every coordinate that is free moved off, m or rad.
fn astray(m: &Mechanism, state: &State, by: f64) -> Vec<f64> {
    let mut guess = vec![0.0; m.rows.bodies.coordinates()];
    state.predicted(state.pose.z_m, state.pose.roll_rad, &mut guess);
    m.rows.bodies.free().into_iter().for_each(|k| guess[k] += by);
    guess
}

fn close(a: &[f64], b: &[f64], by: f64) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < by)
}

/// Poses agree to rounding. Either Jacobian may be a last step (1e-11) from the settled state, times second derivatives of
/// order ten.
fn same_place(quick: &State, general: &State) -> bool {
    close(&quick.pose.to_array(), &general.pose.to_array(), 1e-12)
        && close(&quick.inner.q, &general.inner.q, 1e-11)
        && close(&quick.motion.by_heave, &general.motion.by_heave, 1e-9)
        && close(&quick.motion.by_roll, &general.motion.by_roll, 1e-9)
        && close(&quick.inner.by_heave, &general.inner.by_heave, 1e-8)
        && close(&quick.inner.by_roll, &general.inner.by_roll, 1e-8)
        && quick.branch == general.branch
        && quick.inner.cranks == general.inner.cranks
}

/// Of energies (J), forces (N), moments (N·m) and stiffness.
const STRAIN_CLOSE: f64 = 1e-3;

/// The quick ways know nothing of the least-squares solver; from the same guess both must end at the same state.
#[test]
fn both_ways_of_settling_agree() {
    for_every_layout(JUST_DETERMINED, |vehicle, heave, roll| {
        let m = Mechanism::new(&vehicle, 0).unwrap();
        prop_assert!(m.just_determined);
        let quick = m.solve(heave, roll).unwrap();
        let general = settle::settle(&m.rows, &astray(&m, &quick, 1e-3)).unwrap().state;
        prop_assert!(same_place(&quick, &general), "{quick:?} {general:?}");
        Ok(())
    });
    for_every_layout(STRAINED, |vehicle, heave, roll| {
        let m = Mechanism::new(&vehicle, 0).unwrap();
        prop_assert!(!m.just_determined);
        // As far as predictions are off: bushes of 1e7 N/m a millimetre off would push arms over.
        let guess = astray(&m, &m.solve(heave, roll).unwrap(), 2e-5);
        let quick = strained::settle(&m.rows, &guess).unwrap().state;
        let general = settle::settle(&m.rows, &guess).unwrap().state;
        prop_assert!(same_place(&quick, &general), "{quick:?} {general:?}");
        // The quick way's second derivatives may be a last step (1e-12) from the settled state, times third derivatives of
        // energy: 1e8 N/m² with bushes of 1e7 N/m on arms of a metre, 1e9 with bars of 1e9 N/m less what follows them.
        let values = |s: &State| {
            [
                s.strain_energy_j,
                s.heave_force_n,
                s.roll_moment_nm,
                s.heave_stiffness_n_per_m,
                s.roll_stiffness_nm_per_rad,
            ]
        };
        let (quick_values, general_values) = (values(&quick), values(&general));
        prop_assert!(
            close(&quick_values, &general_values, STRAIN_CLOSE),
            "{quick_values:?} {general_values:?}"
        );
        prop_assert!(close(&quick.inner.multipliers, &general.inner.multipliers, STRAIN_CLOSE));
        Ok(())
    });
}

/// A path of many small steps, a path of a few large ones and the way back end at the same state.
#[test]
fn a_state_does_not_depend_on_the_path() {
    for_every_layout(0..layouts().len(), |vehicle, heave, roll| {
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
        // However small the step, which the derivatives must bear too.
        let rates = direct.motion.by_roll;
        let stiffness = [direct.heave_stiffness_n_per_m, direct.roll_stiffness_nm_per_rad];
        let again = follower.go(heave + 1e-15, roll).unwrap();
        prop_assert!(close(&again.motion.by_roll, &rates, 1e-8));
        let again_stiffness = [again.heave_stiffness_n_per_m, again.roll_stiffness_nm_per_rad];
        prop_assert!(close(&again_stiffness, &stiffness, STRAIN_CLOSE), "{again_stiffness:?} {stiffness:?}");
        prop_assert!((again.pose.x_m - direct.pose.x_m).abs() < 1e-11);
        Ok(())
    });
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

/// A three-link with a Watts linkage of a small crank, or with a short panhard bar: close to their limits the axle turns
/// quickly from one branch towards another.
fn near_its_limits(crank_m: f64, bar_m: f64) -> [Vehicle; 2] {
    let mut watts = cases::q();
    let linkage = &mut watts.axles[0].locating.watts[0];
    for (end, side) in [(0, 1.0), (1, -1.0)] {
        linkage.crank[end] = Vector3::new(-0.10, 0.0, 0.50 + side * crank_m);
        linkage.ends[end] = Mount::fixed(Vector3::new(-0.10, 0.55 * side, 0.50 + side * crank_m));
    }
    let mut bar = cases::h();
    let links = &mut bar.axles[0].locating.links;
    links.pop();
    links.push(cases::link("panhard", [0.05, 0.10, 0.60], [0.05, 0.10 - bar_m, 0.60]));
    [watts, bar]
}

#[test]
fn a_large_state_lies_on_the_branch_that_small_steps_lead_to() {
    let (mut reached, mut blocked) = (0, 0);
    for crank_m in [0.02, 0.03, 0.05] {
        for vehicle in near_its_limits(crank_m, 5.0 * crank_m) {
            let m = Mechanism::new(&vehicle, 0).unwrap();
            for (heave, roll) in [(0.12, 0.0), (-0.1, 0.3), (0.3, 0.2), (0.2, -0.4), (-0.25, 0.0), (0.0, 0.7)]
            {
                let mut follower = Follower::new(&m);
                let walked = (1..=2000)
                    .map(|k| f64::from(k) / 2000.0)
                    .find(|t| follower.go(heave * t, roll * t).is_err());
                match (walked, m.solve(heave, roll)) {
                    (None, Ok(direct)) => {
                        reached += 1;
                        let (a, b) = (direct.pose.to_array(), follower.state().pose.to_array());
                        assert!(
                            a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9),
                            "{heave} {roll}: {a:?} {b:?}"
                        );
                        assert_eq!(direct.branch, m.ride.branch);
                    }
                    (Some(stopped), Err(limit)) => {
                        blocked += 1;
                        // Small steps ended within one step of where the continuation says that travel ends.
                        let t = (limit.reached_heave_m.abs() + limit.reached_roll_rad.abs())
                            / (heave.abs() + roll.abs());
                        assert!((t - stopped).abs() < 1.5 / 2000.0, "{t} {stopped}");
                    }
                    (walked, direct) => panic!("{heave} {roll}: {walked:?} {direct:?}"),
                }
            }
        }
    }
    assert!(reached >= 6 && blocked >= 6, "{reached} {blocked}");
}

/// Beyond its limit a three-link could be put together again another way round. Newton's method finds that pose from ride
/// height, but no axle goes there: the panhard bar stops it on the way.
#[test]
fn a_pose_of_another_branch_is_not_reached() {
    let m = Mechanism::new(&cases::h(), 0).unwrap();
    let (heave, roll) = (-0.40, 0.75);
    let mut guess = vec![0.0; m.rows.bodies.coordinates()];
    m.ride.predicted(heave, roll, &mut guess);
    let beyond = walk::settle_from(&m.rows, m.just_determined, &guess).unwrap().state;
    assert_eq!(beyond.branch, -m.ride.branch);
    let limit = m.solve(heave, roll).unwrap_err();
    assert_eq!(limit.member, "panhard");
    assert!(limit.reached_heave_m > -0.32 && limit.reached_roll_rad < 0.6, "{limit:?}");
}
