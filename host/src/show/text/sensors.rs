//! What a set of sensors can and cannot see, and what to add.

use super::calibrate::standings;
use super::page::{Ink, Page};
use super::{Options, parts};
use crate::jobs::sensors::{AxleReach, NumberReach, Reach};
use crate::show::questions::Question;
use crate::show::rows::label;
use crate::show::units::{HALF_95, PLUS_MINUS, Scale, Units};
use crate::show::words;

const COORDINATES: [&str; 6] = ["fore and aft", "sideways", "up and down", "articulation", "pitch", "yaw"];

/// Additions that are worth a line.
const SHOWN: usize = 4;

/// The reach of a rig as text.
pub fn sensors(reach: &Reach, options: &Options) -> String {
    let mut page = Page::new(options);
    for (k, axle) in reach.axles.iter().enumerate() {
        page.gap();
        page.paragraph(&format!("{}, {} axle: {}", reach.vehicle, axle.name, verdict(axle)), Ink::Strong);
        if k == 0 {
            parts::cautions(&mut page, &reach.remarks);
        }
        let phases: Vec<&str> = reach.phases.iter().map(|p| p.words()).collect();
        page.paragraph(
            &format!("With {} in {}.", words::list(&axle.sensors), words::list(&phases)),
            Ink::Plain,
        );
        page.paragraph(PLUS_MINUS, Ink::Faint);
        page.heading("What do they see of the axle's movement?");
        for (k, name) in COORDINATES.iter().enumerate() {
            let scale = if k < 3 { options.units.length() } else { options.units.angle() };
            match axle.coordinates[k] {
                Some(u) => page.entry('·', Ink::Plain, name, &[half_width(scale, u)]),
                None => page.entry('?', Ink::Bad, name, &["not seen".to_owned()]),
            }
        }
        for question in Question::ALL {
            numbers(&mut page, axle, question, options.units);
        }
        additions(&mut page, axle, options.units);
    }
    standings(&mut page, &reach.calibration, options);
    page.finish()
}

fn verdict(axle: &AxleReach) -> String {
    let blind: Vec<&str> = COORDINATES
        .iter()
        .zip(axle.coordinates)
        .filter(|(_, u)| u.is_none())
        .map(|(name, _)| *name)
        .collect();
    let reached = axle.numbers.iter().filter(|n| n.u.is_some()).count();
    let told = axle.numbers.iter().filter(|n| n.can_agree()).count();
    let sight = match blind.as_slice() {
        [] => "the sensors see all six ways in which it moves".to_owned(),
        some => format!("the sensors do not see {}", words::list(some)),
    };
    format!(
        "{sight}; {reached} of {} numbers are within reach, {told} well enough to say that they agree with the drawing.",
        axle.numbers.len()
    )
}

fn numbers(page: &mut Page, axle: &AxleReach, question: Question, units: Units) {
    let asked: Vec<&NumberReach> = axle.numbers.iter().filter(|n| question.keys().contains(&n.key)).collect();
    if asked.is_empty() {
        return;
    }
    page.heading(question.text());
    for number in asked {
        let scale = units.of(number.key);
        match number.u {
            Some(u) if number.can_agree() => {
                page.entry('·', Ink::Plain, label(number.key), &[half_width(scale, u)])
            }
            Some(u) => {
                let short = format!(
                    "too coarse to agree with the drawing: that would take ± {} or less",
                    scale.limit(number.limit * 0.5 * HALF_95)
                );
                page.entry('!', Ink::Bad, label(number.key), &[half_width(scale, u), short]);
            }
            None => {
                let why = number.why.clone().unwrap_or_default();
                page.entry('?', Ink::Faint, label(number.key), &[format!("{}: {why}", number.status.word())]);
            }
        }
    }
}

fn half_width(scale: Scale, u: f64) -> String {
    format!("± {}", scale.limit(HALF_95 * u))
}

fn additions(page: &mut Page, axle: &AxleReach, units: Units) {
    page.heading("What would help most?");
    if axle.additions.is_empty() {
        page.item("·", "No single sensor that was tried would make much difference.");
    }
    for (k, addition) in axle.additions.iter().take(SHOWN).enumerate() {
        let gains: Vec<String> = addition
            .gains
            .iter()
            .take(3)
            .map(|(key, before, after)| {
                let scale = units.of(*key);
                let after = half_width(scale, *after);
                match before {
                    Some(before) => format!("{} from {} to {after}", label(*key), half_width(scale, *before)),
                    None => format!("{} within reach, {after}", label(*key)),
                }
            })
            .collect();
        let gains = if gains.is_empty() { String::new() } else { format!(": {}", words::list(&gains)) };
        page.item(&format!("{}.", k + 1), &format!("{}{gains}.", words::capital(&addition.what)));
    }
}
