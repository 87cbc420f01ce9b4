//! Axles set side by side: what each vehicle is called, which axles stand at the same end, and their numbers line by line.

use super::questions::Question;
use super::rows::Row;
use super::told::Told;
use super::units::Units;
use super::words;
use crate::design::prediction::Reached;
use crate::jobs::predict::PredictedVehicle;
use crate::vehicle::Position;

/// What stands where a vehicle has no such number.
pub const NONE: &str = "–";

/// One line of a table, a cell for each axle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What it tells, with its unit.
    pub label: String,
    /// In the order of the axles.
    pub cells: Vec<Cell>,
}

/// One axle's entry in a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// Value with its ±.
    pub value: String,
    /// Which way it goes, where the line's label does not say.
    pub word: Option<&'static str>,
}

impl Cell {
    fn bare(value: String) -> Self {
        Self { value, word: None }
    }
}

/// Axles at one end of the vehicles; one of several of the same vehicle is called by its own name too.
pub fn at_end<'a>(
    vehicles: &'a [PredictedVehicle],
    names: &[String],
    position: Position,
    units: Units,
) -> Vec<Told<'a>> {
    let mut all = Vec::new();
    for (vehicle, name) in vehicles.iter().zip(names) {
        let here = Told::axles(vehicle, name, units).into_iter().filter(|t| t.axle.position == position);
        let mut here: Vec<Told> = here.collect();
        if here.len() > 1 {
            here.iter_mut().for_each(|told| told.name = format!("{name} {}", told.axle.name));
        }
        all.extend(here);
    }
    all
}

/// What vehicles are called: by folder or file, or by their own names where those are all different; a number behind what
/// is still the same.
pub fn names(vehicles: &[PredictedVehicle]) -> Vec<String> {
    let own: Vec<String> = vehicles.iter().map(|v| v.prediction.vehicle.clone()).collect();
    let names = if differ(&own) { own } else { vehicles.iter().map(file_name).collect() };
    if differ(&names) {
        return names;
    }
    names.iter().enumerate().map(|(k, name)| format!("{name} {}", k + 1)).collect()
}

fn differ(names: &[String]) -> bool {
    names.iter().enumerate().all(|(k, name)| names.iter().take(k).all(|other| other != name))
}

/// The folder or file, without what all files share.
fn file_name(vehicle: &PredictedVehicle) -> String {
    let path = std::path::Path::new(&vehicle.file);
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let folder = path.parent().and_then(|p| p.file_name()).map(|s| s.to_string_lossy().into_owned());
    match folder {
        Some(folder) if stem == "vehicle" => folder,
        _ => stem,
    }
}

/// One question's numbers, a line for each that any of the axles has.
pub fn numbers(question: Question, axles: &[Told]) -> Vec<Line> {
    let rows: Vec<&[Row]> = axles
        .iter()
        .map(|told| told.answers.iter().find(|(q, _)| *q == question).map_or(&[][..], |(_, rows)| rows))
        .collect();
    let mut labels: Vec<&Row> = Vec::new();
    for row in rows.iter().copied().flatten() {
        if !labels.iter().any(|known| known.label == row.label) {
            labels.push(row);
        }
    }
    labels.iter().map(|first| line(first, &rows)).collect()
}

fn line(first: &Row, rows: &[&[Row]]) -> Line {
    let found: Vec<Option<&Row>> =
        rows.iter().map(|rows| rows.iter().find(|r| r.label == first.label)).collect();
    let shared = shared_word(&found);
    let word = shared.map(|w| format!(", {w}")).unwrap_or_default();
    let cell = |row: &Option<&Row>| match row {
        Some(row) => cell(row, shared.is_none()),
        None => Cell::bare(NONE.to_owned()),
    };
    Line {
        label: format!("{}{word} ({})", first.label, first.scale.unit.trim()),
        cells: found.iter().map(cell).collect(),
    }
}

/// The word that is true of every axle.
fn shared_word(rows: &[Option<&Row>]) -> Option<&'static str> {
    let mut words = rows.iter().flatten().map(|row| row.word);
    let first = words.next()??;
    (first != words::EITHER_WAY && words.all(|word| word == Some(first))).then_some(first)
}

/// Value and ±, with its own word where it is wanted.
fn cell(row: &Row, worded: bool) -> Cell {
    let value = row.scale.bare_with_u(row.measured.value.unwrap_or_default(), row.measured.u);
    let word = match row.word {
        Some(words::EITHER_WAY) => Some("either way"),
        Some(word) if worded => Some(word),
        _ => None,
    };
    Cell { value, word }
}

/// Bind, joints and room.
pub fn effort(axles: &[Told]) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    let mut put = |label: String, cells: Vec<String>| {
        lines.push(Line { label, cells: cells.into_iter().map(Cell::bare).collect() });
    };
    for (side, label) in ["left wheel up", "right wheel up"].into_iter().enumerate() {
        let flexed =
            |told: &Told| told.common.flex.get(side).and_then(|f| f.at.outcome.as_ref().ok().cloned());
        let Some(units) = axles.first().map(|told| told.units) else { continue };
        let (moment, energy) = (units.moment(), units.energy());
        let of = |value: &dyn Fn(&Reached) -> String| -> Vec<String> {
            axles.iter().map(|told| flexed(told).map_or(NONE.to_owned(), |r| value(&r))).collect()
        };
        let label = |what: &str, unit: &str| format!("{what} at 10°, {label} ({})", unit.trim());
        put(label("roll moment", moment.unit), of(&|r| moment.bare_with_u(r.roll_moment_nm.abs(), None)));
        put(label("energy in bushes", energy.unit), of(&|r| energy.bare_with_u(r.strain_energy_j, None)));
    }
    let needs: Vec<_> = axles.iter().map(Told::needs).collect();
    for (label, _) in needs.first().into_iter().flatten() {
        let find = |needs: &Vec<(&'static str, String)>| {
            needs.iter().find(|(other, _)| other == label).map_or(NONE.to_owned(), |(_, text)| text.clone())
        };
        put((*label).to_owned(), needs.iter().map(find).collect());
    }
    lines
}
