//! Whether two runs may stand in one series: not when the rig, its zero, or a fact that a number depends on changed in
//! between; and then why not, and what may still be compared.

use super::quantity::{self, OfLink, Quantity};
use super::record::RunFacts;
use crate::measure::links::lines;
use crate::vehicle::numbers::AxleFacts;
use crate::vehicle::{Axle, TorqueReaction, Vehicle};
use std::collections::{BTreeMap, BTreeSet};

/// Facts of the vehicle file and the test that an axle's numbers depend on, by name, as text.
pub type Basis = BTreeMap<String, String>;

/// How an axle was pulled whose loads were held at several levels.
pub const IN_STEPS: &str = "in steps";

/// Beginning of the facts that tell where links were drawn.
const DRAWN_ENDS: &str = "drawn ends of ";
/// Beginning of the facts that tell how stiff links are.
const STIFFNESS: &str = "stiffness of ";

/// Name of the fact that tells where a link was drawn.
fn ends_of(link: &str) -> String {
    format!("{DRAWN_ENDS}{link}")
}

/// The facts that an axle's numbers depend on.
pub fn basis(vehicle: &Vehicle, axle: &Axle, ramp_angle_rad: Option<f64>) -> Basis {
    let facts = AxleFacts::of(vehicle, axle);
    let mm = |m: f64| format!("{:.3} mm", m * 1e3);
    let degrees =
        |rad: Option<f64>| rad.map_or("not given".to_owned(), |r| format!("{:.3}°", r.to_degrees()));
    let torque = |share: f64, on: TorqueReaction| {
        let body = if on == TorqueReaction::Housing { "housing" } else { "chassis" };
        format!("{share}, on the {body}")
    };
    let mut basis: Basis = [
        (quantity::TYRE_RADIUS, mm(facts.tyre_radius_m)),
        (quantity::TRACK, mm(facts.track_m)),
        (quantity::WHEELBASE, mm(facts.wheelbase_m)),
        (quantity::CG_HEIGHT, mm(facts.cg_height_m)),
        (quantity::DRIVE, torque(facts.drive_share, facts.drive_torque)),
        (quantity::BRAKE, torque(facts.brake_share, facts.brake_torque)),
        (quantity::PINION, degrees(facts.pinion_rad)),
        (quantity::CASTOR, degrees(facts.castor_rad)),
        (quantity::RAMP_ANGLE, degrees(ramp_angle_rad)),
    ]
    .into_iter()
    .map(|(name, value)| (name.to_owned(), value))
    .collect();
    let links = axle.locating.links.iter().map(|l| (&l.name, l.end_stiffness_n_per_m()));
    let wishbones = axle.locating.wishbones.iter().map(|w| (&w.name, w.leg_stiffness_n_per_m()));
    for (name, stiffness) in links.chain(wishbones) {
        if let Some(n_per_m) = stiffness {
            basis.insert(format!("{STIFFNESS}{name}"), format!("{:.0} N/mm", 1e-3 * n_per_m));
        }
    }
    for line in lines(axle, vehicle.tolerance_m) {
        let point = |p: crate::geometry::Vector3<f64>| {
            format!("{:.1}, {:.1}, {:.1}", p.x * 1e3, p.y * 1e3, p.z * 1e3)
        };
        let points: Vec<String> = line.points().into_iter().map(|p| format!("({})", point(p))).collect();
        let ends = format!("{} mm", points.join(" to "));
        basis.insert(ends_of(&line.name), ends);
    }
    basis
}

/// Why a quantity of two runs does not belong in one series; empty if it does.
pub fn reasons(quantity: &Quantity, before: (&RunFacts, &Basis), after: (&RunFacts, &Basis)) -> Vec<String> {
    let mut why = Vec::new();
    if !quantity.is_relative() {
        if before.0.rig_basis != after.0.rig_basis {
            why.push("the rig changed".to_owned());
        }
        if before.0.calibration_hash != after.0.calibration_hash {
            why.push("the sensors were calibrated anew".to_owned());
        }
    }
    // A hole 20 mm further turns a link of 0.9 m by 1.3°: its play along itself stays what it is within 0.03 %.
    let drawn = !quantity.is_relative() && !quantity.element().is_empty();
    let ends = drawn.then(|| ends_of(quantity.element()));
    let mut facts: Vec<&str> = quantity.facts().iter().copied().chain(ends.as_deref()).collect();
    if matches!(quantity, Quantity::Link(OfLink::Compliance, _)) {
        // The force along a link is what the drawing of all of them makes of the pull.
        let statics = |fact: &&str| fact.starts_with(DRAWN_ENDS) || fact.starts_with(STIFFNESS);
        let all: BTreeSet<&str> = before.1.keys().chain(after.1.keys()).map(String::as_str).collect();
        facts.extend(all.into_iter().filter(statics));
    }
    for fact in facts {
        let absent = if fact == quantity::PULL { "at one load" } else { "not given" };
        let value = |basis: &Basis| basis.get(fact).cloned().unwrap_or_else(|| absent.to_owned());
        let (was, is) = (value(before.1), value(after.1));
        if was != is {
            why.push(format!("{fact}: {was} before, {is} after"));
        }
    }
    why
}

