//! Wear: a line for each vehicle, and the page of one.

use super::{Frame, Place, Setting, path_part};
use crate::history::wear::Wear;
use crate::show::report;
use maud::html;

/// The page of one vehicle's wear; `said` are sentences about the history.
pub fn wear(wear: &Wear, said: &[String], folder: &str, setting: &Setting) -> String {
    let options = report::Options { units: setting.units, ..Default::default() };
    let body = html! {
        p.where { a href="/wear" { "Wear" } " / " (folder) }
        (report::wear_sections(wear, said, &options))
    };
    Frame::new(setting, Place::Wear, &format!("{folder}: wear")).page(&body)
}

/// What to look at on each vehicle: its folder and its wear.
pub fn which_vehicle(vehicles: &[(String, Wear)], said: &[String], setting: &Setting) -> String {
    let body = html! {
        h1 { "What should I look at before the next trip?" }
        @if vehicles.is_empty() { p { "The logbook has no vehicle yet. hingeline new LAYOUT NAME makes one." } }
        ul.cards {
            @for (folder, wear) in vehicles {
                li {
                    h2 { a href=(format!("/wear/{}", path_part(folder))) { (folder) } }
                    p { (report::wear_verdict(wear)) }
                }
            }
        }
        @for sentence in said { p.caution-line { (sentence) } }
    };
    Frame::new(setting, Place::Wear, "Wear").page(&body)
}
