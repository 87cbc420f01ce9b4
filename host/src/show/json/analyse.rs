//! `analyse --json`.

use super::calibrate::Row as CalibrationRow;
use super::flex::{Share, Used};
use super::{FORMAT, Plain, Value, by_key, finite, text};
use crate::judge::compare::InUse;
use crate::measure::nuisance::{Dearest, Source};
use crate::measure::{AlongPoint, Analysis, AxleAnalysis, Budget, Direction, LinkMeasured};
use crate::rig::calibration::Standing;
use crate::run::Counts;
use crate::vehicle::Side;
use crate::vehicle::numbers::Key;
use serde::Serialize;
use std::collections::BTreeMap;

/// An analysis as JSON; `in_use` says by axle which bracket holes the motion fits, `calibration` where the sensors' stands.
pub fn analysis(analysis: &Analysis, in_use: &[Vec<InUse>], calibration: &[Standing]) -> String {
    let holes = |axle: usize| in_use.get(axle).map_or(&[][..], Vec::as_slice);
    let axles = analysis
        .axles
        .iter()
        .enumerate()
        .map(|(k, axle)| Axle::of(axle, holes(k), analysis.counts))
        .collect();
    let calibration = calibration.iter().map(CalibrationRow::of).collect();
    let articulation_sharing = analysis.sharing.iter().map(Share::of).collect();
    let remarks = analysis.axles.iter().flat_map(|axle| &axle.remarks).chain(&analysis.remarks);
    let remarks = remarks.map(String::as_str).collect();
    text(&Document {
        format: FORMAT,
        axles,
        articulation_sharing,
        calibration,
        load_n: analysis.facts.load_n,
        remarks,
    })
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    axles: Vec<Axle<'a>>,
    articulation_sharing: Vec<Share<'a>>,
    calibration: Vec<CalibrationRow<'a>>,
    /// As typed in for a rock or a shove.
    load_n: Option<f64>,
    remarks: Vec<&'a str>,
}

#[derive(Serialize)]
struct Axle<'a> {
    name: &'a str,
    measured: BTreeMap<Key, Value>,
    along: Vec<Along>,
    budget: BTreeMap<Key, Parts>,
    know_better_first: BTreeMap<Key, First>,
    ramp_travel_index: Sides,
    links: Vec<Link<'a>>,
    samples: Counts,
    fit: Fit,
    envelope: Option<Used>,
}

#[derive(Serialize)]
struct Along {
    heave_m: f64,
    roll_rad: f64,
    direction: Direction,
    axle_steer_rad: Value,
    #[serde(flatten)]
    numbers: BTreeMap<Key, Value>,
}

#[derive(Serialize, Default)]
pub(super) struct Parts {
    noise: Option<f64>,
    mount: Option<f64>,
    scale: Option<f64>,
    zero: Option<f64>,
    heading: Option<f64>,
    model: Option<f64>,
}

/// What to know better first for a number, and the u that would be left were it known exactly.
#[derive(Serialize, Default)]
struct First {
    sensor: Option<String>,
    source: Option<&'static str>,
    u: Option<f64>,
}

impl First {
    fn of(dearest: &Dearest, sensors: &[String]) -> Self {
        let source = match dearest.source {
            Source::Mount => "mount",
            Source::Scale => "scale",
            Source::Zero => "zero",
            Source::Heading => "heading",
            Source::Model => "model",
        };
        let sensor = dearest.sensor.and_then(|k| sensors.get(k)).cloned();
        Self { sensor, source: Some(source), u: finite(Some(dearest.u)) }
    }
}

#[derive(Serialize)]
struct Sides {
    left: Value,
    right: Value,
}

#[derive(Serialize)]
struct Link<'a> {
    name: &'a str,
    length_m: Plain,
    nominal_m: f64,
    play_m: Value,
    drawn_give_m: Value,
    compliance_m_per_n: Value,
    in_use: Vec<Hole>,
}

#[derive(Serialize)]
struct Hole {
    end: &'static str,
    hole: usize,
    odds: f64,
}

#[derive(Serialize)]
struct Fit {
    chi_square_per_dof: Option<f64>,
}

impl<'a> Axle<'a> {
    fn of(axle: &'a AxleAnalysis, in_use: &[InUse], samples: Counts) -> Self {
        let [left, right] = &axle.ramp_travel_index;
        Self {
            name: &axle.name,
            measured: by_key(|key| Value::of_any(axle.measured.get(&key))),
            along: axle.along.iter().map(Along::of).collect(),
            budget: by_key(|key| axle.budget.get(&key).map(Parts::of).unwrap_or_default()),
            know_better_first: by_key(|key| {
                axle.dearest.get(&key).map(|d| First::of(d, &axle.sensors)).unwrap_or_default()
            }),
            ramp_travel_index: Sides { left: Value::of(&left.index), right: Value::of(&right.index) },
            links: axle.links.iter().map(|link| Link::of(link, in_use)).collect(),
            samples,
            fit: Fit { chi_square_per_dof: finite(axle.fit.chi_square_per_dof) },
            envelope: axle.envelope.as_ref().map(Used::of),
        }
    }
}

impl Along {
    fn of(point: &AlongPoint) -> Self {
        Self {
            heave_m: point.heave_m,
            roll_rad: point.roll_rad,
            direction: point.direction,
            axle_steer_rad: Value::of(&point.axle_steer_rad),
            numbers: by_key(|key| Value::of_any(point.numbers.get(&key))),
        }
    }
}

impl Parts {
    pub(super) fn of(budget: &Budget) -> Self {
        let Budget { noise, mount, scale, zero, heading, model } = *budget;
        let part = |u: f64| finite(Some(u));
        Self {
            noise: part(noise),
            mount: part(mount),
            scale: part(scale),
            zero: part(zero),
            heading: part(heading),
            model: part(model),
        }
    }
}

impl<'a> Link<'a> {
    fn of(link: &'a LinkMeasured, in_use: &[InUse]) -> Self {
        Self {
            name: &link.name,
            length_m: Plain::new(link.length_m.value, link.length_m.u),
            nominal_m: link.nominal_m,
            play_m: Value::of(&link.play_m),
            drawn_give_m: Value::of(&link.drawn_give_m),
            compliance_m_per_n: Value::of(&link.compliance_m_per_n),
            in_use: in_use
                .iter()
                .filter(|bracket| bracket.links.contains(&link.name))
                .flat_map(Hole::of)
                .collect(),
        }
    }
}

impl Hole {
    /// One per hole of a bracket, counted from 1.
    fn of(bracket: &InUse) -> impl Iterator<Item = Hole> {
        let end = match bracket.end {
            Side::Chassis => "chassis",
            Side::Axle => "axle",
        };
        bracket.odds.iter().enumerate().map(move |(k, odds)| Hole { end, hole: k + 1, odds: *odds })
    }
}
