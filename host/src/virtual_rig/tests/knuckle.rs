//! Bump steer measured by a unit at a knuckle, against worked values of a drag link that a program of its own computed.

use super::motion::record;
use super::scenario;
use crate::design::{Mechanism, cases};
use crate::geometry::Vector3;
use crate::measure::{self, Status};
use crate::rig::{self, Carrier, Kind, Rig};
use crate::run::Phase;
use crate::vehicle::numbers::Key;
use crate::vehicle::{DragLink, Vehicle};
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::{Test, VehicleOnRamp};

/// Case B's printed values at ride height: steer of the knuckle per heave, rad/m, and per roll, rad/rad (computed by a program that
/// shares no code with this one).
const PRINTED: [(Key, f64); 2] = [(Key::BumpSteerHeave, 0.0858853), (Key::BumpSteerRoll, 0.510300)];

/// Case H with case B's drag link.
fn case_b() -> Vehicle {
    let (caster, inclination) = (6.0_f64.to_radians(), 8.0_f64.to_radians());
    let mut vehicle = cases::h();
    vehicle.axles[0].drag_link = Some(DragLink {
        chassis: Vector3::new(0.18, 0.38, 0.68),
        axle: Vector3::new(0.16, -0.66, 0.58),
        kingpin_point: Vector3::new(0.0, -0.70, 0.46),
        kingpin_direction: Vector3::new(-caster.tan(), inclination.tan(), 1.0).normalize(),
    });
    vehicle
}

/// The scenario's rig with a unit at a knuckle.
fn rig(vehicle: &Vehicle, carrier: Carrier) -> Rig {
    let mut rig = rig::file::parse(scenario::RIG, "rig.toml", vehicle).expect("a good file");
    let mut knuckle = rig.sensors.iter().find(|s| s.name == "axle unit").expect("it is there").clone();
    knuckle.name = "knuckle unit".into();
    if let Kind::Inertial(unit) = &mut knuckle.kind {
        let side = if carrier == Carrier::KnuckleLeft { 1.0 } else { -1.0 };
        (unit.carrier, unit.at) = (carrier, Vector3::new(0.05, 0.72 * side, 0.46));
    }
    rig.sensors.push(knuckle);
    rig
}

fn measured(vehicle: &Vehicle, rig: &Rig, phases: &[Phase], seed: Option<u64>) -> measure::AxleAnalysis {
    let test = Test { axle: 0, phases: phases.to_vec(), ramp_rad: 0.35 };
    let on_ramp = VehicleOnRamp::new(vehicle, &test).expect("it runs");
    let mut readings = Readings::new(on_ramp, rig, seed).expect("every sensor has something to read");
    let recording = record(&mut readings, rig);
    measure::analyse(vehicle, rig, &recording).expect("it can be measured").axles.remove(0)
}

const ALL: [Phase; 4] = [Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight];

#[test]
fn perfect_sensors_measure_the_printed_bump_steer() {
    /// Differences over two steps of a motion of 9 s a cycle lose up to 0.4 % of a slope, and a surface of finite degree some more.
    const PART: f64 = 0.02;
    let vehicle = case_b();
    for carrier in [Carrier::KnuckleRight, Carrier::KnuckleLeft] {
        let axle = measured(&vehicle, &rig(&vehicle, carrier), &ALL, None);
        for (key, printed) in PRINTED {
            let (value, _) = axle.measured[&key].measured().expect("it is measured");
            assert!((value / printed - 1.0).abs() < PART, "{carrier:?} {key:?}: {value}, printed {printed}");
        }
    }
}

#[test]
fn the_stated_uncertainty_of_bump_steer_is_the_error_made() {
    /// Sixteen normalised errors of two numbers: their root mean square lies below 1.45 nineteen times in twenty (χ², 16 degrees of
    /// freedom).
    const HONEST: f64 = 1.45;
    let vehicle = case_b();
    let rig = rig(&vehicle, Carrier::KnuckleRight);
    let (mut square, mut count) = (0.0, 0.0);
    for seed in 1..=8 {
        let axle = measured(&vehicle, &rig, &ALL, Some(seed));
        for (key, printed) in PRINTED {
            let (value, u) = axle.measured[&key].measured().expect("it is measured");
            let most = if key == Key::BumpSteerHeave { 0.02 } else { 0.06 };
            assert!(u < most, "seed {seed} {key:?}: u {u}");
            square += ((value - printed) / u).powi(2);
            count += 1.0;
            let budget = axle.budget[&key].total();
            assert!((budget - u).abs() < 1e-12, "the budget is the whole u");
        }
    }
    let rms = f64::sqrt(square / count);
    assert!((0.3..HONEST).contains(&rms), "{rms}");
}

#[test]
fn what_is_missing_is_said() {
    let vehicle = case_b();
    let whole = rig(&vehicle, Carrier::KnuckleRight);
    let bounce = measured(&vehicle, &whole, &[Phase::Still, Phase::Bounce], Some(1));
    assert_eq!(bounce.measured[&Key::BumpSteerHeave].status, Status::Measured);
    assert_eq!(bounce.measured[&Key::BumpSteerRoll].status, Status::NotExcited);
    let without = |name: &str| {
        let mut rig = whole.clone();
        rig.sensors.retain(|s| s.name != name);
        measured(&vehicle, &rig, &[Phase::Still, Phase::Bounce], Some(1)).measured[&Key::BumpSteerHeave]
            .clone()
    };
    assert_eq!(without("knuckle unit").why.as_deref(), Some("needs a sensor at the knuckle"));
    let why = without("axle unit").why;
    assert_eq!(why.as_deref(), Some("needs an inertial unit on the axle beside the one at the knuckle"));
}

#[test]
fn what_is_measured_stands_beside_the_drawing() {
    let vehicle = case_b();
    let mechanism = Mechanism::new(&vehicle, 0).expect("it is well located");
    let designed = mechanism.numbers(mechanism.ride());
    for (key, printed) in PRINTED {
        assert!((designed.get(key).expect("it has a drag link") - printed).abs() < 5.1e-7);
    }
}
