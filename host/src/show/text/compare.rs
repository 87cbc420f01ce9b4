//! A run set beside its design.

use super::page::{Ink, Page};
use super::{Options, parts};
use crate::judge::{Comparison, Finding, Verdict};
use crate::show::rows::{self, Against, Answer, Row};
use crate::show::units::{PLUS_MINUS, Units};
use crate::show::verdict::{self, Tally};
use crate::vehicle::Vehicle;

/// A comparison as text.
pub fn comparison(comparison: &Comparison, vehicle: &Vehicle, options: &Options) -> String {
    let mut page = Page::new(options);
    for axle in &comparison.axles {
        page.gap();
        let lead = format!("{}, {} axle", comparison.vehicle, axle.name);
        page.paragraph(&format!("{lead}: {}", verdict::of_comparison(axle)), Ink::Strong);
        if let Some(reason) = verdict::likeliest_reason(axle) {
            page.paragraph(&reason, Ink::Plain);
        }
        page.paragraph(&Tally::of(&axle.numbers).sentence(), Ink::Plain);
        parts::measured_on(&mut page, &comparison.provenance.run, &comparison.facts, options.units);
        page.paragraph(PLUS_MINUS, Ink::Faint);
        findings(&mut page, &axle.findings, options.units);
        numbers(&mut page, &rows::of_comparison(axle, vehicle, options.units), "drawn");
        parts::travel(&mut page, &axle.analysis, options.units);
        parts::links(&mut page, &axle.analysis, options.units);
        if let Some(chi) = axle.analysis.fit.chi_square_per_dof {
            page.heading("Do the sensors agree?");
            page.item("·", &verdict::sensors(chi));
        }
        parts::remarks(&mut page, &axle.analysis.remarks);
    }
    super::analyse::notes(&mut page, &comparison.facts);
    parts::samples(&mut page, &comparison.counts);
    parts::remarks(&mut page, &comparison.remarks);
    page.finish()
}

fn findings(page: &mut Page, findings: &[Finding], units: Units) {
    if findings.is_empty() {
        return;
    }
    page.heading("Why");
    for (k, finding) in findings.iter().enumerate() {
        page.item(&format!("{}.", k + 1), &finding_words(finding, units));
    }
}

/// What was found, how likely, how large and what it explains.
fn finding_words(finding: &Finding, units: Units) -> String {
    let mut text = verdict::reason(finding);
    if let Some(size) = finding.size {
        text += &format!(" Size {}.", verdict::length(size, finding.u, units));
    }
    text += &format!(" Probability {:.0} % among what was tried.", 100.0 * finding.probability);
    if let Some(explains) = verdict::explains(finding) {
        text += &format!(" {explains}");
    }
    text
}

/// Numbers with what they are set beside; `other` is what that is called.
pub(super) fn numbers(page: &mut Page, answers: &[Answer], other: &str) {
    for (question, rows) in answers {
        page.heading(question.text());
        for row in rows {
            let (sign, ink) = sign(row.against.and_then(|a| a.verdict));
            page.entry(sign, ink, &row.label, &sentences(row, other));
        }
    }
}

/// The sign that stands for a verdict beside its word.
fn sign(verdict: Option<Verdict>) -> (char, Ink) {
    match verdict {
        Some(Verdict::Agrees) => ('=', Ink::Good),
        Some(Verdict::Differs) => ('≠', Ink::Bad),
        Some(Verdict::NotResolved) => ('?', Ink::Plain),
        Some(Verdict::NotMeasured) => ('?', Ink::Faint),
        None => ('·', Ink::Plain),
    }
}

fn sentences(row: &Row, other: &str) -> Vec<String> {
    let mut first = row.value();
    if let Some(word) = row.word {
        first += &format!(", {word}");
    } else if let Some(why) = row.why() {
        first += &format!(": {why}");
    }
    let mut sentences = vec![first];
    if let Some(against) = &row.against {
        sentences.extend(beside(row, against, other));
    }
    sentences
}

fn beside(row: &Row, against: &Against, other: &str) -> Option<String> {
    let designed = against.other.value?;
    let mut text = format!("{other} {}", row.scale.bare_with_u(designed, against.other.u));
    let limit = against.limit.map(|l| format!(", limit {}", row.scale.limit(l))).unwrap_or_default();
    let difference = against.difference.value.map(|d| row.scale.signed(d, against.difference.u));
    match (against.verdict, difference) {
        (Some(Verdict::NotMeasured), _) | (_, None) => {}
        (Some(verdict), Some(difference)) => {
            text += &format!("; {}: {difference}{limit}", verdict.word());
        }
        (None, Some(difference)) => text += &format!("; apart by {difference}"),
    }
    Some(text)
}
