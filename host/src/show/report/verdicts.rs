//! The verdict's counts, the chips that stand for verdicts, and the findings.

use crate::judge::{AxleComparison, NumberComparison, Verdict};
use crate::show::verdict::{self, Tally};
use crate::show::{Units, words};
use crate::vehicle::numbers::Key;
use maud::{Markup, html};
use std::collections::BTreeMap;

/// A verdict as a sign and a word in its colour.
pub fn chip(word: &str) -> Markup {
    let (class, sign) = look(word);
    html! { span class=(format!("chip {class}")) { b aria-hidden="true" { (sign) } (word) } }
}

fn look(word: &str) -> (&'static str, &'static str) {
    match word {
        "agrees" | "agree" => ("agrees", "="),
        "differs" | "differ" => ("differs", "≠"),
        "not resolved" => ("unresolved", "?"),
        _ => ("unmeasured", "–"),
    }
}

/// The chip of a verdict.
pub fn of(verdict: Verdict) -> Markup {
    chip(verdict.word())
}

/// How many numbers there are of each verdict.
pub fn tally(numbers: &BTreeMap<Key, NumberComparison>) -> Markup {
    let tally = Tally::of(numbers);
    let counts = [
        (tally.differs, if tally.differs == 1 { "differs" } else { "differ" }),
        (tally.agrees, if tally.agrees == 1 { "agrees" } else { "agree" }),
        (tally.not_resolved, "not resolved"),
        (tally.not_measured, "not measured"),
    ];
    html! {
        ul.tally {
            @for (count, word) in counts.into_iter().filter(|(count, _)| *count > 0) {
                @let (class, sign) = look(word);
                li { span class=(format!("chip {class}")) { b aria-hidden="true" { (sign) } (count) " " (word) } }
            }
        }
    }
}

/// What explains the differences.
pub fn findings(axle: &AxleComparison, units: Units) -> Markup {
    html! {
        h2 { "Why" }
        @if axle.findings.is_empty() {
            p { (nothing_found(axle)) }
        } @else {
            ol.findings {
                @for finding in &axle.findings {
                    li {
                        (verdict::reason(finding))
                        div.why {
                            @if let Some(size) = finding.size {
                                "Size " (verdict::length(size, finding.u, units)) ". "
                            }
                            "Probability " (format!("{:.0} %", 100.0 * finding.probability))
                            " among what was tried."
                            @if let Some(explains) = verdict::explains(finding) { " " (explains) }
                        }
                    }
                }
            }
        }
    }
}

fn nothing_found(axle: &AxleComparison) -> String {
    let differing = Tally::of(&axle.numbers).differs;
    if differing == 0 {
        "Nothing differs, so there is nothing to explain.".into()
    } else {
        let what = if differing == 1 { "the difference" } else { "the differences" };
        words::capital(&format!("no bracket, hole or link that was tried explains {what}."))
    }
}
