//! A value of a file, read as what it has to be.

use super::comma::{first_in, with_point};
use super::instant::instant_us;
use super::suggest::{nearest, one_of};
use super::{Quantity, Reader, Section, parse_inches};
use crate::geometry::Vector3;
use std::ops::Range;
use toml::de::DeValue;

/// No vehicle has a length or a coordinate beyond this, m: the file's units are wrong, or a digit slipped in.
const LONGEST_M: f64 = 30.0;
/// No angle of a vehicle file is beyond a right angle, rad.
const WIDEST_RAD: f64 = std::f64::consts::FRAC_PI_2;
/// Beyond this a bare number is a slip whatever it measures; it keeps later arithmetic finite.
const GREATEST: f64 = 1e15;

/// What a number may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// Any sign.
    Any,
    /// Zero or more.
    NotNegative,
    /// More than zero.
    Positive,
}

/// A value with its place.
#[derive(Debug, Clone)]
pub struct Item<'s> {
    reader: &'s Reader<'s>,
    /// What a sentence calls it, such as `` `track` of axle "rear" ``.
    what: String,
    value: &'s DeValue<'s>,
    span: Range<usize>,
}

impl<'s> Item<'s> {
    pub(super) fn new(
        reader: &'s Reader<'s>,
        what: String,
        value: &'s DeValue<'s>,
        span: Range<usize>,
    ) -> Self {
        Self { reader, what, value, span }
    }

    pub(super) fn value(&self) -> &'s DeValue<'s> {
        self.value
    }

    /// The file that it is part of.
    pub fn reader(&self) -> &'s Reader<'s> {
        self.reader
    }

    /// What a sentence calls it.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// Where it stands.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Notes that it is wrong.
    pub fn wrong(&self, message: impl Into<String>, help: impl Into<String>) {
        self.reader.problem(self.span(), message, help);
    }

    /// Notes that it is of the wrong type: "`track` of axle "rear" must be a number, and this is text".
    fn wrong_type(&self, wanted: &str, help: &str) {
        let found = match self.value {
            DeValue::String(_) => "text",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a section",
        };
        self.wrong(format!("{} must be {wanted}, and this is {found}", self.what), help);
    }

    /// Whether it is text.
    pub fn is_text(&self) -> bool {
        self.value.is_str()
    }

    /// Whether it is a list.
    pub fn is_list(&self) -> bool {
        self.value.is_array()
    }

    /// Whether it is a section or an inline table.
    pub fn is_section(&self) -> bool {
        self.value.is_table()
    }

    /// A day, or a time with its zone's offset, as it is written and in µs since 1970.
    pub fn date(&self) -> Option<(String, i64)> {
        let text = self.text()?;
        let at_us = instant_us(text);
        if at_us.is_none() {
            self.wrong(
                format!("\"{}\" is no date", text.escape_debug()),
                "write it as 2026-11-25, or with the time and the zone's offset as 2026-11-25T14:00:00+01:00",
            );
        }
        Some((text.to_owned(), at_us?))
    }

    /// A finite number as the file writes it, in whatever unit it is meant.
    pub fn number(&self, bound: Bound) -> Option<f64> {
        let number = self.bare_number("write it as a plain number, without quotes")?;
        self.check(number, bound)
    }

    /// A number from `least` to `greatest`.
    pub fn number_within(&self, least: f64, greatest: f64) -> Option<f64> {
        let number = self.number(Bound::Any)?;
        if (least..=greatest).contains(&number) {
            return Some(number);
        }
        self.wrong(
            format!("{} must lie between {least} and {greatest}", self.what),
            format!("write a number from {least} to {greatest}"),
        );
        None
    }

    fn bare_number(&self, help: &str) -> Option<f64> {
        let number = match self.value {
            DeValue::Integer(integer) => {
                i128::from_str_radix(integer.as_str(), integer.radix()).map_or(f64::INFINITY, |i| i as f64)
            }
            DeValue::Float(float) => float.as_str().parse().unwrap_or(f64::NAN),
            DeValue::String(text) => {
                let point =
                    with_point(text).map(|point| format!("write {point}, with a point and without quotes"));
                self.wrong_type("a number", point.as_deref().unwrap_or(help));
                return None;
            }
            _ => {
                self.wrong_type("a number", help);
                return None;
            }
        };
        if number.is_finite() && number.abs() <= GREATEST {
            return Some(number);
        }
        let message = if number.is_nan() {
            format!("{} is not a number", self.what)
        } else {
            format!("{} is too large to be real", self.what)
        };
        self.wrong(message, "write the measured value");
        None
    }

