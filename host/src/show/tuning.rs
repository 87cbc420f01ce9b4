//! What is said of settings: wishes, reasons, what to move, how sure it is.

use super::units::{Scale, Units};
use super::words;
use crate::design::tune::{AxleTuning, Candidate, Extreme, Hole, Reason, Wanted};
use crate::vehicle::numbers::Key;

/// What a builder calls an extreme of the travel.
pub fn extreme(extreme: Extreme) -> &'static str {
    match extreme {
        Extreme::FullBump => "full bump",
        Extreme::FullDroop => "full droop",
        Extreme::LeftUp => "full articulation, left wheel up",
        Extreme::RightUp => "full articulation, right wheel up",
    }
}

/// A value that somebody set: as many digits as it needs, four at the most.
fn set(scale: Scale, value: f64) -> String {
    let text = scale.bare_with_u(value, None);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// `40 to 90 %`, `at most 80 %`, `at least 40 %`.
pub fn limits(wanted: &Wanted, units: Units) -> String {
    let scale = units.of(wanted.key);
    let with_unit = |value| format!("{}{}", set(scale, value), scale.unit);
    match (wanted.wish.min, wanted.wish.max) {
        (Some(min), Some(max)) => format!("{} to {}", set(scale, min), with_unit(max)),
        (None, Some(max)) => format!("at most {}", with_unit(max)),
        (Some(min), None) => format!("at least {}", with_unit(min)),
        (None, None) => "anything".to_owned(),
    }
}

/// What a wish is about, such as "anti-squat" or "wheelbase change, left wheel, over the travel".
pub fn wish_label(wanted: &Wanted) -> String {
    let label = name(wanted.key);
    if wanted.over_travel() { format!("{label}, over the travel") } else { label.to_owned() }
}

fn name(key: Key) -> &'static str {
    super::rows::label(key)
}

/// Why some settings lose, without their values.
pub fn reason(axle: &AxleTuning, reason: &Reason, units: Units) -> String {
    let wish = |k: &usize| axle.wishes.get(*k).map(|w| &w.wanted);
    match reason {
        Reason::Limit { wish: k, below } => {
            let Some(wanted) = wish(k) else { return String::new() };
            let scale = units.of(wanted.key);
            let (word, limit) = if *below { ("below", wanted.wish.min) } else { ("above", wanted.wish.max) };
            let limit = limit.map(|l| format!("{}{}", set(scale, l), scale.unit)).unwrap_or_default();
            format!("{} {word} {limit}", wish_label(wanted))
        }
        Reason::NoNumber { wish: k } => match wish(k) {
            Some(wanted) => format!("has no {}", wish_label(wanted)),
            None => String::new(),
        },
        Reason::Joint { link } => format!("the joints of {link} pass their limit"),
        Reason::FallsShort { extreme: which, member } => {
            format!("does not reach {}: {member} stops it", extreme(*which))
        }
        Reason::CannotHang(why) => why.clone(),
    }
}

/// Why one setting loses, with its values.
pub fn losses(axle: &AxleTuning, candidate: &Candidate, units: Units) -> Vec<String> {
    let one = |why: &Reason| match why {
        Reason::Limit { wish, .. } => {
            let Some(tuning) = axle.wishes.get(*wish) else { return String::new() };
            let wanted = &tuning.wanted;
            let value = candidate.values.get(*wish).and_then(|(_, value)| *value).unwrap_or(f64::NAN);
            let value = units.of(wanted.key).with_u(value, candidate.u_of_wish(*wish));
            format!("{} {value}, wanted {}", wish_label(wanted), limits(wanted, units))
        }
        Reason::Joint { link } => {
            let passed = candidate.look.iter().flat_map(|l| &l.joints).find(|j| j.link == *link);
            let angle = |rad: f64| units.angle().set_to(rad, 1);
            passed.map_or_else(String::new, |j| {
                format!(
                    "a joint of {link} turns by {}, its limit is {}",
                    angle(j.worst_rad),
                    angle(j.limit_rad)
                )
            })
        }
        other => reason(axle, other, units),
    };
    candidate.reasons.iter().map(one).collect()
}

