//! The list of runs with its filter, and the page of one run.

use super::design::stage;
use super::{Frame, Place, Setting, model, path_part, run_path};
use crate::jobs::history::Listing;
use crate::judge::{AxleComparison, Comparison};
use crate::rig::calibration::Standing;
use crate::run::plan::Test;
use crate::show::report::{self, figures};
use crate::show::wear::counted;
use crate::show::{Units, words};
use crate::vehicle::Vehicle;
use maud::{Markup, html};

/// Runs on a page of the list.
pub const PAGE: usize = 50;

/// What was asked of the list, as it was typed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Asked {
    /// The vehicle.
    pub vehicle: String,
    /// The test.
    pub test: String,
    /// From this day on.
    pub since: String,
    /// Before this day.
    pub until: String,
    /// Runs that stand on later pages.
    pub skip: usize,
}

impl Asked {
    /// The address of the page of the list that leaves out so many of the latest runs.
    fn address(&self, skip: usize) -> String {
        let skip = if skip == 0 { String::new() } else { skip.to_string() };
        let parts = [
            ("vehicle", &self.vehicle),
            ("test", &self.test),
            ("since", &self.since),
            ("until", &self.until),
            ("skip", &skip),
        ];
        let given: Vec<String> = parts
            .into_iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(name, value)| format!("{name}={}", path_part(value)))
            .collect();
        if given.is_empty() { "/".into() } else { format!("/?{}", given.join("&")) }
    }

    fn filters(&self) -> bool {
        [&self.vehicle, &self.test, &self.since, &self.until].iter().any(|text| !text.is_empty())
    }
}

/// The list of runs, the latest first.
pub fn runs(listing: &Listing, vehicles: &[String], asked: &Asked, setting: &Setting) -> String {
    let all = asked.skip + listing.runs.len() + listing.earlier;
    let body = html! {
        h1 { "Runs" }
        (filter(vehicles, asked))
        p role="status" { (how_many(all, asked, listing.runs.len())) }
        @if !listing.runs.is_empty() { (table(listing)) }
        (pager(listing, asked))
        @for sentence in &listing.said { p.caution-line { (sentence) } }
    };
    Frame { wide: true, ..Frame::new(setting, Place::Runs, "Runs") }.page(&body)
}

fn how_many(all: usize, asked: &Asked, shown: usize) -> String {
    match (all, asked.filters()) {
        (0, true) => "No run fits.".into(),
        (0, false) => "There is no run yet. hingeline record or hingeline import makes one.".into(),
        _ if shown == 0 => format!("{}, none on this page.", counted(all, "run")),
        _ if shown == all => format!("{}, the latest first.", counted(all, "run")),
        _ => format!(
            "{}, the latest first; here numbers {} to {}.",
            counted(all, "run"),
            asked.skip + 1,
            asked.skip + shown
        ),
    }
}

fn filter(vehicles: &[String], asked: &Asked) -> Markup {
    html! {
        form.filter method="get" action="/" role="search" aria-label="Which runs" {
            label { "Vehicle" select name="vehicle" {
                option value="" { "all" }
                @for name in vehicles { option value=(name) selected[*name == asked.vehicle] { (name) } }
            } }
            label { "Test" select name="test" {
                option value="" { "all" }
                @for words in Test::WORDS.split(", ") { option value=(words) selected[words == asked.test] { (words) } }
            } }
            label { "From" input type="date" name="since" value=(asked.since); }
            label { "Before" input type="date" name="until" value=(asked.until); }
            button type="submit" { "Show" }
            @if asked.filters() { a href="/" { "Show all" } }
        }
    }
}

