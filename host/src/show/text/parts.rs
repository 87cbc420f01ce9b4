//! Parts that several texts share.

use super::page::{Ink, Page};
use crate::measure::{AxleAnalysis, LinkMeasured, Measured, Sharing};
use crate::run::{Counts, Facts};
use crate::show::entries::Entry;
use crate::show::units::Scale;
use crate::show::{Units, flex, phrases, words};

/// Which run it was, with the load as a person typed it in.
pub fn measured_on(page: &mut Page, run: &str, facts: &Facts, units: Units) {
    let test = facts.test.as_ref().map(|t| format!(", test: {t}")).unwrap_or_default();
    let load = facts.load_n.map(|n| format!(", pulled with {} as typed in", phrases::load(n, units)));
    page.paragraph(&format!("Run {run}{test}{}.", load.unwrap_or_default()), Ink::Plain);
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

/// Sentences that put all the rest in doubt: they stand right under the first one.
pub fn cautions(page: &mut Page, cautions: &[String]) {
    for caution in cautions {
        page.item("!", caution);
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
    let why = if counts.excluded > 0 { " Why some were set aside stands under \"Mind\"." } else { "" };
    page.paragraph(&format!("{}{why}", phrases::counted(counts)), Ink::Plain);
}

/// How far the axle went and the ramp travel index.
pub fn travel(page: &mut Page, axle: &AxleAnalysis, units: Units) {
    page.heading("How far does it go?");
    page.entry('·', Ink::Plain, "heave in this run", &[phrases::heave_range(axle, units)]);
    page.entry('·', Ink::Plain, "articulation in this run", &[phrases::roll_range(axle, units)]);
    let climbed = phrases::climbed(axle);
    for (side, index) in ["left", "right"].into_iter().zip(&axle.ramp_travel_index).filter(|_| climbed) {
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

/// One of the things that a run can say of a link: what it is called before a value and by itself, where it stands, its unit.
type LinkPart = ([&'static str; 2], fn(&LinkMeasured) -> &Measured, fn(Units) -> Scale);

const LINK_PARTS: [LinkPart; 4] = [
    (["play", "play"], |l| &l.play_m, Units::length),
    (["gives", "give under load"], |l| &l.compliance_m_per_n, Units::compliance),
    (["length", "length"], |l| &l.length_m, Units::length),
    (["change of length over the travel"; 2], |l| &l.apparent_change_m, Units::length),
];

/// What the measured motion says of each link; what it says of none, it says once.
pub fn links(page: &mut Page, axle: &AxleAnalysis, units: Units) {
    let Some(first) = axle.links.first() else { return };
    page.heading("Are the links as drawn, and is anything loose?");
    let same = |(_, part, _): &LinkPart| {
        axle.links.iter().all(|l| part(l).measured().is_none() && part(l).why == part(first).why)
    };
    let (shared, own): (Vec<LinkPart>, Vec<LinkPart>) = LINK_PARTS.into_iter().partition(same);
    for link in &axle.links {
        let sentences: Vec<String> = own.iter().map(|part| link_value(part, link, units)).collect();
        if !sentences.is_empty() {
            page.entry('·', Ink::Plain, &link.name, &sentences);
        }
    }
    if axle.links.iter().any(|l| l.compliance_m_per_n.measured().is_some()) {
        page.entry('·', Ink::Faint, "give under load", &[phrases::GIVE.to_owned()]);
    }
    for ([_, name], part, unit) in &shared {
        page.entry(
            '?',
            Ink::Faint,
            name,
            &[format!("{}, for every link", without(part(first), unit(units)))],
        );
    }
}

fn link_value(([before, alone], part, unit): &LinkPart, link: &LinkMeasured, units: Units) -> String {
    let beside = match *alone {
        "length" => format!(", drawn {}", units.length().with_u(link.nominal_m, None)),
        "play" => given(link, units),
        _ => String::new(),
    };
    match part(link).measured() {
        Some((value, u)) => format!("{before} {}{beside}", unit(units).with_u(value, Some(u))),
        None => format!("{alone} {}", without(part(link), unit(units))),
    }
}

/// How much of its play the joints should give as they are drawn.
fn given(link: &LinkMeasured, units: Units) -> String {
    /// A smaller part is not worth a word.
    const WORTH_A_WORD: f64 = 0.1;
    let whole_m = link.play_m.value.unwrap_or(0.0);
    match link.drawn_give_m.measured() {
        Some((give_m, u)) if give_m > WORTH_A_WORD * whole_m => {
            format!(", of which its joints as drawn give {}", units.length().with_u(give_m, Some(u)))
        }
        _ => String::new(),
    }
}

fn without(measured: &Measured, unit: Scale) -> String {
    let why = measured.why.as_deref().map(|w| format!(" ({w})")).unwrap_or_default();
    format!("{}{why}", phrases::without_value(measured, unit))
}
