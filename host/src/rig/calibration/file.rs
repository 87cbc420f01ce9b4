//! `calibration.toml` read and written: SI, every key ending in its unit. The program only ever adds at its end; a person may
//! take an entry out.

use super::{Calibration, Entry, Found, HeadingFound, ScaleFound, TumbleFound, VALID_DAYS, ZeroFound};
use crate::files::{self, Bound, Example, FileErrors, Item, LoadError, Quantity, Section, written};
use crate::geometry::{Matrix3, Vector3};
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};
use std::path::Path;

/// What a new file begins with.
pub const HEAD: &str = "# What was found out about the sensors of this vehicle. hingeline calibrate adds at the end; of every sensor and kind the\n\
     # last entry counts, as long as rig.toml says the same of the sensor as then. SI: m, rad, m/s^2, rad/s.\nformat = 1\n";

/// Significant digits of a written number: far below any uncertainty, and still read by people.
const DIGITS: i32 = 9;

/// Reads the calibration `text`; `path_label` is what messages call it.
///
/// # Errors
/// Every mistake of the file at once, each with its place and how to mend it.
pub fn parse(text: &str, path_label: &str) -> Result<Calibration, FileErrors> {
    let mut calibration = files::read(text, path_label, |root| {
        let sections = root.sections("calibration", "calibration");
        let known = sections.len();
        let entries: Vec<Entry> = sections.into_iter().filter_map(entry).collect();
        (entries.len() == known).then_some(Calibration { entries, hash: String::new() })
    })?;
    calibration.hash = blake3::hash(text.as_bytes()).to_hex().to_string();
    Ok(calibration)
}

/// Reads the calibration file at `path`; an empty calibration where there is no such file.
///
/// # Errors
/// If it cannot be read, or if it has mistakes.
pub fn load_if_there(path: &Path) -> Result<Calibration, LoadError> {
    if !path.exists() {
        return Ok(Calibration::default());
    }
    let text = files::read_text(path)?;
    Ok(parse(&text, &path.display().to_string())?)
}

fn entry(mut section: Section<'_>) -> Option<Entry> {
    const KINDS: [(&str, Kind); 4] =
        [("zero", Kind::Zero), ("scale", Kind::Scale), ("tumble", Kind::Tumble), ("heading", Kind::Heading)];
    let sensor = section.require("sensor", Example::Text("\"left travel\""), "as rig.toml calls it");
    let sensor = sensor.and_then(|i| i.name());
    let date = section.require("date", Example::Text("\"2026-11-26T10:11:12+01:00\""), "when it was found");
    let date = date.and_then(|item| item.date());
    let valid_days = section.or("valid_days", VALID_DAYS, |i| i.number(Bound::Positive));
    let method = section.or("method", String::new(), |i| i.text().map(str::to_owned));
    let from = section.or("from", String::new(), |i| i.text().map(str::to_owned));
    let from_hash = section.optional("from_hash", |i| i.text().map(str::to_owned));
    let points = section.or("points", 0, |i| i.whole_within(0, 100_000));
    let fitted =
        section.require("fitted", Example::Text("[\"kind draw-wire\"]"), "how the sensor was fitted");
    let fitted = fitted.and_then(|i| {
        let list = i.list("write what was so, as a list of texts")?;
        list.iter().map(|i| i.text().map(str::to_owned)).collect::<Option<Vec<String>>>()
    });
    let kind = section.require("kind", Example::Text("\"scale\""), "or zero, tumble, heading");
    let Some(kind) = kind.and_then(|i| i.choice(&KINDS)) else {
        section.give_up();
        return None;
    };
    let found = match kind {
        Kind::Zero => zero(&mut section).map(Found::Zero),
        Kind::Scale => scale(&mut section).map(Found::Scale),
        Kind::Tumble => tumble(&mut section).map(|f| Found::Tumble(Box::new(f))),
        Kind::Heading => heading(&mut section).map(Found::Heading),
    };
    section.finish();
    let (date, at_us) = date?;
    Some(Entry {
        sensor: sensor?,
        found: found?,
        date,
        at_us,
        valid_days: valid_days?,
        method: method?,
        from: from?,
        from_hash: from_hash?,
        points: usize::try_from(points?).ok()?,
        fitted: fitted?,
    })
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    Zero,
    Scale,
    Tumble,
    Heading,
}

/// A key that ends in the unit of what the sensor measures: the one of three that is there.
type Key = [&'static str; 3];
const OFFSET: Key = ["offset_m", "offset_rad", "offset_n"];
const OFFSET_U: Key = ["offset_u_m", "offset_u_rad", "offset_u_n"];
const READING: Key = ["reading_m", "reading_rad", "reading_n"];
const KNOWN: Key = ["known_m", "known_rad", "known_n"];
const RESIDUALS: Key = ["residuals_m", "residuals_rad", "residuals_n"];
const RESIDUAL: Key = ["residual_m", "residual_rad", "residual_n"];
const LINEARITY: Key = ["linearity_m", "linearity_rad", "linearity_n"];

/// The value of whichever of the keys is there; the first one is asked for where none is.
fn of<'s>(section: &mut Section<'s>, keys: Key) -> Option<Item<'s>> {
    let there = keys.into_iter().find(|key| section.has(key)).unwrap_or(keys[0]);
    section.require(there, Example::Text("0.001"), "m, rad or N")
}

