//! What a vehicle file says arrives in SI, and every kind of broken file gets its exact message.

mod broken;
mod garbage;

use super::parse;
use crate::geometry::Vector3;
use crate::vehicle::numbers::Key;
use crate::vehicle::{AngleOf, JointKind, Position, Side, TorqueReaction, Turning, Vehicle};

/// A file with every key that a vehicle file knows.
const BRAMBLE: &str = include_str!("tests/bramble.toml");
/// Rounding of one unit conversion.
const ROUNDING: f64 = 1e-12;

fn read(text: &str) -> Vehicle {
    parse(text, "vehicle.toml").unwrap_or_else(|errors| panic!("{}", errors.render(false)))
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= ROUNDING * b.abs().max(1.0)
}

fn near_points(a: Vector3<f64>, b: [f64; 3]) -> bool {
    (a - Vector3::from(b)).norm() <= ROUNDING
}

#[test]
fn every_key_arrives_in_si() {
    let vehicle = read(BRAMBLE);
    assert_eq!(vehicle.name, "Bramble");
    assert!(near(vehicle.wheelbase_m, 2.54) && near(vehicle.cg_height_m, 0.81));
    assert_eq!(vehicle.mass_kg, Some(1900.0));
    assert!(near(vehicle.tolerance_m, 0.003));
    let axle = &vehicle.axles[0];
    assert_eq!(axle.position, Position::Rear);
    assert!(near(axle.track_m, 1.6) && near(axle.tyre_radius_m, 0.46));
    assert!(near(axle.tyre_width_m, 0.265) && near(axle.axle_tube_m, 0.089));
    assert!(near(axle.sweep.up_m, 0.09) && near(axle.sweep.down_m, 0.13));
    assert!(near(axle.sweep.roll_rad, 18f64.to_radians()));
    assert_eq!((axle.drive_torque, axle.brake_torque), (TorqueReaction::Housing, TorqueReaction::Housing));
    assert!(near(axle.pinion_rad.unwrap(), 7f64.to_radians()));
    assert!(near(axle.castor_rad.unwrap(), 5f64.to_radians()));
    assert_eq!((axle.unsprung_mass_kg, axle.mass_share), (Some(180.0), Some(0.52)));

    let lower = &axle.locating.links[0];
    assert!(near_points(lower.chassis.point(), [0.95, 0.36, 0.5]));
    assert_eq!(lower.joints, Some([JointKind::RodEnd, JointKind::Polyurethane]));
    assert_eq!(lower.stiffness_n_per_m, None);
    let tube = lower.tube.unwrap();
    assert!(near(tube.diameter_m, 0.0508) && near(tube.wall_m, 0.00635));
    assert!(near(tube.yield_pa.unwrap(), 350e6) && near(tube.modulus_pa, 205e9));
    assert!(near(lower.misalignment_limit_rad.unwrap(), 25f64.to_radians()));
    assert!(lower.refit && lower.play_m == 0.0);

    let upper = &axle.locating.links[2];
    assert_eq!(upper.chassis.in_use(), 1);
    assert_eq!(upper.chassis.holes().len(), 3);
    assert!(near(upper.stiffness_n_per_m.unwrap(), 5e6));
    assert!(near(upper.length_m.unwrap(), 0.838) && near(upper.play_m, 0.0004) && !upper.refit);

    let wishbone = &axle.locating.wishbones[0];
    assert_eq!(wishbone.apex_on, Side::Axle);
    let arm = &axle.locating.radius_arms[0];
    assert!(near(arm.chassis_bush.stiffness.radial_n_per_m, 3e6));
    assert!(near(arm.axle_bush.stiffness.conical_nm_per_rad, 30.0 * 180.0 / std::f64::consts::PI));
    assert!(near(arm.tube.unwrap().diameter_m, 0.06));
    let watts = &axle.locating.watts[0];
    assert!(near(watts.tube.unwrap().wall_m, 0.005));
    assert!(near_points(watts.crank[1], [-0.08, 0.0, 0.42]) && near_points(watts.axis, [1.0, 0.0, 0.0]));

    assert!(near(axle.springs[0].rate_n_per_m, 30e3) && axle.springs[0].preload_n == Some(4500.0));
    assert!(near(axle.shocks[0].open_m, 0.56) && near(axle.shocks[0].closed_m, 0.34));
    assert!(near(axle.bump_stops[0].length_m, 0.05) && near(axle.straps[0].length_m, 0.57));
    let shaft = axle.driveshaft.as_ref().unwrap();
    assert!(near(shaft.output_axis.norm(), 1.0) && near(shaft.pinion_axis.norm(), 1.0));
    assert!(near(shaft.diameter_m.unwrap(), 0.063) && near(shaft.limit_rad.unwrap(), 22f64.to_radians()));
    assert_eq!((shaft.final_drive, shaft.turning), (Some(4.1), Turning::Anticlockwise));
    let drag = axle.drag_link.as_ref().unwrap();
    assert!(near(drag.kingpin_direction.norm(), 1.0));
    assert!(near_points(axle.keep_outs[0].min, [-0.7, 0.05, 0.5]));

    let wish = &axle.wish[0];
    assert_eq!(
        (wish.0, wish.1.min, wish.1.max, wish.1.weight),
        (Key::AntiSquat, Some(40.0), Some(80.0), 2.0)
    );
    assert_eq!((axle.wish[1].1.min, axle.wish[1].1.weight), (None, 1.0));
    assert_eq!(axle.agree, [(Key::RollCentreZ, 0.01)]);
    assert_eq!(axle.wear_play_m, Some(0.001));
    let alternative = &axle.alternatives[0];
    assert_eq!(alternative.replaces, ["upper left", "upper right"]);
    assert_eq!(alternative.locating.wishbones.len(), 1);
    assert!(near(axle.ride_marks[0].length_m, 0.44));
    let [pinion, castor, thrust] = axle.ride_angles[..] else { panic!("{:?}", axle.ride_angles) };
    assert_eq!((pinion.of, castor.of, thrust.of), (AngleOf::Pinion, AngleOf::Castor, AngleOf::Thrust));
    assert!(near(castor.angle_rad, 4.6f64.to_radians()) && near(castor.u_rad, 0.5f64.to_radians()));
    assert!(near(pinion.angle_rad, 7.6f64.to_radians()) && near(pinion.u_rad, 0.3f64.to_radians()));
    assert!(near(thrust.angle_rad, (-0.4f64).to_radians()) && near(thrust.u_rad, 0.1f64.to_radians()));
}

