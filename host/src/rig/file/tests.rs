//! What a rig file says arrives in SI, and every kind of broken file gets its exact message.

mod broken;

use super::parse;
use crate::geometry::{Matrix3, Vector3};
use crate::rig::{Carrier, Kind, Reading, Rig, Scale, Sensor};
use crate::vehicle::{self, Vehicle};

/// A file with every key that a rig file knows.
const RIG: &str = include_str!("tests/rig.toml");
const VEHICLE: &str = r#"
format = 1
name = "Bramble"
[vehicle]
wheelbase = 2540
cg_height = 810
tolerance = 2.5
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
/// Rounding of one unit conversion.
const ROUNDING: f64 = 1e-12;

fn vehicle() -> Vehicle {
    vehicle::file::parse(VEHICLE, "vehicle.toml").unwrap_or_else(|e| panic!("{}", e.render(false)))
}

/// The same with a front axle beside the rear one.
fn vehicle_of_two() -> Vehicle {
    let mut vehicle = vehicle();
    let mut front = vehicle.axles[0].clone();
    front.name = "front".to_owned();
    vehicle.axles.push(front);
    vehicle
}

fn read(text: &str) -> Rig {
    parse(text, "rig.toml", &vehicle()).unwrap_or_else(|e| panic!("{}", e.render(false)))
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= ROUNDING * b.abs().max(1.0)
}

fn reading(sensor: &Sensor) -> &Reading {
    sensor.reading().unwrap()
}

#[test]
fn every_key_arrives_in_si() {
    let rig = read(RIG);
    assert_eq!(rig.hash, blake3::hash(RIG.as_bytes()).to_hex().to_string());
    assert!(near(rig.rate_hz, 200.0));
    let [left, right, angle, unit, gap, load] = rig.sensors.as_slice() else { panic!("six sensors") };

    let Kind::DrawWire(wire) = &left.kind else { panic!("a wire") };
    assert!((wire.chassis - Vector3::new(0.0, 0.5, 1.0)).norm() < ROUNDING);
    assert!((wire.axle - Vector3::new(0.0, 0.62, 0.46)).norm() < ROUNDING);
    assert_eq!(wire.reading.scale, Scale::Linear(0.125e-3));
    assert!(near(wire.reading.noise, 0.3e-3) && near(wire.reading.mount_m, 2e-3));
    assert!(near(wire.reading.linearity, 1e-3) && near(wire.reading.hysteresis, 0.5e-3));
    assert!(near(wire.reading.scale_u, 0.002) && near(left.rate_hz, 100.0));
    let [low, high] = wire.reading.range.unwrap();
    assert!(near(low, 0.0) && near(high, 0.8));
    let input = left.input.as_ref().unwrap();
    assert_eq!((input.bus, input.mux, input.address), (1, Some((0x70, 2)), 0x48));
    assert_eq!((input.device.as_str(), input.channel, input.excitation), ("ads1115", 0, Some(3)));

    let Scale::Points(points) = &reading(right).scale else { panic!("points") };
    assert!(near(points[1][0], 20000.0) && near(points[1][1], 0.45));
    assert!(near(reading(angle).scale.apply(50.0), 1f64.to_radians()));
    let [low, high] = reading(angle).range.unwrap();
    assert!(near(high, std::f64::consts::PI) && near(low, -std::f64::consts::PI));

    let Kind::Inertial(inertial) = &unit.kind else { panic!("a unit") };
    assert_eq!(inertial.carrier, Carrier::Axle);
    // The sensor's x points left, its y points back: what it reads along x is the vehicle's y.
    let turned = Matrix3::new(0.0, -1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0);
    assert_eq!(inertial.axes, turned);
    assert!(near(inertial.heading_u_rad, 2f64.to_radians()) && near(inertial.scale_u, 0.005));
    assert!(near(inertial.accel_bias_u, 0.1) && near(inertial.gyro_bias_u, 0.0001));
    assert!(near(inertial.accel_noise, 0.03) && near(inertial.gyro_noise, 0.001));
    let input = unit.input.as_ref().unwrap();
    assert_eq!((input.bus, input.mux, input.channel, input.excitation), (0, None, 0, None));

    let Kind::Range(range) = &gap.kind else { panic!("a range finder") };
    assert_eq!((range.direction, range.plane_normal), (-Vector3::z(), Vector3::z()));
    let Kind::Force(force) = &load.kind else { panic!("a force sensor") };
    assert_eq!(force.link.as_deref(), Some("lower left"));
    assert_eq!(force.reading.scale, Scale::Linear(2.5));
}

