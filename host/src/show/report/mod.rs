//! The report: one HTML file that needs nothing else. Verdict first, then why, then the evidence, what limits it, where it
//! came from, and the cautions.

pub mod designed;
pub(in crate::show) mod evidence;
pub(in crate::show) mod figures;
mod flex;
mod limits;
pub(in crate::show) mod origin;
mod style;
mod swatch;
pub(in crate::show) mod verdicts;
mod wear;

#[cfg(test)]
mod tests;

pub use figures::{Picture, pictures};
pub use style::{look, sheet};
pub use wear::{wear, wear_sections, wear_verdict};

use super::{Units, verdict, words};
use crate::judge::{AxleComparison, Comparison};
use crate::rig::calibration::Standing;
use crate::vehicle::Vehicle;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// How a report is written.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// Units of the page.
    pub units: Units,
    /// When the run was recorded, in words; none where nobody knows.
    pub recorded: Option<String>,
    /// When the report was made, in words.
    pub made: Option<String>,
    /// Where the calibration of each sensor stands; empty without one.
    pub calibration: Vec<Standing>,
}

/// The report of a run set beside its design.
pub fn html(comparison: &Comparison, vehicle: &Vehicle, options: &Options) -> String {
    page(&title(comparison), options, &sections(comparison, vehicle, options))
}

/// What the report of a run is about.
pub fn title(comparison: &Comparison) -> String {
    format!("{}: run {} beside its drawing", comparison.vehicle, comparison.provenance.run)
}

/// The report of a run without the page around it.
pub fn sections(comparison: &Comparison, vehicle: &Vehicle, options: &Options) -> Markup {
    html! {
        @for axle in &comparison.axles {
            (axle_section(axle, comparison, vehicle, options))
        }
        (flex::shared(&comparison.sharing, options.units))
        (origin::calibration(options))
        (origin::provenance(comparison, options))
        (origin::cautions())
        @for axle in &comparison.axles {
            (figures::more_curves(axle, vehicle, options.units))
        }
    }
}

/// A page that needs nothing else.
fn page(title: &str, options: &Options, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(sheet())) }
            }
            body {
                main {
                    header { p.lead { (title) } }
                    (body)
                }
                footer {
                    p { "Made with hingeline " (env!("CARGO_PKG_VERSION"))
                        @if let Some(made) = &options.made { ", " (made) } "." }
                }
            }
        }
    }
    .into_string()
}

/// The verdict of a comparison, with the likeliest reason: a sentence or two for each axle.
pub fn verdict(comparison: &Comparison) -> String {
    let of_axle = |axle: &AxleComparison| {
        let sentence = format!("{} axle: {}", words::capital(&axle.name), verdict::of_comparison(axle));
        match verdict::likeliest_reason(axle) {
            Some(reason) => format!("{sentence} {reason}"),
            None => sentence,
        }
    };
    comparison.axles.iter().map(of_axle).collect::<Vec<_>>().join("\n")
}

fn axle_section(
    axle: &AxleComparison,
    comparison: &Comparison,
    vehicle: &Vehicle,
    options: &Options,
) -> Markup {
    let id = super::plot::slug(&axle.name);
    let sentence = format!("{} axle: {}", words::capital(&axle.name), verdict::of_comparison(axle));
    html! {
        section aria-labelledby=(format!("{id}-verdict")) {
            h1.verdict id=(format!("{id}-verdict")) { (sentence) }
            @if let Some(reason) = verdict::likeliest_reason(axle) { p { (reason) } }
            (verdicts::tally(&axle.numbers))
            p.note { "± is the half-width of a 95 % interval. A number " (verdicts::chip("agrees")) " or "
                (verdicts::chip("differs")) " with 95 % confidence, or the data do not decide." }
            (verdicts::findings(axle, options.units))
            (evidence::answers(axle, vehicle, options.units))
            (figures::drawings(axle, vehicle, options.units))
            (figures::curves(axle, vehicle, options.units))
            (evidence::travel(axle, options.units))
            (flex::used(&axle.analysis, options.units))
            (evidence::links(axle, comparison.facts.load_n, options.units))
            (limits::sensors(axle, options.units))
            (origin::remarks(&axle.analysis.remarks, &comparison.remarks))
        }
    }
}