#[test]
fn a_mirror_makes_the_right_twin() {
    let vehicle = read(BRAMBLE);
    let axle = &vehicle.axles[0];
    let names: Vec<_> = axle.locating.links.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["lower left", "lower right", "upper left", "upper right"]);
    let (left, right) = (&axle.locating.links[2], &axle.locating.links[3]);
    for (l, r) in left.chassis.holes().iter().zip(right.chassis.holes()) {
        assert_eq!((l.x, l.y, l.z), (r.x, -r.y, r.z));
    }
    assert_eq!(right.chassis.in_use(), 1);
    assert_eq!(right.bolts[0], Vector3::y());
    // A bolt has no sense of direction: (0.4, -0.9, 0) and (-0.4, 0.9, 0) are one line.
    assert!(right.bolts[1].cross(&Vector3::new(0.4, -0.9, 0.0)).norm() < ROUNDING);
    assert_eq!((right.length_m, right.play_m, right.refit), (left.length_m, left.play_m, left.refit));
    assert_eq!(axle.locating.radius_arms[1].name, "arm right");
    let tank = &axle.keep_outs[1];
    assert_eq!(tank.name, "tank right");
    assert!(near_points(tank.min, [-0.7, -0.3, 0.5]) && near_points(tank.max, [-0.3, -0.05, 0.75]));
    assert_eq!(axle.ride_marks[1].name, "mark right");
}

#[test]
fn names_swap_sides_by_whole_words() {
    use super::mirror::other_side;
    for (name, twin) in [
        ("lower left", Some("lower right")),
        ("Right upper", Some("Left upper")),
        ("lower_left-1", Some("lower_right-1")),
        ("LEFT", Some("RIGHT")),
        ("upright left", Some("upright right")),
        ("cleft", None),
        ("panhard", None),
        ("", None),
    ] {
        assert_eq!(other_side(name).as_deref(), twin, "{name}");
    }
}

