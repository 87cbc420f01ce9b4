//! How far an axle articulates as drawn, and how far up a ramp that takes the vehicle.

use super::entries::Entry;
use super::units::{Units, number};
use crate::design::prediction::{ArticulationLimit, AxlePrediction, EndKind, LimitedBy, RampPrediction};

/// Articulation to each side, and the ramp travel index of each where there is another axle.
pub fn entries(axle: &AxlePrediction, units: Units) -> Vec<Entry> {
    const SIDES: [&str; 2] = ["left wheel up", "right wheel up"];
    let flexes = SIDES
        .iter()
        .zip(&axle.articulation)
        .map(|(side, limit)| Entry::plain(&format!("articulates, {side}"), vec![articulates(limit, units)]));
    let climbs = axle.ramp.iter().flat_map(|both| {
        SIDES.iter().zip(both).map(|(side, ramp)| {
            Entry::plain(&format!("ramp travel index, {side}"), climbs(axle, ramp, units))
        })
    });
    flexes.chain(climbs).collect()
}

fn articulates(limit: &ArticulationLimit, units: Units) -> String {
    let roll = units.angle().set_to(limit.roll_rad, 1);
    match &limit.by {
        LimitedBy::End { name, kind } => {
            let what = match kind {
                EndKind::BumpStop => "touches",
                EndKind::Strap => "is taut",
                EndKind::ShockClosed => "is closed",
                EndKind::ShockOpen => "is open",
            };
            format!("{roll}: there {name} {what}")
        }
        LimitedBy::Link(name) => format!("{roll}: there \"{name}\" stops it"),
        LimitedBy::Sweep => format!("{roll} at least: nothing ends it within the sweep"),
    }
}

fn climbs(axle: &AxlePrediction, ramp: &RampPrediction, units: Units) -> Vec<String> {
    let angle = units.angle().set_to(ramp.ramp_rad, 1);
    let Some((index, distance_m)) = ramp.index.zip(ramp.distance_m) else {
        return vec![format!("none on a ramp of {angle}: the axle would stand on end")];
    };
    let decimals = if units == Units::Mm { 0 } else { 1 };
    let open = axle.articulation.iter().any(|limit| limit.by == LimitedBy::Sweep);
    let at_least = if open { "at least " } else { "" };
    vec![
        format!("{at_least}{} points on a ramp of {angle}", number(index, 0)),
        format!(
            "{} up the ramp, with {} of articulation of both axles together",
            units.length().set_to(distance_m, decimals),
            units.angle().set_to(ramp.inclination_rad, 1)
        ),
    ]
}
