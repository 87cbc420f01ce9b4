//! What a person sees while a test is recorded: where the axle is, and how well each number is resolved so far.

use crate::jobs::record::guide::{Advice, AxleNow, AxleResolved, Resolution, Resolved};
use crate::show::Units;
use crate::show::rows::label;
use crate::vehicle::numbers::Key;

/// Numbers that are followed live, the most asked for first.
const FOLLOWED: [Key; 8] = [
    Key::RollSteer,
    Key::RollCentreZ,
    Key::RollAxisRise,
    Key::PitchPerHeave,
    Key::AntiSquat,
    Key::AntiDive,
    Key::ContactForwardPerHeave,
    Key::LateralPerHeave,
];
/// Columns of a line on a usual screen; on a narrower one a number has two lines.
const COLUMNS: usize = 79;
/// A height climbed that is worth telling, m.
const CLIMBED_M: f64 = 0.02;
/// Columns of a number's name.
const NAME: usize = 22;
/// Columns of its value.
const VALUE: usize = 27;

/// Where the axles are, a line for each.
pub fn now(axles: &[AxleNow], units: Units) -> Vec<String> {
    axles.iter().map(|axle| cut(&format!("{}: {}", axle.name, place(axle, units)), COLUMNS)).collect()
}

fn place(axle: &AxleNow, units: Units) -> String {
    let length = units.length();
    let mm = |m: f64| format!("{:+.0}{}", m * length.per_si, length.unit);
    let mut parts = Vec::new();
    match axle.wheel_travel_m {
        Some([left, right]) => parts.push(format!("left {}, right {}", mm(left), mm(right))),
        None => parts.extend(axle.heave_m.map(|(m, _)| format!("bump {}", mm(m)))),
    }
    if let Some((rad, u)) = axle.articulation_rad {
        let up = if rad >= 0.0 { "left up" } else { "right up" };
        let half = (crate::show::units::HALF_95 * u).to_degrees();
        parts.push(format!("flex {:.1} ± {half:.1}° {up}", rad.abs().to_degrees()));
    }
    if let Some(rise_m) = axle.rise_m.filter(|m| m.abs() > CLIMBED_M) {
        parts.push(format!("climbed {:.0}{}", rise_m.abs() * length.per_si, length.unit));
    }
    if parts.is_empty() { "the sensors see none of its movement".into() } else { parts.join(", ") }
}

/// How well the numbers are resolved so far, a line for each of the most asked for; two where a line has fewer columns than
/// usual.
pub fn resolved(axles: &[AxleResolved], units: Units, columns: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for axle in axles {
        let shown: Vec<&Resolved> =
            FOLLOWED.iter().filter_map(|key| axle.numbers.iter().find(|n| n.key == *key)).collect();
        let enough = axle.numbers.iter().filter(|n| n.resolution == Resolution::Well).count();
        let seen = axle.numbers.iter().filter(|n| n.resolution != Resolution::Unseen).count();
        let so_far =
            format!("{} axle: {enough} of {seen} numbers resolved well enough (± is 95 %)", axle.name);
        lines.extend(super::page::wrap(&so_far, columns.min(COLUMNS)));
        for number in shown {
            let value = match (number.measured.value, number.measured.u) {
                (Some(value), Some(u)) => units.of(number.key).with_u(value, Some(u)),
                _ => "–".into(),
            };
            let said = said(number, units);
            if columns < COLUMNS {
                lines.push(cut(&format!("  {}: {value}", label(number.key)), columns));
                lines.push(cut(&format!("    {said}"), columns));
                continue;
            }
            let name = cut(label(number.key), NAME);
            lines.push(cut(&format!("  {name:<NAME$} {value:<VALUE$} {said}"), COLUMNS));
        }
    }
    lines
}

/// What is to be said of a number, advice included.
pub fn said(number: &Resolved, units: Units) -> String {
    let advice = number.advice.as_ref().map(|a| advice(a, units));
    match (number.resolution, advice) {
        (Resolution::Well, _) => "enough".into(),
        (Resolution::Unseen, _) => "not seen by these sensors".into(),
        (Resolution::Coarse | Resolution::NotYet, Some(advice)) => advice,
        (Resolution::Coarse, None) => "coarse".into(),
        (Resolution::NotYet, None) => "not yet".into(),
    }
}

/// What would help, as a part of a sentence.
fn advice(advice: &Advice, units: Units) -> String {
    match advice {
        Advice::Articulate { more_rad, left } => {
            let side = match left {
                Some(true) => ", left up",
                Some(false) => ", right up",
                None => "",
            };
            format!("{:.0}° more flex{side}", more_rad.to_degrees().max(1.0))
        }
        Advice::Travel { more_m } => {
            let length = units.length();
            format!("{:.0}{} more bump", (more_m * length.per_si).max(1.0), length.unit)
        }
        Advice::Repeat { times: 1 } => "the same once more".into(),
        Advice::Repeat { times } => format!("the same {times} times more"),
        Advice::NoMotion { because } => (*because).into(),
    }
}

/// A line of so many columns at the most; what is cut away leaves an ellipsis.
pub fn cut(line: &str, columns: usize) -> String {
    if line.chars().count() <= columns {
        return line.to_owned();
    }
    let mut short: String = line.chars().take(columns.saturating_sub(1)).collect();
    short.push('…');
    short
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Measured, Status};

    fn number(key: Key, value: f64, resolution: Resolution, advice: Option<Advice>) -> Resolved {
        let measured = match resolution {
            Resolution::NotYet => Measured::without(Status::NotExcited, "hardly moved"),
            _ => Measured::new(value, 0.1 * value.abs()),
        };
        Resolved { key, measured, enough_u: 0.01, resolution, advice }
    }

    #[test]
    fn a_guide_fits_a_small_terminal_and_says_what_to_do() {
        let axle = AxleResolved {
            name: "rear".into(),
            numbers: vec![
                number(
                    Key::RollSteer,
                    0.12,
                    Resolution::Coarse,
                    Some(Advice::Articulate { more_rad: 0.26, left: Some(false) }),
                ),
                number(Key::RollCentreZ, 0.6, Resolution::Well, None),
                number(Key::RollAxisRise, 0.1, Resolution::Coarse, Some(Advice::Repeat { times: 3 })),
                number(Key::PitchPerHeave, 0.0, Resolution::NotYet, Some(Advice::Travel { more_m: 0.04 })),
                number(
                    Key::AntiSquat,
                    55.0,
                    Resolution::Coarse,
                    Some(Advice::NoMotion { because: "limited by sensor mounts" }),
                ),
            ],
            heave_m: [0.0, 0.1],
            roll_rad: [0.0, 0.2],
        };
        let here = AxleNow {
            name: "rear".into(),
            heave_m: Some((0.012, 0.001)),
            articulation_rad: Some((-0.145, 0.002)),
            wheel_travel_m: Some([-0.061, 0.083]),
            rise_m: Some(-0.31),
        };
        let mut lines = now(&[here], Units::Mm);
        lines.extend(resolved(std::slice::from_ref(&axle), Units::Mm, COLUMNS));
        assert!(lines.len() < 20 && lines.iter().all(|l| l.chars().count() < 80), "{lines:#?}");
        insta::assert_snapshot!(lines.join("\n"));
        let narrow = resolved(&[axle], Units::Mm, 39);
        assert!(narrow.iter().all(|l| l.chars().count() < 40), "{narrow:#?}");
        assert!(
            narrow.contains(&"    15° more flex, right up".to_owned()),
            "what to do is not cut away: {narrow:#?}"
        );
    }
}
