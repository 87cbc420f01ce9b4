//! Tables: every number by question, how far the axle went, its links.

use super::verdicts;
use crate::judge::AxleComparison;
use crate::measure::Measured;
use crate::show::rows::{self, Row};
use crate::show::{Units, phrases, words};
use crate::vehicle::Vehicle;
use maud::{Markup, html};

/// Every number beside its drawing, by question.
pub fn answers(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Markup {
    html! {
        h2 { "The numbers" }
        table role="table" {
            thead role="rowgroup" {
                tr role="row" {
                    th role="columnheader" scope="col" { "Number" }
                    th role="columnheader" scope="col" { "Measured" }
                    th role="columnheader" scope="col" { "Drawn" }
                    th role="columnheader" scope="col" { "Difference" }
                    th role="columnheader" scope="col" { "Verdict" }
                }
            }
            @for (question, rows) in rows::of_comparison(axle, vehicle, units) {
                tbody.group role="rowgroup" {
                    tr role="row" { th role="rowheader" colspan="5" scope="rowgroup" { (question.text()) } }
                    @for row in &rows { (number(row)) }
                }
            }
        }
    }
}

/// A number that stays on one line with its ±.
fn whole(text: &str) -> String {
    text.replace(" ± ", "\u{a0}±\u{a0}")
}

fn number(row: &Row) -> Markup {
    let against = row.against.as_ref();
    let drawn = against.and_then(|a| a.other.value.map(|v| row.scale.bare_with_u(v, a.other.u)));
    let difference = against.and_then(|a| a.difference.value.map(|d| row.scale.signed(d, a.difference.u)));
    let limit = against.and_then(|a| a.limit).filter(|_| difference.is_some());
    let verdict = against.and_then(|a| a.verdict);
    let why = row.why().filter(|_| row.measured.measured().is_none());
    html! {
        tr role="row" {
            th role="rowheader" scope="row" { (words::capital(&row.label)) }
            td role="cell" data-name="measured" { span {
                (whole(&row.value()))
                @if let Some(word) = row.word { div.why { (word) } }
                @if let Some(why) = why { div.why { (words::capital(why)) "." } }
            } }
            td role="cell" data-name="drawn" { @if let Some(drawn) = drawn { span { (whole(&drawn)) } } }
            td role="cell" data-name="difference" {
                @if let Some(difference) = difference { span {
                    (whole(&difference))
                    @if let Some(limit) = limit { div.why { "limit " (row.scale.limit(limit)) } }
                } }
            }
            td role="cell" data-name="verdict" { @if let Some(verdict) = verdict { span { (verdicts::of(verdict)) } } }
        }
    }
}

/// How far the axle went, and the ramp travel index of both sides.
pub fn travel(axle: &AxleComparison, units: Units) -> Markup {
    let analysis = &axle.analysis;
    html! {
        h2 { "How far does it go?" }
        dl.facts {
            dt { "Heave in this run" } dd { (phrases::heave_range(analysis, units)) }
            dt { "Articulation in this run" } dd { (phrases::roll_range(analysis, units)) }
            @for (side, index) in ["left", "right"].into_iter().zip(&analysis.ramp_travel_index) {
                dt { "Ramp travel index, " (side) " wheel up" } dd { (phrases::ramp_index(index, units)) }
            }
        }
        p.note { "The ramp travel index is the distance along the ramp at which the other wheel is about to lift, in thousandths of the wheelbase." }
    }
}

/// What the measured motion says of each link.
pub fn links(axle: &AxleComparison, units: Units) -> Markup {
    let links = &axle.analysis.links;
    html! {
        @if !links.is_empty() {
            h2 { "Are the links as drawn, and is anything loose?" }
            table role="table" {
                thead role="rowgroup" {
                    tr role="row" {
                        th role="columnheader" scope="col" { "Link" }
                        th role="columnheader" scope="col" { "Change of length over the travel" }
                        th role="columnheader" scope="col" { "Play" }
                        th role="columnheader" scope="col" { "Length as built" }
                        th role="columnheader" scope="col" { "Length as drawn" }
                    }
                }
                tbody role="rowgroup" {
                    @for link in links {
                        tr role="row" {
                            th role="rowheader" scope="row" { (words::capital(&link.name)) }
                            td role="cell" data-name="change" { (measured(&link.apparent_change_m, units)) }
                            td role="cell" data-name="play" { (measured(&link.play_m, units)) }
                            td role="cell" data-name="as built" { (measured(&link.length_m, units)) }
                            td role="cell" data-name="as drawn" { span {
                                (units.length().set_to(link.nominal_m, if units == Units::Mm { 1 } else { 2 }))
                            } }
                        }
                    }
                }
            }
            p.note { "A link whose ends are where they were drawn keeps its length over the travel." }
        }
    }
}

fn measured(measured: &Measured, units: Units) -> Markup {
    html! {
        span {
            @match measured.measured() {
                Some((value, u)) => (whole(&units.length().with_u(value, Some(u)))),
                None => {
                    (measured.status.word())
                    @if let Some(why) = &measured.why { div.why { (words::capital(why)) "." } }
                }
            }
        }
    }
}
