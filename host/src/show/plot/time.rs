//! Plots over runs: a number over time, a joint's play, the two control charts.

use super::figures::with_unit;
use super::{Line, Look, Plot, Point, slug};
use crate::history::chart::{ChartPoint, LAMBDA, ewma_limit};
use crate::history::store::RunRow;
use crate::history::wear::{Assessment, JointState, Wear};
use crate::jobs::history::Listing;
use crate::show::Units;
use crate::show::units::HALF_95;
use crate::show::wear::scale;
use crate::show::words;

/// Height over width.
const ASPECT: f64 = 0.6;
/// µs of a day.
const DAY_US: f64 = 86_400e6;
/// Looks of several lines, in turn.
const LOOKS: [Look; 4] = [Look::Up, Look::Down, Look::First, Look::Second];

/// What is drawn of a joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chart {
    /// The values with their intervals.
    Values,
    /// The cumulative sum and its decision interval.
    Cusum,
    /// The weighted average and its limits.
    Ewma,
}

/// A number of a listing over time, a line for every vehicle, axle and link.
pub fn over_time(listing: &Listing, units: Units) -> Plot {
    let first_us = listing.runs.first().map_or(0, |r| r.run.facts.started_us);
    let mut lines: Vec<(String, Vec<Point>)> = Vec::new();
    let mut named = None;
    for listed in &listing.runs {
        for (axle, entry) in &listed.entries {
            let Some((value, u)) = entry.measured.measured() else { continue };
            let quantity = &entry.quantity;
            let scale = scale(quantity, units);
            named.get_or_insert((quantity.clone(), scale));
            let link = quantity.element();
            let what = if link.is_empty() { format!("{axle} axle") } else { link.to_owned() };
            let name = format!("{}, {what}", listed.run.facts.vehicle);
            let x = (listed.run.facts.started_us - first_us) as f64 / DAY_US;
            let point = Point { x, y: value * scale.per_si, half: Some(HALF_95 * u * scale.per_si) };
            match lines.iter_mut().find(|l| l.0 == name) {
                Some((_, points)) => points.push(point),
                None => lines.push((name, vec![point])),
            }
        }
    }
    let label = named.as_ref().map_or_else(
        || "number".to_owned(),
        |(q, _)| match q.element() {
            "" => q.label(),
            link => q.label().replacen(&format!("{link}: "), "", 1),
        },
    );
    let day: String = listing.runs.first().map_or("", |r| &r.run.facts.started).chars().take(10).collect();
    Plot {
        slug: slug(&format!("history {label}")),
        title: format!("{} over time", words::capital(&label)),
        description: format!(
            "{} in every run, with 95 % intervals, against days since {day}.",
            words::capital(&label)
        ),
        x: format!("days since {day}"),
        y: named.map_or_else(|| label.clone(), |n| with_unit(&label, n.1)),
        lines: lines
            .into_iter()
            .zip(LOOKS.iter().cycle())
            .map(|((name, points), look)| Line { name, look: *look, pieces: vec![points] })
            .collect(),
        rows: Vec::new(),
        aspect: ASPECT,
    }
}

/// The play of a link over the runs, or one of its charts; of the most urgent joint where no link is named.
pub fn of_joint(wear: &Wear, link: Option<&str>, chart: Chart, units: Units) -> Plot {
    let mut joints: Vec<_> = wear.axles.iter().flat_map(|a| a.joints.iter().map(move |j| (a, j))).collect();
    joints.sort_by_key(|(_, j)| j.state);
    let found =
        joints.into_iter().find(|(_, j)| link.map_or(j.state != JointState::NotMeasured, |l| j.link == l));
    match found.and_then(|(_, joint)| Some((joint.limit, joint.play.as_ref()?))) {
        Some((limit, play)) => of_assessment(play, &wear.runs, limit.map(|l| l.value), chart, units),
        None => Plot {
            slug: slug(link.unwrap_or("play")),
            title: String::new(),
            description: String::new(),
            x: String::new(),
            y: String::new(),
            lines: Vec::new(),
            rows: Vec::new(),
            aspect: ASPECT,
        },
    }
}