/// `upper left and upper right, chassis ends`.
pub fn bracket(hole: &Hole) -> String {
    let elements = words::list(&hole.bracket.elements);
    match hole.bracket.elements.len() {
        0 | 1 => format!("{elements}, {}", hole.bracket.end),
        _ => format!("{elements}, {}", plural(hole.bracket.end)),
    }
}

fn plural(end: &str) -> String {
    match end {
        "apex" => "apexes".to_owned(),
        "first axle bush" | "second axle bush" => format!("{end}es"),
        other => format!("{other}s"),
    }
}

/// What to do to get from the present setting to this one, each a sentence.
pub fn moves(candidate: &Candidate, units: Units) -> Vec<String> {
    let mut all = Vec::new();
    if !candidate.alternatives.is_empty() {
        let quoted: Vec<String> = candidate.alternatives.iter().map(|a| format!("\"{a}\"")).collect();
        let place = match candidate.replaced.is_empty() {
            true => String::new(),
            false => format!(" in place of {}", words::list(&candidate.replaced)),
        };
        all.push(format!("Fit {}{place}.", words::list(&quoted)));
    }
    for hole in &candidate.holes {
        match hole.now {
            Some(now) if now == hole.hole => {}
            Some(now) => {
                all.push(format!("Move {}, from hole {} to hole {}.", bracket(hole), now + 1, hole.hole + 1))
            }
            None => all.push(format!("Hang {}, in hole {}.", bracket(hole), hole.hole + 1)),
        }
    }
    all.extend(lengths(candidate, units));
    all
}

/// Links that need another length, those of one length in one sentence.
fn lengths(candidate: &Candidate, units: Units) -> Vec<String> {
    let decimals = if units == Units::Mm { 1 } else { 2 };
    let say = |m: f64| units.length().set_to(m, decimals);
    let mut told: Vec<(String, Vec<&str>)> = Vec::new();
    for member in &candidate.rehung {
        let length = match member.now_m {
            Some(now) => format!("from {} to {} between joints", say(now), say(member.then_m)),
            None => format!("{} between joints", say(member.then_m)),
        };
        match told.iter_mut().find(|(other, _)| *other == length) {
            Some((_, names)) => names.push(&member.name),
            None => told.push((length, vec![&member.name])),
        }
    }
    let sentence = |(length, names): (String, Vec<&str>)| match length.starts_with("from") {
        true => format!("Re-make {} {length}.", words::list(&names)),
        false => format!("Make {} {length}.", words::list(&names)),
    };
    told.into_iter().map(sentence).collect()
}

/// `83 of 100`, `more than 99 of 100`.
pub fn chance(probability: f64) -> String {
    let hundredths = 100.0 * probability;
    if hundredths > 99.0 {
        "more than 99 of 100".to_owned()
    } else if hundredths < 1.0 {
        "fewer than 1 of 100".to_owned()
    } else {
        format!("{hundredths:.0} of 100")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vehicle::Wish;

    #[test]
    fn limits_are_told_as_they_were_set() {
        let say = |key, min, max, units| limits(&Wanted { key, wish: Wish { min, max, weight: 1.0 } }, units);
        assert_eq!(say(Key::AntiSquat, Some(40.0), Some(90.0), Units::Mm), "40 to 90 %");
        assert_eq!(say(Key::RollSteer, Some(-0.06), Some(0.06), Units::Mm), "−0.6 to 0.6° per 10°");
        assert_eq!(say(Key::RollCentreZ, Some(0.6125), None, Units::Mm), "at least 612.5 mm");
        assert_eq!(say(Key::AntiSquat, None, Some(100.0), Units::In), "at most 100 %");
        assert_eq!(say(Key::RollCentreZ, None, Some(0.6096), Units::In), "at most 24 in");
        assert_eq!(say(Key::LateralPerHeave, None, Some(0.0), Units::Mm), "at most 0 mm per 100 mm");
    }

    #[test]
    fn chances_never_promise_certainty() {
        assert_eq!(chance(0.834), "83 of 100");
        assert_eq!(
            (chance(1.0).as_str(), chance(0.0).as_str()),
            ("more than 99 of 100", "fewer than 1 of 100")
        );
    }
}
