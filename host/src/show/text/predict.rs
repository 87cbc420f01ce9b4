//! What vehicles do as they were drawn: one by itself, or several side by side.

use super::Options;
use super::page::{Ink, Page};
use super::{loads, side_by_side};
use crate::design::prediction::{AtState, AxlePrediction, EndKind, LinkPrediction, TravelEnd};
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::show::rows::{self, Answer};
use crate::show::units::{self, PLUS_MINUS, Units};
use crate::show::{phrases, verdict, words};

/// Predictions as text.
pub fn prediction(predicted: &Predicted, options: &Options) -> String {
    let mut page = Page::new(options.styled);
    match predicted.vehicles.as_slice() {
        [one] => alone(&mut page, one, options.units),
        several => side_by_side::vehicles(&mut page, several, options.units),
    }
    page.finish()
}

fn alone(page: &mut Page, vehicle: &PredictedVehicle, units: Units) {
    let prediction = &vehicle.prediction;
    for axle in &prediction.axles {
        let answers = rows::of_prediction(axle, prediction.wheelbase_m, units);
        page.gap();
        let lead = format!("{}, {} axle as drawn", prediction.vehicle, axle.name);
        page.paragraph(&format!("{lead}: {}", verdict::of_prediction(&answers)), Ink::Strong);
        page.paragraph(&format!("{PLUS_MINUS} {}", phrases::FROM_TOLERANCE), Ink::Faint);
        numbers(page, &answers);
        binding(page, axle, units);
        ends(page, axle, units);
        joints(page, &axle.links, units);
        struts(page, axle);
        states(page, &axle.states, units);
        super::parts::remarks(page, &remarks(axle, units));
    }
    if !prediction.defaults_used.is_empty() {
        page.gap();
        page.paragraph(
            &format!("Not in the file, so taken: {}.", words::list(&prediction.defaults_used)),
            Ink::Plain,
        );
    }
    for axle in &prediction.axles {
        loads::loads(page, &prediction.vehicle, axle, units);
    }
}

fn numbers(page: &mut Page, answers: &[Answer]) {
    for (question, rows) in answers {
        page.heading(question.text());
        for row in rows {
            let word = row.word.map(|w| format!(", {w}")).unwrap_or_default();
            page.entry('·', Ink::Plain, &row.label, &[format!("{}{word}", row.value())]);
        }
    }
}

/// Whether the layout is just held, and what its bushes take at the ends of the sweep.
fn binding(page: &mut Page, axle: &AxlePrediction, units: Units) {
    page.heading("What binds?");
    page.item("·", &held(axle));
    for at in [axle.sweeps.roll.first(), axle.sweeps.roll.last()].into_iter().flatten() {
        let Ok(reached) = &at.outcome else { continue };
        /// Less than this is rounding, N·m.
        const FELT_NM: f64 = 0.01;
        if reached.roll_moment_nm.abs() > FELT_NM {
            let label = words::articulation(at.roll_rad, units);
            let text = format!(
                "the bushes push back with {} N·m and hold {} J",
                units::number(reached.roll_moment_nm.abs(), 0),
                units::number(reached.strain_energy_j, 1)
            );
            page.entry('!', Ink::Plain, &label, &[text]);
        }
    }
}

fn held(axle: &AxlePrediction) -> String {
    match (axle.mobility, axle.redundant) {
        (2, 0) => "Nothing: the links leave heave and articulation free and hold all else.".into(),
        (_, 0) => format!("The links leave {} ways to move beside what bushes allow.", axle.mobility),
        (_, n) => {
            let more = if n == 1 { "one member more" } else { "more members" };
            format!("It is held by {more} than it needs, so it can only articulate by bending its bushes.")
        }
    }
}

/// What ends travel: stops, straps, shocks, and links that do not reach.
fn ends(page: &mut Page, axle: &AxlePrediction, units: Units) {
    let met: Vec<&TravelEnd> =
        axle.ends.iter().filter(|e| e.heave_m.is_some() || e.roll_rad.is_some()).collect();
    let stopped = stopped(axle, units);
    if met.is_empty() && stopped.is_empty() {
        return;
    }
    page.heading("What ends its travel?");
    for end in met {
        let what = match end.kind {
            EndKind::BumpStop => "touches",
            EndKind::Strap => "is taut",
            EndKind::ShockClosed => "is closed",
            EndKind::ShockOpen => "is open",
        };
        let heave = end.heave_m.map(|h| words::state(h, 0.0, units));
        let roll = end.roll_rad.map(|r| words::articulation(r, units));
        let places: Vec<String> = [heave, roll].into_iter().flatten().collect();
        page.entry('·', Ink::Plain, &end.name, &[format!("{what} at {}", places.join(", or at "))]);
    }
    for sentence in stopped {
        page.item("!", &sentence);
    }
}