    fn check(&self, number: f64, bound: Bound) -> Option<f64> {
        let (good, message, help) = match bound {
            Bound::Any => (true, "", ""),
            Bound::NotNegative => (number >= 0.0, "cannot be negative", "write 0 or more"),
            Bound::Positive => (number > 0.0, "must be greater than 0", "write the measured value"),
        };
        if good {
            return Some(number);
        }
        self.wrong(format!("{} {message}", self.what), help);
        None
    }

    /// A number in the file's unit of `quantity`, converted to SI. Lengths of inch files may be fractions in quotes.
    pub fn quantity(&self, quantity: Quantity, bound: Bound) -> Option<f64> {
        let unit = self.reader.units().of(quantity);
        let number = match (self.value, quantity) {
            (DeValue::String(text), Quantity::Length) if self.reader.units().inches() => {
                let Some(number) = parse_inches(text) else {
                    self.wrong(
                        format!("{} is not a length in inches", self.what),
                        "write a number, or a fraction such as \"31 1/2\"",
                    );
                    return None;
                };
                number
            }
            _ => {
                self.bare_number(&format!("write it as a plain number in {}, without quotes", unit.spoken))?
            }
        };
        let si = self.check(number, bound)? * unit.to_si;
        let limit = match quantity {
            Quantity::Length => LONGEST_M,
            Quantity::Angle => WIDEST_RAD,
            _ => return Some(si),
        };
        // A millionth more, so that a right angle written as 90 is one.
        if si.abs() <= limit * (1.0 + 1e-6) {
            return Some(si);
        }
        let most = (limit / unit.to_si).round();
        self.wrong(
            format!("{} is {number} {}, and cannot be beyond {most}", self.what, unit.word),
            "check the number, and `units` at the top of the file",
        );
        None
    }

    /// A whole number.
    pub fn whole_number(&self) -> Option<i64> {
        let DeValue::Integer(integer) = self.value else {
            self.wrong_type("a whole number", "write it without a decimal point and without quotes");
            return None;
        };
        let number = i64::from_str_radix(integer.as_str(), integer.radix()).ok();
        if number.is_none() {
            self.wrong(format!("{} is too large to be real", self.what), "write a smaller whole number");
        }
        number
    }

    /// A whole number from `least` to `greatest`.
    pub fn whole_within(&self, least: i64, greatest: i64) -> Option<i64> {
        let number = self.whole_number()?;
        if (least..=greatest).contains(&number) {
            return Some(number);
        }
        self.wrong(
            format!("{} must lie between {least} and {greatest}", self.what),
            format!("write a whole number from {least} to {greatest}"),
        );
        None
    }

    /// `true` or `false`.
    pub fn flag(&self) -> Option<bool> {
        let flag = self.value.as_bool();
        if flag.is_none() {
            self.wrong_type("true or false", "write true or false, without quotes");
        }
        flag
    }

