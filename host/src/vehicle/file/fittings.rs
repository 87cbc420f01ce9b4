//! What rides along with an axle: springs, shocks, stops, straps, driveshaft, drag link, keep-outs, ride marks.

use super::locating::{SIDES, ends};
use super::mirror::elements;
use crate::files::{Bound, Example, Item, Names, Quantity, Section};
use crate::geometry::Vector3;
use crate::vehicle::{
    AngleOf, DragLink, Driveshaft, KeepOut, RideAngle, RideMark, Shock, Spring, Stop, Turning,
};

/// A tape and a drawing may disagree by this before a stop counts as passed at ride height, m.
const TAPE_M: f64 = 0.5e-3;
const CHECK_LENGTH: &str = "check the length and the coordinates of both ends";

fn points(section: &mut Section<'_>) -> Option<(Vector3<f64>, Vector3<f64>)> {
    ends(section, |item| item.point(), |p| vec![*p])
}

fn length<'s>(
    section: &mut Section<'s>,
    key: &'static str,
    si: f64,
    meaning: &str,
) -> Option<(Item<'s>, f64)> {
    let item = section.require(key, Example::Value(Quantity::Length, si), meaning)?;
    let length_m = item.quantity(Quantity::Length, Bound::Positive)?;
    Some((item, length_m))
}

/// Springs of the axle.
pub(super) fn springs(axle: &mut Section<'_>) -> Vec<Spring> {
    elements(axle, "spring", "spring", &mut Names::default(), |section, name| {
        let ends = points(section);
        let rate = section.require("rate", Example::Value(Quantity::Stiffness, 30e3), "its rate");
        let rate = rate.and_then(|i| i.quantity(Quantity::Stiffness, Bound::Positive));
        let preload_n = section.get("preload").and_then(|i| i.quantity(Quantity::Force, Bound::NotNegative));
        let (chassis, axle) = ends?;
        Some(Spring { name, chassis, axle, rate_n_per_m: rate?, preload_n })
    })
}

/// Shocks of the axle.
pub(super) fn shocks(axle: &mut Section<'_>) -> Vec<Shock> {
    elements(axle, "shock", "shock", &mut Names::default(), |section, name| {
        let ends = points(section);
        let open = length(section, "open", 0.6, "its length fully open");
        let closed = length(section, "closed", 0.36, "its length fully closed");
        let (chassis, axle) = ends?;
        let ((open_item, open_m), (closed_item, closed_m)) = (open?, closed?);
        let drawn_m = (chassis - axle).norm();
        let long = || {
            format!(
                "{} is {} long at ride height",
                section.what(),
                section.reader().units().say_length(drawn_m)
            )
        };
        if closed_m >= open_m {
            closed_item.wrong(
                format!("{} is no shorter closed than open", section.what()),
                "open is the longest length, closed the shortest",
            );
        } else if drawn_m > open_m + TAPE_M {
            open_item.wrong(format!("{}, longer than fully open", long()), CHECK_LENGTH);
        } else if drawn_m < closed_m - TAPE_M {
            closed_item.wrong(format!("{}, shorter than fully closed", long()), CHECK_LENGTH);
        }
        Some(Shock { name, chassis, axle, open_m, closed_m })
    })
}

/// Bump stops of the axle: shortest distances.
pub(super) fn bump_stops(axle: &mut Section<'_>) -> Vec<Stop> {
    elements(axle, "bump_stop", "bump stop", &mut Names::default(), |section, name| {
        let (stop, item, drawn_m) = stop(section, name, 0.09, "the distance at which it meets")?;
        if drawn_m < stop.length_m - TAPE_M {
            passed(section, &item, "has met", drawn_m);
        }
        Some(stop)
    })
}

