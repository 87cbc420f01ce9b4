//! `predict --json`.

use super::driveshaft::{driveshaft, shaft_torque};
use super::{FORMAT, text};
use crate::design::loads::LoadCase;
use crate::design::misalignment::Misalignment;
use crate::design::prediction::{
    ArticulationLimit, AtState, AxlePrediction, Clearance, EndKind, LimitedBy, LinkForces, LinkMisalignment,
    LinkPrediction, LoadPrediction, Nearest, Obstacle, RampPrediction, Reached, StrutPrediction, TravelEnd,
};
use crate::geometry::Pose;
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::vehicle::Position;
use crate::vehicle::numbers::Numbers;
use serde_json::{Map, Value, json};

/// Predictions as JSON.
pub fn prediction(predicted: &Predicted) -> String {
    text(&json!({
        "format": FORMAT,
        "vehicles": predicted.vehicles.iter().map(vehicle).collect::<Vec<_>>(),
    }))
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
    let all = |states: &[AtState]| states.iter().map(state).collect::<Vec<_>>();
    let links = axle.links.iter().enumerate().map(|(index, link)| {
        json!({
            "name": link.name,
            "length_m": link.length_m,
            "misalignment": link.misalignment.as_ref().map(joints),
            "load": load(axle, index, link),
        })
    });
    json!({
        "name": axle.name,
        "position": match axle.position { Position::Front => "front", Position::Rear => "rear" },
        "mobility": axle.mobility,
        "redundant": axle.redundant,
        "notes": axle.implausible.iter().chain(&axle.notes).collect::<Vec<_>>(),
        "ride_shift": axle.ride_shift.as_ref().map(pose),
        "ride": numbers(&axle.ride.numbers),
        "ride_u": numbers(&axle.ride_u),
        "states": all(&axle.states),
        "sweeps": { "heave": all(&axle.sweeps.heave), "roll": all(&axle.sweeps.roll) },
        "links": links.collect::<Vec<_>>(),
        "loads": axle.loads.iter().map(left_over).collect::<Vec<_>>(),
        "struts": axle.struts.iter().map(strut).collect::<Vec<_>>(),
        "travel_ends": axle.ends.iter().map(travel_end).collect::<Vec<_>>(),
        "driveshaft": axle.driveshaft.as_ref().map(driveshaft),
        "articulation": sides(&axle.articulation, articulation),
        "ramp_travel_index": ramps(axle.ramp.as_ref()),
        "clearances": axle.clearances.iter().map(clearance).collect::<Vec<_>>(),
    })
}

/// Every key with its value.
fn numbers(numbers: &Numbers) -> Map<String, Value> {
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
    put("wheel_steer_rad", json!(at.and_then(|r| r.bump_steer).map(|b| b.steer_rad)));
    put("wheel_heading_rad", json!(at.and_then(|r| r.bump_steer).map(|b| b.heading_rad)));
    all.extend(numbers(at.map_or(&Numbers::default(), |r| &r.numbers)));
    Value::Object(all)
}

fn joints(joints: &LinkMisalignment) -> Value {
    let mut all = misalignment(Some(&joints.ride));
    let worst = &joints.worst;
    all.insert("limit_rad".into(), json!(joints.limit_rad));
    all.insert("states".into(), joints.states.iter().map(|s| misalignment(s.as_ref())).collect());
    let mut there = misalignment(Some(&worst.at));
    there.insert("heave_m".into(), json!(worst.heave_m));
    there.insert("roll_rad".into(), json!(worst.roll_rad));
    all.insert("worst".into(), Value::Object(there));
    Value::Object(all)
}

fn misalignment(at: Option<&Misalignment>) -> Map<String, Value> {
    [
        ("chassis_rad", json!(at.map(|m| m.chassis_rad))),
        ("axle_rad", json!(at.map(|m| m.axle_rad))),
        ("shared_spin_rad", json!(at.and_then(|m| m.shared_spin_rad))),
    ]
    .into_iter()
    .map(|(key, value)| (key.to_owned(), value))
    .collect()
}

/// What each load case is called.
fn case_key(case: LoadCase) -> &'static str {
    match case {
        LoadCase::Drive(_) => "drive_n",
        LoadCase::Brake(_) => "brake_n",
        LoadCase::Side(_) => "side_n",
    }
}