fn number(section: &mut Section<'_>, keys: Key) -> Option<f64> {
    of(section, keys)?.number(Bound::Any)
}

fn numbers(item: &Item<'_>) -> Option<Vec<f64>> {
    let list = item.list("write numbers in brackets")?;
    list.iter().map(|i| i.number(Bound::Any)).collect()
}

fn three(section: &mut Section<'_>, key: &'static str, bound: Bound) -> Option<Vector3<f64>> {
    let item = section.require(key, Example::Text("[0.0, 0.0, 0.0]"), "x, y, z of the sensor")?;
    let [x, y, z] = item.list_of::<3>("write x, y and z in brackets")?.map(|i| i.number(bound));
    Some(Vector3::new(x?, y?, z?))
}

fn zero(section: &mut Section<'_>) -> Option<ZeroFound> {
    let (offset, u) = (number(section, OFFSET), of(section, OFFSET_U));
    let u = u.and_then(|i| i.number(Bound::NotNegative));
    let reading = number(section, READING);
    let factor = section.or("factor", 1.0, |i| nonzero(&i));
    Some(ZeroFound { offset: offset?, u: u?, reading: reading?, factor: factor? })
}

fn nonzero(item: &Item<'_>) -> Option<f64> {
    let value = item.number(Bound::Any)?;
    if value == 0.0 {
        item.wrong(format!("{} cannot be 0", item.what()), "write what a reading is multiplied with");
        return None;
    }
    Some(value)
}

fn scale(section: &mut Section<'_>) -> Option<ScaleFound> {
    let factor = section.require("factor", Example::Text("1.0"), "what a reading is multiplied with");
    let factor = factor.and_then(|i| nonzero(&i));
    let relative_u = section.require("factor_relative_u", Example::Text("0.001"), "of the factor, relative");
    let relative_u = relative_u.and_then(|i| i.number(Bound::NotNegative));
    let offset = number(section, OFFSET);
    let known = of(section, KNOWN).and_then(|i| numbers(&i));
    let residuals = of(section, RESIDUALS).and_then(|i| numbers(&i));
    let residual = number(section, RESIDUAL);
    let linearity = match LINEARITY.into_iter().find(|key| section.has(key)) {
        Some(key) => section.optional(key, |i| i.number(Bound::NotNegative)),
        None => Some(None),
    };
    Some(ScaleFound {
        factor: factor?,
        relative_u: relative_u?,
        offset: offset?,
        known: known?,
        residuals: residuals?,
        residual: residual?,
        linearity: linearity?,
    })
}

fn tumble(section: &mut Section<'_>) -> Option<TumbleFound> {
    let bias = three(section, "bias_m_per_s2", Bound::Any);
    let bias_u = three(section, "bias_u_m_per_s2", Bound::NotNegative);
    let scale = three(section, "scale", Bound::Positive);
    let scale_u = three(section, "scale_u", Bound::NotNegative);
    let skew = three(section, "misalignment_rad", Bound::Any);
    let skew_u = three(section, "misalignment_u_rad", Bound::NotNegative);
    let gyro = three(section, "gyro_bias_rad_per_s", Bound::Any);
    let gyro_u = three(section, "gyro_bias_u_rad_per_s", Bound::NotNegative);
    let residuals = section
        .require("residuals_m_per_s2", Example::Text("[0.0]"), "by position")
        .and_then(|i| numbers(&i));
    let residual = section
        .require("residual_m_per_s2", Example::Text("0.001"), "their root mean square")
        .and_then(|i| i.number(Bound::NotNegative));
    Some(TumbleFound {
        bias: bias?,
        bias_u: bias_u?,
        matrix: symmetric(&scale?, &skew?),
        scale_u: scale_u?,
        misalignment_u_rad: skew_u?,
        gyro_bias: gyro?,
        gyro_bias_u: gyro_u?,
        residuals: residuals?,
        residual: residual?,
    })
}

/// The symmetric matrix with this diagonal and these places yz, zx, xy.
pub fn symmetric(diagonal: &Vector3<f64>, beside: &Vector3<f64>) -> Matrix3<f64> {
    let [yz, zx, xy] = [beside.x, beside.y, beside.z];
    Matrix3::new(diagonal.x, xy, zx, xy, diagonal.y, yz, zx, yz, diagonal.z)
}

