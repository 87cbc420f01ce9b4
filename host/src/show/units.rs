//! The units of screens and paper, and how a value with its uncertainty is written for people.
//!
//! Uncertainties inside are standard (k = 1). People read `±` as the half-width of a 95 % interval, 1.96·u, with two
//! significant digits, and the value to the same place (the rule of JCGM 100:2008, 7.2.6).

use crate::files::{self, Quantity};
pub use crate::measure::numbers::HALF_95;
use crate::vehicle::numbers::{Key, Unit};

/// What people are told about `±`, once per output.
pub const PLUS_MINUS: &str = "± is the half-width of a 95 % interval.";

/// Digits of a value that has no uncertainty of its own.
const BARE_DIGITS: i32 = 4;

/// Units of screens: lengths in mm or inches, angles in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// mm, N/mm, movement per 100 mm.
    #[default]
    Mm,
    /// in, lbf/in, movement per inch.
    In,
}

/// A unit of screens and how many of it one SI unit makes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// As written behind a number, with its leading space where it has one.
    pub unit: &'static str,
    /// Of this unit per SI unit.
    pub per_si: f64,
}

impl Units {
    /// The units that these words name: `mm` or `in`.
    pub fn parse(word: &str) -> Option<Units> {
        match word {
            "mm" => Some(Units::Mm),
            "in" => Some(Units::In),
            _ => None,
        }
    }

    /// The unit of lengths.
    pub fn length(self) -> Scale {
        self.pick(Quantity::Length, [" mm", " in"])
    }

    /// The unit of angles.
    pub fn angle(self) -> Scale {
        Scale { unit: "°", per_si: 1f64.to_degrees() }
    }

    /// The unit of forces.
    pub fn force(self) -> Scale {
        self.pick(Quantity::Force, [" N", " lbf"])
    }

    /// The unit of moments.
    pub fn moment(self) -> Scale {
        self.force_times_length([" N·m", " lbf·in"])
    }

    /// The unit of energy.
    pub fn energy(self) -> Scale {
        self.force_times_length([" J", " lbf·in"])
    }

    /// The unit of what a link gives under load.
    pub fn compliance(self) -> Scale {
        let (unit, forces) = match self {
            Units::Mm => (" mm per kN", 1e3),
            Units::In => (" in per 1000 lbf", 1e3),
        };
        Scale { unit, per_si: forces * self.length().per_si / self.force().per_si }
    }

