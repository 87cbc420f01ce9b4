//! The units that files may use, converted to SI once, here.

use super::{Item, Section};

/// What a bare number in a file measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Length, m inside.
    Length,
    /// Angle, rad inside.
    Angle,
    /// Force per length, N/m inside.
    Stiffness,
    /// Torque per angle, N·m/rad inside.
    RotationalStiffness,
    /// Force, N inside.
    Force,
    /// Mass, kg inside.
    Mass,
    /// Stress, Pa inside.
    Stress,
}

/// A unit: how files write it and what one of it is in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// How it is written.
    pub word: &'static str,
    /// How it is said in a sentence.
    pub spoken: &'static str,
    /// SI units per one of it.
    pub to_si: f64,
    /// Other spellings that are understood.
    also: &'static [&'static str],
}

const fn unit(word: &'static str, to_si: f64) -> Unit {
    Unit { word, spoken: word, to_si, also: &[] }
}

/// International foot/12, exact (1959 agreement).
const INCH_M: f64 = 0.0254;
/// Pound, exact (1959 agreement).
const POUND_KG: f64 = 0.453_592_37;
/// Pound-force: the pound under standard gravity 9.806 65 m/s², exact.
const POUND_FORCE_N: f64 = POUND_KG * 9.806_65;
const PER_DEGREE: f64 = 180.0 / std::f64::consts::PI;

const MM: Unit = unit("mm", 1e-3);
const IN: Unit = Unit { spoken: "inches", ..unit("in", INCH_M) };
/// Units of length, also those of screens.
pub const LENGTH_UNITS: [Unit; 2] = [MM, IN];
const ANGLE_UNITS: [Unit; 1] = [unit("deg", 1.0 / PER_DEGREE)];
const STIFFNESS_UNITS: [Unit; 2] = [unit("N/mm", 1e3), unit("lbf/in", POUND_FORCE_N / INCH_M)];
const ROTATIONAL_UNITS: [Unit; 2] = [
    Unit { also: &["Nm/deg", "N.m/deg", "N*m/deg"], ..unit("N·m/deg", PER_DEGREE) },
    Unit {
        also: &["lbf in/deg", "lbf.in/deg", "lbf*in/deg", "lbf-in/deg"],
        ..unit("lbf·in/deg", POUND_FORCE_N * INCH_M * PER_DEGREE)
    },
];
const FORCE_UNITS: [Unit; 2] = [unit("N", 1.0), unit("lbf", POUND_FORCE_N)];
const MASS_UNITS: [Unit; 2] = [unit("kg", 1.0), unit("lb", POUND_KG)];
const STRESS_UNITS: [Unit; 2] = [unit("MPa", 1e6), unit("ksi", 1e3 * POUND_FORCE_N / (INCH_M * INCH_M))];

/// The units of one file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Units {
    length: Unit,
    angle: Unit,
    stiffness: Unit,
    rotational_stiffness: Unit,
    force: Unit,
    mass: Unit,
    stress: Unit,
}

impl Default for Units {
    fn default() -> Self {
        Self::metric()
    }
}

impl Units {
    /// mm, deg, N/mm, N·m/deg, N, kg, MPa.
    pub fn metric() -> Self {
        Self::column(0, MM)
    }

    /// in, deg, lbf/in, lbf·in/deg, lbf, lb, ksi.
    pub fn inch() -> Self {
        Self::column(1, IN)
    }

    fn column(column: usize, length: Unit) -> Self {
        let [metric_k, inch_k] = STIFFNESS_UNITS;
        let [metric_r, inch_r] = ROTATIONAL_UNITS;
        let [metric_f, inch_f] = FORCE_UNITS;
        let [metric_m, inch_m] = MASS_UNITS;
        let [metric_s, inch_s] = STRESS_UNITS;
        let [angle] = ANGLE_UNITS;
        let pick = |metric: Unit, inch: Unit| if column == 0 { metric } else { inch };
        Self {
            length,
            angle,
            stiffness: pick(metric_k, inch_k),
            rotational_stiffness: pick(metric_r, inch_r),
            force: pick(metric_f, inch_f),
            mass: pick(metric_m, inch_m),
            stress: pick(metric_s, inch_s),
        }
    }

    /// The unit of `quantity`.
    pub fn of(&self, quantity: Quantity) -> Unit {
        match quantity {
            Quantity::Length => self.length,
            Quantity::Angle => self.angle,
            Quantity::Stiffness => self.stiffness,
            Quantity::RotationalStiffness => self.rotational_stiffness,
            Quantity::Force => self.force,
            Quantity::Mass => self.mass,
            Quantity::Stress => self.stress,
        }
    }

    /// Whether lengths are in inches, so that fractions are understood.
    pub fn inches(&self) -> bool {
        self.length.word == IN.word
    }

    /// An SI value in the file's unit, rounded for use as an example in a sentence.
    pub(super) fn example(&self, quantity: Quantity, si: f64) -> f64 {
        let value = si / self.of(quantity).to_si;
        let digits = if value.abs() >= 100.0 { 1.0 } else { 10.0 };
        (value * digits).round() / digits
    }

