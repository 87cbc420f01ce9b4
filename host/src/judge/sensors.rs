//! Sensors that seem to be clipped elsewhere than the rig file says, in a builder's words.

use super::place;
use super::result::{Finding, FindingKind};
use crate::measure::suspect::Suspect;
use crate::vehicle::Side;

/// One finding for all suspects: one sensor of them is not where the rig file says.
pub fn findings(suspects: &[Suspect]) -> Vec<Finding> {
    let mut names: Vec<&str> = suspects.iter().map(|s| s.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let probability = suspects.iter().map(|s| s.probability).sum();
    let finding = |element: String, text: String, size: Option<f64>, u| Finding {
        kind: FindingKind::Sensor,
        element,
        undecided: size.is_none(),
        text,
        size,
        u,
        probability,
        explains: Vec::new(),
    };
    match (names.as_slice(), suspects) {
        (_, []) => Vec::new(),
        ([_], [only, ..]) => {
            let (words, size, u) = whereabouts(only);
            let text = format!(
                "{} It seems to sit {words}. Its place was left open for everything else here; put it right in rig.toml, or clip it where that says.",
                on_another_bolt(&only.name, only.end)
            );
            vec![finding(only.name.clone(), text, Some(size), Some(u))]
        }
        (_, several) => {
            let each: Vec<String> = several
                .iter()
                .map(|s| {
                    format!(
                        "\"{}\", end on the {}: {} ({:.0} %)",
                        s.name,
                        body(s.end),
                        whereabouts(s).0,
                        100.0 * s.probability
                    )
                })
                .collect();
            let text = format!(
                "A sensor is not clipped where rig.toml says, and the readings do not decide which: {}. Their places were left open for everything else here.",
                each.join("; or ")
            );
            vec![finding(names.join(" or "), text, None, None)]
        }
    }
}

/// That an end hangs elsewhere than the rig file says.
pub fn on_another_bolt(name: &str, end: Side) -> String {
    format!(
        "\"{name}\" does not read what it would where rig.toml says it is clipped: look which bolt its end on the {} hangs on.",
        body(end)
    )
}

fn body(end: Side) -> &'static str {
    match end {
        Side::Axle => "axle",
        Side::Chassis => "chassis",
    }
}

/// Where an end seems to be, in words, with size and standard uncertainty, m.
fn whereabouts(suspect: &Suspect) -> (String, f64, f64) {
    place::along_axes(&suspect.offset_m, &suspect.covariance)
        .map(|(words, size, u)| (format!("{words} than it says"), size, u))
        .unwrap_or_else(|| place::along_best(&suspect.offset_m, &suspect.covariance))
}
