//! What to do in each position while a calibration is recorded.

use super::Work;
use crate::files::Quantity;
use crate::rig::Rig;
use crate::rig::calibration::quantity;

/// How long a position is held, s, as people are told: rests of two seconds serve, and nobody lets go at once.
pub const HOLD_S: u32 = 5;

/// What to do in each position, in their order, without the holding itself.
pub fn positions(work: &Work, rig: &Rig) -> Vec<String> {
    match work {
        Work::Zero { .. } => {
            vec!["Level floor, ride height, nobody in or on the vehicle, as it was when the lengths were taped.".into()]
        }
        Work::Scale { sensor, known, .. } => {
            let kind = rig.sensors.iter().find(|s| s.name == *sensor).and_then(|s| quantity(&s.kind));
            let unit = match kind {
                Some(Quantity::Angle) => "°",
                Some(Quantity::Force) => " N",
                _ => " mm",
            };
            known.iter().map(|(value, _)| format!("Hold \"{sensor}\" at {value}{unit}.")).collect()
        }
        Work::Tumble { sensor, edges } => {
            let face = |axis: &str| {
                format!("Lay \"{sensor}\" with its {axis} axis up, on something firm; hands off.")
            };
            let edge = |[a, b]: [&str; 2]| {
                format!(
                    "Lean \"{sensor}\" on its edge, {a} and {b} halfway up, against something firm; hands off."
                )
            };
            let faces = ["+x", "+y", "+z", "−x", "−y", "−z"].map(face);
            let halfway =
                [["+x", "+y"], ["+y", "+z"], ["+x", "+z"], ["+x", "−y"], ["−y", "+z"], ["−x", "+z"]];
            faces.into_iter().chain(halfway.into_iter().filter(|_| *edges).map(edge)).collect()
        }
        Work::Heading { sensor, attitudes, .. } => attitudes
            .iter()
            .map(|a| {
                let part = |word: &str, rad: f64, plus: &str, minus: &str| {
                    let way = if rad > 0.0 { plus } else { minus };
                    (rad != 0.0).then(|| format!("{word} {:.1}°, {way}", rad.to_degrees().abs()))
                };
                let parts = [
                    part("roll", a.roll_rad, "left side up", "right side up"),
                    part("pitch", a.pitch_rad, "nose down", "nose up"),
                ];
                let parts: Vec<String> = parts.into_iter().flatten().collect();
                match parts.as_slice() {
                    [] => "Ride height, level floor.".to_owned(),
                    some => format!("The body that carries \"{sensor}\": {}.", some.join("; ")),
                }
            })
            .collect(),
    }
}
