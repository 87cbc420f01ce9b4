//! The word beside a number: which way it goes, in a builder's words.

use super::Units;
use super::units::HALF_95;
use crate::vehicle::Position;
use crate::vehicle::numbers::Key;

/// What is said of a number whose sign the ± does not settle.
pub const EITHER_WAY: &str = "either way, within ±";

/// Which way a number goes; none where its name says all. `u` is standard.
pub fn direction(key: Key, position: Position, value: f64, u: Option<f64>) -> Option<&'static str> {
    let [plus, minus] = pair(key, position)?;
    if u.is_some_and(|u| value.abs() < HALF_95 * u) {
        return Some(EITHER_WAY);
    }
    if value > 0.0 {
        Some(plus)
    } else if value < 0.0 {
        Some(minus)
    } else {
        None
    }
}

/// The word for a positive and for a negative value.
fn pair(key: Key, position: Position) -> Option<[&'static str; 2]> {
    let rear = position == Position::Rear;
    Some(match key {
        Key::RollSteer => roll_steer(position),
        Key::SideViewInstantCentreX => ["ahead of the axle", "behind the axle"],
        Key::SideViewInstantCentreZ | Key::RollCentreZ => ["above the floor", "below the floor"],
        Key::SideViewDirection | Key::RollAxisRise => ["rising forward", "falling forward"],
        // Positive pitch drops the nose; a front axle's pinion points backward and rises with it.
        Key::PitchPerHeave if rear => ["pinion drops in bump", "pinion rises in bump"],
        Key::PitchPerHeave => ["pinion rises in bump", "pinion drops in bump"],
        Key::ContactForwardPerHeave => ["forward in bump", "back in bump"],
        Key::LateralPerHeave => ["to the left in bump", "to the right in bump"],
        Key::RollAxisScrewPitch => ["forward as the left wheel rises", "back as the left wheel rises"],
        Key::AntiSquat => ["resists squat", "adds to squat"],
        Key::AntiLiftDrive | Key::AntiLiftBrake => ["resists lift", "adds to lift"],
        Key::AntiDive => ["resists dive", "adds to dive"],
        Key::WheelbaseChangeLeft | Key::WheelbaseChangeRight => ["longer", "shorter"],
        Key::TrackShiftLeft | Key::TrackShiftRight => ["to the left", "to the right"],
        Key::PinionAngle => ["nose up", "nose down"],
        Key::BumpSteerHeave => ["turns left in bump", "turns right in bump"],
        Key::BumpSteerRoll => ["turns left as the left wheel rises", "turns right as the left wheel rises"],
        Key::Castor | Key::HeaveRate | Key::RollRate => return None,
    })
}

/// Roll steer by the sign of `dδ/droll`: δ > 0 with roll > 0 turns a rear axle into oversteer, a front axle into understeer.
pub fn roll_steer(position: Position) -> [&'static str; 2] {
    match position {
        Position::Rear => ["roll oversteer", "roll understeer"],
        Position::Front => ["roll understeer", "roll oversteer"],
    }
}

/// Front or rear, and the other.
pub fn position(position: Position) -> [&'static str; 2] {
    match position {
        Position::Front => ["front", "rear"],
        Position::Rear => ["rear", "front"],
    }
}

/// A state in words: `40 mm of bump`, `9.8° left wheel up`, or both.
pub fn state(heave_m: f64, roll_rad: f64, units: Units) -> String {
    /// Heave and roll below these are not worth naming: 1 mm, 0.1°.
    const NAMED: (f64, f64) = (1e-3, 2e-3);
    let decimals = if units == Units::Mm { 0 } else { 1 };
    let heave = (heave_m.abs() >= NAMED.0).then(|| {
        let way = if heave_m > 0.0 { "bump" } else { "droop" };
        format!("{} of {way}", units.length().set_to(heave_m.abs(), decimals))
    });
    let roll = (roll_rad.abs() >= NAMED.1).then(|| articulation(roll_rad, units));
    match (roll, heave) {
        (Some(roll), Some(heave)) => format!("{roll} with {heave}"),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => "ride height".into(),
    }
}

/// `9.8° left wheel up`.
pub fn articulation(roll_rad: f64, units: Units) -> String {
    let side = if roll_rad > 0.0 { "left" } else { "right" };
    format!("{} {side} wheel up", units.angle().set_to(roll_rad.abs(), 1))
}

/// `a`, `a and b`, `a, b and c`.
pub fn list<S: AsRef<str>>(items: &[S]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [head @ .., last] => {
            let head: Vec<&str> = head.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", head.join(", "), last.as_ref())
        }
    }
}

/// `text` with its first letter large.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roll_steer_changes_its_word_with_the_axle() {
        let word = |position, value| direction(Key::RollSteer, position, value, Some(0.001));
        assert_eq!(word(Position::Rear, 0.1), Some("roll oversteer"));
        assert_eq!(word(Position::Front, 0.1), Some("roll understeer"));
        assert_eq!(word(Position::Rear, -0.1), Some("roll understeer"));
        assert_eq!(word(Position::Front, -0.1), Some("roll oversteer"));
    }

    #[test]
    fn a_sign_within_the_half_width_is_not_claimed() {
        // 1.96 · 0.051 = 0.09996
        let word = |u| direction(Key::RollSteer, Position::Rear, 0.1, Some(u));
        assert_eq!(word(0.051), Some("roll oversteer"));
        assert_eq!(word(0.0511), Some(EITHER_WAY));
    }

    #[test]
    fn states_are_told_in_words() {
        assert_eq!(state(0.04, 0.0, Units::Mm), "40 mm of bump");
        assert_eq!(state(-0.0508, 0.0, Units::In), "2.0 in of droop");
        assert_eq!(state(0.02, -0.171, Units::Mm), "9.8° right wheel up with 20 mm of bump");
        assert_eq!(state(0.0, 0.0, Units::Mm), "ride height");
    }

    #[test]
    fn lists_read_as_sentences() {
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
        assert_eq!(list::<&str>(&[]), "");
    }
}
