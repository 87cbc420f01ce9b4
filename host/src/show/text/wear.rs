//! What to look at before the next trip.

use super::Options;
use super::page::{Ink, Page};
use crate::history::wear::{AxleWear, JointState, Wear};
use crate::jobs::cautions::CAUTIONS;
use crate::show::units::PLUS_MINUS;
use crate::show::{wear as say, words};

/// A vehicle's wear as text; `said` are sentences about the history itself.
pub fn wear(wear: &Wear, said: &[String], options: &Options) -> String {
    let mut page = Page::new(options);
    page.paragraph(&format!("{}: {}", wear.vehicle, say::headline(wear)), Ink::Strong);
    let runs = say::looked_at(wear);
    let last = wear.runs.last().map_or_else(String::new, |r| format!(", the last is {}", r.facts.run));
    page.paragraph(&format!("{runs}{last}. {PLUS_MINUS}"), Ink::Faint);
    for axle in &wear.axles {
        joints(&mut page, axle, wear, options);
        numbers(&mut page, axle, wear, options);
        listed(&mut page, "What else would explain it?", &axle.otherwise);
        listed(&mut page, "What begins anew by itself, and why", &axle.breaks);
        if axle.joints.iter().any(|j| j.play.is_some()) || axle.numbers_followed > 0 {
            page.heading(&format!("How sure are the charts of the {} axle?", axle.name));
            page.paragraph(&say::patience(axle), Ink::Plain);
        }
    }
    listed(&mut page, "Mind", said);
    page.heading("Before anyone goes near a lifted vehicle or a loaded joint");
    for caution in CAUTIONS {
        page.item("·", caution);
    }
    page.finish()
}

/// What to look at on each vehicle of a fleet, a line or two each.
pub fn fleet(vehicles: &[Wear], said: &[String], options: &Options) -> String {
    let mut page = Page::new(options);
    if vehicles.is_empty() {
        page.paragraph("The logbook has no vehicle.", Ink::Strong);
    }
    for wear in vehicles {
        let bad = wear.suspects().next().is_some();
        let (sign, ink) = if bad { ('!', Ink::Bad) } else { ('·', Ink::Plain) };
        page.entry(sign, ink, &wear.vehicle, &[say::headline(wear)]);
    }
    listed(&mut page, "Mind", said);
    page.finish()
}

fn joints(page: &mut Page, axle: &AxleWear, wear: &Wear, options: &Options) {
    if axle.joints.is_empty() {
        return;
    }
    page.heading(&format!("Which joints of the {} axle?", axle.name));
    if axle.limit_m.is_none() {
        let text = "No limit is given: [axle.wear] with play_m = 0.001 in vehicle.toml says when a joint counts as worn (here at 1 mm).";
        page.paragraph(text, Ink::Faint);
    }
    if axle.joints.iter().any(|j| j.drawn_give.is_some()) {
        page.paragraph(say::AS_DRAWN, Ink::Faint);
    }
    let (told, unmeasured): (Vec<_>, Vec<_>) =
        axle.joints.iter().partition(|j| j.state != JointState::NotMeasured);
    for joint in told {
        let ink = if joint.state.is_suspect() { Ink::Bad } else { Ink::Plain };
        page.entry(
            say::sign(joint.state),
            ink,
            &joint.link,
            &say::joint(axle, joint, &wear.runs, options.units),
        );
    }
    if !unmeasured.is_empty() {
        let names: Vec<&str> = unmeasured.iter().map(|j| j.link.as_str()).collect();
        page.entry(
            '?',
            Ink::Faint,
            "play not measured",
            &[format!("{}: it needs a rock or shove test", words::list(&names))],
        );
    }
}

fn numbers(page: &mut Page, axle: &AxleWear, wear: &Wear, options: &Options) {
    if axle.numbers_followed == 0 {
        return;
    }
    page.heading(&format!("Which numbers of the {} axle have changed?", axle.name));
    if axle.drifts.is_empty() {
        page.paragraph(&format!("None of {} that are followed.", axle.numbers_followed), Ink::Plain);
    }
    for drift in &axle.drifts {
        let label = drift.number.quantity.label();
        page.entry('!', Ink::Bad, &label, &[say::drift(drift, &wear.runs, options.units)]);
    }
}

fn listed(page: &mut Page, heading: &str, sentences: &[String]) {
    if sentences.is_empty() {
        return;
    }
    page.heading(heading);
    for sentence in sentences {
        page.item("·", &words::capital(sentence));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::wear::tests::sample;
    use crate::show::{json, report};

    #[test]
    fn the_page_answers_first_and_fits() {
        let said = ["The history was damaged.".to_owned()];
        let page = wear(&sample(), &said, &Options::default());
        for line in page.lines() {
            assert!(line.chars().count() <= crate::show::text::WIDTH, "{line}");
        }
        insta::assert_snapshot!(page);
    }

    #[test]
    fn colour_repeats_what_words_say() {
        let styled = wear(&sample(), &[], &Options { styled: true, ..Options::default() });
        let bare = anstream::adapter::strip_str(&styled).to_string();
        assert_eq!(bare, wear(&sample(), &[], &Options::default()));
        assert_ne!(bare, styled);
    }

    #[test]
    fn json_and_report_say_the_same() {
        let sample = sample();
        let document: serde_json::Value = serde_json::from_str(&json::wear(&sample, &[])).unwrap();
        let first = &document["axles"][0]["joints"][0];
        assert_eq!((first["link"].as_str(), first["state"].as_str()), (Some("upper left"), Some("growing")));
        assert_eq!(first["play_m"]["points"].as_array().map(Vec::len), Some(20));
        let page = report::wear(&sample, &[], &report::Options::default());
        let answer = document["answer"].as_str().unwrap();
        assert!(page.contains(answer), "{answer}");
        assert!(page.matches("<svg").count() >= 3, "value and both charts");
        assert!(page.contains("stands rated"));
        let fleet: serde_json::Value = serde_json::from_str(&json::fleet(&[sample], &[])).unwrap();
        assert_eq!(fleet["vehicles"][0]["suspects"][0], "upper left");
    }
}
