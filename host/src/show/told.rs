//! One axle of one vehicle as drawn, ready to be told: what text and report say of it, each in its own way.

use super::binding::{Binding, push};
use super::entries::{self, Entry};
use super::rows::{self, Answer};
use super::units::{PLUS_MINUS, Units};
use super::{clearances, driveshaft, phrases, words};
use crate::design::CommonStates;
use crate::design::prediction::{AtState, AxlePrediction, EndKind, Reached, TravelEnd};
use crate::jobs::predict::PredictedVehicle;

/// One axle of one vehicle, ready to be told.
#[derive(Debug)]
pub struct Told<'a> {
    /// What the vehicle is called here.
    pub name: String,
    /// Its file.
    pub vehicle: &'a PredictedVehicle,
    /// As predicted.
    pub axle: &'a AxlePrediction,
    /// At the states that all axles have in common.
    pub common: &'a CommonStates,
    /// Its numbers by question.
    pub answers: Vec<Answer>,
    /// Units of people.
    pub units: Units,
}

impl<'a> Told<'a> {
    /// Every axle of a vehicle that is called `name` here.
    pub fn axles(vehicle: &'a PredictedVehicle, name: &str, units: Units) -> Vec<Told<'a>> {
        let axles = vehicle.prediction.axles.iter().zip(&vehicle.common);
        axles
            .map(|(axle, common)| Told {
                name: name.to_owned(),
                vehicle,
                axle,
                common,
                answers: rows::of_prediction(axle, common, vehicle.drawn.wheelbase_m, units),
                units,
            })
            .collect()
    }

    /// Decimals of a length.
    pub fn decimals(&self) -> usize {
        if self.units == Units::Mm { 1 } else { 2 }
    }

    /// What is known of its bind.
    fn binding(&self) -> Binding<'a> {
        let (redundant, drawn) = (self.axle.redundant, self.drawn());
        Binding { redundant, drawn, flex: &self.common.flex, units: self.units }
    }

    /// Whether bushes have to give for the axle to articulate.
    pub fn elastic(&self) -> bool {
        self.binding().elastic()
    }

    /// How many motions its links leave, in words.
    pub fn freedom(&self) -> String {
        let held = match self.axle.redundant {
            0 => "nothing is held twice".to_owned(),
            _ => format!("it is held {} more than need be", self.binding().times()),
        };
        let free = match self.axle.mobility {
            2 => "the links leave free what should be free: up and down, and articulation".to_owned(),
            n => format!("of the two motions up and down and articulation the links leave {n} free"),
        };
        let gives = if self.elastic() { ", so it can only articulate by bending its bushes" } else { "" };
        format!("{free}; {held}{gives}.")
    }

    /// That the axle cannot articulate but for the give of its bushes, in one sentence; nothing where it can.
    pub fn binds_in_roll(&self) -> Option<String> {
        self.binding().in_roll()
    }

    /// What the bushes hold when flexed by the common angle, and at both ends of the articulation; nothing where none gives.
    pub fn bind(&self) -> Vec<Entry> {
        if !self.elastic() {
            return Vec::new();
        }
        let roll = &self.axle.sweeps.roll;
        let ends = [roll.last(), roll.first()].into_iter().flatten();
        let states = self.common.flex.iter().map(|f| &f.at).chain(ends);
        states.filter_map(|at| Some(self.held(at.roll_rad, at.outcome.as_ref().ok()?))).collect()
    }

    fn held(&self, roll_rad: f64, reached: &Reached) -> Entry {
        let energy = self.units.energy().with_u(reached.strain_energy_j, None);
        Entry::plain(
            &words::articulation(roll_rad, self.units),
            vec![format!("the bushes {} and hold {energy}", push(roll_rad, reached, self.units))],
        )
    }

    /// Each end of the travel with what stops it, and where stops, straps and shocks are met.
    pub fn reach(&self) -> Vec<(String, String)> {
        let sweeps = &self.axle.sweeps;
        let ends = [
            ("bump", self.comes_to(&sweeps.heave, |at| at.heave_m)),
            ("droop", self.comes_to(&sweeps.heave, |at| -at.heave_m)),
            ("left wheel up", self.comes_to(&sweeps.roll, |at| at.roll_rad)),
            ("right wheel up", self.comes_to(&sweeps.roll, |at| -at.roll_rad)),
        ];
        let mut all: Vec<(String, String)> = ends.map(|(end, text)| (end.to_owned(), text)).into();
        all.extend(self.axle.ends.iter().map(|end| self.met(end)));
        all
    }

