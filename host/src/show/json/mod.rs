//! Results for scripts: SI, `u` standard (k = 1), every key always present, null where there is no value.

mod analyse;
mod calibrate;
mod compare;
mod device;
mod driveshaft;
mod export;
mod flex;
mod folders;
mod history;
mod predict;
mod recording;
mod sensors;
#[cfg(test)]
mod tests;
mod tune;
mod wear;

pub use analyse::analysis;
pub use calibrate::calibrated;
pub use compare::{comparison, runs};
pub use device::device;
pub use export::exported;
pub use folders::{mended, verified};
pub use history::{history, service};
pub use predict::prediction;
pub use recording::{fetched, progress, recorded, resolved};
pub use sensors::sensors;
pub use tune::tuning;
pub use wear::{fleet, wear};

use crate::measure::Measured;
use crate::vehicle::numbers::Key;
use serde::Serialize;
use std::collections::BTreeMap;

/// Version of these shapes.
const FORMAT: u32 = 1;

/// A document as text, with a line feed at its end.
fn text<T: Serialize>(document: &T) -> String {
    // A document is made of numbers, strings, lists and maps with string keys, none of which can fail to be written.
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    text.push('\n');
    text
}

/// `{"value","u","status"}`
#[derive(Serialize)]
struct Value {
    value: Option<f64>,
    u: Option<f64>,
    status: &'static str,
}

impl Value {
    fn of(measured: &Measured) -> Self {
        Self { value: finite(measured.value), u: finite(measured.u), status: measured.status.word() }
    }

    fn of_any(measured: Option<&Measured>) -> Self {
        measured.map_or(
            Self { value: None, u: None, status: crate::measure::Status::NotMeasured.word() },
            Self::of,
        )
    }
}

/// `{"value","u"}`
#[derive(Serialize)]
struct Plain {
    value: Option<f64>,
    u: Option<f64>,
}

impl Plain {
    fn new(value: Option<f64>, u: Option<f64>) -> Self {
        Self { value: finite(value), u: finite(u) }
    }
}

/// JSON has no infinities.
fn finite(value: Option<f64>) -> Option<f64> {
    value.filter(|v| v.is_finite())
}

/// Every key of the vocabulary with what `of` makes of it.
fn by_key<T>(of: impl Fn(Key) -> T) -> BTreeMap<Key, T> {
    Key::ALL.into_iter().map(|key| (key, of(key))).collect()
}
