//! Whether the sensors agree, and what limits each number.

use crate::judge::AxleComparison;
use crate::show::{Units, rows, verdict, words};
use maud::{Markup, html};

/// Agreement of the sensors and the budget of every measured number.
pub fn sensors(axle: &AxleComparison, units: Units) -> Markup {
    let limits = verdict::limits(&axle.analysis);
    html! {
        h2 { "Do the sensors agree, and what limits each number?" }
        @match axle.analysis.fit.chi_square_per_dof {
            Some(chi) => p { (verdict::sensors(chi)) },
            None => p { "There are no more readings than the motion needs, so nothing checks the sensors against one another." },
        }
        @if !limits.is_empty() {
            table role="table" {
                thead role="rowgroup" {
                    tr role="row" {
                        th role="columnheader" scope="col" { "Number" }
                        th role="columnheader" scope="col" { "±" }
                        th role="columnheader" scope="col" { "Where it comes from, shares of the variance" }
                    }
                }
                tbody role="rowgroup" {
                    @for limit in &limits {
                        tr role="row" {
                            th role="rowheader" scope="row" { (words::capital(rows::label(limit.key))) }
                            td role="cell" data-name="±" { span { (units.of(limit.key).limit(limit.half_width())) } }
                            td role="cell" data-name="comes from" { span { (shares(limit)) } }
                        }
                    }
                }
            }
        }
    }
}

/// Every source of at least 1 %, greatest first.
fn shares(limit: &verdict::Limit) -> String {
    let told: Vec<String> = limit
        .shares()
        .iter()
        .filter(|(_, share)| *share >= 0.01)
        .map(|(name, share)| format!("{name} {:.0} %", 100.0 * share))
        .collect();
    told.join(", ")
}