/// Ends of the sweeps that the links do not reach.
fn stopped(axle: &AxlePrediction, units: Units) -> Vec<String> {
    let ends = |states: &[AtState]| [states.first().cloned(), states.last().cloned()];
    ends(&axle.sweeps.heave)
        .into_iter()
        .chain(ends(&axle.sweeps.roll))
        .flatten()
        .filter_map(|at| at.outcome.err())
        .map(|limit| {
            let reached = words::state(limit.reached_heave_m, limit.reached_roll_rad, units);
            format!("\"{}\" ends it at {reached}: the links do not reach further.", limit.member)
        })
        .collect()
}

/// Joints that are turned furthest, beside what they bear.
fn joints(page: &mut Page, links: &[LinkPrediction], units: Units) {
    if links.iter().all(|l| l.misalignment.is_none()) {
        return;
    }
    page.heading("Do the joints turn far enough?");
    let angle = |rad: f64| units.angle().set_to(rad, 1);
    for link in links {
        let Some(joints) = &link.misalignment else { continue };
        let worst = &joints.worst;
        let (end, turned) = if worst.at.axle_rad > worst.at.chassis_rad {
            ("axle", worst.at.axle_rad)
        } else {
            ("chassis", worst.at.chassis_rad)
        };
        let turned = worst.at.shared_spin_rad.map_or(turned, |shared| shared.max(turned));
        let state = words::state(worst.heave_m, worst.roll_rad, units);
        let at = format!("at most {} at its {end} end, at {state}", angle(turned));
        let (sign, ink, bears) = match joints.limit_rad {
            Some(limit) if turned > limit => {
                ('!', Ink::Bad, format!("more than the {} it bears", angle(limit)))
            }
            Some(limit) => ('·', Ink::Plain, format!("it bears {}", angle(limit))),
            None => ('·', Ink::Plain, "the file does not say what it bears".into()),
        };
        page.entry(sign, ink, &link.name, &[at, bears]);
    }
}

fn struts(page: &mut Page, axle: &AxlePrediction) {
    if axle.struts.is_empty() {
        return;
    }
    page.heading("How far do springs and shocks move?");
    for strut in &axle.struts {
        let text = format!(
            "{} of the left wheel's travel in bump, {} in articulation",
            units::number(strut.heave_ratio, 2),
            units::number(strut.roll_ratio, 2)
        );
        page.entry('·', Ink::Plain, &strut.name, &[text]);
    }
}

/// The states that were asked for.
fn states(page: &mut Page, states: &[AtState], units: Units) {
    if states.is_empty() {
        return;
    }
    page.heading("At the states that you asked for");
    let length = |m: f64| units.length().set_to(m, if units == Units::Mm { 1 } else { 2 });
    let angle = |rad: f64| units.angle().set_to(rad, 2);
    for at in states {
        let label = words::state(at.heave_m, at.roll_rad, units);
        match &at.outcome {
            Ok(reached) => {
                let steer = format!(
                    "steer {}, pitch {}",
                    angle(reached.axle_steer_rad),
                    angle(reached.pose.pitch_rad)
                );
                let moved =
                    format!("{} forward, {} to the left", length(reached.pose.x_m), length(reached.pose.y_m));
                page.entry('·', Ink::Plain, &label, &[steer, moved]);
            }
            Err(limit) => {
                page.entry('!', Ink::Bad, &label, &[format!("out of reach: \"{}\" stops it", limit.member)]);
            }
        }
    }
}

fn remarks(axle: &AxlePrediction, units: Units) -> Vec<String> {
    let mut remarks = axle.notes.clone();
    if let Some(shift) = &axle.ride_shift {
        let length = |m: f64| units.length().set_to(m, if units == Units::Mm { 1 } else { 2 });
        remarks.push(format!(
            "the stated lengths move the axle from where it is drawn: {} forward, {} to the left, pitch {}, steer {}",
            length(shift.x_m),
            length(shift.y_m),
            units.angle().set_to(shift.pitch_rad, 2),
            units.angle().set_to(shift.axle_steer_rad(), 2)
        ));
    }
    remarks
}
