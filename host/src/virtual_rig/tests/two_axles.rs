//! A vehicle with sensors on both axles, from a ramp to the report: each axle has its numbers, and what they share is what they do.

use super::motion::record;
use super::scenario;
use crate::design::cases;
use crate::judge::compare::against_design;
use crate::measure::{self, Status};
use crate::rig::{self, Rig};
use crate::run::{Phase, Recording};
use crate::show::{json, report, text};
use crate::vehicle::Vehicle;
use crate::vehicle::numbers::Key;
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::{Test, VehicleOnRamp};

/// Case H in front, case T behind.
fn vehicle() -> Vehicle {
    let mut vehicle = cases::h();
    vehicle.axles.extend(cases::t().axles);
    vehicle
}

/// The scenario's sensors on each axle.
fn rig(vehicle: &Vehicle) -> Rig {
    let one = Vehicle { axles: vec![vehicle.axles[0].clone()], ..vehicle.clone() };
    let mut rig = rig::file::parse(scenario::RIG, "rig.toml", &one).expect("a good file");
    let rear: Vec<_> = rig
        .sensors
        .iter()
        .cloned()
        .map(|mut sensor| {
            sensor.name = format!("rear {}", sensor.name);
            sensor.axle = 1;
            sensor
        })
        .collect();
    rig.sensors.extend(rear);
    rig
}

fn run(vehicle: &Vehicle, rig: &Rig) -> (VehicleOnRamp, Recording) {
    let phases = vec![Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight];
    let test = Test { axle: 1, phases, ramp_rad: 0.35 };
    let on_ramp = VehicleOnRamp::new(vehicle, &test).expect("it runs");
    let mut readings =
        Readings::new(on_ramp.clone(), rig, Some(5)).expect("every sensor has something to read");
    let recording = record(&mut readings, rig);
    (on_ramp, recording)
}

#[test]
fn both_axles_are_measured_and_share_the_ramp_as_they_do() {
    let vehicle = vehicle();
    let rig = rig(&vehicle);
    let (on_ramp, recording) = run(&vehicle, &rig);
    let analysis = measure::analyse(&vehicle, &rig, &recording).expect("it can be measured");
    let names: Vec<&str> = analysis.axles.iter().map(|a| a.name.as_str()).collect();
    assert_eq!(names, ["front", "rear"]);
    assert_eq!(analysis.axles[1].measured[&Key::RollCentreZ].status, Status::Measured);
    // The front axle only leans with the chassis: what heave would do there is not known.
    assert_eq!(analysis.axles[0].measured[&Key::PitchPerHeave].status, Status::NotExcited);

    assert_eq!(analysis.sharing.len(), 2, "both ramps");
    for sharing in &analysis.sharing {
        let span = on_ramp.phases().find(|s| s.phase == sharing.phase).expect("it is in the plan");
        // The truth: the greatest angle between the axles while the ramp lasts.
        let steps = (0..2000).map(|k| span.from_s + (span.to_s - span.from_s) * f64::from(k) / 2000.0);
        let rolls = steps.map(|t_s| {
            let stance = on_ramp.at(t_s);
            [stance.pose(0).roll_rad, stance.pose(1).roll_rad]
        });
        let most = rolls.max_by(|a, b| (a[1] - a[0]).abs().total_cmp(&(b[1] - b[0]).abs())).expect("steps");
        for (axle, truth) in most.iter().enumerate() {
            let (roll, u) = sharing.greatest.roll_rad[axle];
            assert!(
                (roll - truth).abs() < 3.0 * u + 1e-3,
                "{:?} axle {axle}: {roll} ± {u}, {truth}",
                sharing.phase
            );
        }
        let share = most[1] / (most[1] - most[0]);
        let (found, u) = sharing.greatest.rear_share;
        assert!((found - share).abs() < 3.0 * u + 5e-3, "{:?}: {found} ± {u}, {share}", sharing.phase);
        let (ratio, u) = sharing.stiffness_ratio.measured().expect("both flex");
        assert!((ratio + most[1] / most[0]).abs() < 3.0 * u + 0.02, "{ratio} ± {u}");
    }
}

#[test]
fn what_they_share_is_told_in_text_json_and_report() {
    let vehicle = vehicle();
    let rig = rig(&vehicle);
    let (_, recording) = run(&vehicle, &rig);
    let analysis = measure::analyse(&vehicle, &rig, &recording).expect("it can be measured");
    let told = text::analysis(&analysis, &vehicle, &text::Options::default());
    assert!(told.contains("How do the axles share the flex?"), "{told}");
    assert!(told.contains("the rear axle takes"), "{told}");
    let document: serde_json::Value =
        serde_json::from_str(&json::analysis(&analysis, &[], &[])).expect("JSON");
    let shared = &document["articulation_sharing"][0];
    assert_eq!((shared["phase"].as_str(), shared["rear"].as_str()), (Some("ramp left"), Some("rear")));
    assert!(shared["greatest"]["rear_share"]["value"].as_f64().expect("a number") > 0.3);
    assert!(shared["along"].as_array().expect("steps").len() > 4);
    let comparison = against_design(&vehicle, analysis).expect("both axles are well located");
    assert_eq!(comparison.axles.len(), 2);
    let page = report::html(&comparison, &vehicle, &report::Options::default());
    assert!(page.contains("How do the axles share the flex?"));
}
