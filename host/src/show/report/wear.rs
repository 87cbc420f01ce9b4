//! A vehicle's wear as one HTML file: what to look at first, the charts behind it, what else would explain it, the service
//! record, the cautions.

use super::{Options, origin, page};
use crate::history::wear::{AxleWear, Joint, JointState, Wear};
use crate::show::plot::{self, Chart};
use crate::show::units::PLUS_MINUS;
use crate::show::units::Units;
use crate::show::{wear as say, words};
use maud::{Markup, PreEscaped, html};

/// Joints whose charts are shown where none is suspected.
const SHOWN: usize = 4;

/// What the page says first.
pub fn wear_verdict(wear: &Wear) -> String {
    format!("{}: {}", wear.vehicle, say::headline(wear))
}

/// The page; `said` are sentences about the history itself.
pub fn wear(wear: &Wear, said: &[String], options: &Options) -> String {
    page(&format!("{}: wear", wear.vehicle), options, &wear_sections(wear, said, options))
}

/// What the page says, without the page around it.
pub fn wear_sections(wear: &Wear, said: &[String], options: &Options) -> Markup {
    html! {
        section {
            h1.verdict { (wear_verdict(wear)) }
            p.note { (say::looked_at(wear)) ". " (PLUS_MINUS) }
        }
        @for axle in &wear.axles { (axle_section(axle, wear, options)) }
        (services(wear))
        (listed("Mind", said))
        (origin::cautions())
    }
}

fn axle_section(axle: &AxleWear, wear: &Wear, options: &Options) -> Markup {
    let measured: Vec<&Joint> = axle.joints.iter().filter(|j| j.play.is_some()).collect();
    let suspected = |j: &&&Joint| j.state.is_suspect();
    let shown: Vec<&Joint> = match measured.iter().filter(suspected).count() {
        0 => measured.iter().copied().take(SHOWN).collect(),
        _ => measured.iter().filter(suspected).copied().collect(),
    };
    html! {
        section {
            h2 { "Which joints of the " (axle.name) " axle?" }
            @for joint in &axle.joints {
                h3 { (joint.link) }
                ul { @for told in say::joint(axle, joint, &wear.runs, options.units) {
                    li { (words::capital(&told)) "." }
                } }
            }
            @for joint in shown { (charts(joint, wear, options.units)) }
            h2 { "Which numbers of the " (axle.name) " axle have changed?" }
            @if axle.drifts.is_empty() { p { "None of " (axle.numbers_followed) " that are followed." } }
            @for drift in &axle.drifts {
                p { (words::capital(&drift.number.quantity.label())) " "
                    (say::drift(drift, &wear.runs, options.units)) "." }
                (figure(&plot::of_assessment(&drift.number, &wear.runs, None, Chart::Values, options.units)))
            }
            (listed("What else would explain it?", &axle.otherwise))
            (listed("What begins anew by itself, and why", &axle.breaks))
            h2 { "How sure are the charts?" }
            p { (say::patience(axle)) }
        }
    }
}

fn charts(joint: &Joint, wear: &Wear, units: Units) -> Markup {
    let limit = joint.limit.map(|l| l.value);
    let play = joint.play.iter().map(|p| (p, limit, &[Chart::Values, Chart::Cusum, Chart::Ewma][..]));
    // What a link gives is drawn with its charts only where that is what is the matter.
    let of_give: &[Chart] = match joint.state {
        JointState::Softening => &[Chart::Values, Chart::Cusum, Chart::Ewma],
        _ => &[Chart::Values],
    };
    let give = joint.compliance.iter().map(|c| (c, None, of_give));
    html! {
        @for (assessment, limit, charts) in play.chain(give) {
            @for chart in charts {
                (figure(&plot::of_assessment(assessment, &wear.runs, limit, *chart, units)))
            }
        }
    }
}

/// A plot with its title; nothing where there is nothing to draw.
fn figure(plot: &plot::Plot) -> Markup {
    html! {
        @if let Ok(svg) = plot::inline_svg(plot) {
            figure { figcaption { strong { (plot.title) } } (PreEscaped(svg)) }
        }
    }
}

fn services(wear: &Wear) -> Markup {
    html! {
        @if !wear.services.is_empty() {
            section {
                h2 { "What was done, and when" }
                dl.facts { @for event in wear.services.iter().rev() {
                    dt { (event.date.chars().take(10).collect::<String>()) }
                    dd { (words::capital(&event.work.words())) @if !event.text.is_empty() { ": " (event.text) } }
                } }
            }
        }
    }
}

fn listed(heading: &str, sentences: &[String]) -> Markup {
    html! {
        @if !sentences.is_empty() {
            h2 { (heading) }
            ul { @for sentence in sentences { li { (words::capital(sentence)) } } }
        }
    }
}
