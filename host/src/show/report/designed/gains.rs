//! What each layout gains and gives up, question by question: first in words, then with its numbers.

use super::super::{evidence::whole, swatch};
use super::end_word;
use crate::show::told::Told;
use crate::show::trade::{self, Contender, Point, Topic, Trade};
use crate::show::{verdict, words};
use maud::{Markup, html};

/// Things that the first sentence says of a layout.
const SAID_FIRST: usize = 2;

/// What comes first: of one axle what it does, of several what each gains.
pub fn headline(axles: &[Told]) -> String {
    match axles {
        [one] => {
            let lead = format!("{}, {} axle, as drawn", one.name, one.axle.name);
            let binds = one.binds_in_roll().map(|binds| format!(" {binds}")).unwrap_or_default();
            format!("{lead}: {}{binds}", verdict::of_prediction(&one.answers))
        }
        several => {
            let trades = trades(several);
            let lead = format!("{} axles, as drawn", words::capital(end_word(several)));
            if trades.iter().all(|t| t.gains.is_empty() && t.gives_up.is_empty()) {
                return format!("{lead}: there is no clear difference between them.");
            }
            let each: Vec<String> =
                several.iter().zip(&trades).map(|(told, trade)| gains_first(told, trade)).collect();
            format!("{lead}: {}.", each.join("; "))
        }
    }
}

fn gains_first(told: &Told, trade: &Trade) -> String {
    let said: Vec<&str> = trade.gains.iter().take(SAID_FIRST).map(|p| p.words).collect();
    match said.is_empty() {
        true => format!("{} gains nothing clear", told.name),
        false => format!("{} {}", told.name, words::list(&said)),
    }
}

fn trades(axles: &[Told]) -> Vec<Trade> {
    let contenders: Vec<Contender> = axles
        .iter()
        .map(|told| Contender { axle: told.axle, common: told.common, drawn: told.drawn() })
        .collect();
    axles.first().map_or_else(Vec::new, |told| trade::trades(&contenders, told.units))
}

/// A table for each question on which they differ; those on which they do not are named at the end.
pub fn by_question(axles: &[Told]) -> Markup {
    if axles.len() < 2 {
        return html! {};
    }
    let trades = trades(axles);
    let (told, level): (Vec<Topic>, Vec<Topic>) =
        Topic::all().partition(|topic| trades.iter().any(|t| points(t).any(|(p, _)| p.topic == *topic)));
    let level: Vec<&str> = level.into_iter().filter(|t| asked(*t)).map(Topic::text).collect();
    html! {
        h2 { "What does each gain, and what does it give up?" }
        p.note {
            "Where one is clearly at the better or the worse end, by more than ±. Which of it matters is yours to say; "
            "there is no score."
        }
        @for topic in told { (one_question(topic, axles, &trades)) }
        @if !level.is_empty() { p { "No clear difference: " (level.join(" ")) } }
    }
}

/// Questions that aspects are about; the rest is shown as numbers only.
fn asked(topic: Topic) -> bool {
    use crate::show::questions::Question;
    !matches!(topic, Topic::Asked(Question::Pivot | Question::ForeAndAft | Question::Stiffness))
}

/// Gains first; whether a point is one.
fn points(trade: &Trade) -> impl Iterator<Item = (&Point, bool)> {
    trade.gains.iter().map(|p| (p, true)).chain(trade.gives_up.iter().map(|p| (p, false)))
}

fn one_question(topic: Topic, axles: &[Told], trades: &[Trade]) -> Markup {
    html! {
        h3 { (topic.text()) }
        dl.trades {
            @for (k, (told, trade)) in axles.iter().zip(trades).enumerate() {
                @let here: Vec<(&Point, bool)> = points(trade).filter(|(p, _)| p.topic == topic).collect();
                dt { (swatch::of(k)) (told.name) }
                dd {
                    @if here.is_empty() { span.why { "neither at the better nor at the worse end" } }
                    @for (point, gain) in here { (said(point, gain)) }
                }
            }
        }
    }
}

fn said(point: &Point, gain: bool) -> Markup {
    let (class, sign, word) = if gain { ("gain", "+", "gains: ") } else { ("loss", "−", "gives up: ") };
    html! {
        div class=(class) {
            b.sign aria-hidden="true" { (sign) }
            span { span.hidden { (word) } (words::capital(point.words)) span.why { ": " (whole(&point.numbers)) } }
        }
    }
}
