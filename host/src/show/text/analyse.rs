//! What one run measured.

use super::page::{Ink, Page};
use super::{Options, parts};
use crate::measure::{Analysis, AxleAnalysis, Status};
use crate::run::Facts;
use crate::show::flex;
use crate::show::rows::{self, Answer, Row};
use crate::show::units::{PLUS_MINUS, Units};
use crate::show::verdict;
use crate::vehicle::Vehicle;

/// An analysis as text.
pub fn analysis(analysis: &Analysis, vehicle: &Vehicle, options: &Options) -> String {
    let mut page = Page::new(options);
    for axle in &analysis.axles {
        let answers = rows::of_analysis(axle, vehicle, options.units);
        page.gap();
        let lead = format!("{}, {} axle", analysis.vehicle, axle.name);
        page.paragraph(
            &format!("{lead}: {}", verdict::of_analysis(&answers, &axle.links, options.units)),
            Ink::Strong,
        );
        parts::measured_on(&mut page, &analysis.provenance.run, &analysis.facts, options.units);
        page.paragraph(PLUS_MINUS, Ink::Faint);
        numbers(&mut page, &answers);
        parts::travel(&mut page, axle, options.units);
        envelope(&mut page, axle, options.units);
        parts::links(&mut page, axle, options.units);
        agreement(&mut page, axle);
        limits(&mut page, axle, options.units);
        parts::remarks(&mut page, &axle.remarks);
    }
    parts::sharing(&mut page, &analysis.sharing, options.units);
    notes(&mut page, &analysis.facts);
    parts::samples(&mut page, &analysis.counts);
    parts::remarks(&mut page, &analysis.remarks);
    page.finish()
}

/// What was noted of the run before and while it was recorded.
pub(super) fn notes(page: &mut Page, facts: &Facts) {
    if facts.notes.is_empty() {
        return;
    }
    page.heading("Notes");
    for line in facts.notes.lines() {
        page.item("·", line);
    }
}

fn numbers(page: &mut Page, answers: &[Answer]) {
    for (question, rows) in answers {
        page.heading(question.text());
        for row in rows {
            let (sign, ink) = match row.measured.status {
                Status::Measured => ('·', Ink::Plain),
                _ => ('?', Ink::Faint),
            };
            page.entry(sign, ink, &row.label, &[sentence(row)]);
        }
    }
}

/// Value, unit and the word, or why there is no value.
fn sentence(row: &Row) -> String {
    match (row.word, row.why()) {
        (Some(word), _) if row.measured.value.is_some() => format!("{}, {word}", row.value()),
        (_, Some(why)) => format!("{}: {why}", row.value()),
        _ => row.value(),
    }
}

/// What the axle used of its travel, of a run over obstacles.
fn envelope(page: &mut Page, axle: &AxleAnalysis, units: Units) {
    let Some(used) = axle.envelope.as_ref().filter(|e| e.obstacle) else { return };
    page.heading(&flex::envelope_heading(used));
    for (label, sentences) in flex::envelope(used, units) {
        page.entry('·', Ink::Plain, &label, &sentences);
    }
}

fn agreement(page: &mut Page, axle: &AxleAnalysis) {
    if let Some(chi) = axle.fit.chi_square_per_dof {
        page.heading("Do the sensors agree?");
        page.item("·", &verdict::sensors(chi));
    }
}

/// The part of each number's uncertainty that a builder could improve first.
fn limits(page: &mut Page, axle: &AxleAnalysis, units: Units) {
    let limits = verdict::limits(axle);
    if limits.is_empty() {
        return;
    }
    page.heading("What limits each number?");
    page.paragraph("The two greatest shares of the variance behind each ±.", Ink::Faint);
    for limit in limits {
        let scale = units.of(limit.key);
        let text = format!("± {}: {}", scale.limit(limit.half_width()), limit.part_words());
        page.entry('·', Ink::Plain, rows::label(limit.key), &[text]);
    }
}
