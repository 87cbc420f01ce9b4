//! One line per number, grouped by question: what text and report print, each in its own way.

use super::questions::{Question, zero_at_ride};
use super::sweeps::Sweeps;
use super::units::{Scale, Units};
use super::words;
use crate::design::CommonStates;
use crate::design::common_states::Flexed;
use crate::design::prediction::AxlePrediction;
use crate::judge::{AxleComparison, AxleRuns, DesignedPoint, NumberComparison, Quantity, Verdict};
use crate::measure::{AlongPoint, AxleAnalysis, Direction, Measured, Status};
pub use crate::vehicle::numbers::FLEX_RAD;
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{Position, Vehicle};
use std::collections::BTreeMap;

/// Less articulation than this is no flex, rad (2°).
pub const LEAST_FLEX_RAD: f64 = 2.0 * std::f64::consts::PI / 180.0;

/// One number for people.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Which it is, whatever it is called.
    pub id: Id,
    /// What it is.
    pub label: String,
    /// Its unit on screens.
    pub scale: Scale,
    /// As measured; as drawn where nothing was.
    pub measured: Measured,
    /// Which way it goes.
    pub word: Option<&'static str>,
    /// Beside what it is set, where it is.
    pub against: Option<Against>,
}

/// Which number a row tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Id {
    /// One of the vocabulary, at ride height.
    Number(Key),
    /// One of the vocabulary, where the travel shows most of it; of a drawing, when flexed with the left wheel up.
    Most(Key),
    /// Steer of the axle near 10° of articulation with the left wheel up.
    SteerLeftUp,
    /// The same with the right wheel up.
    SteerRightUp,
    /// Height of the roll axis at the other axle's wheels.
    AxisAtOtherWheels,
}

/// What a number is set beside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Against {
    /// As drawn, or as the first run measured it.
    pub other: Quantity,
    /// Measured less that.
    pub difference: Quantity,
    /// Difference that is accepted.
    pub limit: Option<f64>,
    /// The verdict; none where the number is shown without one.
    pub verdict: Option<Verdict>,
}

/// A question with the rows that answer it.
pub type Answer = (Question, Vec<Row>);

impl Row {
    /// Its key, where it is one of the vocabulary at ride height.
    pub fn key(&self) -> Option<Key> {
        match self.id {
            Id::Number(key) => Some(key),
            _ => None,
        }
    }

    /// Value, ± and unit, or the status in its place.
    pub fn value(&self) -> String {
        match (self.measured.value, self.measured.measured()) {
            (_, Some((value, u))) => self.scale.with_u(value, Some(u)),
            (Some(value), None) => {
                format!("{} ({})", self.scale.with_u(value, self.measured.u), self.measured.status.word())
            }
            (None, None) => self.measured.status.word().to_owned(),
        }
    }

    /// Why there is no value.
    pub fn why(&self) -> Option<&str> {
        self.measured.why.as_deref()
    }
}

/// What the rows of one axle come from.
struct Source<'a> {
    position: Position,
    wheelbase_m: f64,
    units: Units,
    numbers: BTreeMap<Key, (Measured, Option<Against>)>,
    along: &'a [AlongPoint],
    designed: &'a [Option<DesignedPoint>],
    /// Whether `along` is nothing but one articulated state to each side.
    flexed_only: bool,
}

/// The rows of an analysis.
pub fn of_analysis(axle: &AxleAnalysis, vehicle: &Vehicle, units: Units) -> Vec<Answer> {
    let numbers = axle.measured.iter().map(|(key, m)| (*key, (m.clone(), None))).collect();
    let wheelbase_m = vehicle.wheelbase_m;
    Source {
        position: axle.position,
        wheelbase_m,
        units,
        numbers,
        along: &axle.along,
        designed: &[],
        flexed_only: false,
    }
    .answers()
}

