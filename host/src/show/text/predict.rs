//! What vehicles do as drawn.

use super::page::{Ink, Page};
use super::table::{Cells, Table};
use super::{Options, joints, loads, parts, side_by_side};
use crate::design::CommonStates;
use crate::design::prediction::{AtState, AxlePrediction, EndKind, Reached, TravelEnd};
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::show::rows::{self, Answer};
use crate::show::units::{PLUS_MINUS, Scale, Units};
use crate::show::{phrases, verdict, words};
use crate::vehicle::Position;

/// Less roll moment than this at a state is no bind, N·m: rounding of a layout that moves freely.
pub(super) const FREE_NM: f64 = 1e-6;

/// Predictions as text: one vehicle by question, several side by side.
pub fn prediction(predicted: &Predicted, options: &Options) -> String {
    let mut page = Page::new(options.styled);
    match predicted.vehicles.as_slice() {
        [one] => {
            let axles = Told::axles(one, &one.prediction.vehicle, options.units);
            axles.iter().enumerate().for_each(|(k, axle)| axle.write(&mut page, k == 0));
            axles.iter().for_each(|axle| axle.loads(&mut page));
        }
        several => side_by_side::write(&mut page, several, options.units),
    }
    for vehicle in &predicted.vehicles {
        defaults(&mut page, vehicle, predicted.vehicles.len() > 1);
    }
    page.gap();
    page.paragraph(phrases::ONLY_DRAWN, Ink::Plain);
    page.finish()
}

