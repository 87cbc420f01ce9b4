//! Forces in links and how near their tubes and joints are to giving way: a page of its own, with its caution.

use super::page::{Ink, Page};
use crate::design::loads::LoadCase;
use crate::design::prediction::{AxlePrediction, LinkForces, LinkPrediction, LoadPrediction};
use crate::show::units::{Units, number};
use crate::show::words;

/// What these figures are not.
const CAUTION: &str = "A comparison aid, not a strength certificate: static forces, straight tubes, no bending, no shock, no fatigue.";

/// The loads that were asked for, if any were.
pub(super) fn loads(page: &mut Page, vehicle: &str, axle: &AxlePrediction, units: Units) {
    for load in &axle.loads {
        page.gap();
        page.paragraph(&format!("{vehicle}, {} axle: {}", axle.name, title(load.case, units)), Ink::Strong);
        page.paragraph(CAUTION, Ink::Faint);
        match &load.ride {
            Some(forces) => at_ride(page, axle, forces, units),
            None => page
                .item("?", "The forces have no answer at ride height: a link stands so that it cannot hold."),
        }
        worst_state(page, axle, load, units);
    }
}

fn title(case: LoadCase, units: Units) -> String {
    let force = |n: f64| units.force().set_to(n.abs(), 0);
    match case {
        LoadCase::Drive(n) => format!("forces with {} of drive, half at each wheel", force(n)),
        LoadCase::Brake(n) => format!("forces with {} of braking, half at each wheel", force(n)),
        LoadCase::Side(n) => {
            let way = if n < 0.0 { "right" } else { "left" };
            format!("forces with {} of side force to the {way}, half at each wheel", force(n))
        }
    }
}

fn at_ride(page: &mut Page, axle: &AxlePrediction, forces: &LinkForces, units: Units) {
    page.heading("What does each link carry at ride height?");
    for (link, force_n) in axle.links.iter().zip(&forces.links_n) {
        let (sentences, near) = link_words(link, *force_n, units);
        let (sign, ink) = if near { ('!', Ink::Bad) } else { ('·', Ink::Plain) };
        page.entry(sign, ink, &link.name, &sentences);
    }
    let springs = units.force().set_to(forces.heave_n, 0);
    page.item(
        "·",
        &format!(
            "The springs are left with {springs} in heave and {} in articulation.",
            units.moment().set_to(forces.roll_nm, 0)
        ),
    );
}

/// A link's force beside what its tube and joints bear, and whether it is beyond either.
fn link_words(link: &LinkPrediction, force_n: f64, units: Units) -> (Vec<String>, bool) {
    let force = |n: f64| units.force().set_to(n, 0);
    let way = if force_n < 0.0 { "compression" } else { "tension" };
    let mut sentences = vec![format!("{} of {way}", force(force_n.abs()))];
    let mut beyond = false;
    let mut beside = |what: &str, bears_n: f64| {
        beyond |= force_n.abs() > bears_n;
        sentences.push(format!(
            "{what} {}, {} times that",
            force(bears_n),
            number(bears_n / force_n.abs(), 1)
        ));
    };
    if let Some(buckling_n) = link.buckling_n.filter(|_| force_n < 0.0) {
        beside("its tube buckles at", buckling_n);
    }
    if let Some(rating_n) = link.joint_rating_n.filter(|_| force_n != 0.0) {
        beside("its joints are rated", rating_n);
    }
    (sentences, beyond)
}

/// The state asked for in which a link carries most.
fn worst_state(page: &mut Page, axle: &AxlePrediction, load: &LoadPrediction, units: Units) {
    let greatest = |forces: &LinkForces| forces.links_n.iter().fold(0.0_f64, |most, n| most.max(n.abs()));
    let worst = axle
        .states
        .iter()
        .zip(&load.states)
        .filter_map(|(at, forces)| forces.as_ref().map(|f| (at, f)))
        .max_by(|a, b| greatest(a.1).total_cmp(&greatest(b.1)));
    let Some((at, forces)) = worst else { return };
    let most = axle.links.iter().zip(&forces.links_n).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    if let Some((link, force_n)) = most {
        let state = words::state(at.heave_m, at.roll_rad, units);
        page.item(
            "·",
            &format!(
                "Of the states that you asked for, the most is {} in {} at {state}.",
                units.force().set_to(force_n.abs(), 0),
                link.name
            ),
        );
    }
}
