//! The units that a table may state: in a heading, or for all of its columns at once.

use crate::files::nearest;
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::rig::{Kind, Sensor};

/// What a column measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measures {
    /// s inside.
    Time,
    /// m inside.
    Length,
    /// rad inside.
    Angle,
    /// N inside.
    Force,
    /// m/s² inside.
    Acceleration,
    /// rad/s inside.
    Rate,
}

/// A unit as tables write it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ColumnUnit {
    /// How it is written.
    pub word: &'static str,
    /// What it measures.
    pub measures: Measures,
    /// SI units per one of it.
    pub to_si: f64,
}

const fn unit(word: &'static str, measures: Measures, to_si: f64) -> ColumnUnit {
    ColumnUnit { word, measures, to_si }
}

const DEGREE: f64 = std::f64::consts::PI / 180.0;
/// International foot/12, exact (1959 agreement).
const INCH_M: f64 = 0.0254;
/// Pound under standard gravity, exact (1959 agreement).
const POUND_FORCE_N: f64 = 0.453_592_37 * STANDARD_GRAVITY;

/// Every unit, with its spellings.
const UNITS: [ColumnUnit; 22] = [
    unit("s", Measures::Time, 1.0),
    unit("ms", Measures::Time, 1e-3),
    unit("us", Measures::Time, 1e-6),
    unit("µs", Measures::Time, 1e-6),
    unit("mm", Measures::Length, 1e-3),
    unit("cm", Measures::Length, 1e-2),
    unit("m", Measures::Length, 1.0),
    unit("in", Measures::Length, INCH_M),
    unit("deg", Measures::Angle, DEGREE),
    unit("°", Measures::Angle, DEGREE),
    unit("rad", Measures::Angle, 1.0),
    unit("N", Measures::Force, 1.0),
    unit("kN", Measures::Force, 1e3),
    unit("lbf", Measures::Force, POUND_FORCE_N),
    unit("m/s2", Measures::Acceleration, 1.0),
    unit("m/s²", Measures::Acceleration, 1.0),
    unit("m/s^2", Measures::Acceleration, 1.0),
    unit("g", Measures::Acceleration, STANDARD_GRAVITY),
    unit("rad/s", Measures::Rate, 1.0),
    unit("deg/s", Measures::Rate, DEGREE),
    unit("°/s", Measures::Rate, DEGREE),
    unit("dps", Measures::Rate, DEGREE),
];

impl ColumnUnit {
    /// The words that are understood, for messages.
    pub fn words() -> String {
        UNITS.map(|u| u.word).join(", ")
    }

    /// The unit that is written so.
    pub fn parse(word: &str) -> Option<ColumnUnit> {
        UNITS.into_iter().find(|u| u.word == word)
    }

    /// Units with commas between, each of another quantity: what all columns of a table are in.
    ///
    /// # Errors
    /// The part that is no unit, or that names a quantity twice.
    pub fn parse_list(text: &str) -> Result<Vec<ColumnUnit>, String> {
        let mut found: Vec<ColumnUnit> = Vec::new();
        for part in text.split(',').map(str::trim) {
            let Some(unit) = Self::parse(part) else {
                let near = nearest(part, UNITS.map(|u| u.word)).map(|n| format!("; did you mean {n}?"));
                let there = near.unwrap_or_else(|| format!("; there are {}", Self::words()));
                return Err(format!("no such unit \"{part}\"{there}"));
            };
            if unit.measures == Measures::Time {
                return Err(format!("\"{part}\": head the time column t_s, t_ms or t_us"));
            }
            if let Some(other) = found.iter().find(|u| u.measures == unit.measures) {
                return Err(format!("{} and {} measure the same", other.word, unit.word));
            }
            found.push(unit);
        }
        Ok(found)
    }
}

/// What a channel of a sensor measures.
pub fn measured_by(sensor: &Sensor, channel: usize) -> Measures {
    match sensor.kind {
        Kind::DrawWire(_) | Kind::Range(_) => Measures::Length,
        Kind::Angle(_) => Measures::Angle,
        Kind::Force(_) => Measures::Force,
        Kind::Inertial(_) if channel < 3 => Measures::Acceleration,
        Kind::Inertial(_) => Measures::Rate,
    }
}

/// A heading without the unit that it states in brackets at its end, and that unit's word.
pub fn bracketed(heading: &str) -> Option<(&str, &str)> {
    [('[', ']'), ('(', ')')].into_iter().find_map(|(open, close)| {
        let (name, unit) = heading.strip_suffix(close)?.rsplit_once(open)?;
        Some((name.trim_end(), unit.trim()))
    })
}

/// A heading without the unit that it ends in after an underscore.
pub fn suffixed(heading: &str) -> Option<(&str, ColumnUnit)> {
    let (name, unit) = heading.rsplit_once('_')?;
    Some((name, ColumnUnit::parse(unit)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_give_up_their_units() {
        assert_eq!(bracketed("left travel [mm]"), Some(("left travel", "mm")));
        assert_eq!(bracketed("left (front) (in)"), Some(("left (front)", "in")));
        assert_eq!(bracketed("left travel"), None);
        assert_eq!(suffixed("left_travel_mm").map(|(n, u)| (n, u.to_si)), Some(("left_travel", 1e-3)));
        assert_eq!(suffixed("left_travel"), None);
    }

    #[test]
    fn lists_name_each_quantity_once() {
        let words = |text| ColumnUnit::parse_list(text).map(|l| l.iter().map(|u| u.word).collect::<Vec<_>>());
        assert_eq!(words("in, deg,g"), Ok(vec!["in", "deg", "g"]));
        assert_eq!(words("mm,in"), Err("mm and in measure the same".into()));
        assert!(words("s").is_err() && words("furlong").unwrap_err().contains("there are s, ms"));
    }
}
