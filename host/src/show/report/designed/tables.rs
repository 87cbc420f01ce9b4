//! Tables of the designed sheet: numbers by question, bind and room, links with their joints, loads.

use super::super::{evidence::whole, origin, swatch};
use super::end_word;
use crate::design::prediction::LoadPrediction;
use crate::show::beside::{self, Line};
use crate::show::entries::{self, Entry};
use crate::show::questions::Question;
use crate::show::told::Told;
use crate::show::{clearances, words};
use maud::{Markup, html};

/// Columns that fit side by side on paper.
const COLUMNS: usize = 4;

/// Every number, by question, a column for each layout.
pub fn numbers(axles: &[Told]) -> Markup {
    html! {
        h2 { "The numbers at ride height, and flexed" }
        @for (k, block) in axles.chunks(COLUMNS).enumerate() { (table(block, k * COLUMNS)) }
    }
}

fn table(axles: &[Told], first: usize) -> Markup {
    let questions: Vec<(&str, Vec<Line>)> = Question::ALL
        .into_iter()
        .map(|question| (question.text(), beside::numbers(question, axles)))
        .chain([("What binds, and what does it take?", beside::effort(axles))])
        .filter(|(_, lines)| !lines.is_empty())
        .collect();
    let columns = axles.len() + 1;
    html! {
        table role="table" {
            thead role="rowgroup" {
                tr role="row" {
                    th role="columnheader" scope="col" { "Number" }
                    @for (k, told) in axles.iter().enumerate() {
                        th role="columnheader" scope="col" {
                            @if axles.len() > 1 { (swatch::of(first + k)) }
                            (told.name)
                        }
                    }
                }
            }
            @for (question, lines) in &questions {
                tbody.group role="rowgroup" {
                    tr role="row" { th role="rowheader" colspan=(columns) scope="rowgroup" { (question) } }
                    @for line in lines { (row(line, axles)) }
                }
            }
        }
    }
}

fn row(line: &Line, axles: &[Told]) -> Markup {
    html! {
        tr role="row" {
            th role="rowheader" scope="row" { (words::capital(&line.label)) }
            @for (cell, told) in line.cells.iter().zip(axles) {
                td role="cell" data-name=(told.name) { span {
                    (whole(&cell.value))
                    @if let Some(word) = cell.word { div.why { (word) } }
                } }
            }
        }
    }
}

/// Links, travel, joints, springs and what to mind, layout by layout.
pub fn parts(axles: &[Told]) -> Markup {
    html! {
        h2 { "Links, joints and travel" }
        @for (k, told) in axles.iter().enumerate() {
            div.layout {
                @if axles.len() > 1 { h3 { (swatch::of(k)) (told.name) } }
                (parts_of(told))
            }
        }
    }
}

fn parts_of(told: &Told) -> Markup {
    let bind = told.bind();
    let lengths: Vec<Entry> = told
        .axle
        .links
        .iter()
        .map(|l| Entry::plain(&l.name, vec![told.units.length().set_to(l.length_m, told.decimals())]))
        .collect();
    let reach: Vec<Entry> =
        told.reach().into_iter().map(|(end, text)| Entry::plain(&end, vec![text])).collect();
    html! {
        p { (words::capital(&told.freedom())) }
        @if bind.is_empty() { p { "Nothing binds: no bush has to give." } }
        (entries("What binds?", &bind))
        (entries("How far does it go?", &reach))
        (entries("Links, between joints", &lengths))
        (entries("Do the joints turn far enough?", &entries::joints(&told.axle.links, told.units)))
        (entries("How far do springs and shocks move?", &entries::struts(&told.axle.struts)))
        (entries("Is there room to move?", &clearances::entries(&told.axle.clearances, told.units)))
        (origin::remarks(&told.remarks(), &[]))
    }
}

/// A list of what is said of each; nothing where there is none.
fn entries(heading: &str, entries: &[Entry]) -> Markup {
    html! {
        @if !entries.is_empty() {
            p.small-head { (heading) }
            dl.facts {
                @for entry in entries {
                    dt { (words::capital(&entry.label)) }
                    dd {
                        @if entry.beyond { b.beyond { "Beyond: " } }
                        (words::capital(&entry.sentences.join("; "))) "."
                    }
                }
            }
        }
    }
}

/// The loads that were asked for, on a page of their own with their caution.
pub fn loads(axles: &[Told]) -> Markup {
    let asked = axles.iter().any(|told| !told.axle.loads.is_empty());
    html! {
        @if asked {
            section.loads {
                h2 { "What does each link carry? " (words::capital(end_word(axles))) " axle" }
                p.caution-line { (entries::LOADS_CAUTION) }
                @for (k, told) in axles.iter().enumerate() {
                    div.layout {
                        @if axles.len() > 1 { h3 { (swatch::of(k)) (told.name) } }
                        @for load in &told.axle.loads { (load_of(told, load)) }
                    }
                }
            }
        }
    }
}

fn load_of(told: &Told, load: &LoadPrediction) -> Markup {
    let title = words::capital(&entries::load_title(load.case, told.units));
    html! {
        @match &load.ride {
            Some(forces) => {
                (entries(&format!("{title}, at ride height"), &entries::carried(&told.axle.links, forces, told.units)))
                p { (entries::left_to_springs(forces, told.units)) }
            }
            None => p { (title) ": the forces have no answer at ride height: a link stands so that it cannot hold." }
        }
        @if let Some(sentence) = entries::worst_state(told.axle, load, told.units) { p { (sentence) } }
    }
}
