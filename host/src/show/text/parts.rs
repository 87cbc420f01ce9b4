//! Parts that several texts share.

use super::page::{Ink, Page};
use crate::measure::{AxleAnalysis, LinkMeasured, Measured, Sharing};
use crate::run::{Counts, Facts};
use crate::show::entries::Entry;
use crate::show::{Units, flex, phrases, words};

/// Which run it was.
pub fn measured_on(page: &mut Page, run: &str, facts: &Facts) {
    let test = facts.test.as_ref().map(|t| format!(", test: {t}")).unwrap_or_default();
    page.paragraph(&format!("Run {run}{test}."), Ink::Plain);
}

/// Sentences to read beside the results.
pub fn remarks(page: &mut Page, remarks: &[String]) {
    if remarks.is_empty() {
        return;
    }
    page.heading("Mind");
    for remark in remarks {
        page.item("!", &format!("{}.", words::capital(remark.trim_end_matches('.'))));
    }
}

/// Entries, with a mark before those that are beyond what they bear.
pub fn entries(page: &mut Page, entries: &[Entry]) {
    for entry in entries {
        let (sign, ink) = if entry.beyond { ('!', Ink::Bad) } else { ('·', Ink::Plain) };
        page.entry(sign, ink, &entry.label, &entry.sentences);
    }
}

/// Readings received, lost, set aside.
pub fn samples(page: &mut Page, counts: &Counts) {
    page.gap();
    page.paragraph(&phrases::counted(counts), Ink::Plain);
}

/// How far the axle went and the ramp travel index.
pub fn travel(page: &mut Page, axle: &AxleAnalysis, units: Units) {
    page.heading("How far does it go?");
    page.entry('·', Ink::Plain, "heave in this run", &[phrases::heave_range(axle, units)]);
    page.entry('·', Ink::Plain, "articulation in this run", &[phrases::roll_range(axle, units)]);
    for (side, index) in ["left", "right"].into_iter().zip(&axle.ramp_travel_index) {
        let label = format!("ramp travel index, {side} wheel up");
        let sign = if index.index.measured().is_some() { '·' } else { '?' };
        page.entry(sign, Ink::Plain, &label, &[phrases::ramp_index(index, units)]);
    }
}

/// How two axles share the flex.
pub fn sharing(page: &mut Page, sharings: &[Sharing], units: Units) {
    if sharings.is_empty() {
        return;
    }
    page.heading(flex::SHARING_HEADING);
    for sharing in sharings {
        let (label, sentences) = flex::sharing(sharing, units);
        page.entry('·', Ink::Plain, &label, &sentences);
    }
}

/// One of the things that a run can say of a link.
type LinkPart = (&'static str, fn(&LinkMeasured) -> &Measured);

const LINK_PARTS: [LinkPart; 3] = [
    ("play", |l| &l.play_m),
    ("length", |l| &l.length_m),
    ("change of length over the travel", |l| &l.apparent_change_m),
];

/// What the measured motion says of each link; what it says of none, it says once.
pub fn links(page: &mut Page, axle: &AxleAnalysis, units: Units) {
    let Some(first) = axle.links.first() else { return };
    page.heading("Are the links as drawn, and is anything loose?");
    let same = |(_, part): &LinkPart| {
        axle.links.iter().all(|l| part(l).measured().is_none() && part(l).why == part(first).why)
    };
    let (shared, own): (Vec<LinkPart>, Vec<LinkPart>) = LINK_PARTS.into_iter().partition(same);
    for link in &axle.links {
        let sentences: Vec<String> =
            own.iter().map(|(name, part)| format!("{name} {}", link_value(part(link), units))).collect();
        if !sentences.is_empty() {
            page.entry('·', Ink::Plain, &link.name, &sentences);
        }
    }
    for (name, part) in &shared {
        page.entry('?', Ink::Faint, name, &[format!("{}, for every link", link_value(part(first), units))]);
    }
}

fn link_value(measured: &Measured, units: Units) -> String {
    match measured.measured() {
        Some((value, u)) => units.length().with_u(value, Some(u)),
        None => {
            let why = measured.why.as_deref().map(|w| format!(" ({w})")).unwrap_or_default();
            format!("{}{why}", phrases::without_value(measured, units))
        }
    }
}
