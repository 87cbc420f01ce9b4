//! Whether two runs may stand in one series: not when the rig, its zero, or a fact that a number depends on changed in
//! between; and then why not, and what may still be compared.

use super::quantity::{self, Quantity};
use super::record::RunFacts;
use crate::measure::links::lines;
use crate::vehicle::numbers::AxleFacts;
use crate::vehicle::{Axle, TorqueReaction, Vehicle};
use std::collections::BTreeMap;

/// Facts of the vehicle file and the test that an axle's numbers depend on, by name, as text.
pub type Basis = BTreeMap<String, String>;

/// Name of the fact that tells where a link was drawn.
fn ends_of(link: &str) -> String {
    format!("drawn ends of {link}")
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
    for fact in quantity.facts().iter().copied().chain(ends.as_deref()) {
        let value = |basis: &Basis| basis.get(fact).cloned().unwrap_or_else(|| "not given".to_owned());
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
    let play = goes_on.iter().filter(|q| q.is_relative()).count();
    let numbers: Vec<&str> = goes_on
        .iter()
        .filter_map(|q| match q {
            Quantity::Number(key) => Some(key.label()),
            _ => None,
        })
        .collect();
    let mut told = Vec::new();
    if play > 0 {
        told.push("the play of the links, a difference within one run".to_owned());
    }
    if !numbers.is_empty() {
        told.push(numbers.join(", "));
    }
    (!told.is_empty()).then(|| format!("What may still be compared across it: {}.", told.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::quantity::OfLink;
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
        assert!(what_goes_on(&all, &all).unwrap().starts_with("Nothing"));
        assert_eq!(what_goes_on(&all, &[]), None);
    }
}
