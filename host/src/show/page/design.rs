//! The drawing board: an axle whose points a hand moves, with its numbers, its drawings and a view to turn.

use super::{Frame, Place, Setting, model, path_part};
use crate::geometry::Pose;
use crate::jobs::what_if::{Handle, MOST_M, Tried};
use crate::show::binding::Binding;
use crate::show::drawing::{self, Designed, Size};
use crate::show::report::evidence::whole;
use crate::show::rows::{self, Answer, Row};
use crate::show::{Units, palette, units, words};
use crate::vehicle::Vehicle;
use crate::vehicle::numbers::Key;
use maud::{Markup, PreEscaped, html};
use serde::Serialize;

/// Numbers that stay in sight while a hand moves a point, where the axle has them.
const FIRST: [Key; 4] = [Key::RollSteer, Key::RollCentreZ, Key::AntiSquat, Key::AntiDive];

/// Which vehicle to draw on.
pub fn which_drawing(vehicles: &[String], setting: &Setting) -> String {
    let body = html! {
        h1 { "Whose axle?" }
        @if vehicles.is_empty() { p { "The logbook has no vehicle yet. hingeline new LAYOUT NAME makes one." } }
        ul.cards { @for name in vehicles {
            li { h2 { a href=(format!("/design/{}", path_part(name))) { (name) } } }
        } }
    };
    Frame::new(setting, Place::Design, "Design").page(&body)
}

/// What changes while points are moved, each part as HTML for its place on the page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Redrawn {
    /// The numbers that stay in sight.
    pub first: String,
    /// That the axle binds in roll; empty where it does not.
    pub binds: String,
    /// All numbers.
    pub numbers: String,
    /// Side, rear, plan.
    pub drawings: Vec<String>,
    /// For the view to turn.
    pub model: String,
    /// One sentence for who does not see it.
    pub told: String,
}

/// An axle with its points moved beside the axle as it is drawn.
pub fn redrawn(tried: &Tried, drawn: &Tried, units: Units) -> Redrawn {
    let (now, before) = (answers(tried, units), answers(drawn, units));
    let binds = binding(tried, units).in_roll();
    Redrawn {
        first: first(&now, &before).into_string(),
        binds: html! { @if let Some(binds) = &binds { (whole(binds)) } }.into_string(),
        numbers: numbers(&now, &before).into_string(),
        drawings: drawings(tried, units),
        model: turned(tried, drawn),
        told: binds.into_iter().fold(told(&now), |told, binds| format!("{told} {binds}")),
    }
}

fn answers(tried: &Tried, units: Units) -> Vec<Answer> {
    let Some(axle) = tried.vehicle.axles.get(tried.axle_index) else { return Vec::new() };
    let ride = (&tried.ride, &tried.ride_u);
    rows::of_drawn(axle.position, ride, &tried.flex, tried.vehicle.wheelbase_m, units)
}

fn binding(tried: &Tried, units: Units) -> Binding<'_> {
    let drawn = tried.vehicle.axles.get(tried.axle_index);
    Binding { redundant: tried.redundant, drawn, flex: &tried.flex, units }
}

fn all(answers: &[Answer]) -> impl Iterator<Item = &Row> {
    answers.iter().flat_map(|(_, rows)| rows)
}

fn in_sight(answers: &[Answer]) -> Vec<&Row> {
    FIRST.iter().filter_map(|key| all(answers).find(|row| row.key() == Some(*key))).collect()
}

fn first(now: &[Answer], before: &[Answer]) -> Markup {
    html! {
        @for row in in_sight(now) {
            div { dt { (words::capital(&row.label)) } dd { (whole(&row.value())) " " (change(row, before)) } }
        }
    }
}

/// By how much a number has changed from the drawing; empty where it has not.
fn change(row: &Row, before: &[Answer]) -> Markup {
    let old = all(before).find(|old| old.id == row.id).and_then(|old| old.measured.value);
    let by = row.measured.value.zip(old).map(|(now, old)| now - old);
    html! {
        @if let Some(by) = by.filter(|by| by.abs() > 1e-9) { span.by { "(" (row.scale.signed(by, None)) ")" } }
    }
}

fn told(now: &[Answer]) -> String {
    let said: Vec<String> =
        in_sight(now).iter().map(|row| format!("{} {}", row.label, row.value())).collect();
    format!("{}.", words::capital(&said.join(", ")))
}

