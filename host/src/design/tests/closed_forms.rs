//! Closed forms of the trade, held over random layouts. Each is derived in its test.

use crate::design::{Mechanism, cases};
use crate::geometry::Vector3;
use crate::vehicle::numbers::Key;
use crate::vehicle::{Locating, Mount, Position, Side, Vehicle, Watts};
use proptest::prelude::*;

/// Exact forms, computed in double precision from points of order one metre.
const ROUNDING: f64 = 1e-9;

fn mechanism(vehicle: &Vehicle) -> Mechanism {
    Mechanism::new(vehicle, 0).unwrap()
}

fn number(m: &Mechanism, key: Key) -> f64 {
    m.numbers(m.ride()).get(key).unwrap()
}

/// Where the line through two points crosses the centre plane y = 0.
fn crossing(a: cases::P, b: cases::P) -> Vector3<f64> {
    let (a, b) = (Vector3::from(a), Vector3::from(b));
    a + (b - a) * (a.y / (a.y - b.y))
}

/// How far `p` is from the roll axis at ride height.
fn distance_from_roll_axis_m(m: &Mechanism, p: &Vector3<f64>) -> f64 {
    let twist = m.ride().pose.twist(m.ride().motion.by_roll);
    let (v, w) = (twist.velocity, twist.omega);
    let centre = Vector3::new(0.0, 0.0, m.facts().tyre_radius_m);
    let on_axis = centre + w.cross(&v) / w.norm_squared();
    (p - on_axis).cross(&w.normalize()).norm()
}

fn near(at: f64, by: f64) -> std::ops::Range<f64> {
    at - by..at + by
}

prop_compose! {
    /// A point near a given one.
    fn point(at: cases::P)(x in near(at[0], 0.08), y in near(at[1], 0.05), z in near(at[2], 0.05)) -> cases::P {
        [x, y, z]
    }
}

