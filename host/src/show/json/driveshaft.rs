//! The driveshaft in `predict --json`.

use crate::design::driveshaft::ShaftAt;
use crate::design::loads::ShaftTorque;
use crate::design::prediction::{ShaftPrediction, ShaftRange, ShaftWhere};
use serde_json::{Map, Value, json};

pub(super) fn driveshaft(shaft: &ShaftPrediction) -> Value {
    let along = |states: &[Option<ShaftAt>]| states.iter().map(|s| at(s.as_ref())).collect::<Value>();
    json!({
        "limit_rad": shaft.limit_rad,
        "ride": at(Some(&shaft.ride)),
        "states": along(&shaft.states),
        "sweeps": { "heave": along(&shaft.heave), "roll": along(&shaft.roll) },
        "reach": range(Some(&shaft.reach)),
        "within_stops": range(shaft.within_stops.as_ref()),
    })
}

fn at(shaft: Option<&ShaftAt>) -> Map<String, Value> {
    [
        ("length_m", shaft.map(|s| s.length_m)),
        ("plunge_m", shaft.map(|s| s.plunge_m)),
        ("output_joint_rad", shaft.map(|s| s.output_rad)),
        ("pinion_joint_rad", shaft.map(|s| s.pinion_rad)),
        ("output_fluctuation", shaft.map(|s| s.output_fluctuation)),
        ("pinion_fluctuation", shaft.map(|s| s.pinion_fluctuation)),
        ("equivalent_rad", shaft.map(|s| s.equivalent_rad)),
    ]
    .into_iter()
    .map(|(key, value)| (key.to_owned(), json!(value)))
    .collect()
}

fn range(range: Option<&ShaftRange>) -> Value {
    let place = |of: fn(&ShaftRange) -> &ShaftWhere| {
        let there = range.map(of);
        let mut all = at(there.map(|w| &w.at));
        all.insert("heave_m".into(), json!(there.map(|w| w.heave_m)));
        all.insert("roll_rad".into(), json!(there.map(|w| w.roll_rad)));
        Value::Object(all)
    };
    json!({
        "plunge_m": range.map(ShaftRange::plunge_m),
        "longest": place(|r| &r.longest),
        "shortest": place(|r| &r.shortest),
        "output_joint": place(|r| &r.output_joint),
        "pinion_joint": place(|r| &r.pinion_joint),
        "equivalent": place(|r| &r.equivalent),
    })
}

/// What the shaft's torque does; null in each key where it was not asked for.
pub(super) fn shaft_torque(shaft: Option<&ShaftTorque>) -> Value {
    json!({
        "torque_nm": shaft.map(|s| s.torque_nm),
        "roll_moment_nm": shaft.map(|s| s.roll_nm),
        "yaw_moment_nm": shaft.map(|s| s.yaw_nm),
        "left_wheel_n": shaft.map(|s| s.left_wheel_n),
        "right_wheel_n": shaft.map(|s| -s.left_wheel_n),
    })
}