fn heading(section: &mut Section<'_>) -> Option<HeadingFound> {
    let mut one = |key, bound| section.require(key, Example::Text("0.01"), "rad")?.number(bound);
    let (heading_rad, u_rad) = (one("heading_rad", Bound::Any), one("heading_u_rad", Bound::NotNegative));
    let residuals = section.require("residuals_rad", Example::Text("[0.0]"), "by tilted position");
    let residuals_rad = residuals.and_then(|i| numbers(&i));
    Some(HeadingFound { heading_rad: heading_rad?, u_rad: u_rad?, residuals_rad: residuals_rad? })
}

/// A value as the file has it.
#[derive(Debug, Serialize)]
#[serde(untagged)]
enum Value {
    Text(String),
    Count(usize),
    Number(f64),
    Numbers(Vec<f64>),
    Texts(Vec<String>),
}

/// Keys and values in their order.
#[derive(Debug, Default)]
struct Lines(Vec<(&'static str, Value)>);

impl Serialize for Lines {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (key, value) in &self.0 {
            map.serialize_entry(key, value)?;
        }
        map.end()
    }
}

impl Lines {
    fn text(&mut self, key: &'static str, text: &str) {
        self.0.push((key, Value::Text(text.to_owned())));
    }

    fn number(&mut self, key: &'static str, value: f64) {
        self.0.push((key, Value::Number(rounded(value))));
    }

    fn numbers(&mut self, key: &'static str, values: &[f64]) {
        self.0.push((key, Value::Numbers(values.iter().map(|v| rounded(*v)).collect())));
    }
}

/// To [`DIGITS`] significant digits.
fn rounded(value: f64) -> f64 {
    // What is left of rounding is nothing, and has no sign.
    if value.abs() < 1e-12 || !value.is_finite() {
        return 0.0;
    }
    let places = DIGITS - 1 - value.abs().log10().floor() as i32;
    let text = format!("{value:.*}", places.clamp(0, 15) as usize);
    text.parse().unwrap_or(value)
}

/// The text of an entry, as the file has it. `quantity` is what its sensor measures; none for an inertial unit.
///
/// # Errors
/// When a value has no form in TOML, as a sentence.
pub fn entry_text(entry: &Entry, quantity: Option<Quantity>) -> Result<String, String> {
    #[derive(Serialize)]
    struct Block {
        calibration: Vec<Lines>,
    }
    let mut lines = Lines::default();
    lines.text("sensor", &entry.sensor);
    lines.text("kind", entry.found.word());
    lines.text("date", &entry.date);
    lines.number("valid_days", entry.valid_days);
    lines.text("method", &entry.method);
    lines.text("from", &entry.from);
    if let Some(hash) = &entry.from_hash {
        lines.text("from_hash", hash);
    }
    lines.0.push(("points", Value::Count(entry.points)));
    let unit = match quantity {
        Some(Quantity::Angle) => 1,
        Some(Quantity::Force) => 2,
        _ => 0,
    };
    found_lines(&entry.found, &mut lines, unit);
    lines.0.push(("fitted", Value::Texts(entry.fitted.clone())));
    written::to_text(&Block { calibration: vec![lines] })
}

fn found_lines(found: &Found, lines: &mut Lines, unit: usize) {
    match found {
        Found::Zero(f) => {
            lines.number(OFFSET[unit], f.offset);
            lines.number(OFFSET_U[unit], f.u);
            lines.number(READING[unit], f.reading);
            lines.number("factor", f.factor);
        }
        Found::Scale(f) => {
            lines.number("factor", f.factor);
            lines.number("factor_relative_u", f.relative_u);
            lines.number(OFFSET[unit], f.offset);
            lines.numbers(KNOWN[unit], &f.known);
            lines.numbers(RESIDUALS[unit], &f.residuals);
            lines.number(RESIDUAL[unit], f.residual);
            if let Some(linearity) = f.linearity {
                lines.number(LINEARITY[unit], linearity);
            }
        }
        Found::Tumble(f) => {
            let m = &f.matrix;
            lines.numbers("bias_m_per_s2", f.bias.as_slice());
            lines.numbers("bias_u_m_per_s2", f.bias_u.as_slice());
            lines.numbers("scale", m.diagonal().as_slice());
            lines.numbers("scale_u", f.scale_u.as_slice());
            lines.numbers("misalignment_rad", &[m[(1, 2)], m[(2, 0)], m[(0, 1)]]);
            lines.numbers("misalignment_u_rad", f.misalignment_u_rad.as_slice());
            lines.numbers("gyro_bias_rad_per_s", f.gyro_bias.as_slice());
            lines.numbers("gyro_bias_u_rad_per_s", f.gyro_bias_u.as_slice());
            lines.numbers("residuals_m_per_s2", &f.residuals);
            lines.number("residual_m_per_s2", f.residual);
        }
        Found::Heading(f) => {
            lines.number("heading_rad", f.heading_rad);
            lines.number("heading_u_rad", f.u_rad);
            lines.numbers("residuals_rad", &f.residuals_rad);
        }
    }
}
