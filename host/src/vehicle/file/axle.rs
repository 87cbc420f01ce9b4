//! One `[[axle]]`: what every axle has, with its defaults; its elements are read by the modules beside this one.

use super::locating::locating;
use super::{fittings, wishes};
use crate::files::{Bound, Example, Names, Quantity, Section};
use crate::vehicle::{Axle, Position, Sweep, TorqueReaction};

const POSITIONS: [(&str, Position); 2] = [("front", Position::Front), ("rear", Position::Rear)];
const REACTIONS: [(&str, TorqueReaction); 2] =
    [("housing", TorqueReaction::Housing), ("chassis", TorqueReaction::Chassis)];

/// Defaults of an axle.
const DRIVE_SHARE: f64 = 1.0;
const BRAKE_SHARE: f64 = 0.5;
/// The section of a common off-road tyre and the tube of a common live axle: from memory, no source.
const TYRE_WIDTH_M: f64 = 0.255;
const AXLE_TUBE_M: f64 = 0.080;
const SWEEP_M: f64 = 0.1;
const SWEEP_ROLL_RAD: f64 = std::f64::consts::PI / 12.0;

/// Every axle of the file.
pub(super) fn all(root: &mut Section<'_>) -> Vec<Axle> {
    let mut names = Names::default();
    let mut axles = Vec::new();
    for mut section in root.sections("axle", "axle") {
        let name = section.named("axle");
        if let Some(name) = &name {
            names.take(&section, name);
        }
        axles.extend(axle(&mut section, name));
        section.finish();
    }
    axles
}

fn axle(section: &mut Section<'_>, name: Option<String>) -> Option<Axle> {
    let position = section
        .require("position", Example::Text("\"rear\""), "or \"front\"")
        .and_then(|i| i.choice(&POSITIONS));
    let track = need_length(section, "track", 1.6, "the distance between the wheel centres");
    let tyre_radius = need_length(section, "tyre_radius", 0.46, "from the floor to the wheel centre, loaded");
    let drive_share = share(section, "drive_share", DRIVE_SHARE);
    let brake_share = share(section, "brake_share", BRAKE_SHARE);
    let [drive_torque, brake_torque] = torque_on(section);
    let sweep = sweep(section);
    let [tyre_width, axle_tube] = [tyre_width(section, tyre_radius), axle_tube(section)];
    let [pinion_rad, castor_rad] = ["pinion", "castor"].map(|key| angle(section, key));
    let mass = section.get("unsprung_mass");
    let unsprung_mass_kg = mass.and_then(|i| i.quantity(Quantity::Mass, Bound::Positive));
    let mass_share = section.get("mass_share").and_then(|i| i.number_within(0.0, 1.0));
    let mut names = Names::default();
    let locating = locating(section, &mut names);
    let alternatives = wishes::alternatives(section, &names);
    let (springs, shocks) = (fittings::springs(section), fittings::shocks(section));
    let (bump_stops, straps) = (fittings::bump_stops(section), fittings::straps(section));
    let driveshaft = fittings::driveshaft(section);
    let drag_link = fittings::drag_link(section);
    let keep_outs = fittings::keep_outs(section);
    let ride_marks = fittings::ride_marks(section);
    let ride_angles = fittings::ride_angles(section, [pinion_rad, castor_rad]);
    let wish = wishes::wish(section, position);
    let agree = wishes::agree(section, position);
    let wear_play_m = wishes::wear(section);
    Some(Axle {
        name: name?,
        position: position?,
        track_m: track?,
        tyre_radius_m: tyre_radius?,
        drive_share: drive_share?,
        brake_share: brake_share?,
        drive_torque,
        brake_torque,
        sweep,
        tyre_width_m: tyre_width?,
        axle_tube_m: axle_tube?,
        pinion_rad,
        castor_rad,
        unsprung_mass_kg,
        mass_share,
        locating,
        springs,
        shocks,
        bump_stops,
        straps,
        driveshaft,
        drag_link,
        keep_outs,
        wish,
        agree,
        wear_play_m,
        alternatives,
        ride_marks,
        ride_angles,
    })
}

