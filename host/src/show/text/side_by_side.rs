//! Several drawings column by column, and what each gains and gives up against the first.

use super::page::{Ink, Page, WIDTH};
use crate::design::prediction::AxlePrediction;
use crate::jobs::predict::PredictedVehicle;
use crate::show::questions::Question;
use crate::show::rows::{self, Answer, Id, Row};
use crate::show::units::{HALF_95, PLUS_MINUS, Units};
use crate::show::{phrases, words};
use crate::vehicle::numbers::Key;

/// Columns of the label.
const LABEL: usize = 29;
/// Columns that a value and its ± need, with the space before them.
const LEAST: usize = 17;

/// Every axle of the first vehicle beside the same axle of the others.
pub(super) fn vehicles(page: &mut Page, vehicles: &[PredictedVehicle], units: Units) {
    let Some(first) = vehicles.first() else { return };
    for axle in &first.prediction.axles {
        // The axle of the same name, else the first at the same end of the vehicle.
        let same = |v: &'_ PredictedVehicle| {
            let there = |a: &&AxlePrediction| a.position == axle.position;
            let axles = || v.prediction.axles.iter().filter(there).cloned();
            axles().find(|a| a.name == axle.name).or_else(|| axles().next())
        };
        let (mut columns, mut without) = (Vec::new(), Vec::new());
        for vehicle in vehicles {
            match same(vehicle) {
                Some(axle) => columns.push(Column::of(vehicle, &axle, units)),
                None => without.push(name(vehicle)),
            }
        }
        page.gap();
        page.paragraph(
            &format!("{} drawings of the {} axle, side by side", columns.len(), axle.name),
            Ink::Strong,
        );
        page.paragraph(&format!("{PLUS_MINUS} {}", phrases::FROM_TOLERANCE), Ink::Faint);
        for part in columns.chunks((WIDTH - LABEL) / LEAST) {
            table(page, part);
        }
        changes(page, &columns);
        let [end, _] = words::position(axle.position);
        if !without.is_empty() {
            super::parts::remarks(page, &[format!("no {end} axle in {}", words::list(&without))]);
        }
    }
}

/// One drawing.
struct Column {
    name: String,
    answers: Vec<Answer>,
    redundant: usize,
}

impl Column {
    fn of(vehicle: &PredictedVehicle, axle: &AxlePrediction, units: Units) -> Self {
        let prediction = &vehicle.prediction;
        Self {
            name: name(vehicle),
            answers: rows::of_prediction(axle, prediction.wheelbase_m, units),
            redundant: axle.redundant,
        }
    }

    fn row(&self, like: &Row) -> Option<&Row> {
        self.answers.iter().flat_map(|(_, rows)| rows).find(|r| r.id == like.id)
    }
}

/// The folder or file, without what all files share.
fn name(vehicle: &PredictedVehicle) -> String {
    let path = std::path::Path::new(&vehicle.file);
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let folder = path.parent().and_then(|p| p.file_name()).map(|s| s.to_string_lossy().into_owned());
    match folder {
        Some(folder) if stem == "vehicle" => folder,
        _ => stem,
    }
}

fn table(page: &mut Page, columns: &[Column]) {
    let width = (WIDTH - LABEL) / columns.len().max(1);
    page.gap();
    page.columns("", LABEL, &columns.iter().map(|c| c.name.clone()).collect::<Vec<_>>(), width, Ink::Strong);
    for question in Question::ALL {
        let rows = every_row(columns, question);
        if rows.is_empty() {
            continue;
        }
        page.heading(question.text());
        for row in rows {
            // A degree sign stands with each number; longer units stand once, with the label.
            let degrees = row.scale.unit == "°";
            let cell = |c: &Column| match c.row(row).and_then(|r| r.measured.measured()) {
                Some((v, u)) if degrees => row.scale.with_u(v, Some(u)),
                Some((v, u)) => row.scale.bare_with_u(v, Some(u)),
                None => "–".into(),
            };
            let cells: Vec<String> = columns.iter().map(cell).collect();
            let label = match row.scale.unit {
                "°" => row.label.clone(),
                unit => format!("{},{}{unit}", row.label, if unit.starts_with(' ') { "" } else { " " }),
            };
            page.columns(&label, LABEL, &cells, width, Ink::Plain);
        }
    }
}

/// The rows that any column has, in the order of the first that has them.
fn every_row(columns: &[Column], question: Question) -> Vec<&Row> {
    let mut found: Vec<&Row> = Vec::new();
    for (_, rows) in columns.iter().flat_map(|c| &c.answers).filter(|(q, _)| *q == question) {
        for row in rows {
            // Where the travel shows most of a number differs from drawing to drawing.
            let comparable = !matches!(row.id, Id::Most(_));
            if comparable && !found.iter().any(|r| r.id == row.id) {
                found.push(row);
            }
        }
    }
    found
}

/// What each gains and gives up against the first: less of what nobody wants is a gain, more a loss, and numbers that are
/// a matter of taste are only told.
fn changes(page: &mut Page, columns: &[Column]) {
    let Some((first, others)) = columns.split_first() else { return };
    if others.is_empty() {
        return;
    }
    page.heading(&format!("What each gains and gives up against {}", first.name));
    for column in others {
        let mut told = [Vec::new(), Vec::new(), Vec::new()];
        for row in first.answers.iter().flat_map(|(_, rows)| rows) {
            if let Some((kind, text)) = column.row(row).and_then(|other| change(row, other)) {
                told[kind as usize].push(text);
            }
        }
        if column.redundant != first.redundant {
            let (kind, text) = if column.redundant > first.redundant {
                (Kind::GivesUp, "free articulation (it binds)")
            } else {
                (Kind::Gains, "freer articulation")
            };
            told[kind as usize].push(text.into());
        }
        let sentences: Vec<String> = [("gains", 0), ("gives up", 1), ("also changes", 2)]
            .into_iter()
            .filter(|(_, k)| !told[*k].is_empty())
            .map(|(word, k)| format!("{word}: {}", words::list(&told[k])))
            .collect();
        if sentences.is_empty() {
            page.entry('=', Ink::Plain, &column.name, &["nothing beyond ±".into()]);
        } else {
            page.entry('·', Ink::Plain, &column.name, &sentences);
        }
    }
}

/// How a change counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Gains,
    GivesUp,
    Also,
}

/// Numbers of which less, either way, is better.
fn unwanted(key: Key) -> bool {
    matches!(key, Key::RollSteer | Key::LateralPerHeave | Key::BumpSteerHeave | Key::BumpSteerRoll)
}

/// A change beyond the ± of both.
fn change(before: &Row, after: &Row) -> Option<(Kind, String)> {
    let key = before.key()?;
    let ((a, u_a), (b, u_b)) = (before.measured.measured()?, after.measured.measured()?);
    if (b - a).abs() <= HALF_95 * u_a.hypot(u_b) || b == a {
        return None;
    }
    let difference = before.scale.limit((b - a).abs());
    let label = rows::label(key);
    Some(if unwanted(key) {
        let less = b.abs() < a.abs();
        let word = if less { "less" } else { "more" };
        (
            if less { Kind::Gains } else { Kind::GivesUp },
            format!("{} {word} {label}", before.scale.limit((b.abs() - a.abs()).abs())),
        )
    } else {
        let way = if b > a { "up" } else { "down" };
        (Kind::Also, format!("{label} {way} by {difference}"))
    })
}
