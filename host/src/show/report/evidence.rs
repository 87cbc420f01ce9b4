//! Tables: every number by question, how far the axle went, its links.

use super::{figures, verdicts};
use crate::judge::AxleComparison;
use crate::measure::{LinkMeasured, Measured};
use crate::show::rows::{self, Answer, Row};
use crate::show::units::Scale;
use crate::show::{Units, phrases, plot, words};
use crate::vehicle::Vehicle;
use maud::{Markup, html};

/// Every number beside its drawing, by question.
pub fn answers(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Markup {
    html! {
        h2 { "The numbers" }
        (numbers(&rows::of_comparison(axle, vehicle, units), ["measured", "drawn"]))
    }
}

/// Numbers by question; `columns` are the names of what is told and of what it is set beside.
pub fn numbers(answers: &[Answer], columns: [&str; 2]) -> Markup {
    html! {
        table role="table" {
            thead role="rowgroup" {
                tr role="row" {
                    th role="columnheader" scope="col" { "Number" }
                    @for name in columns { th role="columnheader" scope="col" { (words::capital(name)) } }
                    th role="columnheader" scope="col" { "Difference" }
                    th role="columnheader" scope="col" { "Verdict" }
                }
            }
            @for (question, rows) in answers {
                tbody.group role="rowgroup" {
                    tr role="row" { th role="rowheader" colspan="5" scope="rowgroup" { (question.text()) } }
                    @for row in rows { (number(row, columns)) }
                }
            }
        }
    }
}

/// A number that stays on one line with its ± and its unit.
pub fn whole(text: &str) -> String {
    text.replace(" ± ", "\u{a0}±\u{a0}").replace(" %", "\u{a0}%").replace(" mm", "\u{a0}mm")
}

fn number(row: &Row, [told, other]: [&str; 2]) -> Markup {
    let against = row.against.as_ref();
    let drawn = against.and_then(|a| a.other.value.map(|v| row.scale.bare_with_u(v, a.other.u)));
    let difference = against.and_then(|a| a.difference.value.map(|d| row.scale.signed(d, a.difference.u)));
    let limit = against.and_then(|a| a.limit).filter(|_| difference.is_some());
    let verdict = against.and_then(|a| a.verdict);
    let why = row.why().filter(|_| row.measured.measured().is_none());
    html! {
        tr role="row" {
            th role="rowheader" scope="row" { (words::capital(&row.label)) }
            td role="cell" data-name=(told) { span {
                (whole(&row.value()))
                @if let Some(word) = row.word { div.why { (word) } }
                @if let Some(why) = why { div.why { (words::capital(why)) "." } }
            } }
            td role="cell" data-name=(other) { @if let Some(drawn) = drawn { span { (whole(&drawn)) } } }
            td role="cell" data-name="difference" {
                @if let Some(difference) = difference { span {
                    (whole(&difference))
                    @if let Some(limit) = limit { div.why { "limit " (row.scale.limit(limit)) } }
                } }
            }
            td role="cell" data-name="verdict" { span {
                @match verdict {
                    Some(verdict) => (verdicts::of(verdict)),
                    None if row.measured.measured().is_none() => (verdicts::chip("not measured")),
                    None => (verdicts::chip("not judged")),
                }
            } }
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
            @let climbed = phrases::climbed(analysis);
            @for (side, index) in ["left", "right"].into_iter().zip(&analysis.ramp_travel_index).filter(|_| climbed) {
                dt { "Ramp travel index, " (side) " wheel up" } dd { (phrases::ramp_index(index, units)) }
            }
        }
        (figures::grid(&plot::climbs(analysis, units)))
        p.note { "The ramp travel index is the distance along the ramp at which the other wheel is about to lift, in thousandths of the wheelbase." }
    }
}

/// What the measured motion says of each link; what it says of none is said once, under the table.
/// `load_n` is the load of a rock or a shove, where it was told.
pub fn links(axle: &AxleComparison, load_n: Option<f64>, units: Units) -> Markup {
    let links = &axle.analysis.links;
    let (none, columns): (Vec<LinkColumn>, Vec<LinkColumn>) =
        COLUMNS.into_iter().partition(|(_, _, of, _)| links.iter().all(|l| of(l).measured().is_none()));
    let drawn = |m: f64| units.length().set_to(m, if units == Units::Mm { 1 } else { 2 });
    html! {
        @if let Some(first) = links.first() {
            h2 { "Are the links as drawn, and is anything loose?" }
            table role="table" {
                thead role="rowgroup" {
                    tr role="row" {
                        th role="columnheader" scope="col" { "Link" }
                        @for (title, ..) in &columns { th role="columnheader" scope="col" { (words::capital(title)) } }
                        th role="columnheader" scope="col" { "Length as drawn" }
                    }
                }
                tbody role="rowgroup" {
                    @for link in links {
                        tr role="row" {
                            th role="rowheader" scope="row" { (words::capital(&link.name)) }
                            @for (_, short, of, unit) in &columns {
                                td role="cell" data-name=(short) { (measured(of(link), unit(units))) }
                            }
                            td role="cell" data-name="as drawn" { span { (drawn(link.nominal_m)) } }
                        }
                    }
                }
            }
            p.note {
                "A link whose ends are where they were drawn keeps its length over the travel."
                @if links.iter().any(|l| l.compliance_m_per_n.measured().is_some()) {
                    " What it gives under load is " (phrases::GIVE) "."
                }
                @for (title, _, of, _) in &none {
                    " " (words::capital(title)) ": " (of(first).status.word())
                    @if let Some(why) = &of(first).why { ", " (why) } "."
                }
            }
            (figures::grid(&plot::holds(&axle.analysis, load_n, units)))
        }
    }
}

/// A column of the links' table: its title, its name beside a cell, what it shows, in which unit.
type LinkColumn = (&'static str, &'static str, fn(&LinkMeasured) -> &Measured, fn(Units) -> Scale);

const COLUMNS: [LinkColumn; 4] = [
    ("change of length over the travel", "change", |l| &l.apparent_change_m, Units::length),
    ("play", "play", |l| &l.play_m, Units::length),
    ("give under load", "gives", |l| &l.compliance_m_per_n, Units::compliance),
    ("length as built", "as built", |l| &l.length_m, Units::length),
];

fn measured(measured: &Measured, unit: Scale) -> Markup {
    html! {
        span {
            @match measured.measured() {
                Some((value, u)) => (whole(&unit.with_u(value, Some(u)))),
                None => {
                    (phrases::without_value(measured, unit))
                    @if let Some(why) = &measured.why { div.why { (words::capital(why)) "." } }
                }
            }
        }
    }
}
