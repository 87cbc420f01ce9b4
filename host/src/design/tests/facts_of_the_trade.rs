//! Facts of the trade (common practice, no source): what every builder of straight-axle vehicles knows must come out.

use crate::design::error::Loose;
use crate::design::{DesignError, Mechanism, cases};
use crate::explain::Explain;
use crate::vehicle::{Link, Position, Vehicle};

const ARTICULATION_RAD: f64 = 0.2;

fn mechanism(vehicle: &Vehicle) -> Mechanism {
    Mechanism::new(vehicle, 0).unwrap()
}

fn loose(vehicle: &Vehicle) -> Vec<Loose> {
    match Mechanism::new(vehicle, 0) {
        Err(DesignError::NotLocated { loose, .. }) => loose,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_parallel_four_link_needs_a_panhard_bar() {
    let vehicle = cases::four_link_without_panhard(0.0);
    assert_eq!(loose(&vehicle), [Loose::Sideways]);
    let error = Mechanism::new(&vehicle, 0).unwrap_err();
    assert_eq!(error.to_string(), "axle \"front\": nothing locates the axle sideways");
    assert!(error.hint().unwrap().contains("panhard bar"));
}

#[test]
fn a_parallel_three_link_needs_a_panhard_bar_or_a_watts_linkage() {
    let mut three = cases::h();
    three.axles[0].locating.links.retain(|l| l.name != "panhard");
    assert_eq!(loose(&three), [Loose::Sideways]);
    assert_eq!(mechanism(&cases::h()).mobility(), 2);
    assert_eq!(mechanism(&cases::q()).mobility(), 2);
}

#[test]
fn triangulated_links_and_wishbones_need_none() {
    for vehicle in [cases::t(), cases::s(), cases::w()] {
        let m = mechanism(&vehicle);
        assert_eq!((m.mobility(), m.redundant()), (2, 0));
    }
}

fn flex_steer_rad(vehicle: &Vehicle) -> f64 {
    mechanism(vehicle).solve(0.0, ARTICULATION_RAD).unwrap().pose.axle_steer_rad().abs()
}

#[test]
fn double_triangulation_has_next_to_no_flex_steer() {
    let (double, single) = (flex_steer_rad(&cases::t()), flex_steer_rad(&cases::s()));
    assert!(double.to_degrees() < 0.5, "{double}");
    assert!(single > 3.0 * double, "{single} {double}");
}

#[test]
fn with_longer_links_single_triangulation_barely_shows_it() {
    let longer = |factor: f64| {
        let stretch = |mut link: Link| {
            let (from, to) = (link.axle.point(), link.chassis.point());
            link.chassis = link.chassis.moved(&((to - from) * (factor - 1.0)));
            link
        };
        // Longer links of the same rise: they lie flatter.
        let flatten = |mut link: Link| {
            let rise = link.chassis.point().z - link.axle.point().z;
            let mut offset = crate::geometry::Vector3::zeros();
            offset.z = rise / factor - rise;
            link.chassis = link.chassis.moved(&offset);
            link
        };
        let links = cases::s().axles[0].locating.links.clone();
        cases::linked(Position::Rear, links.into_iter().map(|l| flatten(stretch(flatten(l)))))
    };
    let (short, long) = (flex_steer_rad(&longer(1.0)), flex_steer_rad(&longer(1.5)));
    assert!(long < 0.6 * short, "{long} {short}");
}

#[test]
fn a_three_link_flexes_like_a_four_link_of_the_same_geometry() {
    let (three, four) = (mechanism(&cases::h()), mechanism(&cases::p()));
    let (a, b) = (three.solve(0.0, ARTICULATION_RAD).unwrap(), four.solve(0.0, ARTICULATION_RAD).unwrap());
    // Within a degree at 11.5° of articulation, and the fourth link only adds a bind of a fraction of a degree's roll moment.
    assert!((a.pose.axle_steer_rad() - b.pose.axle_steer_rad()).abs().to_degrees() < 0.2);
    assert_eq!(a.roll_moment_nm, 0.0);
    assert!(b.roll_moment_nm > 0.0 && b.roll_moment_nm < 500.0);
    assert_eq!((four.mobility(), four.redundant()), (1, 1));
}

#[test]
fn radius_arms_bind_far_more_than_a_four_link() {
    let four = mechanism(&cases::p()).solve(0.0, ARTICULATION_RAD).unwrap();
    let arms = mechanism(&cases::r(1.0)).solve(0.0, ARTICULATION_RAD).unwrap();
    assert!(arms.roll_moment_nm > 20.0 * four.roll_moment_nm);
}

#[test]
fn separating_links_changes_castor_travel_but_a_radius_arm_carries_its_axle_rigidly() {
    // A radius arm's pitch follows its chassis joint: 1/ω_y is its length to 1 %, wherever its bushes sit on the axle.
    let mut vehicle = cases::r(1.0);
    let ride_swing_arm_m = |v: &Vehicle| 1.0 / mechanism(v).ride().motion.by_heave[4];
    let drawn = ride_swing_arm_m(&vehicle);
    for arm in &mut vehicle.axles[0].locating.radius_arms {
        for bush in &mut arm.axle {
            *bush = bush.moved(&crate::geometry::Vector3::new(0.0, 0.0, 0.06));
        }
    }
    assert!((drawn / 0.95 + 1.0).abs() < 0.01, "{drawn}");
    assert!((ride_swing_arm_m(&vehicle) / drawn - 1.0).abs() < 0.01);
    // Separating the links of a four-link by as much changes it by tens of per cent.
    let mut links = cases::p();
    let drawn = ride_swing_arm_m(&links);
    for link in links.axles[0].locating.links.iter_mut().filter(|l| l.name.starts_with("upper")) {
        link.axle = link.axle.moved(&crate::geometry::Vector3::new(0.0, 0.0, 0.06));
    }
    assert!((ride_swing_arm_m(&links) / drawn - 1.0).abs() > 0.1);
}

#[test]
fn a_watts_linkage_keeps_the_axle_centred() {
    let sideways = |v: &Vehicle| mechanism(v).solve(0.08, 0.0).unwrap().pose.y_m.abs();
    assert!(sideways(&cases::q()) < 1e-4);
    assert!(sideways(&cases::h()) > 50.0 * sideways(&cases::q()));
}

#[test]
fn a_hole_of_the_chassis_bracket_turns_the_housing_of_a_radius_arm() {
    // A chassis joint one hole (25 mm) lower stands to its axle as if the axle had risen by as much: atan(25/950) = 1.51°.
    // The panhard bar and the bushes take a few hundredths of a degree of it.
    let turned = mechanism(&cases::r(1.0)).solve(0.025, 0.0).unwrap().pose.pitch_rad.abs().to_degrees();
    assert!((turned - 1.51).abs() < 0.05, "{turned}");
}

#[test]
fn axle_bushes_of_a_radius_arm_may_sit_front_and_rear_or_top_and_bottom() {
    let bind = |bushes: [[f64; 2]; 2]| {
        let mut vehicle = cases::r(1.0);
        for arm in &mut vehicle.axles[0].locating.radius_arms {
            for (bush, [x, z]) in arm.axle.iter_mut().zip(bushes) {
                let at = bush.point();
                *bush = bush.moved(&crate::geometry::Vector3::new(x - at.x, 0.0, z - at.z));
            }
        }
        mechanism(&vehicle).solve(0.0, ARTICULATION_RAD).unwrap().roll_moment_nm
    };
    let (lying, upright) = (bind([[0.09, 0.47], [-0.11, 0.47]]), bind([[-0.01, 0.57], [-0.01, 0.37]]));
    assert!(lying > 0.0 && upright > 0.0 && (upright / lying - 1.0).abs() < 0.5, "{lying} {upright}");
}

#[test]
fn a_wishbone_is_no_worse_than_a_triangulated_four_link_of_its_size() {
    // Not of the trade but against a rumour of it: straight lower links alone set the rise of the roll axis, so that both
    // have one roll steer, and when flexed the wishbone steers a few thousandths of a degree less.
    let roll_steer = |v: &Vehicle| {
        let m = mechanism(v);
        m.numbers(m.ride()).get(crate::vehicle::numbers::Key::RollSteer).unwrap()
    };
    let (four, wishbone) = (cases::s(), cases::w());
    assert!((roll_steer(&four) - roll_steer(&wishbone)).abs() < 1e-9);
    let less = flex_steer_rad(&four) - flex_steer_rad(&wishbone);
    assert!(less > 0.0 && less < 0.02_f64.to_radians(), "{less}");
}
