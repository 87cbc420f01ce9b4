//! `predict --json`.

use crate::design::predict::{AtState, AxlePrediction, LinkPrediction, Reached};
use crate::geometry::Pose;
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::vehicle::Position;
use crate::vehicle::numbers::Numbers;
use serde_json::{Map, Value, json};

/// The whole result as JSON, format 1.
pub fn render(predicted: &Predicted) -> Value {
    json!({
        "format": 1,
        "vehicles": predicted.vehicles.iter().map(vehicle).collect::<Vec<_>>(),
    })
}

fn vehicle(vehicle: &PredictedVehicle) -> Value {
    let prediction = &vehicle.prediction;
    json!({
        "name": prediction.vehicle,
        "file": vehicle.file,
        "defaults_used": prediction.defaults_used,
        "axles": prediction.axles.iter().map(axle).collect::<Vec<_>>(),
    })
}

fn axle(axle: &AxlePrediction) -> Value {
    let none = Numbers::default();
    let ride = axle.ride.outcome.as_ref().map_or(&none, |r| &r.numbers);
    let all = |states: &[AtState]| states.iter().map(state).collect::<Vec<_>>();
    json!({
        "name": axle.name,
        "position": match axle.position { Position::Front => "front", Position::Rear => "rear" },
        "mobility": axle.mobility,
        "redundant": axle.redundant,
        "notes": axle.notes,
        "ride_shift": axle.ride_shift.as_ref().map(pose),
        "ride": numbers(ride),
        "ride_u": numbers(&axle.ride_u),
        "states": all(&axle.states),
        "sweeps": { "heave": all(&axle.sweeps.heave), "roll": all(&axle.sweeps.roll) },
        "links": axle.links.iter().map(link).collect::<Vec<_>>(),
    })
}

/// Every key with its value.
pub fn numbers(numbers: &Numbers) -> Map<String, Value> {
    numbers.iter().map(|(key, value)| (key.as_str().to_owned(), json!(value))).collect()
}

fn pose(pose: &Pose) -> Map<String, Value> {
    let values = pose.to_array();
    ["x_m", "y_m", "z_m", "roll_rad", "pitch_rad", "yaw_rad"]
        .into_iter()
        .zip(values)
        .map(|(key, value)| (key.to_owned(), json!(value)))
        .collect()
}

fn state(state: &AtState) -> Value {
    let at = state.outcome.as_ref().ok();
    let value = |get: fn(&Reached) -> f64| json!(at.map(get));
    let mut all = Map::new();
    let mut put = |key: &str, value: Value| all.insert(key.to_owned(), value);
    put("heave_m", json!(state.heave_m));
    put("roll_rad", json!(state.roll_rad));
    put("reached", json!(at.is_some()));
    put("stopped_by", json!(state.outcome.as_ref().err().map(|limit| &limit.member)));
    put("x_m", value(|r| r.pose.x_m));
    put("y_m", value(|r| r.pose.y_m));
    put("pitch_rad", value(|r| r.pose.pitch_rad));
    put("yaw_rad", value(|r| r.pose.yaw_rad));
    put("axle_steer_rad", value(|r| r.axle_steer_rad));
    put("wheel_travel_left_m", value(|r| r.wheel_travel_m[0]));
    put("wheel_travel_right_m", value(|r| r.wheel_travel_m[1]));
    put("strain_energy_j", value(|r| r.strain_energy_j));
    put("roll_moment_nm", value(|r| r.roll_moment_nm));
    all.extend(numbers(at.map_or(&Numbers::default(), |r| &r.numbers)));
    Value::Object(all)
}

fn link(link: &LinkPrediction) -> Value {
    json!({ "name": link.name, "length_m": link.length_m })
}