/// One axle of one vehicle, ready to be told.
pub(super) struct Told<'a> {
    /// What the vehicle is called here.
    pub name: String,
    pub vehicle: &'a PredictedVehicle,
    pub axle: &'a AxlePrediction,
    pub common: &'a CommonStates,
    pub answers: Vec<Answer>,
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

    /// The whole axle by question; the first one says what ± means.
    pub fn write(&self, page: &mut Page, first: bool) {
        page.gap();
        let lead = format!("{}, {} axle, as drawn", self.name, self.axle.name);
        page.paragraph(&format!("{lead}: {}", verdict::of_prediction(&self.answers)), Ink::Strong);
        if first {
            page.paragraph(&plus_minus(&[self.vehicle], self.units), Ink::Faint);
        }
        self.states(page, "At the states asked for");
        self.numbers(page);
        self.along(page);
        self.bind(page);
        self.travel(page);
        self.links(page);
        joints::joints(page, &self.axle.links, self.units);
        joints::struts(page, self.axle);
        parts::remarks(page, &self.remarks());
    }

    /// The loads that were asked for, on a page of their own.
    pub fn loads(&self, page: &mut Page) {
        loads::loads(page, &self.name, self.axle, self.units);
    }

    fn numbers(&self, page: &mut Page) {
        for (question, rows) in &self.answers {
            page.heading(question.text());
            for row in rows {
                let word = row.word.map(|w| format!(", {w}")).unwrap_or_default();
                page.entry('·', Ink::Plain, &row.label, &[format!("{}{word}", row.value())]);
            }
        }
    }

    /// The states that the caller asked for, where there are any.
    pub fn states(&self, page: &mut Page, heading: &str) {
        if self.axle.states.is_empty() {
            return;
        }
        page.heading(heading);
        let (length, angle) = (self.units.length(), self.units.angle());
        let label = |at: &AtState| {
            let heave = length.column(at.heave_m, self.decimals());
            format!("{heave}{}, {}", length.unit, angle.set_to(at.roll_rad, 2))
        };
        let states: Vec<&AtState> = self.axle.states.iter().collect();
        page.table(&self.table("heave, roll", label, &states, true));
        page.paragraph(&self.signs(), Ink::Faint);
    }

    fn along(&self, page: &mut Page) {
        let sweeps = &self.axle.sweeps;
        let label = |at: &AtState| words::state(at.heave_m, at.roll_rad, self.units);
        page.heading("What does it do on its way?");
        page.table(&self.table("articulation", label, &some(&sweeps.roll), true));
        page.gap();
        page.table(&self.table("up and down", label, &some(&sweeps.heave), false));
        if self.axle.states.is_empty() {
            page.paragraph(&self.signs(), Ink::Faint);
        }
    }

    fn table(
        &self,
        first: &str,
        label: impl Fn(&AtState) -> String,
        states: &[&AtState],
        wheels: bool,
    ) -> Table {
        let columns = self.columns(wheels);
        let headings = columns.iter().map(|c| format!("{} {}", c.heading, c.scale.unit.trim()));
        let cells = |at: &AtState| match &at.outcome {
            Ok(reached) => Cells::Values(
                columns.iter().map(|c| c.scale.column((c.value)(reached), c.decimals)).collect(),
            ),
            Err(stop) => Cells::Remark(format!("out of reach: \"{}\" stops it", stop.member)),
        };
        Table {
            headings: std::iter::once(first.to_owned()).chain(headings).collect(),
            unbroken: false,
            rows: states.iter().map(|at| (label(at), cells(at))).collect(),
        }
    }

    fn signs(&self) -> String {
        let bind = if self.elastic() { "; bind turns the axle towards right wheel up" } else { "" };
        format!("Plus is: to the left, up, forward, pinion nose up{bind}. As drawn, against ride height.")
    }

    fn columns(&self, wheels: bool) -> Vec<Column> {
        let (length, angle) = (self.units.length(), self.units.angle());
        let decimals = self.decimals();
        let mut columns = vec![Column::new("steer", angle, 2, |r| r.axle_steer_rad)];
        if wheels {
            columns.push(Column::new("left wheel", length, decimals, |r| r.wheel_travel_m[0]));
            columns.push(Column::new("right wheel", length, decimals, |r| r.wheel_travel_m[1]));
        }
        if !wheels && self.axle.ride.bump_steer.is_some() {
            let heading = |r: &Reached| r.bump_steer.map_or(f64::NAN, |wheel| wheel.heading_rad);
            columns.push(Column::new("steered wheels", angle, 2, heading));
        }
        columns.push(Column::new("sideways", length, decimals, |r| r.pose.y_m));
        columns.push(Column::new("forward", length, decimals, |r| r.pose.x_m));
        // A rear axle's pinion points forward and drops as the axle pitches, a front axle's points back and rises.
        columns.push(match self.axle.position {
            Position::Rear => Column::new("pinion", angle, 2, |r| -r.pose.pitch_rad),
            Position::Front => Column::new("pinion", angle, 2, |r| r.pose.pitch_rad),
        });
        if self.elastic() {
            columns.push(Column::new("bind", self.units.moment(), 0, |r| r.roll_moment_nm));
        }
        columns
    }

    pub fn decimals(&self) -> usize {
        if self.units == Units::Mm { 1 } else { 2 }
    }

    /// Whether bushes have to give for the axle to articulate.
    pub fn elastic(&self) -> bool {
        let flexed = self.common.flex.iter().filter_map(|f| f.at.outcome.as_ref().ok());
        flexed.map(|r| r.roll_moment_nm.abs()).fold(0.0, f64::max) > FREE_NM
    }

    /// How many motions its links leave, in words.
    pub fn freedom(&self) -> String {
        let held = match self.axle.redundant {
            0 => "nothing is held twice".to_owned(),
            1 => "it is held once more than need be".to_owned(),
            n => format!("it is held {n} times more than need be"),
        };
        let free = match self.axle.mobility {
            2 => "the links leave free what should be free: up and down, and articulation".to_owned(),
            n => format!("of the two motions up and down and articulation the links leave {n} free"),
        };
        let gives = if self.elastic() { ", so it can only articulate by bending its bushes" } else { "" };
        format!("{free}; {held}{gives}.")
    }

    fn bind(&self, page: &mut Page) {
        page.heading("What binds?");
        page.item("·", &words::capital(&self.freedom()));
        if !self.elastic() {
            page.item("·", "Nothing binds: no bush has to give.");
            return;
        }
        let roll = &self.axle.sweeps.roll;
        let ends = [roll.last(), roll.first()].into_iter().flatten();
        for at in self.common.flex.iter().map(|f| &f.at).chain(ends) {
            let Ok(reached) = &at.outcome else { continue };
            let moment = self.units.moment().with_u(reached.roll_moment_nm.abs(), None);
            let way = if reached.roll_moment_nm * at.roll_rad < 0.0 { "on" } else { "back" };
            let energy = self.units.energy().with_u(reached.strain_energy_j, None);
            let label = words::articulation(at.roll_rad, self.units);
            page.entry(
                '·',
                Ink::Plain,
                &label,
                &[format!("the bushes push {way} with {moment} and hold {energy}")],
            );
        }
    }

    fn travel(&self, page: &mut Page) {
        page.heading("How far does it go?");
        for (end, text) in self.reach() {
            page.entry('·', Ink::Plain, &end, &[text]);
        }
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

    fn links(&self, page: &mut Page) {
        page.heading("What does it take?");
        for link in &self.axle.links {
            let length = self.units.length().set_to(link.length_m, self.decimals());
            page.entry('·', Ink::Plain, &link.name, &[format!("{length} between joints")]);
        }
        for (label, text) in self.needs() {
            page.entry('·', Ink::Plain, label, &[text]);
        }
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
        needs
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

/// One column of a table of states.
struct Column {
    heading: &'static str,
    scale: Scale,
    decimals: usize,
    value: fn(&Reached) -> f64,
}

impl Column {
    fn new(heading: &'static str, scale: Scale, decimals: usize, value: fn(&Reached) -> f64) -> Self {
        Self { heading, scale, decimals, value }
    }
}

/// Both ends, the middle, and halfway of a sweep.
fn some(sweep: &[AtState]) -> Vec<&AtState> {
    let last = sweep.len().saturating_sub(1);
    (0..=4).filter_map(|quarter| sweep.get(quarter * last / 4)).collect()
}

/// What ± means here: what the tolerance of the points makes of each number.
pub(super) fn plus_minus(vehicles: &[&PredictedVehicle], units: Units) -> String {
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

fn defaults(page: &mut Page, vehicle: &PredictedVehicle, named: bool) {
    let used = &vehicle.prediction.defaults_used;
    if used.is_empty() {
        return;
    }
    let of = if named { format!(" in {}", vehicle.file) } else { String::new() };
    page.heading(&format!("Taken as usual, for want of a word{of}"));
    page.item("·", &format!("{}.", words::capital(&words::list(used))));
}
