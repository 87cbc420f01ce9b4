//! A layout's line as a small sample, so that a name in text is found again in the plots.

use crate::show::plot::{Look, Marker};
use maud::{Markup, PreEscaped};

/// The sample of layout `k`, counted from 0.
pub fn of(k: usize) -> Markup {
    let look = Look::Layout(k);
    let colour = look.colour().hex();
    let dash = look.dash().map_or_else(String::new, |(on, off)| format!(" stroke-dasharray=\"{on} {off}\""));
    let ring = |fill: &str| {
        format!(
            "<circle cx=\"17\" cy=\"6\" r=\"3.4\" fill=\"{fill}\" stroke=\"{colour}\" stroke-width=\"2\"/>"
        )
    };
    let mark = match look.marker() {
        Marker::None => String::new(),
        Marker::Disc => ring(&colour),
        Marker::Ring => ring(&crate::show::palette::PAPER.hex()),
        Marker::Triangle => format!("<path d=\"M17 1.5 21 9 13 9Z\" fill=\"{colour}\"/>"),
        Marker::Cross => {
            format!(
                "<path d=\"M13.6 2.6 20.4 9.4M13.6 9.4 20.4 2.6\" stroke=\"{colour}\" stroke-width=\"2\"/>"
            )
        }
    };
    PreEscaped(format!(
        "<svg class=\"swatch\" viewBox=\"0 0 34 12\" width=\"34\" height=\"12\" aria-hidden=\"true\">\
         <path d=\"M0 6H34\" stroke=\"{colour}\" stroke-width=\"2.2\"{dash}/>{mark}</svg>"
    ))
}