/// One quantity over the runs, or one of its charts.
pub fn of_assessment(
    assessment: &Assessment,
    runs: &[RunRow],
    limit: Option<f64>,
    chart: Chart,
    units: Units,
) -> Plot {
    let label = assessment.quantity.label();
    let limits = assessment.sides.limits();
    let lines = match chart {
        Chart::Values => values(assessment, limit, units),
        Chart::Cusum => {
            let mut lines = vec![charted(assessment, "grows", Look::Up, |c| c.cusum.up)];
            if assessment.sides == crate::history::chart::Sides::Both {
                lines.push(charted(assessment, "falls", Look::Down, |c| c.cusum.down));
            }
            lines.push(level(assessment, "speaks above", limits.h));
            lines
        }
        Chart::Ewma => {
            let reach = ewma_limit(limits.l, LAMBDA);
            vec![
                charted(assessment, "weighted average", Look::Up, |c| c.ewma),
                level(assessment, "speaks beyond", reach),
            ]
        }
    };
    let (what, y) = match chart {
        Chart::Values => ("", with_unit(&label, scale(&assessment.quantity, units))),
        Chart::Cusum => (": cumulative sum", "cumulative sum, standard deviations".to_owned()),
        Chart::Ewma => (": weighted average", "weighted average, standard deviations".to_owned()),
    };
    let name = |step: Option<&crate::history::wear::Step>| {
        step.and_then(|s| runs.get(s.run)).map_or("", |r| r.facts.run.as_str()).to_owned()
    };
    Plot {
        slug: slug(&format!("{label}{what}")),
        title: format!("{}{what}", words::capital(&label)),
        description: format!(
            "{}{what}, {} runs from {} to {}.",
            words::capital(&label),
            assessment.steps.len(),
            name(assessment.steps.first()),
            name(assessment.steps.last())
        ),
        x: "run, counted from the first".into(),
        y,
        lines,
        rows: Vec::new(),
        aspect: ASPECT,
    }
}

/// Where a baseline begins a line begins.
fn parted<T>(assessment: &Assessment, point: impl Fn(usize) -> Option<T>) -> Vec<Vec<T>> {
    let mut pieces: Vec<Vec<T>> = Vec::new();
    for k in 0..assessment.steps.len() {
        if pieces.is_empty() || assessment.segments.iter().any(|s| s.first == k) {
            pieces.push(Vec::new());
        }
        if let (Some(piece), Some(point)) = (pieces.last_mut(), point(k)) {
            piece.push(point);
        }
    }
    pieces.retain(|p| !p.is_empty());
    pieces
}

fn values(assessment: &Assessment, limit: Option<f64>, units: Units) -> Vec<Line> {
    let scale = scale(&assessment.quantity, units);
    let pieces = parted(assessment, |k| {
        let step = assessment.steps.get(k)?;
        let half = Some(HALF_95 * step.u * scale.per_si);
        Some(Point { x: (k + 1) as f64, y: step.value * scale.per_si, half })
    });
    let mut lines = vec![Line { name: "measured".into(), look: Look::Up, pieces }];
    if let Some(baseline) = assessment.baseline {
        let mut line = level(assessment, "baseline", baseline.mean * scale.per_si);
        line.look = Look::Second;
        lines.push(line);
    }
    lines.extend(limit.map(|limit| level(assessment, "your limit", limit * scale.per_si)));
    lines
}

fn charted(assessment: &Assessment, name: &str, look: Look, value: fn(&ChartPoint) -> f64) -> Line {
    let pieces = parted(assessment, |k| {
        let chart = assessment.steps.get(k)?.chart.as_ref()?;
        Some(Point { x: (k + 1) as f64, y: value(chart), half: None })
    });
    Line { name: name.into(), look, pieces }
}

/// A level from the first run to the last.
fn level(assessment: &Assessment, name: &str, y: f64) -> Line {
    let last = assessment.steps.len().max(2) as f64;
    let ends = [1.0, last].map(|x| Point { x, y, half: None });
    Line { name: name.into(), look: Look::Drawn, pieces: vec![ends.to_vec()] }
}