    fn force_times_length(self, words: [&'static str; 2]) -> Scale {
        match self {
            Units::Mm => Scale { unit: words[0], per_si: 1.0 },
            Units::In => Scale { unit: words[1], per_si: self.force().per_si * self.length().per_si },
        }
    }

    fn pick(self, quantity: Quantity, words: [&'static str; 2]) -> Scale {
        let (units, word) = match self {
            Units::Mm => (files::Units::metric(), words[0]),
            Units::In => (files::Units::inch(), words[1]),
        };
        Scale { unit: word, per_si: 1.0 / units.of(quantity).to_si }
    }

    /// Bump that "per" means: 100 mm or one inch, m.
    fn bump_m(self) -> f64 {
        match self {
            Units::Mm => 0.1,
            Units::In => 1.0 / self.length().per_si,
        }
    }

    fn per_bump(self, scale: Scale, words: [&'static str; 2]) -> Scale {
        let unit = match self {
            Units::Mm => words[0],
            Units::In => words[1],
        };
        Scale { unit, per_si: scale.per_si * self.bump_m() }
    }

    /// How a number is shown: movement per 100 mm (or inch) of bump and per 10° of articulation.
    pub fn of(self, key: Key) -> Scale {
        const TEN_DEGREES_RAD: f64 = std::f64::consts::PI / 18.0;
        match key.unit() {
            Unit::Metre => self.length(),
            Unit::Radian => self.angle(),
            Unit::RadianPerMetre => self.per_bump(self.angle(), ["° per 100 mm", "° per inch"]),
            Unit::Ratio => self.per_bump(self.length(), [" mm per 100 mm", " in per inch"]),
            Unit::MetrePerRadian => {
                let length = self.length();
                let unit = if self == Units::Mm { " mm per 10°" } else { " in per 10°" };
                Scale { unit, per_si: length.per_si * TEN_DEGREES_RAD }
            }
            Unit::RadianPerRadian => Scale { unit: "° per 10°", per_si: 10.0 },
            Unit::Percent => Scale { unit: " %", per_si: 1.0 },
            Unit::NewtonPerMetre => self.pick(Quantity::Stiffness, [" N/mm", " lbf/in"]),
            Unit::NewtonMetrePerRadian => self.pick(Quantity::RotationalStiffness, [" N·m/°", " lbf·in/°"]),
        }
    }
}

impl Scale {
    /// A value with its half-width and unit, such as `1.218 ± 0.063° per 10°`; SI in, `u` standard.
    pub fn with_u(&self, value: f64, u: Option<f64>) -> String {
        format!("{}{}", self.bare_with_u(value, u), self.unit)
    }

    /// As [`Self::with_u`] without the unit, for a second number of a sentence.
    pub fn bare_with_u(&self, value: f64, u: Option<f64>) -> String {
        let shown = value * self.per_si;
        match u.map(|u| HALF_95 * u * self.per_si).filter(|h| h.is_finite() && *h > 0.0) {
            Some(half) => {
                let places = places(half, 2);
                format!("{} ± {}", rounded(shown, places), rounded(half, places))
            }
            None => rounded(shown, places(shown, BARE_DIGITS)),
        }
    }

    /// A value to the place to which it is known, without its ± and its unit.
    pub fn as_known(&self, value: f64, u: Option<f64>) -> String {
        let text = self.bare_with_u(value, u);
        text.split_once(" ±").map_or(text.clone(), |(value, _)| value.to_owned())
    }

    /// As [`Self::bare_with_u`] with a sign in front, for differences.
    pub fn signed(&self, value: f64, u: Option<f64>) -> String {
        let text = self.bare_with_u(value, u);
        if text.starts_with(MINUS) || value == 0.0 { text } else { format!("+{text}") }
    }

    /// A limit: two significant digits, with its unit.
    pub fn limit(&self, value: f64) -> String {
        let shown = value * self.per_si;
        format!("{}{}", rounded(shown, places(shown, 2)), self.unit)
    }

    /// A value to a fixed number of decimals without its unit, for a column whose heading says it.
    pub fn column(&self, value: f64, decimals: usize) -> String {
        number(value * self.per_si, decimals)
    }

    /// A value to a fixed number of decimals, with its unit, for what is set rather than measured.
    pub fn set_to(&self, value: f64, decimals: usize) -> String {
        format!("{}{}", self.column(value, decimals), self.unit)
    }
}

/// The minus sign of people's output; JSON keeps the hyphen.
const MINUS: char = '−';

/// Decimal places (negative: tens, hundreds) that leave `digits` significant digits of `value` after rounding.
fn places(value: f64, digits: i32) -> i32 {
    let size = value.abs();
    if size == 0.0 || !size.is_finite() {
        return 0;
    }
    let first = digits - 1 - size.log10().floor() as i32;
    // 0.0996 with two digits rounds to 0.10, one place fewer than its own leading digit asks for.
    let step = 10f64.powi(first);
    let carried = (size * step).round() >= 10f64.powi(digits);
    if carried { first - 1 } else { first }
}

/// A number that is set or counted rather than measured, to a fixed number of decimals.
pub fn number(value: f64, decimals: usize) -> String {
    rounded(value, decimals as i32)
}

/// `value` to decimal places; zero never carries a sign.
fn rounded(value: f64, places: i32) -> String {
    let step = 10f64.powi(-places);
    let value = if places < 0 { (value / step).round() * step } else { value };
    let text = format!("{value:.*}", places.max(0) as usize);
    match text.strip_prefix('-') {
        Some(size) if size.chars().any(|c| c.is_ascii_digit() && c != '0') => format!("{MINUS}{size}"),
        Some(size) => size.to_owned(),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ONE: Scale = Scale { unit: "", per_si: 1.0 };

    #[test]
    fn a_value_beside_others_has_as_many_digits_as_are_known() {
        let percent = Units::Mm.of(Key::AntiSquat);
        assert_eq!(percent.as_known(-6.509, Some(3.27)), "−6.5");
        assert_eq!(percent.as_known(79.68, None), "79.68");
    }

    #[test]
    fn digits_follow_the_half_width() {
        let cases = [
            // value, half-width, text
            (1.218_43, 0.063_4, "1.218 ± 0.063"),
            (3969.04, 41.3, "3969 ± 41"),
            (3969.04, 123.0, "3970 ± 120"),
            (3949.04, 1230.0, "3900 ± 1200"),
            (0.25, 0.0996, "0.25 ± 0.10"),
            (0.25, 0.99, "0.25 ± 0.99"),
            (0.26, 0.999, "0.3 ± 1.0"),
            (-71.26, 12.4, "−71 ± 12"),
            (-0.000_4, 0.062, "0.000 ± 0.062"),
        ];
        for (value, half, text) in cases {
            assert_eq!(ONE.bare_with_u(value, Some(half / HALF_95)), text);
        }
        assert_eq!(ONE.bare_with_u(0.123_456, None), "0.1235");
        assert_eq!(ONE.bare_with_u(12.0, Some(0.0)), "12.00");
        assert_eq!(ONE.bare_with_u(0.0, None), "0");
        assert_eq!(ONE.signed(0.31, Some(0.06 / HALF_95)), "+0.310 ± 0.060");
    }

    #[test]
    fn movement_is_per_hundred_millimetres_and_per_ten_degrees() {
        // 0.25 rad/m = 14.32°/m; 1 in = 25.4 mm; all by hand.
        let shown = |units: Units, key: Key, si: f64| units.of(key).with_u(si, None);
        assert_eq!(shown(Units::Mm, Key::PitchPerHeave, 0.25), "1.432° per 100 mm");
        assert_eq!(shown(Units::In, Key::PitchPerHeave, 0.25), "0.3638° per inch");
        assert_eq!(shown(Units::Mm, Key::LateralPerHeave, -0.0208), "−2.080 mm per 100 mm");
        assert_eq!(shown(Units::In, Key::LateralPerHeave, -0.0208), "−0.02080 in per inch");
        assert_eq!(shown(Units::Mm, Key::RollSteer, 0.105), "1.050° per 10°");
        assert_eq!(shown(Units::Mm, Key::RollAxisScrewPitch, 0.018), "3.142 mm per 10°");
        assert_eq!(shown(Units::Mm, Key::RollCentreZ, 0.6108), "610.8 mm");
        assert_eq!(shown(Units::In, Key::RollCentreZ, 0.6108), "24.05 in");
        assert_eq!(shown(Units::Mm, Key::HeaveRate, 42_000.0), "42.00 N/mm");
        // 1 lbf/in = 175.126 8 N/m (4.448 222 N over 25.4 mm).
        assert_eq!(shown(Units::In, Key::HeaveRate, 175.126_8), "1.000 lbf/in");
        assert_eq!(shown(Units::Mm, Key::RollRate, 5729.578), "100.0 N·m/°");
        // 1 N·m = 1/(4.448 222 · 0.0254) = 8.850 7 lbf·in.
        assert_eq!(Units::In.moment().with_u(100.0, None), "885.1 lbf·in");
        assert_eq!(Units::In.energy().with_u(100.0, None), "885.1 lbf·in");
        assert_eq!(Units::Mm.energy().with_u(100.0, None), "100.0 J");
        // 1 m/N = 1e6 mm/kN; 1 mm/kN = (1/25.4) in over (1000/4.448 222) lbf = 0.175 127 in per 1000 lbf.
        assert_eq!(Units::Mm.compliance().with_u(2.1e-7, None), "0.2100 mm per kN");
        assert_eq!(Units::In.compliance().with_u(1e-6, None), "0.1751 in per 1000 lbf");
    }

    proptest! {
        #[test]
        fn a_reader_gets_the_interval_back(value in -1e5..1e5f64, half in 1e-4..1e4f64) {
            let text = ONE.bare_with_u(value, Some(half / HALF_95)).replace(MINUS, "-");
            let (v, h) = text.split_once(" ± ").expect("two numbers");
            let (v, h): (f64, f64) = (v.parse().expect("value"), h.parse().expect("half-width"));
            // Two significant digits of the half-width: at most 5 % of it is lost to rounding.
            prop_assert!((h - half).abs() <= 0.0501 * half);
            prop_assert!((v - value).abs() <= 0.0501 * half + 1e-9 * value.abs());
        }
    }
}
