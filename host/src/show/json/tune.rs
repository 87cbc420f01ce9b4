//! `tune --json`.

use super::{FORMAT, text};
use crate::design::tune::{AxleTuning, Candidate, Class, Extreme, Hole, Reason, WishTuning, merit};
use crate::jobs::tune::Tuned;
use crate::show::{Units, tuning as told};
use crate::vehicle::Position;
use crate::vehicle::numbers::Key;
use serde_json::{Map, Value, json};

/// A tuned vehicle as JSON.
pub fn tuning(tuned: &Tuned) -> String {
    text(&json!({
        "format": FORMAT,
        "vehicle": tuned.vehicle,
        "file": tuned.file,
        "axles": tuned.axles.iter().map(axle).collect::<Vec<_>>(),
        "axles_without_choice": tuned.without_choice,
    }))
}

fn axle(axle: &AxleTuning) -> Value {
    let all = |candidates: &[Candidate]| candidates.iter().map(|c| candidate(axle, c)).collect::<Vec<_>>();
    let count = |class: Class| axle.classes[class as usize];
    json!({
        "name": axle.name,
        "position": match axle.position { Position::Front => "front", Position::Rear => "rear" },
        "combinations": axle.combinations,
        "ranked_by": if axle.wishes.is_empty() { "ease" } else { "wishes" },
        "counts": {
            "keep_every_limit": count(Class::Keeps),
            "miss_limits": count(Class::Misses),
            "joints_pass_limit": count(Class::PassesJoints),
            "fall_short_of_travel": count(Class::FallsShort),
            "cannot_be_hung": count(Class::CannotHang),
        },
        "sweep": { "up_m": axle.sweep.up_m, "down_m": axle.sweep.down_m, "roll_rad": axle.sweep.roll_rad },
        "units_of_ease": {
            "flex_steer_rad": merit::STEER_UNIT_RAD,
            "sideways_m": merit::SHIFT_UNIT_M,
            "bind_nm": merit::BIND_UNIT_NM,
        },
        "wishes": axle.wishes.iter().map(wish).collect::<Vec<_>>(),
        "wishes_not_judged": axle.unjudged.iter().map(|k| k.as_str()).collect::<Vec<_>>(),
        "alternatives": axle.alternatives,
        "reasons": axle.reasons.iter().map(|(why, count)| reason(axle, why, Some(*count))).collect::<Vec<_>>(),
        "present": candidate(axle, &axle.present),
        "ranking": all(&axle.best),
        "pareto": all(&axle.front),
        "pareto_complete": !axle.front_overflowed,
    })
}

fn wish(wish: &WishTuning) -> Value {
    let wanted = &wish.wanted;
    json!({
        "key": wanted.key.as_str(),
        "min": wanted.wish.min,
        "max": wanted.wish.max,
        "weight": wanted.wish.weight,
        "one_point": merit::unit(wanted.key),
        "applies": if wanted.over_travel() { "over the travel" } else { "at ride height" },
        "least": wish.span.map(|[least, _]| least),
        "greatest": wish.span.map(|[_, greatest]| greatest),
    })
}

fn reason(axle: &AxleTuning, why: &Reason, count: Option<u64>) -> Value {
    let kind = match why {
        Reason::Limit { .. } => "limit",
        Reason::NoNumber { .. } => "no number",
        Reason::Joint { .. } => "joint",
        Reason::FallsShort { .. } => "travel",
        Reason::CannotHang(_) => "cannot be hung",
    };
    let wish = match why {
        Reason::Limit { wish, .. } | Reason::NoNumber { wish } => axle.wishes.get(*wish),
        _ => None,
    };
    let element = match why {
        Reason::Joint { link } => Some(link),
        Reason::FallsShort { member, .. } => Some(member),
        _ => None,
    };
    let state = match why {
        Reason::FallsShort { extreme, .. } => Some(told::extreme(*extreme)),
        _ => None,
    };
    json!({
        "kind": kind,
        "text": told::reason(axle, why, Units::Mm),
        "key": wish.map(|w| w.wanted.key.as_str()),
        "element": element,
        "state": state,
        "count": count,
    })
}

