//! Two runs set beside each other.

use super::{Frame, Place, Setting, path_part, run_path};
use crate::judge::{AxleRuns, RunsComparison};
use crate::show::report::{evidence, origin, verdicts};
use crate::show::units::PLUS_MINUS;
use crate::show::{rows, verdict, words};
use crate::vehicle::Vehicle;
use maud::{Markup, html};

/// The page of two runs of the vehicle in `folder`.
pub fn runs_side_by_side(
    runs: &RunsComparison,
    vehicle: &Vehicle,
    folder: &str,
    names: [&str; 2],
    refitted: bool,
    setting: &Setting,
) -> String {
    let title = format!("{}: {} beside {}", runs.vehicle, names[1], names[0]);
    let body = html! {
        p.where { a href="/" { "Runs" } " / " (folder) " / two runs" }
        dl.facts {
            @for (what, name) in ["First run", "Second run"].into_iter().zip(names) {
                dt { (what) } dd { a href=(run_path(folder, name)) { (name) } }
            }
        }
        @if let Some(before) = verdict::before_runs(runs) { p { (before) } }
        @for axle in &runs.axles { (axle_section(axle, runs.of_two_vehicles(), vehicle, setting)) }
        (origin::remarks(&[], &runs.remarks))
        p { @let other = if refitted { "" } else { "&refitted=yes" };
            a href=(format!("/compare?vehicle={}&first={}&second={}{other}", path_part(folder), path_part(names[0]), path_part(names[1]))) {
                @if refitted { "The sensors stayed where they were between the runs" }
                @else { "The sensors were taken off between the runs" }
            } ": compare them so." }
        p { "An analysis of one run beside its drawing stands on the run's own page." }
    };
    Frame::new(setting, Place::Runs, &title).page(&body)
}

fn axle_section(axle: &AxleRuns, two_vehicles: bool, vehicle: &Vehicle, setting: &Setting) -> Markup {
    html! {
        section {
            h1.verdict { (words::capital(&axle.name)) " axle: " (verdict::of_runs(axle, two_vehicles)) }
            (verdicts::tally(&axle.numbers))
            p.note { (PLUS_MINUS) }
            h2 { "The numbers" }
            (evidence::numbers(&rows::of_runs(axle, vehicle, setting.units), ["second run", "first run"]))
        }
    }
}