const SHORTEST: &str = r#"
format = 1
name = "Bramble"
[vehicle]
wheelbase = 2540
cg_height = 810
[[axle]]
name = "rear"
position = "rear"
track = 1600
tyre_radius = 460
[[axle.link]]
name = "lower left"
chassis = [950, 360, 500]
axle = [20, 580, 400]
mirror = true
"#;

#[test]
fn defaults_are_those_of_the_project_and_are_said() {
    let vehicle = read(SHORTEST);
    let axle = &vehicle.axles[0];
    assert!(near(vehicle.tolerance_m, 0.003));
    assert_eq!((axle.drive_share, axle.brake_share), (1.0, 0.5));
    assert!(near(axle.tyre_width_m, 0.255) && near(axle.axle_tube_m, 0.08));
    assert!(near(axle.sweep.up_m, 0.1) && near(axle.sweep.roll_rad, 15f64.to_radians()));
    assert_eq!(axle.locating.links[0].bolts, [Vector3::y(), Vector3::y()]);
    insta::assert_snapshot!(vehicle.defaults_used.join("\n"));
    let full = read(BRAMBLE);
    assert_eq!(
        full.defaults_used,
        [
            "Young's modulus 205 GPa for tubes that give none",
            "bolts along y where none are given",
            "links without joints or stiffness are rigid",
        ][..1]
            .to_vec()
    );
}

#[test]
fn inch_files_take_fractions_and_inch_units() {
    let text = SHORTEST
        .replace("name = \"Bramble\"", "name = \"Bramble\"\nunits = { length = \"in\", angle = \"deg\" }")
        .replace("2540", "100")
        .replace("810", "\"31 1/2\"")
        .replace("1600", "63")
        .replace("460", "\"18-1/8\"")
        .replace("[950, 360, 500]", "[37.5, \"14 1/4\", 20]")
        .replace("[20, 580, 400]", "[1, 23, \"15 3/4\"]\nstiffness = 1000\nplay = \"1/64\"\ntube = { diameter = 2, wall = \"1/4\", yield = 50 }");
    let vehicle = read(&text);
    assert!(near(vehicle.wheelbase_m, 2.54) && near(vehicle.cg_height_m, 31.5 * 0.0254));
    let axle = &vehicle.axles[0];
    assert!(near(axle.tyre_radius_m, 18.125 * 0.0254));
    let link = &axle.locating.links[0];
    assert!(near_points(link.chassis.point(), [37.5 * 0.0254, 14.25 * 0.0254, 0.508]));
    assert!(near(link.play_m, 0.0254 / 64.0));
    // lbf/in = 0.453 592 37 kg × 9.806 65 m/s² / 0.0254 m, ksi = 1000 lbf/in².
    let lbf = 0.453_592_37 * 9.806_65;
    assert!(near(link.stiffness_n_per_m.unwrap() / (1000.0 * lbf / 0.0254), 1.0));
    assert!(near(link.tube.unwrap().yield_pa.unwrap() / (50e3 * lbf / 0.0254f64.powi(2)), 1.0));
}

#[test]
fn the_hash_is_of_the_bytes() {
    let (a, b) = (read(SHORTEST), read(&format!("{SHORTEST}# a comment\n")));
    assert_eq!(a.hash, blake3::hash(SHORTEST.as_bytes()).to_hex().to_string());
    assert_ne!(a.hash, b.hash);
    assert_eq!(a.axles, b.axles);
}

#[test]
fn a_list_under_a_misspelt_header_is_told_even_beside_a_right_one() {
    let slip = "[[axle.ride_marks]]\nname = \"b\"\n\n[[axle.ride_mark]]";
    let both = BRAMBLE.replacen("[[axle.ride_mark]]", slip, 1);
    assert_ne!(both, BRAMBLE);
    let wrong = parse(&both, "vehicle.toml").unwrap_err().render(false);
    assert!(wrong.contains("did you mean `ride_mark`?"), "{wrong}");
}
