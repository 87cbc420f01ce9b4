//! What an axle used of its travel, and how two axles share their articulation.

use crate::measure::{AxleAnalysis, Sharing};
use crate::show::flex::{self, Line};
use crate::show::{Units, words};
use maud::{Markup, html};

/// How two axles share the flex; nothing where one carries sensors.
pub fn shared(sharings: &[Sharing], units: Units) -> Markup {
    let lines: Vec<Line> = sharings.iter().map(|s| flex::sharing(s, units)).collect();
    html! {
        @if !lines.is_empty() {
            section {
                h2 { (flex::SHARING_HEADING) }
                (table(&lines))
            }
        }
    }
}

/// What an axle used of its travel over obstacles.
pub fn used(axle: &AxleAnalysis, units: Units) -> Markup {
    html! {
        @if let Some(envelope) = axle.envelope.as_ref().filter(|e| e.obstacle) {
            h2 { (flex::envelope_heading(envelope)) }
            (table(&flex::envelope(envelope, units)))
        }
    }
}

fn table(lines: &[Line]) -> Markup {
    html! {
        table role="table" {
            tbody role="rowgroup" {
                @for (label, sentences) in lines {
                    tr role="row" {
                        th role="rowheader" scope="row" { (words::capital(label)) }
                        td role="cell" {
                            @for sentence in sentences { div { (words::capital(sentence)) } }
                        }
                    }
                }
            }
        }
    }
}
