//! Clearances against closed forms, and against brute force over states and over points of the parts.

use super::*;
use crate::design::cases;
use crate::design::mechanism::Follower;
use crate::files::starters::Layout;
use crate::vehicle::{Driveshaft, JointKind, Stop, Tube, Turning, Vehicle};
use std::f64::consts::TAU;

/// A closed form but for rounding and the ring's tolerance, m.
const EXACT_M: f64 = 2e-6;

fn keep_out(name: &str, on: Side, min: [f64; 3], max: [f64; 3]) -> KeepOut {
    KeepOut { name: name.into(), on, min: min.into(), max: max.into() }
}

fn all(vehicle: &Vehicle) -> Vec<Clearance> {
    let mechanism = Mechanism::new(vehicle, 0).unwrap();
    clearances(&vehicle.axles[0], &mechanism, &Travel::new(&vehicle.axles[0], &mechanism))
}

fn of<'a>(all: &'a [Clearance], part: &str, to: &str) -> &'a Clearance {
    let to_box = |c: &&Clearance| c.part == part && c.obstacle == Obstacle::KeepOut(to.into());
    all.iter().find(to_box).unwrap_or_else(|| panic!("{part}: {all:#?}"))
}

/// Equal level links and a panhard bar so long that it does not pull: the axle goes straight up and down, and swings back by
/// `1 − √(1 − z²)`.
fn level_links() -> Vehicle {
    let lower = cases::pair("lower", [1.0, 0.45, 0.40], [0.0, 0.45, 0.40]);
    let far = cases::link("panhard", [0.1, 500.0, 0.5], [0.1, -0.42, 0.5]);
    let upper = cases::link("upper", [1.0, 0.0, 0.62], [0.0, 0.0, 0.62]);
    let mut vehicle = cases::linked(Position::Rear, lower.into_iter().chain([upper, far]));
    vehicle.axles[0].sweep.roll_rad = 1e-6;
    vehicle
}

#[test]
fn boxes_above_and_beside_a_level_axle() {
    let mut vehicle = level_links();
    let axle = &mut vehicle.axles[0];
    axle.keep_outs = vec![
        keep_out("above", Side::Chassis, [-0.5, -0.2, 0.70], [0.5, 0.2, 0.80]),
        keep_out("beside", Side::Chassis, [-0.3, 0.3, 0.3], [0.3, 0.5, 0.9]),
        keep_out("on the axle", Side::Axle, [0.4, 0.4, 0.52], [0.6, 0.5, 0.62]),
    ];
    let all = all(&vehicle);
    // Tube of 80 mm at 0.46, up by 0.09, below 0.70.
    let tube = of(&all, "axle tube", "above");
    assert!((tube.least.gap_m - (0.70 - 0.46 - 0.09 - 0.04)).abs() < EXACT_M, "{tube:?}");
    assert_eq!((tube.least.heave_m, tube.within_stops), (0.09, None));
    // The tyre's inner side stands at 0.8 − 0.1275, the box's outer at 0.5, wherever the axle is.
    let tyre = of(&all, "left tyre", "beside");
    assert!((tyre.least.gap_m - (0.8 - 0.1275 - 0.255 / 2.0 + 0.1275 - 0.5)).abs() < 1e-3, "{tyre:?}");
    // The tube goes right through it: as deep as half the box's height, or as half its length, and its own half.
    let through = of(&all, "axle tube", "beside");
    assert!(through.least.gap_m < -0.04, "{through:?}");
    // A link swings about its far end, level at ride: a box on the axle above its middle comes down on it as the axle drops.
    assert!(all.iter().all(|c| c.obstacle != Obstacle::KeepOut("on the axle".into())
        || !["axle tube", "pinion", "left tyre", "right tyre"].contains(&c.part.as_str())));
    let link = of(&all, "lower left", "on the axle");
    assert_eq!(link.diameter_m, 0.0);
    // From the axle the link's far end rises by z as the axle drops by it: at x it stands z·x/√(1 − z²) higher.
    let z = 0.13_f64;
    let slope = z / (1.0 - z * z).sqrt();
    let gap = (0.52 - 0.40 - slope * 0.6) / slope.hypot(1.0);
    assert!(
        (link.least.gap_m - gap).abs() < 1e-5 && (link.least.heave_m + 0.13).abs() < 1e-9,
        "{link:?} {gap}"
    );
}