fn need_length(section: &mut Section<'_>, key: &'static str, si: f64, meaning: &str) -> Option<f64> {
    let item = section.require(key, Example::Value(Quantity::Length, si), meaning)?;
    item.quantity(Quantity::Length, Bound::Positive)
}

/// Notes that `text` is a default of this axle.
fn default_used(section: &Section<'_>, text: &str) {
    section.reader().default_used(format!("{}: {text}", section.what()));
}

fn share(section: &mut Section<'_>, key: &'static str, default: f64) -> Option<f64> {
    match section.get(key) {
        Some(item) => item.number_within(0.0, 1.0),
        None => {
            default_used(section, &format!("{} {default}", key.replace('_', " ")));
            Some(default)
        }
    }
}

fn angle(section: &mut Section<'_>, key: &'static str) -> Option<f64> {
    section.get(key).and_then(|item| item.quantity(Quantity::Angle, Bound::Any))
}

fn axle_tube(section: &mut Section<'_>) -> Option<f64> {
    match section.get("axle_tube") {
        Some(item) => item.quantity(Quantity::Length, Bound::Positive),
        None => {
            default_used(section, "an axle tube of 80 mm");
            Some(AXLE_TUBE_M)
        }
    }
}

/// Width of the tyre's section, which is a circle between tread and rim: it cannot be wider than the loaded radius is high.
fn tyre_width(section: &mut Section<'_>, radius_m: Option<f64>) -> Option<f64> {
    let Some(item) = section.get("tyre_width") else {
        default_used(section, "tyres 255 mm wide");
        return radius_m.map(|r| TYRE_WIDTH_M.min(r));
    };
    let width_m = item.quantity(Quantity::Length, Bound::Positive)?;
    if radius_m.is_some_and(|r| width_m > r) {
        item.wrong(
            format!("{} is wider than the tyre's radius", item.what()),
            "write the width of one tyre's section; `tyre_radius` is from the floor to the wheel centre",
        );
        return None;
    }
    Some(width_m)
}

/// Which bodies react drive torque and brake torque.
fn torque_on(section: &mut Section<'_>) -> [TorqueReaction; 2] {
    let what = format!("torque_on of {}", section.what());
    let mut table = section.get("torque_on").and_then(|i| i.section(&what));
    let reactions = ["drive", "brake"].map(|key| {
        match table.as_mut().and_then(|t| t.get(key)) {
            // A wrong word is noted already; which reaction stands in for it does not matter.
            Some(item) => item.choice(&REACTIONS).unwrap_or(TorqueReaction::Housing),
            None => {
                default_used(section, &format!("{key} torque on the housing"));
                TorqueReaction::Housing
            }
        }
    });
    if let Some(mut table) = table {
        table.finish();
    }
    reactions
}

fn sweep(section: &mut Section<'_>) -> Sweep {
    let what = format!("the sweep of {}", section.what());
    let mut table = section.get("sweep").and_then(|i| i.section(&what));
    let mut read = |key, quantity, default: f64, words: &str| match table.as_mut().and_then(|t| t.get(key)) {
        Some(item) => item.quantity(quantity, Bound::Positive).unwrap_or(default),
        None => {
            default_used(section, words);
            default
        }
    };
    let sweep = Sweep {
        up_m: read("up", Quantity::Length, SWEEP_M, "sweep 100 mm up"),
        down_m: read("down", Quantity::Length, SWEEP_M, "sweep 100 mm down"),
        roll_rad: read("roll", Quantity::Angle, SWEEP_ROLL_RAD, "sweep 15° of articulation"),
    };
    if let Some(mut table) = table {
        table.finish();
    }
    sweep
}
