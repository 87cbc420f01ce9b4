//! A calibration laid over a rig: what was found takes the place of what the file says.

use super::fitted::{changed, fitted};
use super::{Calibration, Entry, Found, quantity};
use crate::files::Quantity;
use crate::rig::{
    AngleSensor, DrawWire, ForceSensor, Kind, RangeFinder, Reading, Rig, Scale, Sensor, UnitFound, Zero,
};

/// Where an entry of a calibration stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The entry.
    pub entry: Entry,
    /// What its sensor measures; none for an inertial unit.
    pub quantity: Option<Quantity>,
    /// How old it is, days; negative where it was made after the run.
    pub age_days: Option<f64>,
    /// Why it is not used; none where it is.
    pub void: Option<Void>,
    /// Of a zero: how much longer (or further turned) the sensor is at the still of a run than it was then, and the standard
    /// uncertainty of that, SI.
    pub since: Option<(f64, f64)>,
}

/// Why an entry is not used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Void {
    /// The rig has no such sensor.
    Gone,
    /// The rig file says something else of the sensor than it did then: the word that differs.
    Changed(String),
    /// It is too old: days that it holds.
    Old(u64),
    /// The scale was found anew since, and a zero goes with a scale.
    Rescaled,
    /// It is of another kind of sensor.
    Unfit,
}

impl Void {
    /// Why, as a part of a sentence.
    pub fn words(&self) -> String {
        match self {
            Void::Gone => "rig.toml has no such sensor".into(),
            Void::Changed(what) => {
                format!("rig.toml says another `{what}` of it than then: calibrate it anew")
            }
            Void::Old(days) => format!("it held for {days} days: calibrate it anew"),
            Void::Rescaled => {
                "the scale was calibrated anew since, and a zero goes with its scale: zero it anew".into()
            }
            Void::Unfit => "this kind of sensor has no such thing".into(),
        }
    }
}

/// Factors that differ by less are one.
const SAME_FACTOR: f64 = 1e-6;

/// µs of a day.
const DAY_US: f64 = 86_400e6;

/// Lays a calibration over a rig as its file has it, and says where each entry stands: the last one of every sensor and kind.
/// `at_us` is the time of the readings, µs since 1970; none: nobody is too old.
pub fn overlay(rig: &mut Rig, calibration: &Calibration, at_us: Option<i64>) -> Vec<Standing> {
    let plain = rig.clone();
    let mut standings = Vec::new();
    for entry in last_of_each(calibration) {
        let age_days = at_us.map(|at| (at - entry.at_us) as f64 / DAY_US);
        let known = plain.sensors.iter().position(|s| s.name == entry.sensor);
        let void = match known.and_then(|k| Some((plain.sensors.get(k)?, rig.sensors.get_mut(k)?))) {
            None => Some(Void::Gone),
            Some((plain, sensor)) => fault(entry, plain, age_days).or_else(|| lay(sensor, &entry.found)),
        };
        let quantity = known.and_then(|k| quantity(&plain.sensors.get(k)?.kind));
        standings.push(Standing { entry: entry.clone(), quantity, age_days, void, since: None });
    }
    standings
}

/// The last entry of every sensor and kind; scales before zeros, which go with them.
fn last_of_each(calibration: &Calibration) -> Vec<&Entry> {
    let mut last: Vec<&Entry> = Vec::new();
    for entry in &calibration.entries {
        let same = |e: &&Entry| e.sensor == entry.sensor && e.found.word() == entry.found.word();
        last.retain(|e| !same(e));
        last.push(entry);
    }
    last.sort_by_key(|e| matches!(e.found, Found::Zero(_)));
    last
}

fn fault(entry: &Entry, plain: &Sensor, age_days: Option<f64>) -> Option<Void> {
    if let Some(what) = changed(&entry.fitted, &fitted(plain)) {
        return Some(Void::Changed(what));
    }
    age_days.filter(|age| *age > entry.valid_days).map(|_| Void::Old(entry.valid_days as u64))
}

/// Lays one thing over a sensor; says why where it does not fit.
fn lay(sensor: &mut Sensor, found: &Found) -> Option<Void> {
    match (&mut sensor.kind, found) {
        (Kind::Inertial(unit), Found::Tumble(f)) => {
            unit.found = UnitFound { bias: f.bias, matrix: f.matrix, ..unit.found };
            unit.accel_bias_u = f.bias_u.max();
            unit.scale_u = f.scale_u.max();
            unit.gyro_bias_u = unit.gyro_bias_u.min(f.gyro_bias_u.max());
            None
        }
        (Kind::Inertial(unit), Found::Heading(f)) => {
            unit.found.heading_rad = f.heading_rad;
            unit.heading_u_rad = f.u_rad;
            None
        }
        (Kind::DrawWire(DrawWire { reading, .. }), _)
        | (Kind::Angle(AngleSensor { reading, .. }), _)
        | (Kind::Range(RangeFinder { reading, .. }), _)
        | (Kind::Force(ForceSensor { reading, .. }), _) => lay_reading(reading, found),
        (Kind::Inertial(_), _) => Some(Void::Unfit),
    }
}

fn lay_reading(reading: &mut Reading, found: &Found) -> Option<Void> {
    match found {
        Found::Scale(f) => {
            reading.gain = f.factor;
            reading.scale_u = f.relative_u;
            reading.scale = match &reading.scale {
                Scale::Linear(per_count) => Scale::Linear(per_count * f.factor),
                Scale::Points(points) => {
                    Scale::Points(points.iter().map(|[count, value]| [*count, value * f.factor]).collect())
                }
            };
            reading.linearity = f.linearity.unwrap_or(reading.linearity);
            None
        }
        // Factors are written with nine digits: two that differ by less are one.
        Found::Zero(f) if (reading.gain / f.factor - 1.0).abs() > SAME_FACTOR => Some(Void::Rescaled),
        Found::Zero(f) => {
            reading.zero = Some(Zero { offset: f.offset, u: f.u });
            None
        }
        Found::Tumble(_) | Found::Heading(_) => Some(Void::Unfit),
    }
}