fn numbers(now: &[Answer], before: &[Answer]) -> Markup {
    html! {
        table role="table" {
            caption.hidden { "Numbers with the points where they are now, and as drawn" }
            thead role="rowgroup" { tr role="row" {
                @for name in ["Number", "Now", "As drawn", "Change"] { th role="columnheader" scope="col" { (name) } }
            } }
            @for (question, rows) in now {
                tbody.group role="rowgroup" {
                    tr role="row" { th role="rowheader" colspan="4" scope="rowgroup" { (question.text()) } }
                    @for row in rows { (line(row, before)) }
                }
            }
        }
    }
}

fn line(row: &Row, before: &[Answer]) -> Markup {
    let old = all(before).find(|old| old.id == row.id);
    html! {
        tr role="row" {
            th role="rowheader" scope="row" { (words::capital(&row.label)) }
            td role="cell" data-name="now" { span {
                (whole(&row.value()))
                @if let Some(word) = row.word { div.why { (word) } }
            } }
            td role="cell" data-name="as drawn" { span { @match old { Some(old) => (whole(&old.value())), None => "–" } } }
            td role="cell" data-name="change" { span { (change(row, before)) } }
        }
    }
}

/// Side, rear and plan of the axle as it is now.
fn drawings(tried: &Tried, units: Units) -> Vec<String> {
    let states = [tried.heave.as_slice(), tried.roll.as_slice()];
    let at = (&tried.vehicle, tried.axle_index);
    let layout = Designed::with(at, (&tried.ride, &tried.ride_u), states, "now".into(), palette::INK);
    let views = drawing::designed(&[layout], units, Size::Narrow);
    views.into_iter().flatten().map(|drawing| drawing.svg).collect()
}

/// The axle as it is now, over the axle as drawn where that is another one.
fn turned(tried: &Tried, drawn: &Tried) -> String {
    let pose =
        |of: &Tried| of.shown.outcome.as_ref().map_or_else(|_| Pose::default(), |reached| reached.pose);
    let axle = |of: &'_ Tried| of.vehicle.axles.get(of.axle_index).cloned();
    let mut shown = Vec::new();
    if tried.vehicle != drawn.vehicle {
        shown.extend(axle(drawn).map(|axle| (axle, pose(drawn), "drawn")));
    }
    shown.extend(axle(tried).map(|axle| (axle, pose(tried), "now")));
    model::of(&shown)
}

/// The drawing board of one axle. `handles` are its points, `drawn` the axle as the file has it.
pub fn board(
    folder: &str,
    vehicle: &Vehicle,
    handles: &[Handle],
    drawn: &Tried,
    setting: &Setting,
) -> String {
    let axle = vehicle.axles.get(drawn.axle_index);
    let name = axle.map_or("", |axle| axle.name.as_str());
    let parts = redrawn(drawn, drawn, setting.units);
    let titles = ["From the right side", "From behind, flexed each way", "From above, nose upwards"];
    let body = html! {
        p.where { a href="/design" { "Design" } " / " (folder) }
        h1 { (folder) ", " (name) " axle" }
        @if vehicle.axles.len() > 1 { (other_axles(folder, vehicle, drawn.axle_index)) }
        noscript { p { "Moving points needs scripts, which this browser does not run. hingeline predict tells the same numbers." } }
        dl.in-sight #first { (PreEscaped(&parts.first)) }
        p.caution-line #binds { (PreEscaped(&parts.binds)) }
        p.hidden #told role="status" aria-live="polite" {}
        p.caution-line #trouble role="alert" hidden {}
        div.board #board data-vehicle=(path_part(folder)) data-axle=(drawn.axle_index) {
            section.points aria-labelledby="points-title" { (points(handles, setting.units)) }
            div.shown {
                section aria-labelledby="turn-title" {
                    h2 #turn-title { "The axle in space" }
                    (turn(&parts.model, axle.map(|a| &a.sweep), setting.units))
                }
                section.views aria-labelledby="views-title" {
                    h2 #views-title { "Drawings to scale" }
                    div.plots { @for (k, title) in titles.iter().enumerate() {
                        figure { figcaption { strong { (title) } }
                            div id=(format!("view-{k}")) { (PreEscaped(parts.drawings.get(k).map_or("", String::as_str))) } }
                    } }
                }
            }
        }
        section aria-labelledby="numbers-title" {
            h2 #numbers-title { "The numbers" }
            p.note { (units::PLUS_MINUS) " It holds the tolerance of the points, and comes when the hand rests." }
            div #numbers { (PreEscaped(&parts.numbers)) }
        }
    };
    let title = format!("{folder}, {name} axle");
    let scripts = &["/assets/design.js"];
    Frame { wide: true, scripts, ..Frame::new(setting, Place::Design, &title) }.page(&body)
}

