//! Plots of layouts as drawn, over each other: what each does along heave and along articulation.

use super::figures::{ASPECT, Over, pieces, told, with_unit};
use super::{Line, Look, Plot, Point, slug};
use crate::design::prediction::{AtState, AxlePrediction, Reached};
use crate::show::binding::FREE_NM;
use crate::show::units::{Scale, Units};
use crate::show::{rows, words};
use crate::vehicle::Position;
use crate::vehicle::numbers::Key;

/// Less than this share of an axis' span is a line that does not move, in screen units.
const MOVES: f64 = 1e-6;

/// An instant centre further away than this is as good as at infinity and would squeeze the rest of the plot, m.
const FAR_M: f64 = 10.0;

/// A layout's name and what it does.
pub type Named<'a> = (&'a str, &'a AxlePrediction);

/// What a plot shows.
struct Figure {
    name: String,
    title: String,
    over: Over,
    scale: Scale,
    /// What runs up, with its unit.
    y: String,
}

/// The plots that everyone looks at first: flex steer, sideways, fore and aft, pinion, instant centre, bind.
pub fn first_of_layouts(layouts: &[Named], units: Units) -> Vec<Plot> {
    let (length, angle) = (units.length(), units.angle());
    let figure = |name: &str, title: &str, over: Over, what: &str, scale: Scale| Figure {
        name: name.into(),
        title: title.into(),
        over,
        scale,
        y: with_unit(what, scale),
    };
    let rear = layouts.first().is_some_and(|(_, axle)| axle.position == Position::Rear);
    let rises = if rear { -1.0 } else { 1.0 };
    let pinion = move |r: &Reached| Some(rises * r.pose.pitch_rad);
    let sideways = |r: &Reached| Some(r.pose.y_m);
    let moment = |r: &Reached| Some(r.roll_moment_nm);
    let flex = figure("flex-steer", "Flex steer", Over::Roll, "steer of the axle, left is positive", angle);
    let mut plots = vec![
        plot(&flex, layouts, units, |r| Some(r.axle_steer_rad)),
        plot(
            &figure("sideways-over-articulation", "Sideways when flexed", Over::Roll, "to the left", length),
            layouts,
            units,
            sideways,
        ),
        plot(
            &figure("sideways-over-heave", "Sideways in bump and droop", Over::Heave, "to the left", length),
            layouts,
            units,
            sideways,
        ),
        plot(
            &figure("pinion-over-heave", "Pinion in bump and droop", Over::Heave, "nose up", angle),
            layouts,
            units,
            pinion,
        ),
        plot(
            &figure("forward-over-heave", "Fore and aft in bump and droop", Over::Heave, "forward", length),
            layouts,
            units,
            |r| Some(r.pose.x_m),
        ),
    ];
    plots.push(centre_path(layouts, units));
    let gives = |(_, axle): &Named| states(axle, Over::Roll).any(|r| r.roll_moment_nm.abs() > FREE_NM);
    if layouts.iter().any(gives) {
        let bind = figure("bind", "Bind", Over::Roll, "roll moment towards right wheel up", units.moment());
        plots.push(plot(&bind, layouts, units, moment));
    }
    plots.retain(moves);
    plots
}

/// Every number along the travel.
pub fn more_of_layouts(layouts: &[Named], units: Units) -> Vec<Plot> {
    let mut plots = Vec::new();
    for key in Key::ALL {
        for over in [Over::Heave, Over::Roll] {
            let label = rows::label(key);
            let scale = units.of(key);
            let figure = Figure {
                name: format!("{}-over-{}", key.as_str().replace('_', "-"), over.word()),
                title: format!("{} over {}", words::capital(label), over.word()),
                over,
                scale,
                y: with_unit(label, scale),
            };
            plots.push(plot(&figure, layouts, units, |r| r.numbers.get(key)));
        }
    }
    plots.retain(moves);
    plots
}

/// Whether a plot has something to show: a line that is nothing all along says nothing.
fn moves(plot: &Plot) -> bool {
    let points = || plot.lines.iter().flat_map(|l| l.pieces.iter().flatten());
    points().any(|p| p.y.abs() > MOVES)
}

fn states(axle: &AxlePrediction, over: Over) -> impl Iterator<Item = &Reached> {
    sweep(axle, over).iter().filter_map(|at| at.outcome.as_ref().ok())
}

fn sweep(axle: &AxlePrediction, over: Over) -> &[AtState] {
    match over {
        Over::Heave => &axle.sweeps.heave,
        Over::Roll => &axle.sweeps.roll,
    }
}

fn plot(figure: &Figure, layouts: &[Named], units: Units, value: impl Fn(&Reached) -> Option<f64>) -> Plot {
    let x = |at: &AtState| match figure.over {
        Over::Heave => at.heave_m * units.length().per_si,
        Over::Roll => at.roll_rad * units.angle().per_si,
    };
    let lines = lines(layouts, |axle| {
        pieces(sweep(axle, figure.over).iter().map(|at| {
            let y = value(at.outcome.as_ref().ok()?)? * figure.scale.per_si;
            Some(Point { x: x(at), y, half: None })
        }))
    });
    Plot {
        slug: format!("{}-{}", place(layouts), figure.name),
        title: figure.title.clone(),
        description: told(&figure.title, &lines, figure.scale),
        x: figure.over.axis(units),
        y: figure.y.clone(),
        lines,
        rows: Vec::new(),
        aspect: ASPECT,
    }
}

/// Where the side-view instant centre goes while the axle moves up and down.
fn centre_path(layouts: &[Named], units: Units) -> Plot {
    let length = units.length();
    let lines = lines(layouts, |axle| {
        pieces(axle.sweeps.heave.iter().map(|at| {
            let numbers = &at.outcome.as_ref().ok()?.numbers;
            let x = numbers.get(Key::SideViewInstantCentreX)? * length.per_si;
            let y = numbers.get(Key::SideViewInstantCentreZ)? * length.per_si;
            (x.abs() < FAR_M * length.per_si).then_some(Point { x, y, half: None })
        }))
    });
    Plot {
        slug: format!("{}-instant-centre-path", place(layouts)),
        title: "Path of the side-view instant centre".into(),
        description: told(
            "Height of the side-view instant centre from full droop to full bump",
            &lines,
            length,
        ),
        x: with_unit("ahead of the axle at ride height", length),
        y: with_unit("height above the floor", length),
        lines,
        rows: Vec::new(),
        aspect: ASPECT,
    }
}

fn lines(layouts: &[Named], of: impl Fn(&AxlePrediction) -> Vec<Vec<Point>>) -> Vec<Line> {
    let all = layouts.iter().enumerate();
    let mut lines: Vec<Line> = all
        .map(|(k, (name, axle))| Line { name: (*name).to_owned(), look: Look::Layout(k), pieces: of(axle) })
        .collect();
    lines.retain(|l| !l.pieces.is_empty());
    lines
}

/// Beginning of the plots' names: the end of the vehicle, and the axle where there is only one.
fn place(layouts: &[Named]) -> String {
    match layouts {
        [(name, axle)] => slug(&format!("{name} {}", axle.name)),
        [(_, axle), ..] => words::position(axle.position)[0].to_owned(),
        [] => String::new(),
    }
}