#[test]
fn stops_keep_parts_away() {
    let mut vehicle = level_links();
    let axle = &mut vehicle.axles[0];
    axle.keep_outs = vec![keep_out("above", Side::Chassis, [-0.5, -0.2, 0.58], [0.5, 0.2, 0.80])];
    let ends = [Vector3::new(0.0, 0.5, 0.69), Vector3::new(0.0, 0.5, 0.56)];
    axle.bump_stops = vec![Stop { name: "stop".into(), chassis: ends[0], axle: ends[1], length_m: 0.08 }];
    let all = all(&vehicle);
    let tube = of(&all, "axle tube", "above");
    assert!((tube.least.gap_m - -0.01).abs() < EXACT_M, "10 mm into the box: {tube:?}");
    // The stop meets where (0.13 − z)² + (1 − √(1 − z²))² = 0.08²; within a few millimetres of z = 0.05.
    let within = tube.within_stops.unwrap();
    let met_m = (0.13 - within.heave_m).hypot(1.0 - (1.0 - within.heave_m.powi(2)).sqrt());
    assert!((met_m - 0.08).abs() < 1e-5, "{within:?} {met_m}");
    assert!((within.gap_m - (0.58 - 0.46 - 0.04 - within.heave_m)).abs() < EXACT_M);
    assert_eq!(tube.nearest(), &within);
}

/// Case T with tubes, a shaft, and boxes close to everything.
fn crowded() -> Vehicle {
    let mut vehicle = cases::t();
    let axle = &mut vehicle.axles[0];
    for link in &mut axle.locating.links {
        link.tube = Some(Tube { diameter_m: 0.05, wall_m: 0.005, yield_pa: None, modulus_pa: 205e9 });
        link.joints = Some([JointKind::RodEnd; 2]);
    }
    axle.driveshaft = Some(Driveshaft {
        output: Vector3::new(1.05, 0.05, 0.60),
        pinion: Vector3::new(0.30, 0.03, 0.48),
        output_axis: -Vector3::x(),
        pinion_axis: Vector3::x(),
        diameter_m: Some(0.06),
        limit_rad: None,
        final_drive: None,
        turning: Turning::Clockwise,
    });
    axle.keep_outs = vec![
        keep_out("tank", Side::Chassis, [-0.8, -0.3, 0.62], [-0.2, 0.3, 0.8]),
        keep_out("sump", Side::Chassis, [0.35, -0.28, 0.42], [0.8, -0.05, 0.56]),
        keep_out("truss", Side::Axle, [0.06, 0.2, 0.55], [0.2, 0.4, 0.65]),
    ];
    vehicle
}

/// Points of a part's centreline, made from the drawn points alone.
fn points(vehicle: &Vehicle, part: &str, body: &PlacedBody) -> (Vec<Vector3<f64>>, f64) {
    let axle = &vehicle.axles[0];
    let line = |a: Vector3<f64>, b: Vector3<f64>| (0..=60).map(|k| a.lerp(&b, f64::from(k) / 60.0)).collect();
    if let Some(link) = axle.locating.links.iter().find(|l| l.name == part) {
        return (line(link.chassis.point(), body.position(&link.axle.point())), 0.025);
    }
    let on_axle = |a: [f64; 3], b: [f64; 3]| line(body.position(&a.into()), body.position(&b.into()));
    let tyre = |y: f64| {
        let r = 0.46 - 0.255 / 2.0;
        let at = |k: i32| (TAU * f64::from(k) / 360.0).sin_cos();
        (0..360).map(|k| body.position(&Vector3::new(r * at(k).0, y, 0.46 + r * at(k).1))).collect()
    };
    match part {
        "axle tube" => (on_axle([0.0, -0.6725, 0.46], [0.0, 0.6725, 0.46]), 0.04),
        "pinion" => (on_axle([0.0, 0.03, 0.46], [0.30, 0.03, 0.48]), 0.0),
        "driveshaft" => {
            let shaft = axle.driveshaft.as_ref().unwrap();
            (line(shaft.output, body.position(&shaft.pinion)), 0.03)
        }
        "left tyre" => (tyre(0.8), 0.1275),
        "right tyre" => (tyre(-0.8), 0.1275),
        _ => panic!("{part}"),
    }
}