/// The rows of a comparison with the design.
pub fn of_comparison(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Vec<Answer> {
    Source {
        position: axle.analysis.position,
        wheelbase_m: vehicle.wheelbase_m,
        units,
        numbers: side_by_side(&axle.numbers),
        along: &axle.analysis.along,
        designed: &axle.designed_along,
        flexed_only: false,
    }
    .answers()
}

/// The rows of two runs set beside each other.
pub fn of_runs(axle: &AxleRuns, vehicle: &Vehicle, units: Units) -> Vec<Answer> {
    // Results list every number that an axle can have, and only a rear axle can have anti-squat.
    let rear = axle.numbers.contains_key(&Key::AntiSquat);
    let position = if rear { Position::Rear } else { Position::Front };
    let numbers = side_by_side(&axle.numbers);
    let wheelbase_m = vehicle.wheelbase_m;
    Source { position, wheelbase_m, units, numbers, along: &[], designed: &[], flexed_only: false }.answers()
}

/// The rows of a prediction: numbers at ride height, and what the axle does when flexed. Where the points' tolerance has no
/// say, there is no ±.
pub fn of_prediction(
    axle: &AxlePrediction,
    common: &CommonStates,
    wheelbase_m: f64,
    units: Units,
) -> Vec<Answer> {
    let ride = (&axle.ride.numbers, &axle.ride_u);
    of_drawn(axle.position, ride, &common.flex, wheelbase_m, units)
}

/// The rows of an axle that is drawn: its numbers at ride height with their u, and its flexed states.
pub fn of_drawn(
    position: Position,
    (ride, ride_u): (&Numbers, &Numbers),
    flex: &[Flexed],
    wheelbase_m: f64,
    units: Units,
) -> Vec<Answer> {
    let mut numbers = BTreeMap::new();
    for (key, value) in ride.iter() {
        if let Some(value) = value {
            numbers.insert(key, (drawn(value, ride_u.get(key)), None));
        }
    }
    let along: Vec<AlongPoint> = flex.iter().filter_map(flexed_point).collect();
    Source { position, wheelbase_m, units, numbers, along: &along, designed: &[], flexed_only: true }
        .answers()
}

fn drawn(value: f64, u: Option<f64>) -> Measured {
    Measured::new(value, u.unwrap_or(0.0))
}

/// An articulated state as one of the travel. Numbers that are zero at ride height are told with the left wheel up only.
fn flexed_point(flexed: &Flexed) -> Option<AlongPoint> {
    let reached = flexed.at.outcome.as_ref().ok()?;
    let u = flexed.u.as_ref();
    let mut numbers = BTreeMap::new();
    if flexed.at.roll_rad > 0.0 {
        for (key, value) in reached.numbers.iter().filter(|(key, _)| zero_at_ride(*key)) {
            if let Some(value) = value {
                numbers.insert(key, drawn(value, u.and_then(|u| u.numbers.get(key))));
            }
        }
    }
    Some(AlongPoint {
        heave_m: flexed.at.heave_m,
        roll_rad: flexed.at.roll_rad,
        direction: Direction::Up,
        axle_steer_rad: drawn(reached.axle_steer_rad, u.map(|u| u.axle_steer_rad)),
        pose: reached.pose,
        numbers,
    })
}

fn side_by_side(numbers: &BTreeMap<Key, NumberComparison>) -> BTreeMap<Key, (Measured, Option<Against>)> {
    numbers
        .iter()
        .map(|(key, n)| {
            let against = Against {
                other: n.designed,
                difference: n.difference,
                limit: n.limit,
                verdict: Some(n.verdict),
            };
            (*key, (n.measured.clone(), Some(against)))
        })
        .collect()
}

impl Source<'_> {
    fn answers(&self) -> Vec<Answer> {
        let mut answers: Vec<Answer> = Question::ALL
            .into_iter()
            .map(|question| (question, self.rows(question)))
            .filter(|(_, rows)| !rows.is_empty())
            .collect();
        reasons_once(&mut answers);
        answers
    }

    fn rows(&self, question: Question) -> Vec<Row> {
        let mut rows = Vec::new();
        if question == Question::Steer {
            rows.extend(self.flex_steer());
        }
        for key in question.keys() {
            if !key.applies_to(self.position) {
                continue;
            }
            if zero_at_ride(*key) {
                rows.extend(self.most_along(*key));
                continue;
            }
            let Some((measured, against)) = self.numbers.get(key) else { continue };
            if *key == Key::SideViewDirection && !self.centre_at_infinity(measured) {
                continue;
            }
            rows.push(self.row(*key, measured, *against));
            if *key == Key::RollAxisRise {
                rows.extend(self.axis_at_other_wheels());
            }
        }
        rows
    }

    /// Whether the side-view direction is of use: it has a value, or the instant centre has none.
    fn centre_at_infinity(&self, direction: &Measured) -> bool {
        let centre = self.numbers.get(&Key::SideViewInstantCentreX);
        direction.value.is_some() || centre.is_none_or(|(centre, _)| centre.value.is_none())
    }

    fn row(&self, key: Key, measured: &Measured, against: Option<Against>) -> Row {
        let known = measured.measured();
        let word = known.and_then(|(value, u)| words::direction(key, self.position, value, Some(u)));
        let label = match key {
            Key::RollCentreZ => {
                let [own, _] = words::position(self.position);
                format!("roll centre (roll axis at the {own} wheels)")
            }
            _ => label(key).to_owned(),
        };
        let (id, scale) = (Id::Number(key), self.units.of(key));
        Row { id, label, scale, measured: measured.clone(), word, against }
    }

    /// Steer of the axle at the states nearest to [`FLEX_RAD`], left and right wheel up.
    fn flex_steer(&self) -> Vec<Row> {
        let sweeps = Sweeps::of(self.along);
        [1.0, -1.0]
            .into_iter()
            .filter_map(|side| {
                let off = |k: &usize| (self.along[*k].roll_rad - side * FLEX_RAD).abs();
                let near = sweeps.roll[0].iter().copied().min_by(|a, b| off(a).total_cmp(&off(b)))?;
                let point = &self.along[near];
                if side * point.roll_rad < LEAST_FLEX_RAD {
                    return None;
                }
                let designed = self.designed.get(near).and_then(Option::as_ref);
                Some(self.flex_row(point, designed.map(|d| d.pose.axle_steer_rad())))
            })
            .collect()
    }

    fn flex_row(&self, point: &AlongPoint, designed: Option<f64>) -> Row {
        let steer = &point.axle_steer_rad;
        let word = steer.value.and_then(|value| {
            let per_roll = value / point.roll_rad;
            let u = steer.u.map(|u| u / point.roll_rad.abs());
            words::direction(Key::RollSteer, self.position, per_roll, u)
        });
        Row {
            id: if point.roll_rad > 0.0 { Id::SteerLeftUp } else { Id::SteerRightUp },
            label: format!("steer, {}", words::articulation(point.roll_rad, self.units)),
            scale: self.units.angle(),
            measured: steer.clone(),
            word,
            against: beside(steer, designed),
        }
    }

    /// Where the travel's measured states show the greatest value of a number that is zero at ride height.
    fn most_along(&self, key: Key) -> Option<Row> {
        let size = |k: &usize| {
            let numbers = &self.along[*k].numbers;
            numbers.get(&key).and_then(Measured::measured).map(|(value, _)| value.abs())
        };
        let most = (0..self.along.len())
            .filter(|k| size(k).is_some())
            .max_by(|a, b| size(a).unwrap_or(0.0).total_cmp(&size(b).unwrap_or(0.0)))?;
        let point = &self.along[most];
        let measured = point.numbers.get(&key)?;
        let designed = self.designed.get(most).and_then(Option::as_ref).and_then(|d| d.numbers.get(key));
        let against = beside(measured, designed);
        let state = words::state(point.heave_m, point.roll_rad, self.units);
        let mut row = self.row(key, measured, against);
        row.id = Id::Most(key);
        row.label = match self.flexed_only {
            true => format!("{}, {state}", row.label),
            false => format!("{}, most (at {state})", row.label),
        };
        Some(row)
    }

    /// Height of the roll axis at the other axle's wheel centreline: `z ± wheelbase·tan(rise)`. Its u adds those of the
    /// two numbers as if they went together, the worst that their unknown correlation can make of it.
    fn axis_at_other_wheels(&self) -> Option<Row> {
        let (centre, centre_against) = self.numbers.get(&Key::RollCentreZ)?;
        let (rise, rise_against) = self.numbers.get(&Key::RollAxisRise)?;
        let towards = match self.position {
            Position::Rear => self.wheelbase_m,
            Position::Front => -self.wheelbase_m,
        };
        let height = |z: f64, rise: f64| z + towards * rise.tan();
        let (z, u_z) = centre.measured()?;
        let (angle, u_angle) = rise.measured()?;
        let u = u_z + towards.abs() * u_angle / angle.cos().powi(2);
        let measured = Measured::new(height(z, angle), u);
        let designed = match (centre_against, rise_against) {
            (Some(c), Some(r)) => c.other.value.zip(r.other.value).map(|(z, rise)| height(z, rise)),
            _ => None,
        };
        let [_, other] = words::position(self.position);
        let word = words::direction(Key::RollCentreZ, self.position, measured.value?, measured.u);
        Some(Row {
            id: Id::AxisAtOtherWheels,
            label: format!("roll axis at the {other} wheels"),
            scale: self.units.length(),
            against: beside(&measured, designed),
            measured,
            word,
        })
    }
}

