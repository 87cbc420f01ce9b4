//! Where the results came from, what to read beside them, and the cautions.

use super::Options;
use crate::jobs::cautions::CAUTIONS;
use crate::judge::Comparison;
use crate::show::calibration::{QUESTION, sentences};
use crate::show::{phrases, words};
use maud::{Markup, html};

/// Run, files by content, counts of readings.
pub fn provenance(comparison: &Comparison, options: &Options) -> Markup {
    let from = &comparison.provenance;
    let counts = &comparison.counts;
    html! {
        section {
            h2 { "Where this came from" }
            dl.facts {
                dt { "Run" } dd { (from.run) }
                @if let Some(test) = &comparison.facts.test { dt { "Test" } dd { (test) } }
                @if let Some(recorded) = &options.recorded { dt { "Recorded" } dd { (recorded) } }
                @if let Some(angle) = comparison.facts.ramp_angle_rad {
                    dt { "Ramp" } dd { (options.units.angle().set_to(angle, 1)) }
                }
                @if let Some(load_n) = comparison.facts.load_n {
                    dt { "Load as typed in" } dd { (phrases::load(load_n, options.units)) }
                }
                @if !comparison.facts.notes.is_empty() { dt { "Notes" } dd { @for line in comparison.facts.notes.lines() { div { (line) } } } }
                dt { "Readings" }
                dd { (counts.received) " received, " (counts.lost) " lost, " (counts.excluded) " set aside" }
                dt { "Vehicle file" } dd { (from.vehicle_hash) }
                dt { "Rig file" } dd { (from.rig_hash) }
                @if let Some(hash) = &from.calibration_hash { dt { "Calibration" } dd { (hash) } }
                dt { "Data" } dd { (from.data_hash) }
                @if let Some(firmware) = &from.firmware { dt { "Logger's firmware" } dd { (firmware) } }
            }
            p.note { "Files and data are named by their content (BLAKE3): another file has another name." }
        }
    }
}

/// Where every sensor's calibration stands; nothing without one.
pub fn calibration(options: &Options) -> Markup {
    html! {
        @if !options.calibration.is_empty() {
            section {
                h2 { (QUESTION) }
                dl.facts {
                    @for standing in &options.calibration {
                        dt { (standing.entry.sensor) }
                        dd { @for line in sentences(standing, options.units) { div { (words::capital(&line)) "." } } }
                    }
                }
            }
        }
    }
}

/// Sentences to read beside the results.
pub fn remarks(axle: &[String], run: &[String]) -> Markup {
    html! {
        @if !(axle.is_empty() && run.is_empty()) {
            h2 { "Mind" }
            ul {
                @for remark in axle.iter().chain(run) {
                    li { (words::capital(remark.trim_end_matches('.'))) "." }
                }
            }
        }
    }
}

/// What anyone who runs a test should read first.
pub fn cautions() -> Markup {
    html! {
        section.caution {
            h2 { "Before anyone goes near a lifted or moving vehicle" }
            ul { @for caution in CAUTIONS { li { (caution) } } }
        }
    }
}
