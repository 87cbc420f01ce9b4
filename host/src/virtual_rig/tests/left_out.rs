//! A rig with sensors left out: what is stated still holds, and what is no longer seen is not stated.

use super::motion::record;
use super::{bramble, test};
use crate::geometry::placed::PlacedBody;
use crate::measure::{self, live};
use crate::rig::Rig;
use crate::virtual_rig::VehicleOnRamp;
use crate::virtual_rig::readings::Readings;

/// Runs of each rig.
const SEEDS: u64 = 6;
/// A stated change of a link's length may be off by so many of its u once in some thousand times.
const FAR: f64 = 4.0;
/// What is left out of the scenario's rig; the first leaves y to the slope of one wire.
const LEFT_OUT: [&[&str]; 4] = [
    &["sideways", "left fore-aft"],
    &["sideways"],
    &["left fore-aft", "right fore-aft"],
    &["axle unit", "sideways", "top fore-aft"],
];

fn without(rig: &Rig, names: &[&str]) -> Rig {
    let mut rig = rig.clone();
    rig.sensors.retain(|sensor| !names.contains(&sensor.name.as_str()));
    rig
}

#[test]
fn a_rig_with_sensors_left_out_states_no_length_that_does_not_hold() {
    let (vehicle, whole) = bramble();
    let axle = &vehicle.axles[0];
    for names in LEFT_OUT {
        let rig = without(&whole, names);
        let foreseen = live::seen_at_ride(&rig, 0, axle);
        for seed in 1..=SEEDS {
            let on_ramp = VehicleOnRamp::new(&vehicle, &test()).expect("it runs");
            let mut readings =
                Readings::new(on_ramp.clone(), &rig, Some(seed)).expect("all have something to read");
            let recording = record(&mut readings, &rig);
            let found = &measure::analyse(&vehicle, &rig, &recording).expect("it can be measured").axles[0];
            let surprises = foreseen.iter().zip(&found.seen).filter(|(foreseen, seen)| **seen && !**foreseen);
            assert_eq!(surprises.count(), 0, "without {names:?}: {foreseen:?}, then {:?}", found.seen);
            for (line, link) in measure::links::lines(axle, vehicle.tolerance_m).iter().zip(&found.links) {
                let Some((change_m, u_m)) = link.apparent_change_m.measured() else { continue };
                let lengths =
                    found.path.iter().filter(|p| p.phase.travels()).map(|p| {
                        line.apparent(&PlacedBody::new(&on_ramp.at(p.t_s).pose(0), axle.centre())).0
                    });
                let [low, high] =
                    lengths.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(v), h.max(v)]);
                let off = (change_m - (high - low)).abs() / u_m;
                assert!(
                    off < FAR,
                    "without {names:?}, {}: {change_m} ± {u_m} m, truly {}",
                    link.name,
                    high - low
                );
            }
        }
    }
}
