//! What a set of sensors can and cannot see, and what to add.

use super::calibrate::standings;
use super::page::{Ink, Page};
use super::{Options, parts};
use crate::jobs::sensors::{AxleReach, NumberReach, Reach};
use crate::show::questions::Question;
use crate::show::rows::label;
use crate::show::units::{HALF_95, PLUS_MINUS, Scale, Units};
use crate::show::words;
use crate::vehicle::numbers::Key;

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
        if let Some(finer) = too_fine(axle) {
            page.item("!", &finer);
        }
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

/// Which limits are finer than the sensors reach, and what to write where they may be wider.
fn too_fine(axle: &AxleReach) -> Option<String> {
    let short: Vec<&NumberReach> = axle.numbers.iter().filter(|n| n.u.is_some() && !n.can_agree()).collect();
    let names: Vec<&str> = short.iter().map(|n| label(n.key)).collect();
    let write: Vec<String> =
        short.iter().filter_map(|n| Some((n.key, n.least_limit()?))).map(agree).collect();
    (!names.is_empty()).then(|| {
        format!(
            "However well the axle is as drawn, these sensors will never say so of {}: the limits are finer than twice what \
             they reach. Wider ones, where they would do: [axle.agree] in vehicle.toml with {}. Finer sensors: see what \
             would help most.",
            words::list(&names),
            words::list(&write)
        )
    })
}

/// A limit as the vehicle file has it, SI, two digits rounded up: `roll_steer_rad_per_rad = 0.0079`.
fn agree((key, least): (Key, f64)) -> String {
    let place = 10f64.powi(least.log10().floor() as i32 - 1);
    let decimals = usize::try_from(-(place.log10().round() as i32)).unwrap_or(0);
    format!("{} = {:.decimals$}", key.as_str(), (least / place).ceil() * place)
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
                let whose = if number.stated { "your limit" } else { "the limit by the drawing's tolerance" };
                let short = format!(
                    "too coarse to agree with the drawing: {whose} is {}, which takes ± {} or less",
                    scale.limit(number.limit),
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
