//! What is said of each joint, spring and link, one entry for each: text and report share it.

use super::units::{Units, number};
use super::{driveshaft, words};
use crate::design::loads::LoadCase;
use crate::design::prediction::{
    AxlePrediction, LinkForces, LinkPrediction, LoadPrediction, StrutPrediction,
};

/// What loads are not.
pub const LOADS_CAUTION: &str = "A comparison aid, not a strength certificate: static forces, straight tubes, no bending, no shock, no fatigue.";

/// Something with what is said of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// What it is.
    pub label: String,
    /// What is said, each part without its stop.
    pub sentences: Vec<String>,
    /// Whether it is beyond what it bears.
    pub beyond: bool,
}

impl Entry {
    /// Nothing to worry about.
    pub fn plain(label: &str, sentences: Vec<String>) -> Self {
        Self { label: label.to_owned(), sentences, beyond: false }
    }
}

/// How far each link's joints turn, beside what they bear.
pub fn joints(links: &[LinkPrediction], units: Units) -> Vec<Entry> {
    links.iter().filter_map(|link| joint(link, units)).collect()
}

fn joint(link: &LinkPrediction, units: Units) -> Option<Entry> {
    let joints = link.misalignment.as_ref()?;
    let angle = |rad: f64| units.angle().set_to(rad, 1);
    let worst = &joints.worst;
    let (end, turned) = if worst.at.axle_rad > worst.at.chassis_rad {
        ("axle", worst.at.axle_rad)
    } else {
        ("chassis", worst.at.chassis_rad)
    };
    let turned = worst.at.shared_spin_rad.map_or(turned, |shared| shared.max(turned));
    let state = words::state(worst.heave_m, worst.roll_rad, units);
    let at = format!("at most {} at its {end} end, at {state}", angle(turned));
    let (beyond, bears) = match joints.limit_rad {
        Some(limit) if turned > limit => (true, format!("more than the {} it bears", angle(limit))),
        Some(limit) => (false, format!("it bears {}", angle(limit))),
        None => (false, "the file does not say what it bears".into()),
    };
    Some(Entry { label: link.name.clone(), sentences: vec![at, bears], beyond })
}

/// How far springs and shocks move for the movement of the wheel that they are nearer to.
pub fn struts(struts: &[StrutPrediction]) -> Vec<Entry> {
    let words = |strut: &StrutPrediction| {
        // In articulation the right wheel drops where the left one rises: what shortens with it is the right wheel's.
        let right = strut.heave_ratio * strut.roll_ratio < 0.0;
        format!(
            "{} of the {} wheel's travel in bump, {} in articulation",
            number(strut.heave_ratio, 2),
            if right { "right" } else { "left" },
            number(if right { -strut.roll_ratio } else { strut.roll_ratio }, 2)
        )
    };
    struts.iter().map(|strut| Entry::plain(&strut.name, vec![words(strut)])).collect()
}

/// `forces with 8000 N of drive, half at each wheel`
pub fn load_title(case: LoadCase, units: Units) -> String {
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

/// What each link carries at ride height, beside what its tube and joints bear.
pub fn carried(links: &[LinkPrediction], forces: &LinkForces, units: Units) -> Vec<Entry> {
    let one = |(link, force_n): (&LinkPrediction, &f64)| {
        let (sentences, beyond) = link_words(link, *force_n, units);
        Entry { label: link.name.clone(), sentences, beyond }
    };
    links.iter().zip(&forces.links_n).map(one).collect()
}

/// What a load leaves to the springs, as a sentence.
pub fn left_to_springs(forces: &LinkForces, units: Units) -> String {
    let springs = units.force().set_to(forces.heave_n, 0);
    let roll = units.moment().set_to(forces.roll_nm, 0);
    format!("The springs are left with {springs} in heave and {roll} in articulation.")
}

/// What a drive force does beside pulling at the links, as sentences; none for other loads.
pub fn driven(load: &LoadPrediction, units: Units) -> Vec<String> {
    /// Less roll moment than this is none, N·m.
    const NONE_NM: f64 = 0.5;
    let roll = load.drive_roll_nm.map(|roll_nm| match roll_nm.abs() < NONE_NM {
        true => "By its links alone the drive does not roll the axle.".to_owned(),
        false => format!(
            "By its links alone the drive rolls the axle with {}, {} side up.",
            units.moment().set_to(roll_nm.abs(), 0),
            if roll_nm < 0.0 { "right" } else { "left" }
        ),
    });
    let shaft = load.shaft.as_ref().map(|shaft| driveshaft::torque(shaft, units));
    roll.into_iter().chain(shaft).collect()
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

/// The state asked for in which a link carries most, as a sentence.
pub fn worst_state(axle: &AxlePrediction, load: &LoadPrediction, units: Units) -> Option<String> {
    let greatest = |forces: &LinkForces| forces.links_n.iter().fold(0.0_f64, |most, n| most.max(n.abs()));
    let (at, forces) = axle
        .states
        .iter()
        .zip(&load.states)
        .filter_map(|(at, forces)| forces.as_ref().map(|f| (at, f)))
        .max_by(|a, b| greatest(a.1).total_cmp(&greatest(b.1)))?;
    let (link, force_n) =
        axle.links.iter().zip(&forces.links_n).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    Some(format!(
        "Of the states that you asked for, the most is {} in {} at {}.",
        units.force().set_to(force_n.abs(), 0),
        link.name,
        words::state(at.heave_m, at.roll_rad, units)
    ))
}
