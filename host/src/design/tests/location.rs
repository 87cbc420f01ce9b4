//! Mobility, redundancy, what is refused and in which words, stated lengths, and travel limits.

use crate::design::error::Loose;
use crate::design::{DesignError, Mechanism, OutOfReach, cases};
use crate::explain::Explain;
use crate::vehicle::{JointKind, Position, Vehicle};

fn refused(vehicle: &Vehicle) -> DesignError {
    Mechanism::new(vehicle, 0).unwrap_err()
}

fn without(mut vehicle: Vehicle, names: &[&str]) -> Vehicle {
    vehicle.axles[0].locating.links.retain(|l| !names.contains(&l.name.as_str()));
    vehicle
}

#[test]
fn counts_of_every_case() {
    for (vehicle, mobility, redundant) in
        [(cases::t(), 2, 0), (cases::w(), 2, 0), (cases::h(), 2, 0), (cases::p(), 1, 1), (cases::q(), 2, 0)]
    {
        let m = Mechanism::new(&vehicle, 0).unwrap();
        assert_eq!((m.mobility(), m.redundant()), (mobility, redundant));
    }
    // Two arms rigid with the axle save their spin: heave about the line of the chassis joints is left; 19 rows on 16 free
    // coordinates.
    let m = Mechanism::new(&cases::r(1.0), 0).unwrap();
    assert_eq!((m.mobility(), m.redundant()), (1, 3));
}

#[test]
fn loose_motions_are_named() {
    let loose = |v: &Vehicle| match refused(v) {
        DesignError::NotLocated { loose, .. } => loose,
        other => panic!("{other}"),
    };
    assert_eq!(loose(&without(cases::h(), &["upper left"])), [Loose::Pitch]);
    assert_eq!(loose(&without(cases::h(), &["panhard"])), [Loose::Sideways]);
    // One lower link left of the two: wind-up stays held by the pair on the left, the right side swings.
    assert_eq!(loose(&without(cases::h(), &["lower right"])), [Loose::Yaw]);
    let only_panhard = without(cases::h(), &["upper left", "lower left", "lower right"]);
    let all = loose(&only_panhard);
    for motion in [Loose::ForeAft, Loose::Pitch, Loose::Yaw] {
        assert!(all.contains(&motion), "{all:?}");
    }
    assert_eq!(all.len(), 3);
    let nothing = cases::linked(Position::Rear, []);
    assert_eq!(loose(&nothing).len(), 4);
}

#[test]
fn links_that_are_nearly_parallel_are_cautioned_about() {
    let m = Mechanism::new(&cases::four_link_without_panhard(0.03), 0).unwrap();
    assert_eq!(m.mobility(), 2);
    assert!(m.notes()[0].starts_with("The axle is held sideways only weakly"), "{:?}", m.notes());
    for vehicle in [cases::t(), cases::s(), cases::w(), cases::h(), cases::p(), cases::r(1.0), cases::q()] {
        assert!(Mechanism::new(&vehicle, 0).unwrap().notes().is_empty());
    }
}

#[test]
fn an_arm_without_conical_stiffness_is_refused() {
    let error = refused(&cases::r(0.0));
    assert!(matches!(&error, DesignError::ArmSpins { arm, .. } if arm == "arm left"));
    assert!(error.to_string().contains("spin about its own length"), "{error}");
}

#[test]
fn a_rigid_redundant_layout_asks_for_stiffness() {
    let mut vehicle = cases::p();
    for link in &mut vehicle.axles[0].locating.links {
        link.stiffness_n_per_m = None;
    }
    let error = refused(&vehicle);
    assert!(
        matches!(&error, DesignError::Overconstrained { redundant: 1, members, .. } if members.len() == 5)
    );
    assert!(error.hint().unwrap().contains("stiffness"));
}

#[test]
fn joint_kinds_lend_their_stiffness_only_where_it_is_needed() {
    let with_joints = |mut vehicle: Vehicle| {
        for link in &mut vehicle.axles[0].locating.links {
            link.stiffness_n_per_m = None;
            link.joints = Some([JointKind::Rubber, JointKind::Polyurethane]);
        }
        Mechanism::new(&vehicle, 0).unwrap()
    };
    let redundant = with_joints(cases::p());
    assert!(redundant.notes()[0].contains("assumed"), "{:?}", redundant.notes());
    // Radial 8 and 20 kN/mm in series: 5.714 kN/mm against the 5 kN/mm of case P.
    let stated = Mechanism::new(&cases::p(), 0).unwrap();
    let energy = |m: &Mechanism| m.solve(0.0, 0.2).unwrap().strain_energy_j;
    let ratio = energy(&redundant) / energy(&stated);
    assert!((ratio / (8.0 * 20.0 / 28.0 / 5.0) - 1.0).abs() < 0.01, "{ratio}");
    let just_right = with_joints(cases::h());
    assert!(just_right.notes().is_empty());
    assert_eq!(just_right.solve(0.0, 0.2).unwrap().strain_energy_j, 0.0);
}