/// Limit straps of the axle: longest distances.
pub(super) fn straps(axle: &mut Section<'_>) -> Vec<Stop> {
    elements(axle, "strap", "strap", &mut Names::default(), |section, name| {
        let (stop, item, drawn_m) = stop(section, name, 0.6, "its length when taut")?;
        if drawn_m > stop.length_m + TAPE_M {
            passed(section, &item, "is taut", drawn_m);
        }
        Some(stop)
    })
}

fn passed(section: &Section<'_>, item: &Item<'_>, how: &str, drawn_m: f64) {
    let apart = section.reader().units().say_length(drawn_m);
    item.wrong(
        format!("{} {how} before ride height, where its ends are {apart} apart", section.what()),
        CHECK_LENGTH,
    );
}

fn stop<'s>(
    section: &mut Section<'s>,
    name: String,
    example_m: f64,
    meaning: &str,
) -> Option<(Stop, Item<'s>, f64)> {
    let ends = points(section);
    let length = length(section, "length", example_m, meaning);
    let (chassis, axle) = ends?;
    let (item, length_m) = length?;
    Some((Stop { name, chassis, axle, length_m }, item, (chassis - axle).norm()))
}

/// Distances taped at the still.
pub(super) fn ride_marks(axle: &mut Section<'_>) -> Vec<RideMark> {
    elements(axle, "ride_mark", "ride mark", &mut Names::default(), |section, name| {
        let ends = points(section);
        let length = length(section, "length", 0.42, "the tape's reading");
        let (chassis, axle) = ends?;
        let (_, length_m) = length?;
        Some(RideMark { name, chassis, axle, length_m })
    })
}

/// A digital level on the housing and on the frame, standard deviation of their difference, rad: from memory.
const LEVELLED_U_RAD: f64 = 0.3 * std::f64::consts::PI / 180.0;
/// A string along the wheels, taped to 2 mm on both sides of a track of 1.6 m, against a centreline as sure, rad.
const STRUNG_U_RAD: f64 = 0.15 * std::f64::consts::PI / 180.0;

/// Angles measured at the still; `drawn` are the pinion's and the kingpins', which theirs are set against, rad.
pub(super) fn ride_angles(axle: &mut Section<'_>, drawn: [Option<f64>; 2]) -> Vec<RideAngle> {
    let what = format!("the ride angles of {}", axle.what());
    let Some(mut table) = axle.get("ride_angles").and_then(|i| i.section(&what)) else { return Vec::new() };
    let [pinion, castor] = drawn;
    let known = [
        (AngleOf::Pinion, ["pinion", "pinion_u"], LEVELLED_U_RAD, pinion.is_some()),
        (AngleOf::Castor, ["castor", "castor_u"], LEVELLED_U_RAD, castor.is_some()),
        (AngleOf::Thrust, ["thrust", "thrust_u"], STRUNG_U_RAD, true),
    ];
    let mut angles = Vec::new();
    for (of, [key, key_u], usual_u_rad, is_drawn) in known {
        let u = table.get(key_u).and_then(|i| i.quantity(Quantity::Angle, Bound::Positive));
        let Some(item) = table.get(key) else { continue };
        if !is_drawn {
            item.wrong(
                format!("{} has nothing to be set against", item.what()),
                format!("write what the drawing says of it as `{key} = …` of {}", axle.what()),
            );
        }
        let angle = item.quantity(Quantity::Angle, Bound::Any);
        angles.extend(angle.map(|angle_rad| RideAngle { of, angle_rad, u_rad: u.unwrap_or(usual_u_rad) }));
    }
    table.finish();
    angles
}

