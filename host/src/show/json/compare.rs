//! `compare --json`, of a run with its design and of two runs.

use super::{FORMAT, Plain, Value, by_key, finite, text};
use crate::judge::{Comparison, Finding, FindingKind, NumberComparison, Quantity, RunsComparison, Verdict};
use crate::vehicle::numbers::Key;
use serde::Serialize;
use std::collections::BTreeMap;

/// A comparison with the design as JSON.
pub fn comparison(comparison: &Comparison) -> String {
    let axles = comparison
        .axles
        .iter()
        .map(|axle| Axle {
            name: &axle.name,
            numbers: by_key(|key| Designed::of(axle.numbers.get(&key))),
            findings: axle.findings.iter().map(Found::of).collect(),
        })
        .collect();
    let remarks = comparison.axles.iter().flat_map(|axle| &axle.analysis.remarks).chain(&comparison.remarks);
    text(&Document { format: FORMAT, axles, remarks: remarks.map(String::as_str).collect(), vehicles: None })
}

/// Two runs as JSON: `first` and `second` in place of `designed` and `measured`.
pub fn runs(runs: &RunsComparison) -> String {
    let axles = runs
        .axles
        .iter()
        .map(|axle| Axle {
            name: &axle.name,
            numbers: by_key(|key| Runs::of(axle.numbers.get(&key))),
            findings: Vec::new(),
        })
        .collect();
    text(&Document {
        format: FORMAT,
        axles,
        remarks: runs.remarks.iter().map(String::as_str).collect(),
        vehicles: Some(Vehicles { first: &runs.first_vehicle, second: &runs.vehicle }),
    })
}

#[derive(Serialize)]
struct Document<'a, N> {
    format: u32,
    axles: Vec<Axle<'a, N>>,
    remarks: Vec<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    vehicles: Option<Vehicles<'a>>,
}

/// Whose runs two runs are.
#[derive(Serialize)]
struct Vehicles<'a> {
    first: &'a str,
    second: &'a str,
}

#[derive(Serialize)]
struct Axle<'a, N> {
    name: &'a str,
    numbers: BTreeMap<Key, N>,
    findings: Vec<Found<'a>>,
}

#[derive(Serialize)]
struct Designed {
    designed: Plain,
    measured: Value,
    difference: Plain,
    verdict: Verdict,
}

#[derive(Serialize)]
struct Runs {
    first: Plain,
    second: Value,
    difference: Plain,
    verdict: Verdict,
}

#[derive(Serialize)]
struct Found<'a> {
    kind: FindingKind,
    element: &'a str,
    text: &'a str,
    size: Option<f64>,
    u: Option<f64>,
}

fn plain(quantity: Option<Quantity>) -> Plain {
    let quantity = quantity.unwrap_or_default();
    Plain::new(quantity.value, quantity.u)
}

fn verdict(number: Option<&NumberComparison>) -> Verdict {
    number.map_or(Verdict::NotMeasured, |n| n.verdict)
}

impl Designed {
    fn of(number: Option<&NumberComparison>) -> Self {
        Self {
            designed: plain(number.map(|n| n.designed)),
            measured: Value::of_any(number.map(|n| &n.measured)),
            difference: plain(number.map(|n| n.difference)),
            verdict: verdict(number),
        }
    }
}

impl Runs {
    fn of(number: Option<&NumberComparison>) -> Self {
        let Designed { designed, measured, difference, verdict } = Designed::of(number);
        Self { first: designed, second: measured, difference, verdict }
    }
}

impl<'a> Found<'a> {
    fn of(finding: &'a Finding) -> Self {
        Self {
            kind: finding.kind,
            element: &finding.element,
            text: &finding.text,
            size: finite(finding.size),
            u: finite(finding.u),
        }
    }
}