fn other_axles(folder: &str, vehicle: &Vehicle, index: usize) -> Markup {
    html! {
        nav.pager aria-label="Axles" { @for (k, axle) in vehicle.axles.iter().enumerate() {
            a href=(format!("/design/{}?axle={k}", path_part(folder))) aria-current=[(k == index).then_some("page")] {
                (words::capital(&axle.name)) " axle"
            }
        } }
    }
}

fn points(handles: &[Handle], units: Units) -> Markup {
    let mut elements: Vec<&[String]> = Vec::new();
    for handle in handles {
        if !elements.contains(&handle.elements.as_slice()) {
            elements.push(&handle.elements);
        }
    }
    html! {
        h2 #points-title { "Points" }
        p.note { "Forward, to the left and up are positive. Mirrored points move together. The file stays as it is." }
        p { button type="button" #back-to-drawing { "Back to the drawing" } }
        @for (k, names) in elements.iter().enumerate() {
            details open[k == 0] {
                summary { (words::capital(&words::list(names))) }
                @for (at, handle) in handles.iter().enumerate().filter(|(_, h)| h.elements == *names) {
                    (handle_fields(at, handle, units))
                }
            }
        }
        h3 { "To write into vehicle.toml" }
        p.note #unchanged { "Nothing is moved." }
        ul #to-write {}
    }
}

fn handle_fields(at: usize, handle: &Handle, units: Units) -> Markup {
    let per_m = units.length().per_si;
    let decimals = if units == Units::Mm { 1 } else { 3 };
    let short = |m: f64| format!("{:.*}", decimals, m * per_m);
    let (reach, step) =
        if units == Units::Mm { (MOST_M * per_m, "1") } else { ((MOST_M * per_m).floor(), "0.0625") };
    let holes: Vec<String> =
        handle.holes_m.iter().map(|p| format!("[{}]", [p.x, p.y, p.z].map(short).join(","))).collect();
    html! {
        fieldset.handle data-handle=(at) data-holes=(format!("[{}]", holes.join(","))) data-per-m=(per_m)
            data-name=(format!("{}, {}", words::list(&handle.elements), handle.spot.words())) {
            legend { (words::capital(handle.spot.words())) }
            @if handle.holes_m.len() > 1 {
                label { "Hole" select name="hole" data-drawn=(handle.in_use) {
                    @for k in 0..handle.holes_m.len() {
                        option value=(k) selected[k == handle.in_use] {
                            "hole " (k + 1) @if k == handle.in_use { " (as drawn)" }
                        }
                    }
                } }
            }
            @for (axis, direction) in ["forward", "to the left", "up"].into_iter().enumerate() {
                @let id = format!("h{at}-{axis}");
                div.slider {
                    label for=(id) { (words::capital(direction)) "," (units.length().unit) }
                    input type="range" id=(id) data-axis=(axis) min=(format!("{}", -reach)) max=(format!("{reach}")) step=(step) value="0"
                        aria-describedby=(format!("{id}-at"));
                    output id=(format!("{id}-at")) for=(id) { (short(handle.drawn_m[axis])) }
                }
            }
        }
    }
}

/// The view that a hand, a mouse or the arrow keys turn, with what state it shows.
fn turn(model: &str, sweep: Option<&crate::vehicle::Sweep>, units: Units) -> Markup {
    let per_m = units.length().per_si;
    let (up, down, roll) = sweep.map_or((0.1, 0.1, 0.26), |s| (s.up_m, s.down_m, s.roll_rad));
    html! {
        (stage(model))
        div.states {
            div.slider {
                label for="heave" { "Bump," (whole(units.length().unit)) }
                input type="range" id="heave" min=(format!("{:.2}", -down * per_m)) max=(format!("{:.2}", up * per_m)) step="any" value="0" data-per-m=(per_m);
                output for="heave" { "0" }
            }
            div.slider {
                label for="roll" { "Left wheel up,\u{a0}°" }
                input type="range" id="roll" min=(format!("{:.2}", -roll.to_degrees())) max=(format!("{:.2}", roll.to_degrees())) step="any" value="0";
                output for="roll" { "0" }
            }
        }
    }
}

/// Where a model is shown: the picture, and buttons for who turns it without a hand.
pub fn stage(model: &str) -> Markup {
    html! {
        figure.turn data-model=(model) {
            div.stage tabindex="0" role="img" aria-label="The axle in space. Arrow keys turn it, plus and minus change its size." {}
            div.turn-keys {
                @for (view, words) in [("corner", "From a corner"), ("side", "From the right"), ("rear", "From behind"), ("plan", "From above")] {
                    button type="button" data-view=(view) { (words) }
                }
            }
        }
    }
}