#[test]
fn a_stated_length_shifts_the_ride_pose() {
    let mut vehicle = cases::h();
    assert_eq!(Mechanism::new(&vehicle, 0).unwrap().ride_shift(), None);
    for link in &mut vehicle.axles[0].locating.links {
        if link.name == "panhard" {
            link.length_m = Some(link.drawn_length_m() - 0.005);
        }
    }
    let m = Mechanism::new(&vehicle, 0).unwrap();
    let shift = m.ride_shift().unwrap();
    // Shortened by 5 mm, the bar pulls the axle 5 mm · (length / span across) to its chassis end on the left.
    assert!((1e3 * shift.y_m - 5.0 * 0.8763 / 0.87).abs() < 0.1, "{shift:?}");
    assert_eq!((shift.z_m, shift.roll_rad), (0.0, 0.0));
}

#[test]
fn another_hole_keeps_the_ride_pose_or_the_length() {
    let in_hole = |hole: usize, refit: bool| {
        let mut vehicle = cases::h();
        let upper = vehicle.axles[0].locating.links.iter_mut().find(|l| l.name == "upper left").unwrap();
        let holes = [0.66, 0.70].map(|z| crate::geometry::Vector3::new(-0.80, 0.30, z)).to_vec();
        upper.chassis = crate::vehicle::Mount::with_holes(holes, 0).unwrap();
        upper.refit = refit;
        *upper = upper.using(hole, 0).unwrap();
        let length_m = upper.length_m;
        (Mechanism::new(&vehicle, 0).unwrap().ride_shift(), length_m, upper_length(&vehicle))
    };
    assert_eq!(in_hole(0, true).0, None);
    assert_eq!((in_hole(1, true).0, in_hole(1, true).1), (None, None));
    assert_eq!(in_hole(0, false).0, None);
    let (shift, kept_m, drawn_m) = in_hole(1, false);
    // The hole 40 mm higher is 2.9 mm further away: the upper link pulls the top of the axle back, which lifts the nose.
    assert!(drawn_m - kept_m.unwrap() > 0.002);
    assert!(shift.unwrap().pitch_rad < -0.005, "{shift:?}");
}

fn upper_length(vehicle: &Vehicle) -> f64 {
    let links = &vehicle.axles[0].locating.links;
    links.iter().find(|l| l.name == "upper left").unwrap().drawn_length_m()
}

#[test]
fn lengths_that_cannot_be_joined_are_refused() {
    let mut vehicle = cases::h();
    for link in &mut vehicle.axles[0].locating.links {
        if link.name == "panhard" {
            link.length_m = Some(0.05);
        }
    }
    assert!(matches!(refused(&vehicle), DesignError::RidePose { .. }));
}

#[test]
fn travel_ends_where_a_link_ends_it() {
    /// Continuation ends with steps of 0.1 µm.
    const LIMIT_M: f64 = 1e-5;
    // A panhard bar swings on its chassis joint; with the bar upright it cannot let the axle go further.
    let mut vehicle = cases::h();
    for link in &mut vehicle.axles[0].locating.links {
        if link.name == "panhard" {
            *link = cases::link("panhard", [0.05, 0.10, 0.60], [0.05, -0.10, 0.60]);
        }
    }
    let m = Mechanism::new(&vehicle, 0).unwrap();
    let Err(OutOfReach { member, reached_heave_m, reached_roll_rad, .. }) = m.solve(0.5, 0.0) else {
        panic!("reached");
    };
    assert_eq!((member.as_str(), reached_roll_rad), ("panhard", 0.0));
    // A bar of 0.2 m lets its axle end rise by 0.2 m at most, less what pitch and yaw do to that end.
    assert!(reached_heave_m > 0.15 && reached_heave_m < 0.25, "{reached_heave_m}");
    assert!(m.solve(reached_heave_m - LIMIT_M, 0.0).is_ok());
    assert!(m.solve(reached_heave_m + LIMIT_M, 0.0).is_err());
}