#[test]
fn least_clearances_against_brute_force() {
    /// Between neighbouring states and points of the brute force nothing moves further than this, m.
    const COARSE_M: f64 = 8e-3;
    let vehicle = crowded();
    let mechanism = Mechanism::new(&vehicle, 0).unwrap();
    let found: Vec<Clearance> =
        all(&vehicle).into_iter().filter(|c| matches!(c.obstacle, Obstacle::KeepOut(_))).collect();
    assert_eq!(
        found.len(),
        2 * 9 + 5,
        "nine parts against boxes on the chassis, five against one on the axle"
    );
    let mut brute = vec![f64::INFINITY; found.len()];
    const STEPS: i32 = 40;
    for i in 0..=STEPS {
        let mut follower = Follower::new(&mechanism);
        for j in 0..=STEPS {
            let [u, v] = [i, j].map(|k| f64::from(k) / f64::from(STEPS));
            let Ok(state) = follower.go(-0.13 + 0.22 * u, -0.3 + 0.6 * v) else { continue };
            let body = PlacedBody::new(&state.pose, mechanism.centre());
            for (clearance, least) in found.iter().zip(&mut brute) {
                let keep_out = vehicle.axles[0]
                    .keep_outs
                    .iter()
                    .find(|k| clearance.obstacle == Obstacle::KeepOut(k.name.clone()));
                let keep_out = keep_out.unwrap();
                let cuboid = Cuboid { min: keep_out.min, max: keep_out.max };
                let (points, radius_m) = points(&vehicle, &clearance.part, &body);
                for p in points {
                    let p = if keep_out.on == Side::Axle { body.floor_coordinates(&p) } else { p };
                    *least = least.min(cuboid.distance_m(&p) - radius_m);
                }
            }
        }
    }
    for (clearance, brute) in found.iter().zip(&brute) {
        let gap_m = clearance.least.gap_m;
        assert!(gap_m <= brute + EXACT_M && gap_m > brute - COARSE_M, "{clearance:?} against {brute}");
    }
    assert!(found.iter().any(|c| c.least.gap_m < 0.0) && found.iter().any(|c| c.least.gap_m > 0.05));
}

#[test]
fn links_are_told_of_where_they_meet() {
    // A bar across at the height of the upper links' axle ends, 40 mm behind them: tubes of 50 mm touch.
    let mut vehicle = crowded();
    vehicle.axles[0].keep_outs.clear();
    let free = all(&vehicle);
    assert!(free.iter().all(|c| c.least.gap_m > 0.0), "{free:?}");
    let mut bar = cases::link("bar", [0.07, 0.5, 0.62], [0.07, -0.5, 0.62]);
    bar.tube = vehicle.axles[0].locating.links[0].tube;
    vehicle.axles[0].locating.links[3].axle = crate::vehicle::Mount::fixed(Vector3::new(0.03, -0.12, 0.62));
    vehicle.axles[0].locating.links.push(bar);
    let all = all(&vehicle);
    let meets = |c: &&Clearance| c.part == "upper left" && c.obstacle == Obstacle::Part("bar".into());
    assert!(all.iter().find(meets).is_some_and(|c| c.least.gap_m < 0.0), "{all:?}");
}

/// What the starters draw stays clear of itself and of its boxes as far as stops, straps and shocks let it go.
#[test]
fn starters_clear_their_boxes() {
    for (word, layout) in Layout::WORDS {
        let vehicle = crate::vehicle::file::parse(&layout.vehicle_text("Bramble"), "vehicle.toml").unwrap();
        let all = all(&vehicle);
        assert!(!vehicle.axles[0].keep_outs.is_empty() && !all.is_empty(), "{word}");
        for clearance in &all {
            assert!(
                clearance.within_stops.is_some() && clearance.nearest().gap_m > 0.01,
                "{word}: {clearance:?}"
            );
        }
    }
}