fn candidate(axle: &AxleTuning, candidate: &Candidate) -> Value {
    let standing = &candidate.standing;
    let sure = candidate.sureness.as_ref();
    let hung = candidate.look.is_some();
    let finite = |value: f64| if hung && value.is_finite() { json!(value) } else { Value::Null };
    let [steer, shift, bind] = candidate.trouble;
    let u = candidate.u_of_trouble();
    json!({
        "number": candidate.number,
        "rank": candidate.rank,
        "present": candidate.is_present,
        "alternatives": candidate.alternatives,
        "replaces": candidate.replaced,
        "holes": candidate.holes.iter().map(hole).collect::<Vec<_>>(),
        "moves": told::moves(candidate, Units::Mm),
        "links": candidate.rehung.iter().map(|r| json!({
            "name": r.name, "now_m": r.now_m, "then_m": r.then_m,
        })).collect::<Vec<_>>(),
        "class": class(standing.class),
        "points": finite(standing.missed),
        "ease": finite(standing.ease),
        "wishes": (0..axle.wishes.len()).map(|k| of_wish(axle, candidate, k)).collect::<Vec<_>>(),
        "ride": ride(candidate),
        "flex_steer_rad": { "value": finite(steer), "u": u.map(|u| u[0]) },
        "sideways_m": { "value": finite(shift), "u": u.map(|u| u[1]) },
        "bind_nm": { "value": finite(bind), "u": u.map(|u| u[2]) },
        "states": states(axle, candidate),
        "reasons": candidate.reasons.iter().map(|r| reason(axle, r, None)).collect::<Vec<_>>(),
        "losses": told::losses(axle, candidate, Units::Mm),
        "notes": candidate.notes,
        "probability_every_limit_kept": sure.map(|s| s.kept_all),
        "probability_behind_first": sure.map(|s| s.behind_first),
        "probability_best": sure.map(|s| s.best),
    })
}

fn class(class: Class) -> &'static str {
    match class {
        Class::Keeps => "keeps every limit",
        Class::Misses => "misses limits",
        Class::PassesJoints => "joints pass limit",
        Class::FallsShort => "falls short of travel",
        Class::CannotHang => "cannot be hung",
    }
}

fn hole(hole: &Hole) -> Value {
    json!({
        "elements": hole.bracket.elements,
        "end": hole.bracket.end,
        "hole": hole.hole + 1,
        "now": hole.now.map(|h| h + 1),
        "of": hole.bracket.holes,
    })
}

fn of_wish(axle: &AxleTuning, candidate: &Candidate, k: usize) -> Value {
    let wanted = axle.wishes.get(k).map(|w| &w.wanted);
    let points = candidate.points.get(k).copied().filter(|p| p.is_finite());
    json!({
        "key": wanted.map(|w| w.key.as_str()),
        "value": candidate.values.get(k).and_then(|(_, value)| *value),
        "u": candidate.u_of_wish(k),
        "points": points,
        "cost": points.zip(wanted).map(|(p, w)| p * w.wish.weight),
        "kept": points.map(|p| p == 0.0),
        "probability_kept": candidate.sureness.as_ref().and_then(|s| s.kept.get(k).copied()),
    })
}

/// Every key at ride height.
fn ride(candidate: &Candidate) -> Map<String, Value> {
    let value = |key: Key| json!(candidate.look.as_ref().and_then(|l| l.ride.get(key)));
    Key::ALL.into_iter().map(|key| (key.as_str().to_owned(), value(key))).collect()
}

fn states(axle: &AxleTuning, candidate: &Candidate) -> Vec<Value> {
    let one = |(k, extreme): (usize, Extreme)| {
        let end = candidate.look.as_ref().map(|l| &l.ends[k]);
        let seen = end.and_then(|e| e.as_ref().ok());
        let number = |key: Key| seen.and_then(|s| s.numbers.get(key));
        let (heave_m, roll_rad) = extreme.state(&axle.sweep);
        json!({
            "name": told::extreme(extreme),
            "heave_m": heave_m,
            "roll_rad": roll_rad,
            "reached": seen.is_some(),
            "stopped_by": end.and_then(|e| e.as_ref().err()),
            "x_m": seen.map(|s| s.pose.x_m),
            "y_m": seen.map(|s| s.pose.y_m),
            "pitch_rad": seen.map(|s| s.pose.pitch_rad),
            "yaw_rad": seen.map(|s| s.pose.yaw_rad),
            "axle_steer_rad": seen.map(|s| s.pose.axle_steer_rad()),
            "roll_moment_nm": seen.map(|s| s.roll_moment_nm),
            "strain_energy_j": seen.map(|s| s.strain_energy_j),
            "wheelbase_change_left_m": number(Key::WheelbaseChangeLeft),
            "wheelbase_change_right_m": number(Key::WheelbaseChangeRight),
        })
    };
    Extreme::ALL.into_iter().enumerate().map(one).collect()
}