    /// How far the axle comes on the way on which `along` grows.
    fn comes_to(&self, states: &[AtState], along: impl Fn(&AtState) -> f64) -> String {
        let far = |heave_m: f64, roll_rad: f64| match heave_m.abs() > roll_rad.abs() {
            true => self.units.length().set_to(heave_m.abs(), self.decimals()),
            false => self.units.angle().set_to(roll_rad.abs(), 1),
        };
        let out: Vec<&AtState> = states.iter().filter(|at| along(at) > 0.0).collect();
        let first = |a: &&&AtState, b: &&&AtState| along(a).total_cmp(&along(b));
        let stop = out.iter().filter(|at| at.outcome.is_err()).min_by(first);
        match (stop.and_then(|at| at.outcome.as_ref().err()), out.iter().max_by(first)) {
            (Some(stop), _) => {
                let reached = far(stop.reached_heave_m, stop.reached_roll_rad);
                format!("{reached}: there \"{}\" stops it", stop.member)
            }
            (None, Some(at)) => format!("{}, no link stops it", far(at.heave_m, at.roll_rad)),
            (None, None) => "not asked for".to_owned(),
        }
    }

    /// Where a stop, strap or shock ends travel.
    fn met(&self, end: &TravelEnd) -> (String, String) {
        let what = match end.kind {
            EndKind::BumpStop => "touches",
            EndKind::Strap => "is taut",
            EndKind::ShockClosed => "is closed",
            EndKind::ShockOpen => "is open",
        };
        let heave = end.heave_m.map(|heave_m| words::state(heave_m, 0.0, self.units));
        let roll = end.roll_rad.map(|roll_rad| words::articulation(roll_rad, self.units));
        let places: Vec<String> = [heave, roll].into_iter().flatten().map(|at| format!("at {at}")).collect();
        let text = match places.is_empty() {
            true => "nowhere within the sweep".to_owned(),
            false => words::list(&places),
        };
        (format!("{} {what}", end.name), text)
    }

    /// Joints and room.
    pub fn needs(&self) -> Vec<(&'static str, String)> {
        let Some(drawn) = self.drawn() else { return Vec::new() };
        let mut needs = vec![("joints that wear", drawn.locating.joints().to_string())];
        if let Some(room) = drawn.locating.room() {
            let length = |m: f64| self.units.length().set_to(m, self.decimals());
            needs.push(("reach along the vehicle", length(room.reach_m)));
            needs.push(("highest joint above floor", length(room.highest_m)));
            needs.push(("lowest chassis joint", length(room.lowest_chassis_m)));
        }
        needs.extend(self.axle.driveshaft.iter().flat_map(|shaft| driveshaft::needs(shaft, self.units)));
        if let Some(least) = clearances::worst(&self.axle.clearances, self.units) {
            needs.push(("least room to a keep-out", least));
        }
        needs
    }

    /// What goes beyond what it bears or stands in another's way, a sentence each: joints, driveshaft, room.
    pub fn beyond(&self) -> Vec<String> {
        let shaft = self.axle.driveshaft.iter().flat_map(|shaft| driveshaft::entries(shaft, self.units));
        let all = (entries::joints(&self.axle.links, self.units).into_iter())
            .chain(shaft)
            .chain(clearances::entries(&self.axle.clearances, self.units));
        all.filter(|entry| entry.beyond)
            .map(|entry| format!("{}: {}.", words::capital(&entry.label), entry.sentences.join("; ")))
            .collect()
    }

    /// The axle as its file draws it.
    pub fn drawn(&self) -> Option<&'a crate::vehicle::Axle> {
        self.vehicle.drawn.axles.iter().find(|axle| axle.name == self.axle.name)
    }

    /// What was assumed, and where the axle really stands.
    pub fn remarks(&self) -> Vec<String> {
        let shift = self.axle.ride_shift.as_ref().map(|pose| {
            let length = |m: f64| self.units.length().set_to(m, self.decimals());
            format!(
                "Stated lengths and drawn points disagree: joined up, the axle stands {} forward, {} to the left and \
                 {} up of where it is drawn",
                length(pose.x_m),
                length(pose.y_m),
                length(pose.z_m)
            )
        });
        self.axle.notes.iter().cloned().chain(shift).collect()
    }
}

/// What ± means here: what the tolerance of the points makes of each number.
pub fn plus_minus(vehicles: &[&PredictedVehicle], units: Units) -> String {
    let tolerance = vehicles.first().map_or(0.0, |v| v.drawn.tolerance_m);
    let own = |v: &PredictedVehicle| {
        v.drawn.axles.iter().flat_map(|a| &a.locating.links).any(|link| link.tolerance_m.is_some())
    };
    let same = vehicles.iter().all(|v| v.drawn.tolerance_m == tolerance && !own(v));
    let decimals = if units == Units::Mm { 1 } else { 2 };
    let points = match same {
        true => format!(
            ": {} (one standard deviation) in every coordinate",
            units.length().set_to(tolerance, decimals)
        ),
        false => String::new(),
    };
    format!("{PLUS_MINUS} {}{points}.", phrases::FROM_TOLERANCE)
}