fn table(listing: &Listing) -> Markup {
    html! {
        table role="table" {
            caption.hidden { "Runs, the latest first" }
            thead role="rowgroup" { tr role="row" {
                @for name in ["Run", "Recorded", "Vehicle", "Test", "Readings", "Notes"] {
                    th role="columnheader" scope="col" { (name) }
                }
            } }
            tbody role="rowgroup" {
                @for listed in listing.runs.iter().rev() {
                    @let facts = &listed.run.facts;
                    tr role="row" {
                        th role="rowheader" scope="row" { a href=(run_path(&facts.vehicle, &facts.run)) { (facts.run) } }
                        td role="cell" data-name="recorded" { span { (minute(&facts.started)) } }
                        td role="cell" data-name="vehicle" { span { (facts.vehicle) } }
                        td role="cell" data-name="test" { span { (facts.test.as_deref().unwrap_or("–")) } }
                        td role="cell" data-name="readings" { span { (facts.counts.received) " received, " (facts.counts.lost) " lost" } }
                        td role="cell" data-name="notes" { span {
                            @match &facts.problem {
                                Some(problem) => { b { "Not measured: " } (problem) },
                                // Each remark on a line of its own, as it was typed.
                                None => @for line in facts.notes.lines() { div { (line) } },
                            }
                        } }
                    }
                }
            }
        }
    }
}

fn pager(listing: &Listing, asked: &Asked) -> Markup {
    html! {
        @if asked.skip > 0 || listing.earlier > 0 {
            nav.pager aria-label="Pages of the list" {
                @if asked.skip > 0 { a rel="prev" href=(asked.address(asked.skip.saturating_sub(PAGE))) { "Later runs" } }
                @if listing.earlier > 0 { a rel="next" href=(asked.address(asked.skip + PAGE)) { "Earlier runs" } }
            }
        }
    }
}

/// A time as headers keep it, to the minute, as people read it.
fn minute(started: &str) -> String {
    started.replacen('T', " ", 1).chars().take(16).collect()
}

/// The page of a run: its report, and what can be done with it. `others` are runs of the same vehicle, the latest first.
pub fn run(
    comparison: &Comparison,
    (vehicle, calibration): (&Vehicle, &[Standing]),
    at: [&str; 2],
    others: &[String],
    setting: &Setting,
) -> String {
    let [folder, run] = at;
    let recorded = comparison.provenance.recorded.as_deref().map(minute);
    let calibration = calibration.to_vec();
    let options = report::Options { units: setting.units, recorded, made: None, calibration };
    let body = html! {
        p.where { a href="/" { "Runs" } " / " (folder) " / " (run) " · " a href="#further" { "in space, as one file, beside another run" } }
        (report::sections(comparison, vehicle, &options))
        div #further {
            @for axle in &comparison.axles { (in_space(axle, vehicle, setting.units)) }
        }
        section aria-labelledby="further-title" {
            h2 #further-title { "Further" }
            p { a href=(format!("{}/report.html", run_path(folder, run))) { "The report as one file" } " prints well and needs nothing else." }
            @if !others.is_empty() { (beside(folder, run, others)) }
        }
    };
    let scripts = &["/assets/run.js"];
    Frame { scripts, ..Frame::new(setting, Place::Runs, &report::title(comparison)) }.page(&body)
}

/// The measured axle over the drawn one, to be turned.
fn in_space(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Markup {
    let drawn = vehicle.axles.get(axle.analysis.index);
    let Some((drawn, [as_drawn, measured])) = drawn.zip(figures::flexed_poses(axle)) else { return html! {} };
    let looks = [(drawn.clone(), as_drawn, "drawn"), (drawn.clone(), measured, "measured")];
    html! {
        section {
            h2 { "The " (axle.name) " axle in space" }
            p.note { "Solid as measured, dashed as drawn, at " (words::state(measured.z_m, measured.roll_rad, units)) "." }
            (stage(&model::of(&looks)))
        }
    }
}

fn beside(folder: &str, run: &str, others: &[String]) -> Markup {
    html! {
        form.filter method="get" action="/compare" aria-label="Set beside another run" {
            input type="hidden" name="vehicle" value=(folder);
            input type="hidden" name="second" value=(run);
            label { "Set beside an earlier run" select name="first" {
                @for other in others { option value=(other) { (other) } }
            } }
            label.tick { input type="checkbox" name="refitted" value="yes"; " The sensors were taken off in between" }
            button type="submit" { "Compare" }
        }
    }
}