/// Says a reason that several numbers share with the first of them only; the others point to it. A short one is no longer than that.
fn reasons_once(answers: &mut [Answer]) {
    const SHORT: usize = 30;
    let mut told: Vec<(Status, String, String)> = Vec::new();
    for row in answers.iter_mut().flat_map(|(_, rows)| rows).filter(|row| row.measured.measured().is_none()) {
        let status = row.measured.status;
        let Some(why) = row.measured.why.as_mut().filter(|why| why.chars().count() > SHORT) else { continue };
        match told.iter().find(|(s, reason, _)| *s == status && reason == why) {
            Some((_, _, first)) => *why = format!("as for {first}"),
            None => told.push((status, why.clone(), row.label.clone())),
        }
    }
}

fn beside(measured: &Measured, designed: Option<f64>) -> Option<Against> {
    let designed = designed?;
    let difference = measured.measured().map(|(value, u)| (value - designed, u));
    Some(Against {
        other: Quantity { value: Some(designed), u: None },
        difference: Quantity { value: difference.map(|d| d.0), u: difference.map(|d| d.1) },
        limit: None,
        verdict: None,
    })
}

/// What people read for a key: short, and without commas, so that it can stand in a list.
pub fn label(key: Key) -> &'static str {
    match key {
        Key::SideViewInstantCentreX => "instant centre distance",
        Key::SideViewInstantCentreZ => "instant centre height",
        Key::SideViewDirection => "side-view direction",
        Key::WheelbaseChangeLeft => "wheelbase change of the left wheel",
        Key::WheelbaseChangeRight => "wheelbase change of the right wheel",
        Key::TrackShiftLeft => "sideways shift of the left wheel",
        Key::TrackShiftRight => "sideways shift of the right wheel",
        other => other.label(),
    }
}
