//! Whether the sensors agree, and what limits each number.

use crate::judge::AxleComparison;
use crate::show::{Units, plot, rows, verdict, words};
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
        @if let Some((name, share)) = worst(axle) {
            p { "Of a sensor that is as good as rig.toml says, 5 % of the readings leave over more than they should; the most do of "
                (name) ": " (plot::percent(share)) " %. The plots stand at the end." }
        }
        @if !limits.is_empty() {
            table role="table" {
                thead role="rowgroup" {
                    tr role="row" {
                        th role="columnheader" scope="col" { "Number" }
                        th role="columnheader" scope="col" { "±" }
                        th role="columnheader" scope="col" { "Where it comes from, shares of the variance" }
                        th role="columnheader" scope="col" { "Know this better first" }
                    }
                }
                tbody role="rowgroup" {
                    @for limit in &limits {
                        tr role="row" {
                            th role="rowheader" scope="row" { (words::capital(rows::label(limit.key))) }
                            td role="cell" data-name="±" { span { (units.of(limit.key).limit(limit.half_width())) } }
                            td role="cell" data-name="comes from" { span { (shares(limit)) } }
                            td role="cell" data-name="know better first" { span { (first(limit, units)) } }
                        }
                    }
                }
            }
        }
    }
}

/// The sensor that most of is beyond what is said of it, and how much, 0…1.
fn worst(axle: &AxleComparison) -> Option<(&str, f64)> {
    let checked = axle.analysis.residuals.iter().filter_map(|s| Some((s.name.as_str(), s.beyond()?)));
    checked.max_by(|a, b| a.1.total_cmp(&b.1))
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

/// What to know better first, and what ± would be left were it known exactly.
fn first(limit: &verdict::Limit, units: Units) -> String {
    match &limit.first {
        Some((what, half_width)) => {
            format!("{what} (± {} if it were known exactly)", units.of(limit.key).limit(*half_width))
        }
        None => "nothing alone would help much".into(),
    }
}