#[test]
fn defaults_are_those_of_the_contract() {
    let rig = read(
        r#"
        format = 1
        [[sensor]]
        name = "wire"
        kind = "draw-wire"
        chassis = [0, 500, 1000]
        axle = [0, 500, 460]
        [[sensor]]
        name = "long wire"
        kind = "draw-wire"
        chassis = [0, 500, 1000]
        axle = [0, 500, 460]
        range = [0, 1000]
        [[sensor]]
        name = "pot"
        kind = "angle"
        pivot = [950, 360, 500]
        axle = [20, 580, 400]
        [[sensor]]
        name = "unit"
        kind = "inertial"
        body = "chassis"
        at = [0, 0, 900]
        "#,
    );
    let [wire, long, pot, unit] = rig.sensors.as_slice() else { panic!("four sensors") };
    assert!(near(rig.rate_hz, 100.0) && near(wire.rate_hz, 100.0) && wire.axle == 0);
    let r = reading(wire);
    // A column in millimetres, the vehicle's own tolerance, and the potentiometer's usual faults.
    assert_eq!(r.scale, Scale::Linear(1e-3));
    assert!(near(r.mount_m, 0.0025) && near(r.scale_u, 0.003) && near(r.hysteresis, 1e-3));
    assert!(near(r.linearity, 0.003 * 2.0 * 0.54) && r.range.is_none());
    assert!(near(reading(long).linearity, 0.003));
    assert!(near(reading(pot).linearity, 1f64.to_radians()));
    let Kind::Angle(sensor) = &pot.kind else { panic!("an angle") };
    assert_eq!(sensor.axis, Vector3::y());
    let Kind::Inertial(unit) = &unit.kind else { panic!("a unit") };
    assert!(near(unit.heading_u_rad, 3f64.to_radians()) && near(unit.scale_u, 0.01));
    assert!(near(unit.accel_bias_u, 0.2) && near(unit.gyro_bias_u, 0.02f64.to_radians()));
    assert_eq!(unit.axes, Matrix3::identity());
}

#[test]
fn the_axle_is_found_by_name() {
    let text = RIG.replace("kind = \"angle\"", "kind = \"angle\"\naxle_name = \"rear\"");
    let only_named: String = text.split("[[sensor]]").take(2).collect::<Vec<_>>().join("[[sensor]]");
    let rig = parse(&only_named.replace("\"rear\"", "\"front\""), "rig.toml", &vehicle_of_two()).unwrap();
    assert_eq!(rig.sensors[0].axle, 1);
}

#[test]
fn inch_files_scale_readings_in_inches() {
    let text =
        RIG.replace("length = \"mm\"", "length = \"in\"").replace("[0, 500, 1000]", "[0, \"19 3/4\", 40]");
    let scaled = text
        .replace("[0, 620, 460]", "[0, 24, 18]")
        .replace("[0, -500, 1000]", "[0, -20, 40]")
        .replace("[0, -620, 460]", "[0, -24, 18]")
        .replace("[950, 360, 500]", "[37, 14, 20]")
        .replace("[20, 580, 400]", "[1, 23, 16]")
        .replace("[[100, 900], [20000, 450], [32000, 20]]", "[[100, 35], [20000, 18], [32000, 1]]")
        .replace("[0, 200, 560]", "[0, 8, 22]")
        .replace("[0, 300, 900]", "[0, 12, 36]")
        .replace("[0, 300, 530]", "[0, 12, 21]");
    let rig = read(&scaled);
    let Kind::DrawWire(wire) = &rig.sensors[0].kind else { panic!("a wire") };
    assert!(near(wire.chassis.y, 19.75 * 0.0254));
    assert!(near(wire.reading.scale.apply(1.0), 0.125 * 0.0254));
    let Scale::Points(points) = &reading(&rig.sensors[1]).scale else { panic!("points") };
    assert!(near(points[0][1], 35.0 * 0.0254));
    assert!(near(reading(&rig.sensors[5]).scale.apply(1.0), 2.5 * 0.453_592_37 * 9.806_65));
}

#[test]
fn a_file_of_the_other_kind_is_called_by_its_name_and_by_nothing_else() {
    let rig = "format = 1\n[[sensor]]\nname = \"left travel\"\nkind = \"draw-wire\"\n";
    let wrong = vehicle::file::parse(rig, "rig.toml").unwrap_err();
    assert!(wrong.to_string().ends_with("this is a rig file, and a vehicle file is wanted"), "{wrong}");
    let wrong = parse(VEHICLE, "vehicle.toml", &vehicle()).unwrap_err();
    assert!(wrong.to_string().ends_with("this is a vehicle file, and a rig file is wanted"), "{wrong}");
}
