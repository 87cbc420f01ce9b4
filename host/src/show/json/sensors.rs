//! `sensors --json`.

use super::analyse::Parts;
use super::calibrate::Row as CalibrationRow;
use super::{FORMAT, finite, text};
use crate::jobs::sensors::{AxleReach, Reach};
use crate::vehicle::numbers::Key;
use serde::Serialize;
use std::collections::BTreeMap;

/// The reach of a rig as JSON.
pub fn sensors(reach: &Reach) -> String {
    text(&Document {
        format: FORMAT,
        vehicle: &reach.vehicle,
        axles: reach.axles.iter().map(Axle::of).collect(),
        calibration: reach.calibration.iter().map(CalibrationRow::of).collect(),
        remarks: &reach.remarks,
    })
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    vehicle: &'a str,
    axles: Vec<Axle<'a>>,
    calibration: Vec<CalibrationRow<'a>>,
    remarks: &'a [String],
}

#[derive(Serialize)]
struct Axle<'a> {
    name: &'a str,
    sensors: &'a [String],
    coordinates: Coordinates,
    numbers: BTreeMap<Key, Number<'a>>,
    additions: Vec<Addition<'a>>,
}

/// Standard uncertainties; null where nothing sees the coordinate.
#[derive(Serialize)]
struct Coordinates {
    x_u_m: Option<f64>,
    y_u_m: Option<f64>,
    z_u_m: Option<f64>,
    roll_u_rad: Option<f64>,
    pitch_u_rad: Option<f64>,
    yaw_u_rad: Option<f64>,
}

#[derive(Serialize)]
struct Number<'a> {
    u: Option<f64>,
    budget: Option<Parts>,
    status: &'static str,
    limit: Option<f64>,
    can_agree: bool,
    why: Option<&'a str>,
}

#[derive(Serialize)]
struct Addition<'a> {
    what: &'a str,
    factor: Option<f64>,
    gains: BTreeMap<Key, Gain>,
}

#[derive(Serialize)]
struct Gain {
    before_u: Option<f64>,
    after_u: Option<f64>,
}

impl<'a> Axle<'a> {
    fn of(axle: &'a AxleReach) -> Self {
        let [x_u_m, y_u_m, z_u_m, roll_u_rad, pitch_u_rad, yaw_u_rad] = axle.coordinates.map(finite);
        let number = |n: &'a crate::jobs::sensors::NumberReach| Number {
            u: finite(n.u),
            budget: n.budget.as_ref().map(Parts::of),
            status: n.status.word(),
            limit: finite(Some(n.limit)),
            can_agree: n.can_agree(),
            why: n.why.as_deref(),
        };
        let gain =
            |before: Option<f64>, after: f64| Gain { before_u: finite(before), after_u: finite(Some(after)) };
        Self {
            name: &axle.name,
            sensors: &axle.sensors,
            coordinates: Coordinates { x_u_m, y_u_m, z_u_m, roll_u_rad, pitch_u_rad, yaw_u_rad },
            numbers: axle.numbers.iter().map(|n| (n.key, number(n))).collect(),
            additions: axle
                .additions
                .iter()
                .map(|a| Addition {
                    what: &a.what,
                    factor: finite(Some(a.factor)),
                    gains: a.gains.iter().map(|(k, before, after)| (*k, gain(*before, *after))).collect(),
                })
                .collect(),
        }
    }
}