proptest! {
    /// In a symmetric layout the roll twist is antisymmetric: v = (0, v_y, 0) and ω in the centre plane, so it is a pure
    /// rotation about a line of that plane. A link transmits no power: its line meets that axis. A link's line meets the
    /// centre plane in one point, so the axis passes through it, for the upper and for the lower pair.
    #[test]
    fn the_roll_axis_passes_through_the_crossings_of_triangulated_pairs(
        lower in (point([0.95, 0.30, 0.50]), point([0.02, 0.58, 0.40])),
        upper in (point([0.80, 0.45, 0.68]), point([0.03, 0.12, 0.62])),
    ) {
        let links = cases::pair("lower", lower.0, lower.1).into_iter().chain(cases::pair("upper", upper.0, upper.1));
        let m = mechanism(&cases::linked(Position::Rear, links));
        for pair in [lower, upper] {
            prop_assert!(distance_from_roll_axis_m(&m, &crossing(pair.0, pair.1)) < ROUNDING);
        }
        prop_assert!(number(&m, Key::RollAxisScrewPitch).abs() < ROUNDING);
    }

    /// A pair parallel in plan meets the centre plane at infinity: the axis has its direction, and passes through the
    /// crossing of the other pair.
    #[test]
    fn a_parallel_pair_gives_the_roll_axis_its_direction(
        lower in (point([0.95, 0.45, 0.50]), point([0.0, 0.45, 0.40])),
        upper in (point([0.80, 0.45, 0.68]), point([0.03, 0.12, 0.62])),
    ) {
        let parallel = [lower.0[0], lower.1[1], lower.0[2]];
        let links = cases::pair("lower", parallel, lower.1).into_iter().chain(cases::pair("upper", upper.0, upper.1));
        let m = mechanism(&cases::linked(Position::Rear, links));
        let rise = (parallel[2] - lower.1[2]).atan2(parallel[0] - lower.1[0]);
        prop_assert!((number(&m, Key::RollAxisRise) - rise).abs() < ROUNDING);
        prop_assert!(distance_from_roll_axis_m(&m, &crossing(upper.0, upper.1)) < ROUNDING);
    }

    /// All links at one angle β in side view: translation square to them satisfies every link, so there is no pitch and the
    /// centre is at infinity. The axle end then moves back by tan β per unit of bump (chassis end ahead and higher), with the
    /// contact patch: s = −tan β, anti-squat = −100·s·L/h·share.
    #[test]
    fn equal_parallel_side_view_links_make_no_pitch(
        lower in point([0.0, 0.58, 0.40]),
        upper in point([0.03, 0.12, 0.64]),
        reach in (0.7..1.1f64, 0.7..1.1f64),
        beta in -0.2..0.3f64,
        share in 0.3..1.0f64,
    ) {
        let ahead = |from: cases::P, reach: f64, y: f64| [from[0] + reach, y, from[2] + reach * beta.tan()];
        let links = cases::pair("lower", ahead(lower, reach.0, 0.36), lower)
            .into_iter()
            .chain(cases::pair("upper", ahead(upper, reach.1, 0.45), upper));
        let mut vehicle = cases::linked(Position::Rear, links);
        vehicle.axles[0].drive_share = share;
        let m = mechanism(&vehicle);
        prop_assert!(number(&m, Key::PitchPerHeave).abs() < ROUNDING);
        prop_assert_eq!(m.numbers(m.ride()).get(Key::SideViewInstantCentreX), None);
        prop_assert!((number(&m, Key::SideViewDirection) - beta).abs() < ROUNDING);
        let anti_squat = 100.0 * share * beta.tan() * vehicle.wheelbase_m / vehicle.cg_height_m;
        prop_assert!((number(&m, Key::AntiSquat) - anti_squat).abs() < 1e3 * ROUNDING);
    }

    /// A three-link with its upper link in the centre plane is symmetric but for its panhard bar. The lower pair and the
    /// upper link hold x and pitch whatever the axle does sideways, so v_x = ω_y = 0 in roll, and of the bar's condition
    /// u·(v + ω×r) = 0, taken at the bar's crossing of the centre plane, only u_y·(v_y + ω_z·r_x − ω_x·r_z) = 0 is left: the
    /// roll axis passes through that crossing.
    #[test]
    fn a_panhard_bars_roll_centre_is_its_crossing_of_the_centre_plane(
        lower in (point([-0.95, 0.42, 0.50]), point([0.0, 0.45, 0.40])),
        upper in (point([-0.80, 0.0, 0.66]), point([0.03, 0.0, 0.62])),
        bar in (point([0.05, 0.45, 0.62]), point([0.08, -0.42, 0.52])),
    ) {
        let central = |p: cases::P| [p[0], 0.0, p[2]];
        let links = cases::pair("lower", lower.0, lower.1).into_iter().chain([
            cases::link("upper", central(upper.0), central(upper.1)),
            cases::link("panhard", bar.0, bar.1),
        ]);
        let m = mechanism(&cases::linked(Position::Front, links));
        let crossing = crossing(bar.0, bar.1);
        let below_bar = number(&m, Key::RollCentreZ) + crossing.x * number(&m, Key::RollAxisRise).tan();
        prop_assert!((below_bar - crossing.z).abs() < ROUNDING);
    }

    /// With nothing to wind up, a radius arm's bushes do not deflect in heave: the axle turns about the line through the
    /// chassis joints, which is the side-view instant centre. A level panhard bar moves nothing sideways.
    #[test]
    fn a_radius_arms_instant_centre_is_its_chassis_joint(
        dx in near(0.0, 0.1), dz in near(0.0, 0.06), height in near(0.55, 0.05),
    ) {
        /// Torsion a millionth of usual, so its wind-up shifts the centre by about a millionth.
        const NEXT_TO_NONE: f64 = 1e-6;
        let mut vehicle = cases::r(1.0);
        let l = &mut vehicle.axles[0].locating;
        for arm in &mut l.radius_arms {
            arm.chassis = arm.chassis.moved(&Vector3::new(dx, 0.0, dz));
            arm.chassis_bush.stiffness.torsional_nm_per_rad *= NEXT_TO_NONE;
            arm.axle_bush.stiffness.torsional_nm_per_rad *= NEXT_TO_NONE;
        }
        l.links[0] = cases::link("panhard", [0.12, 0.45, height], [0.12, -0.42, height]);
        let m = mechanism(&vehicle);
        prop_assert!((number(&m, Key::SideViewInstantCentreX) - (dx - 0.95)).abs() < 10.0 * NEXT_TO_NONE);
        prop_assert!((number(&m, Key::SideViewInstantCentreZ) - (dz + 0.52)).abs() < 10.0 * NEXT_TO_NONE);
        prop_assert!(number(&m, Key::LateralPerHeave).abs() < 10.0 * NEXT_TO_NONE);
    }

    /// Equal, level and parallel links of length l carry the axle along without pitch or yaw; risen by z and moved sideways by
    /// y it stands back by l − √(l² − z² − y²). The bar's axle end lies on a sphere about its chassis end.
    #[test]
    fn a_panhard_bar_sweeps_its_axle_end_on_a_circle(z in -0.1..0.1f64, fall in -0.1..0.1f64, l in 0.7..1.2f64) {
        let links = cases::pair("lower", [-l, 0.45, 0.40], [0.0, 0.45, 0.40]).into_iter().chain([
            cases::link("upper", [-l, 0.0, 0.62], [0.0, 0.0, 0.62]),
            cases::link("panhard", [0.1, 0.45, 0.55], [0.1, -0.42, 0.55 + fall]),
        ]);
        let pose = mechanism(&cases::linked(Position::Front, links)).solve(z, 0.0).unwrap().pose;
        prop_assert!(pose.pitch_rad.abs() < ROUNDING && pose.yaw_rad.abs() < ROUNDING);
        let back = l - (l * l - z * z - pose.y_m.powi(2)).sqrt();
        prop_assert!((pose.x_m + back).abs() < ROUNDING);
        let length_sq = 0.87_f64.powi(2) + fall * fall;
        let across = (length_sq - back * back - (fall + z).powi(2)).sqrt();
        prop_assert!((0.45 - (pose.y_m - 0.42) - across).abs() < ROUNDING);
    }
}

