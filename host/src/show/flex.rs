//! What an axle used of its travel and how two axles share their articulation, in a builder's words: text, page and report say the same.

use super::Units;
use super::units::{Scale, number};
use crate::measure::{End, Envelope, Measured, Sharing};
use crate::run::Phase;

/// A label and what stands beside it.
pub type Line = (String, Vec<String>);

const PERCENT: Scale = Scale { unit: " %", per_si: 100.0 };

/// How two axles share a ramp.
pub fn sharing(sharing: &Sharing, units: Units) -> Line {
    let [front, rear] = &sharing.axles;
    let names = [front.as_str(), rear.as_str()];
    let angle = units.angle();
    let at = &sharing.greatest;
    let [front_roll, rear_roll] = at.roll_rad;
    let side = if sharing.phase == Phase::RampLeft { "ramp, left wheel up" } else { "ramp, right wheel up" };
    let mut said = vec![
        format!(
            "{} between the axles: {rear} {}, {front} {}",
            angle.set_to(at.total_rad, 1),
            angle.with_u(rear_roll.0.abs(), Some(rear_roll.1)),
            angle.with_u(front_roll.0.abs(), Some(front_roll.1))
        ),
        format!("the {rear} axle takes {} of it", PERCENT.with_u(at.rear_share.0, Some(at.rear_share.1))),
    ];
    match sharing.stiffness_ratio.measured() {
        Some((ratio, u)) => {
            let bare = Scale { unit: "", per_si: 1.0 };
            let (stiff, soft, ratio, u) = if ratio >= 1.0 {
                (front, rear, ratio, u)
            } else {
                (rear, front, 1.0 / ratio, u / (ratio * ratio))
            };
            let times = bare.with_u(ratio, Some(u));
            said.push(format!(
                "as if the {stiff} axle were {times} times as stiff against flex as the {soft}"
            ));
        }
        None => said.push(sharing.stiffness_ratio.why.clone().unwrap_or_default()),
    }
    said.push(match sharing.first.and_then(|axle| names.get(axle)) {
        Some(name) => format!("the {name} axle flexes first"),
        None => "both flex together all the way".into(),
    });
    if let Some((axle, from_rad)) = sharing.binds {
        let name = names.get(axle).copied().unwrap_or_default();
        said.push(format!(
            "from {} on the {name} axle goes hardly further: it binds or meets a stop",
            angle.set_to(from_rad, 1)
        ));
    }
    (side.to_owned(), said)
}

/// What an axle used of its travel.
pub fn envelope(envelope: &Envelope, units: Units) -> Vec<Line> {
    let decimals = if units == Units::Mm { 0 } else { 1 };
    let length = |m: &Measured| units.length().with_u(m.value.unwrap_or_default(), m.u);
    let angle = |m: &Measured| units.angle().with_u(m.value.unwrap_or_default().abs(), m.u);
    let wheel = |[low, high]: &[Measured; 2]| format!("{} to {}", length(low), length(high));
    let [left, right] = &envelope.wheels_m;
    let [right_up, left_up] = &envelope.roll_rad;
    let part = PERCENT.column(envelope.share_of_sweep, 0);
    let mut lines = vec![
        ("left wheel".to_owned(), vec![wheel(left)]),
        ("right wheel".to_owned(), vec![wheel(right)]),
        (
            "articulation".to_owned(),
            vec![format!("{} right wheel up, {} left wheel up", angle(right_up), angle(left_up))],
        ),
        (
            "of the travel in the file".to_owned(),
            vec![format!("{part} % of all heave and articulation together was used")],
        ),
    ];
    let limit = |end: &End, of_angle: bool| match of_angle {
        true => units.angle().set_to(end.limit, 1),
        false => units.length().set_to(end.limit, decimals),
    };
    let ends = ["full droop", "full bump", "full flex, right wheel up", "full flex, left wheel up"];
    for (k, (name, end)) in ends.into_iter().zip(&envelope.ends).enumerate() {
        let used = number(100.0 * end.used, 0);
        let near = match end.times {
            0 => "never near it".to_owned(),
            times => {
                let count = if times == 1 { "once".to_owned() } else { format!("{times} times") };
                format!("near it {count}, {} % of the time", number(100.0 * end.time_share, 1))
            }
        };
        lines.push((name.to_owned(), vec![format!("{used} % of {}; {near}", limit(end, k >= 2))]));
    }
    lines
}

/// The heading over an envelope.
pub fn envelope_heading(envelope: &Envelope) -> String {
    let where_ = if envelope.obstacle { "over the obstacles" } else { "in this run" };
    format!("How much of its travel did it use {where_} ({} s)?", number(envelope.seconds, 0))
}

/// The heading over what two axles share.
pub const SHARING_HEADING: &str = "How do the axles share the flex?";