/// The force in one link by load case, null for cases that were not asked for.
fn load(axle: &AxlePrediction, index: usize, link: &LinkPrediction) -> Value {
    let by_case = |forces: &dyn Fn(&LoadPrediction) -> Option<f64>| {
        let mut all = Map::new();
        for key in ["drive_n", "brake_n", "side_n"] {
            let force = axle.loads.iter().find(|l| case_key(l.case) == key).and_then(forces);
            all.insert(key.to_owned(), json!(force));
        }
        all
    };
    let in_link = |forces: Option<&LinkForces>| forces.and_then(|f| f.links_n.get(index).copied());
    let mut all = by_case(&|l| in_link(l.ride.as_ref()));
    let states = (0..axle.states.len())
        .map(|k| Value::Object(by_case(&|l| in_link(l.states.get(k).and_then(Option::as_ref)))));
    all.insert("states".into(), states.collect());
    all.insert("buckling_n".into(), json!(link.buckling_n));
    all.insert("joint_rating_n".into(), json!(link.joint_rating_n));
    Value::Object(all)
}

fn end_kind(kind: EndKind) -> &'static str {
    match kind {
        EndKind::BumpStop => "bump stop",
        EndKind::Strap => "strap",
        EndKind::ShockClosed => "shock closed",
        EndKind::ShockOpen => "shock open",
    }
}

/// What a load case leaves to the springs.
fn left_over(load: &LoadPrediction) -> Value {
    let (case, force_n) = match load.case {
        LoadCase::Drive(n) => ("drive", n),
        LoadCase::Brake(n) => ("brake", n),
        LoadCase::Side(n) => ("side", n),
    };
    let left = |forces: Option<&LinkForces>| {
        json!({
            "heave_force_n": forces.map(|f| f.heave_n),
            "roll_moment_nm": forces.map(|f| f.roll_nm),
        })
    };
    json!({
        "case": case,
        "force_n": force_n,
        "drive_induced_roll_nm": load.drive_roll_nm,
        "shaft_torque": shaft_torque(load.shaft.as_ref()),
        "ride": left(load.ride.as_ref()),
        "states": load.states.iter().map(|s| left(s.as_ref())).collect::<Vec<_>>(),
    })
}

fn strut(strut: &StrutPrediction) -> Value {
    json!({
        "name": strut.name,
        "length_m": strut.length_m,
        "heave_ratio": strut.heave_ratio,
        "roll_ratio": strut.roll_ratio,
    })
}

fn clearance(clearance: &Clearance) -> Value {
    let (keep_out, other_part) = match &clearance.obstacle {
        Obstacle::KeepOut(name) => (Some(name), None),
        Obstacle::Part(name) => (None, Some(name)),
    };
    let nearest = |at: Option<&Nearest>| {
        json!({
            "gap_m": at.map(|n| n.gap_m),
            "heave_m": at.map(|n| n.heave_m),
            "roll_rad": at.map(|n| n.roll_rad),
        })
    };
    json!({
        "part": clearance.part,
        "diameter_m": clearance.diameter_m,
        "keep_out": keep_out,
        "other_part": other_part,
        "least": nearest(Some(&clearance.least)),
        "within_stops": nearest(clearance.within_stops.as_ref()),
    })
}

/// What both sides have, by side.
fn sides<T>(both: &[T; 2], one: fn(&T) -> Value) -> Value {
    let [left, right] = both.each_ref().map(one);
    json!({ "left": left, "right": right })
}

fn articulation(limit: &ArticulationLimit) -> Value {
    let (kind, name) = match &limit.by {
        LimitedBy::End { name, kind } => (end_kind(*kind), Some(name)),
        LimitedBy::Link(name) => ("link", Some(name)),
        LimitedBy::Sweep => ("sweep", None),
    };
    json!({ "roll_rad": limit.roll_rad, "ended_by": kind, "name": name })
}

fn ramps(both: Option<&[RampPrediction; 2]>) -> Value {
    let one = |ramp: Option<&RampPrediction>| {
        json!({
            "value": ramp.and_then(|r| r.index),
            "distance_m": ramp.and_then(|r| r.distance_m),
            "inclination_rad": ramp.map(|r| r.inclination_rad),
            "ramp_rad": ramp.map(|r| r.ramp_rad),
        })
    };
    json!({ "left": one(both.map(|b| &b[0])), "right": one(both.map(|b| &b[1])) })
}

fn travel_end(end: &TravelEnd) -> Value {
    let kind = end_kind(end.kind);
    json!({ "name": end.name, "kind": kind, "heave_m": end.heave_m, "roll_rad": end.roll_rad })
}