/// What may still be compared across a change that parts `parted` of the quantities `all`: a sentence, where there is
/// something to say.
pub fn what_goes_on(all: &[Quantity], parted: &[Quantity]) -> Option<String> {
    let goes_on: Vec<&Quantity> = all.iter().filter(|q| !parted.contains(q)).collect();
    if goes_on.is_empty() {
        return Some("Nothing measured before it can be set beside what was measured after.".to_owned());
    }
    if parted.is_empty() {
        return None;
    }
    let any = |wanted: OfLink| goes_on.iter().any(|q| matches!(q, Quantity::Link(of, _) if *of == wanted));
    let numbers: Vec<&str> = goes_on
        .iter()
        .filter_map(|q| match q {
            Quantity::Number(key) => Some(key.label()),
            _ => None,
        })
        .collect();
    let mut told = Vec::new();
    if any(OfLink::Play) {
        told.push("the play of the links, a difference within one run".to_owned());
    }
    if any(OfLink::Compliance) {
        told.push("what the links give under load".to_owned());
    }
    if !numbers.is_empty() {
        told.push(numbers.join(", "));
    }
    (!told.is_empty()).then(|| format!("What may still be compared across it: {}.", told.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vehicle::numbers::Key;

    fn pair() -> (RunFacts, Basis) {
        let basis = [
            (quantity::TYRE_RADIUS, "460.000 mm"),
            (quantity::WHEELBASE, "2540.000 mm"),
            ("drawn ends of lower left", "(1, 2, 3) to (4, 5, 6) mm"),
        ];
        let basis = basis.into_iter().map(|(k, v)| (k.to_owned(), v.to_owned())).collect();
        (RunFacts { rig_basis: "r".into(), design_hash: "d".into(), ..RunFacts::default() }, basis)
    }

    #[test]
    fn only_what_a_number_depends_on_parts_its_series() {
        let play = Quantity::Link(OfLink::Play, "lower left".into());
        let change = Quantity::Link(OfLink::ApparentChange, "lower left".into());
        let steer = Quantity::Number(Key::RollSteer);
        let squat = Quantity::Number(Key::AntiSquat);
        let (before, basis) = pair();
        let parted = |after: &RunFacts, after_basis: &Basis| {
            [&play, &change, &steer, &squat]
                .map(|q| !reasons(q, (&before, &basis), (after, after_basis)).is_empty())
        };
        // A word in the file that no number depends on.
        let commented = RunFacts { design_hash: "e".into(), rig_hash: "x".into(), ..before.clone() };
        assert_eq!(parted(&commented, &basis), [false; 4]);
        let tyre = [(quantity::TYRE_RADIUS.to_owned(), "445.000 mm".to_owned())];
        let smaller: Basis = basis.clone().into_iter().chain(tyre).collect();
        assert_eq!(parted(&before, &smaller), [false, false, false, true]);
        assert_eq!(
            reasons(&squat, (&before, &basis), (&before, &smaller)),
            ["tyre radius: 460.000 mm before, 445.000 mm after"]
        );
        let rig = RunFacts { rig_basis: "s".into(), ..before.clone() };
        assert_eq!(parted(&rig, &basis), [false, true, true, true]);
        let calibrated = RunFacts { calibration_hash: Some("c".into()), ..before.clone() };
        assert_eq!(parted(&calibrated, &basis), [false, true, true, true]);
        let elsewhere = [("drawn ends of lower left".to_owned(), "(1, 2, 3) to (4, 5, 7) mm".to_owned())];
        let redrawn: Basis = basis.clone().into_iter().chain(elsewhere).collect();
        assert_eq!(parted(&before, &redrawn), [false, true, false, false]);
        let in_steps = [(quantity::PULL.to_owned(), IN_STEPS.to_owned())];
        let stepped: Basis = basis.clone().into_iter().chain(in_steps).collect();
        assert_eq!(parted(&before, &stepped), [true, false, false, false]);
        // The force along a link depends on the whole drawing, and with bushes on how stiff every link is.
        let give = Quantity::Link(OfLink::Compliance, "upper right".into());
        let gives = |after: &Basis| reasons(&give, (&before, &basis), (&before, after)).len();
        let stiffer = [("stiffness of lower left".to_owned(), "8000 N/mm".to_owned())];
        let stiffer: Basis = basis.clone().into_iter().chain(stiffer).collect();
        assert_eq!([gives(&basis), gives(&redrawn), gives(&stiffer), gives(&stepped)], [0, 1, 1, 0]);
    }

    #[test]
    fn what_goes_on_is_offered() {
        let play = Quantity::Link(OfLink::Play, "lower left".into());
        let steer = Quantity::Number(Key::RollSteer);
        let squat = Quantity::Number(Key::AntiSquat);
        let all = [play.clone(), steer.clone(), squat.clone()];
        let told = what_goes_on(&all, std::slice::from_ref(&squat)).unwrap();
        assert_eq!(
            told,
            "What may still be compared across it: the play of the links, a difference within one run; roll steer."
        );
        let give = Quantity::Link(OfLink::Compliance, "lower left".into());
        let told = what_goes_on(&[play.clone(), give], std::slice::from_ref(&play)).unwrap();
        assert_eq!(told, "What may still be compared across it: what the links give under load.");
        assert!(what_goes_on(&all, &all).unwrap().starts_with("Nothing"));
        assert_eq!(what_goes_on(&all, &[]), None);
    }
}
