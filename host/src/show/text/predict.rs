//! What vehicles do as drawn.

use super::page::{Ink, Page};
use super::table::{Cells, Table};
use super::{Options, joints, loads, parts, side_by_side};
use crate::design::prediction::{AtState, Reached};
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::show::told::{Told, plus_minus};
use crate::show::units::Scale;
use crate::show::{phrases, ramp, verdict, words};
use crate::vehicle::Position;

/// Predictions as text: one vehicle by question, several side by side.
pub fn prediction(predicted: &Predicted, options: &Options) -> String {
    let mut page = Page::new(options);
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

impl Told<'_> {
    /// The whole axle by question; the first one says what ± means.
    pub(super) fn write(&self, page: &mut Page, first: bool) {
        page.gap();
        let lead = format!("{}, {} axle, as drawn", self.name, self.axle.name);
        page.paragraph(&format!("{lead}: {}", verdict::of_prediction(&self.answers)), Ink::Strong);
        parts::cautions(page, &self.axle.implausible);
        if let Some(binds) = self.binds_in_roll() {
            page.paragraph(&binds, Ink::Plain);
        }
        self.decisive(page);
        if first {
            page.paragraph(&plus_minus(&[self.vehicle], self.units), Ink::Faint);
        }
        self.states(page, "At the states asked for");
        self.numbers(page);
        self.along(page);
        self.write_bind(page);
        self.travel(page);
        self.links(page);
        joints::joints(page, &self.axle.links, self.units);
        joints::struts(page, self.axle);
        joints::shaft(page, self.axle, self.units);
        joints::room(page, self.axle, self.units);
        parts::remarks(page, &self.remarks());
    }

    /// What does not go as drawn, before everything that does.
    pub(super) fn decisive(&self, page: &mut Page) {
        for line in self.beyond() {
            page.item("!", &line);
        }
    }

    /// The loads that were asked for, on a page of their own.
    pub(super) fn loads(&self, page: &mut Page) {
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
    pub(super) fn states(&self, page: &mut Page, heading: &str) {
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

    fn write_bind(&self, page: &mut Page) {
        page.heading("What binds?");
        page.item("·", &words::capital(&self.freedom()));
        let bind = self.bind();
        if bind.is_empty() {
            page.item("·", "Nothing binds: no bush has to give.");
        }
        parts::entries(page, &bind);
    }

    fn travel(&self, page: &mut Page) {
        page.heading("How far does it go?");
        for (end, text) in self.reach() {
            page.entry('·', Ink::Plain, &end, &[text]);
        }
        parts::entries(page, &ramp::entries(self.axle, self.units));
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

fn defaults(page: &mut Page, vehicle: &PredictedVehicle, named: bool) {
    let used = &vehicle.prediction.defaults_used;
    if used.is_empty() {
        return;
    }
    let of = if named { format!(" in {}", vehicle.file) } else { String::new() };
    page.heading(&format!("Taken as usual, for want of a word{of}"));
    page.item("·", &format!("{}.", words::capital(&words::list(used))));
}