/// The axle rises straight by Z; the crank turns by θ, the pivot strays by w. With c = b(1 − cos θ) the two links of length a
/// keep (a + b·sin θ − w)² + (Z − c)² = a² and (a + b·sin θ + w)² + (Z + c)² = a². Their difference gives
/// w = −Z·c/(a + b·sin θ), their sum b·sin θ ≈ −Z²/(2a), so c ≈ Z⁴/(8a²b) and |w| ≈ Z⁵/(8a³b). The exact figures were computed
/// from the same two conditions.
#[test]
fn a_watts_linkage_strays_with_the_fifth_power() {
    const A: f64 = 0.55;
    const B: f64 = 0.10;
    // Longitudinal links so long that the axle rises straight: x moves by Z²/(2·10 km).
    const FAR: f64 = 1e4;
    let pivot = Vector3::new(0.0, 0.0, 0.5);
    let watts = Watts {
        name: "watts".into(),
        pivot_on: Side::Axle,
        pivot: Mount::fixed(pivot),
        axis: Vector3::x(),
        crank: [pivot + Vector3::z() * B, pivot - Vector3::z() * B],
        ends: [
            Mount::fixed(pivot + Vector3::new(0.0, A, B)),
            Mount::fixed(pivot + Vector3::new(0.0, -A, -B)),
        ],
        tube: None,
        stiffness_n_per_m: None,
    };
    let links = cases::pair("lower", [FAR, 0.45, 0.40], [0.0, 0.45, 0.40]).into_iter().chain([cases::link(
        "upper",
        [FAR, 0.0, 0.62],
        [0.0, 0.0, 0.62],
    )]);
    let locating = Locating { links: links.collect(), watts: vec![watts], ..Locating::default() };
    let m = mechanism(&cases::vehicle(cases::axle(Position::Rear, locating)));
    let strays_mm = |z: f64| 1e3 * m.solve(z, 0.0).unwrap().pose.y_m.abs();
    // Printed figures, each to half a unit of its last digit and a little.
    assert!((strays_mm(0.02) / 2.4074e-5 - 1.0).abs() < 3e-5, "{}", strays_mm(0.02));
    assert!((strays_mm(0.08) - 0.025_172_3).abs() < 6e-8, "{}", strays_mm(0.08));
    assert!((strays_mm(0.16) - 0.873_403).abs() < 6e-7, "{}", strays_mm(0.16));
    // The next term is of relative size (Z/a)²: 1.3e-3.
    let leading = 1e3 * 0.02_f64.powi(5) / (8.0 * A.powi(3) * B);
    assert!((strays_mm(0.02) / leading - 1.0).abs() < 3e-3, "{leading}");
}