    /// A length in the file's unit, rounded for a sentence, such as `445 mm` or `17.5 in`.
    pub fn say_length(&self, length_m: f64) -> String {
        format!("{} {}", self.example(Quantity::Length, length_m), self.length.word)
    }

    /// Reads the file's `units = { … }`. The other units follow the length (mm: N/mm, N·m/deg, N, kg, MPa; in: lbf/in,
    /// lbf·in/deg, lbf, lb, ksi) unless the file names them.
    pub fn read(root: &mut Section<'_>) -> Units {
        let Some(mut section) = root.get("units").and_then(|i| i.section("`units`")) else {
            root.reader().default_used("units mm and deg".to_owned());
            return Units::default();
        };
        let length = unit_of(section.get("length"), &LENGTH_UNITS);
        if length.is_none() {
            section.reader().default_used("lengths in mm".to_owned());
        }
        let mut units = match length {
            Some(unit) if unit.word == IN.word => Units::inch(),
            _ => Units::metric(),
        };
        let named: [(&'static str, &[Unit], &mut Unit); 6] = [
            ("angle", &ANGLE_UNITS, &mut units.angle),
            ("stiffness", &STIFFNESS_UNITS, &mut units.stiffness),
            ("rotational_stiffness", &ROTATIONAL_UNITS, &mut units.rotational_stiffness),
            ("force", &FORCE_UNITS, &mut units.force),
            ("mass", &MASS_UNITS, &mut units.mass),
            ("stress", &STRESS_UNITS, &mut units.stress),
        ];
        for (key, known, slot) in named {
            if let Some(unit) = unit_of(section.get(key), known) {
                *slot = unit;
            }
        }
        section.finish();
        units
    }
}

fn unit_of(item: Option<Item<'_>>, known: &[Unit]) -> Option<Unit> {
    let item = item?;
    let spelled: Vec<(&'static str, Unit)> =
        known.iter().flat_map(|u| u.also.iter().map(|w| (*w, *u))).collect();
    let names: Vec<(&'static str, Unit)> = known.iter().map(|u| (u.word, *u)).collect();
    item.choice_with_spellings(&names, &spelled)
}

/// A length in inches written as builders write it: `31.5`, `31 1/2`, `31-1/2`, `1/2`, with an optional sign.
/// `None` if it is not one.
pub fn parse_inches(text: &str) -> Option<f64> {
    let text = text.trim();
    let text = text.strip_suffix('"').or_else(|| text.strip_suffix("in")).unwrap_or(text).trim_end();
    let (sign, text) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest.trim_start()),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let value = match text.split_once('/') {
        None => decimal(text)?,
        Some((before, denominator)) => {
            let (whole, numerator) = match before.trim_end().rsplit_once([' ', '-']) {
                Some((whole, numerator)) => (digits(whole.trim_end_matches([' ', '-']))?, numerator),
                None => (0.0, before),
            };
            let (n, d) = (digits(numerator.trim())?, digits(denominator.trim())?);
            if d == 0.0 {
                return None;
            }
            whole + n / d
        }
    };
    Some(sign * value)
}

fn digits(text: &str) -> Option<f64> {
    (!text.is_empty() && text.len() <= 9 && text.bytes().all(|b| b.is_ascii_digit()))
        .then(|| text.parse().ok())
        .flatten()
}

fn decimal(text: &str) -> Option<f64> {
    let plain = text.len() <= 24
        && text.bytes().any(|b| b.is_ascii_digit())
        && text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    plain.then(|| text.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inches_as_builders_write_them() {
        for (text, value) in [
            ("31 1/2", 31.5),
            ("31-1/2", 31.5),
            ("31 - 1/2", 31.5),
            ("-31 1/2", -31.5),
            ("-31-1/2", -31.5),
            ("1/4", 0.25),
            ("-3/8", -0.375),
            ("31.5", 31.5),
            ("31 1/2\"", 31.5),
            ("31 1/2 in", 31.5),
            ("+2", 2.0),
            ("0", 0.0),
        ] {
            assert_eq!(parse_inches(text), Some(value), "{text}");
        }
        for text in
            ["", "abc", "1/0", "nan", "inf", "1e5", "31 1/", "/2", "1/2/3", "31 1", "--2", ".", "- 1/2/"]
        {
            assert_eq!(parse_inches(text), None, "{text}");
        }
    }

    /// NIST SP 811 appendix B.8: lbf/in = 1.751 268 E+02 N/m, ksi = 6.894 757 E+06 Pa, lbf·in = 1.129 848 E−01 N·m (from
    /// memory; they follow from the exact inch and pound).
    #[test]
    fn factors_are_those_of_the_tables() {
        const TABLE_DIGITS: f64 = 5e-7; // the tables carry seven digits
        let inch = Units::inch();
        for (quantity, table) in [
            (Quantity::Stiffness, 175.1268),
            (Quantity::Stress, 6.894757e6),
            (Quantity::RotationalStiffness, 0.1129848 * 180.0 / std::f64::consts::PI),
            (Quantity::Force, 4.448222),
            (Quantity::Mass, 0.4535924),
            (Quantity::Length, 0.0254),
        ] {
            let factor = inch.of(quantity).to_si;
            assert!((factor / table - 1.0).abs() < TABLE_DIGITS, "{quantity:?}: {factor}");
        }
    }
}
