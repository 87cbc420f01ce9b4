//! The designed sheet: vehicles as drawn, side by side or alone, as one HTML file. First what each gains and gives up, then
//! drawings to scale, what each does along the travel, the numbers, joints, loads; then what was assumed, where it came from,
//! and the cautions.

mod figures;
mod gains;
mod tables;

#[cfg(test)]
mod tests;

pub use figures::pictures;

use super::evidence::whole;
use super::{Options, origin, page};
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::show::told::{Told, plus_minus};
use crate::show::{Units, beside, phrases, words};
use crate::vehicle::Position;
use maud::{Markup, html};

/// The sheet of vehicles as drawn.
pub fn html(predicted: &Predicted, options: &Options) -> String {
    let names = beside::names(&predicted.vehicles);
    let title = match names.as_slice() {
        [one] => format!("{one} as drawn"),
        several => format!("{} as drawn, side by side", words::list(several)),
    };
    let ends = ends(predicted, &names, options.units);
    let all: Vec<&PredictedVehicle> = predicted.vehicles.iter().collect();
    let body = html! {
        @for axles in &ends { (section(axles, &all, options)) }
        @for axles in &ends { (tables::loads(axles)) }
        (origin_of(predicted, &names, options))
        (origin::cautions())
        @for axles in &ends { (figures::more_curves(axles)) }
    };
    page(&title, options, &body)
}

/// What each layout gains and gives up: the sentence that comes first, for each end of the vehicles.
pub fn verdict(predicted: &Predicted, units: Units) -> String {
    let names = beside::names(&predicted.vehicles);
    ends(predicted, &names, units).iter().map(|axles| gains::headline(axles)).collect::<Vec<_>>().join("\n")
}

/// The axles at each end, without ends that nobody has; an end of one axle stands alone.
fn ends<'a>(predicted: &'a Predicted, names: &[String], units: Units) -> Vec<Vec<Told<'a>>> {
    [Position::Front, Position::Rear]
        .map(|position| beside::at_end(&predicted.vehicles, names, position, units))
        .into_iter()
        .filter(|axles| !axles.is_empty())
        .collect()
}

fn section(axles: &[Told], vehicles: &[&PredictedVehicle], options: &Options) -> Markup {
    let end = end_word(axles);
    html! {
        section aria-labelledby=(format!("{end}-verdict")) {
            h1.verdict id=(format!("{end}-verdict")) { (whole(&gains::headline(axles))) }
            p.note { (plus_minus(vehicles, options.units)) " " (phrases::ONLY_DRAWN) }
            @for told in axles {
                @for caution in &told.axle.implausible { p.caution-line { (caution) } }
            }
            (gains::by_question(axles))
            (figures::drawings(axles))
            (figures::curves(axles))
            (tables::numbers(axles))
            (tables::parts(axles))
        }
    }
}

/// Front or rear.
fn end_word(axles: &[Told]) -> &'static str {
    axles.first().map_or("", |told| words::position(told.axle.position)[0])
}

/// Files by name and content, and what they left to the project.
fn origin_of(predicted: &Predicted, names: &[String], options: &Options) -> Markup {
    html! {
        section {
            h2 { "Where this came from" }
            dl.facts {
                @for (vehicle, name) in predicted.vehicles.iter().zip(names) {
                    dt { (name) }
                    dd { (vehicle.file) @if !vehicle.drawn.hash.is_empty() { ", content " (vehicle.drawn.hash) } }
                    @let used = &vehicle.prediction.defaults_used;
                    @if !used.is_empty() {
                        dt { "Taken as usual" }
                        dd { (words::capital(&words::list(used))) "." }
                    }
                }
                @if let Some(made) = &options.made { dt { "Made" } dd { (made) } }
            }
            p.note {
                "Files are named by their content (BLAKE3): another file has another name. "
                "Taken as usual is what a file does not say."
            }
        }
    }
}