    /// Text.
    pub fn text(&self) -> Option<&'s str> {
        let text = self.value.as_str();
        if text.is_none() {
            self.wrong_type("text", "put it in quotes");
        }
        text
    }

    /// A name: text of one line that is not empty.
    pub fn name(&self) -> Option<String> {
        let text = self.text()?.trim();
        if text.is_empty() {
            self.wrong(format!("{} is empty", self.what), "write a name between the quotes");
            return None;
        }
        if text.chars().any(char::is_control) {
            self.wrong(
                format!("{} holds a line break or another control character", self.what),
                "write the name on one line",
            );
            return None;
        }
        Some(text.to_owned())
    }

    /// One of the words `known`.
    pub fn choice<T: Copy>(&self, known: &[(&'static str, T)]) -> Option<T> {
        self.choice_with_spellings(known, &[])
    }

    /// One of the words `known`, or one of their other `spellings`, which help lines do not list.
    pub(super) fn choice_with_spellings<T: Copy>(
        &self,
        known: &[(&'static str, T)],
        spellings: &[(&'static str, T)],
    ) -> Option<T> {
        let names = || known.iter().map(|(word, _)| *word);
        let DeValue::String(text) = self.value else {
            self.wrong_type("a word in quotes", &format!("write {}", one_of(names())));
            return None;
        };
        let found = known.iter().chain(spellings).find(|(word, _)| word == text);
        if found.is_none() {
            let help = match nearest(text, names()) {
                Some(word) => format!("did you mean \"{word}\"?"),
                None => format!("write {}", one_of(names())),
            };
            self.wrong(format!("{} cannot be \"{}\"", self.what, text.escape_debug()), help);
        }
        found.map(|(_, value)| *value)
    }

    /// A list of any length.
    pub fn list(&self, help: &str) -> Option<Vec<Item<'s>>> {
        let DeValue::Array(array) = self.value else {
            self.wrong_type("a list", help);
            return None;
        };
        let item = |(i, value): (usize, &'s toml::Spanned<DeValue<'s>>)| {
            Item::new(self.reader, format!("entry {} of {}", i + 1, self.what), value.get_ref(), value.span())
        };
        Some(array.iter().enumerate().map(item).collect())
    }

    /// A list of exactly `N` entries.
    pub fn list_of<const N: usize>(&self, help: &str) -> Option<[Item<'s>; N]> {
        let list = self.list(help)?;
        match <[Item<'s>; N]>::try_from(list) {
            Ok(items) => Some(items),
            Err(list) => {
                let written = self.reader.text().get(self.span()).unwrap_or_default();
                let comma = first_in(written).filter(|_| list.len() > N);
                let comma = comma.and_then(|(place, point)| {
                    Some(format!("{help}; a fraction has a point, {point} and not {}", written.get(place)?))
                });
                let message = format!("{} must have {N} entries, and has {}", self.what, list.len());
                self.wrong(message, comma.unwrap_or_else(|| help.to_owned()));
                None
            }
        }
    }

    /// A point `[x, y, z]` in the file's unit of length, m.
    pub fn point(&self) -> Option<Vector3<f64>> {
        let help = "a point is [x, y, z]: forward, left, up";
        let read = |i: Item<'_>| i.quantity(Quantity::Length, Bound::Any);
        // Each coordinate is read before any is given up, so that every wrong one is told.
        let [x, y, z] = self.coordinates(help)?.map(read);
        Some(Vector3::new(x?, y?, z?))
    }

    fn coordinates(&self, help: &str) -> Option<[Item<'s>; 3]> {
        let mut items = self.list_of::<3>(help)?;
        for (item, letter) in items.iter_mut().zip(["x", "y", "z"]) {
            item.what = format!("{letter} in {}", self.what);
        }
        Some(items)
    }

    /// A direction: `"x"`, `"y"`, `"z"`, with a sign if wanted, or a vector; returned at unit length.
    pub fn direction(&self) -> Option<Vector3<f64>> {
        if self.is_text() {
            return self.choice_with_spellings(&AXES, &SIGNED_AXES);
        }
        let help = "write \"x\", \"y\" or \"z\", or a vector [x, y, z]";
        let [x, y, z] = self.coordinates(help)?.map(|i| i.number(Bound::Any));
        let vector = Vector3::new(x?, y?, z?);
        let unit = vector.try_normalize(f64::MIN_POSITIVE);
        if unit.is_none() {
            self.wrong(format!("{} points nowhere", self.what), "at least one of its numbers must not be 0");
        }
        unit
    }

    /// A section or inline table, called `what` from then on.
    pub fn section(&self, what: &str) -> Option<Section<'s>> {
        let DeValue::Table(table) = self.value else {
            self.wrong_type("a section", "write { key = value, … } or a section of its own");
            return None;
        };
        Some(Section::new(self.reader, table, what.to_owned(), self.span()))
    }
}

const AXES: [(&str, Vector3<f64>); 3] = [
    ("x", Vector3::new(1.0, 0.0, 0.0)),
    ("y", Vector3::new(0.0, 1.0, 0.0)),
    ("z", Vector3::new(0.0, 0.0, 1.0)),
];
const SIGNED_AXES: [(&str, Vector3<f64>); 6] = [
    ("+x", Vector3::new(1.0, 0.0, 0.0)),
    ("+y", Vector3::new(0.0, 1.0, 0.0)),
    ("+z", Vector3::new(0.0, 0.0, 1.0)),
    ("-x", Vector3::new(-1.0, 0.0, 0.0)),
    ("-y", Vector3::new(0.0, -1.0, 0.0)),
    ("-z", Vector3::new(0.0, 0.0, -1.0)),
];