/// Room that must stay free.
pub(super) fn keep_outs(axle: &mut Section<'_>) -> Vec<KeepOut> {
    elements(axle, "keep_out", "keep-out", &mut Names::default(), |section, name| {
        let on = section.require("on", Example::Text("\"chassis\""), "or \"axle\": the body it sits on");
        let on = on.and_then(|i| i.choice(&SIDES));
        let help = "write two corners: [[least x, y, z], [greatest x, y, z]]";
        let corners = section.require("box", Example::Text("[[x, y, z], [x, y, z]]"), "its two corners")?;
        let [min, max] = corners.list_of::<2>(help)?.map(|i| i.point());
        let (on, min, max) = (on?, min?, max?);
        if (max - min).min() <= 0.0 {
            corners.wrong(
                format!("{} is not a box: its second corner is not beyond the first", section.what()),
                "each number of the second corner must be greater than that of the first",
            );
            return None;
        }
        Some(KeepOut { name, on, min, max })
    })
}

fn point(
    section: &mut Section<'_>,
    key: &'static str,
    example: [f64; 3],
    meaning: &str,
) -> Option<Vector3<f64>> {
    section.require(key, Example::Point(example), meaning)?.point()
}

fn direction(
    section: &mut Section<'_>,
    key: &'static str,
    example: &'static str,
    meaning: &str,
) -> Option<Vector3<f64>> {
    section.require(key, Example::Text(example), meaning)?.direction()
}

/// Which way a driveshaft turns, seen from the front.
const TURNS: [(&str, Turning); 2] =
    [("clockwise", Turning::Clockwise), ("anticlockwise", Turning::Anticlockwise)];

/// The driveshaft of the axle.
pub(super) fn driveshaft(axle: &mut Section<'_>) -> Option<Driveshaft> {
    let what = format!("the driveshaft of {}", axle.what());
    let mut section = axle.get("driveshaft")?.section(&what)?;
    let output = point(&mut section, "output", [1.05, 0.05, 0.6], "its joint at the transfer case");
    let pinion = point(&mut section, "pinion", [0.3, 0.03, 0.48], "its joint at the pinion");
    let axes = "the direction of its shaft there";
    let output_axis = direction(&mut section, "output_axis", "[-1, 0, -0.035]", axes);
    let pinion_axis = direction(&mut section, "pinion_axis", "[1, 0, 0.12]", axes);
    let [diameter_m, limit_rad] = [("diameter", Quantity::Length), ("limit", Quantity::Angle)]
        .map(|(key, quantity)| section.get(key).and_then(|i| i.quantity(quantity, Bound::Positive)));
    let final_drive = section.get("final_drive").and_then(|i| i.number(Bound::Positive));
    let turning = section.get("turns").and_then(|i| i.choice(&TURNS)).unwrap_or(Turning::Clockwise);
    section.finish();
    let (output, pinion) = (output?, pinion?);
    if (output - pinion).norm() <= TAPE_M {
        section.wrong(format!("{what} has no length"), "check the coordinates of output and pinion");
        return None;
    }
    Some(Driveshaft {
        output,
        pinion,
        output_axis: output_axis?,
        pinion_axis: pinion_axis?,
        diameter_m,
        limit_rad,
        final_drive,
        turning,
    })
}

/// The drag link of the axle.
pub(super) fn drag_link(axle: &mut Section<'_>) -> Option<DragLink> {
    let what = format!("the drag link of {}", axle.what());
    let mut section = axle.get("drag_link")?.section(&what)?;
    let ends = points(&mut section);
    let example = Example::Text("{ point = [0, -700, 460], direction = [-0.1, 0.14, 1] }");
    let kingpin = section.require("kingpin", example, "the axis that the knuckle turns about");
    let kingpin = kingpin.and_then(|i| {
        let mut section = i.section(&format!("the kingpin of {what}"))?;
        let through = point(&mut section, "point", [0.0, -0.7, 0.46], "a point of its axis");
        let along = direction(&mut section, "direction", "[-0.1, 0.14, 1]", "the direction of its axis");
        section.finish();
        Some((through?, along?))
    });
    section.finish();
    let (chassis, axle) = ends?;
    let (kingpin_point, kingpin_direction) = kingpin?;
    Some(DragLink { chassis, axle, kingpin_point, kingpin_direction })
}
