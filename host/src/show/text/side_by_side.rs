//! Several vehicles as drawn, column by column, and what each gains and gives up.

use super::page::{Ink, Page};
use super::predict::{Told, plus_minus};
use super::table::{Cells, Table};
use super::{joints, parts};
use crate::jobs::predict::PredictedVehicle;
use crate::show::questions::Question;
use crate::show::rows::Row;
use crate::show::trade::{self, Contender};
use crate::show::units::Units;
use crate::show::words;
use crate::vehicle::Position;

/// Columns that fit side by side.
const COLUMNS: usize = 4;
/// What stands where a vehicle has no such number.
const NONE: &str = "–";

/// Writes them.
pub(super) fn write(page: &mut Page, vehicles: &[PredictedVehicle], units: Units) {
    let names = names(vehicles);
    page.paragraph(&format!("{} vehicles side by side, as drawn", vehicles.len()), Ink::Strong);
    for (vehicle, name) in vehicles.iter().zip(&names) {
        page.entry('·', Ink::Plain, name, std::slice::from_ref(&vehicle.file));
    }
    let all: Vec<&PredictedVehicle> = vehicles.iter().collect();
    page.paragraph(&plus_minus(&all, units), Ink::Faint);
    let ends = [Position::Front, Position::Rear].map(|position| axles(vehicles, &names, position, units));
    for told in &ends {
        match told.as_slice() {
            [] => {}
            [one] => one.write(page, false),
            several => group(page, several),
        }
    }
    ends.iter().flatten().for_each(|told| told.loads(page));
}

/// Axles at one end of the vehicles; one of several of the same vehicle is called by its own name too.
fn axles<'a>(
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
fn names(vehicles: &[PredictedVehicle]) -> Vec<String> {
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

fn group(page: &mut Page, axles: &[Told]) {
    let Some(first) = axles.first() else { return };
    let [end, _] = words::position(first.axle.position);
    for told in axles {
        told.states(page, &format!("{}, {} axle, at the states asked for", told.name, told.axle.name));
    }
    for block in axles.chunks(COLUMNS) {
        let of = match axles.len() > COLUMNS {
            true => format!(": {}", words::list(&names_of(block))),
            false => String::new(),
        };
        page.heading(&format!("{} axles{of}", words::capital(end)));
        for question in Question::ALL {
            numbers(page, question, block);
        }
        page.heading("What binds, and what does it take?");
        page.table(&effort(block));
    }
    for told in axles {
        page.heading(&format!("{}: links and travel", told.name));
        page.item("·", &words::capital(&told.freedom()));
        page.item("·", &links(told));
        for (end, text) in told.reach() {
            page.entry('·', Ink::Plain, &end, &[text]);
        }
        joints::joints(page, &told.axle.links, told.units);
        joints::struts(page, told.axle);
        parts::remarks(page, &told.remarks());
    }
    gains(page, axles);
}

fn names_of(axles: &[Told]) -> Vec<String> {
    axles.iter().map(|told| told.name.clone()).collect()
}

fn headings(first: &str, axles: &[Told]) -> Vec<String> {
    std::iter::once(first.to_owned()).chain(names_of(axles)).collect()
}

/// One question's numbers, a line for each that any of the axles has.
fn numbers(page: &mut Page, question: Question, axles: &[Told]) {
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
    if labels.is_empty() {
        return;
    }
    let line = |first: &&Row| {
        let of = |rows: &&'_ [Row]| rows.iter().position(|r| r.label == first.label);
        let found: Vec<Option<&Row>> = rows.iter().map(|rows| of(rows).and_then(|k| rows.get(k))).collect();
        let shared = shared_word(&found);
        let word = shared.map(|w| format!(", {w}")).unwrap_or_default();
        let cell = |row: &Option<&Row>| row.map_or(NONE.to_owned(), |row| cell(row, shared.is_none()));
        let label = format!("{}{word} ({})", first.label, first.scale.unit.trim());
        (label, Cells::Values(found.iter().map(cell).collect()))
    };
    page.gap();
    page.table(&Table {
        headings: headings(question.text(), axles),
        unbroken: true,
        rows: labels.iter().map(line).collect(),
    });
}

/// The word that is true of every axle.
fn shared_word(rows: &[Option<&Row>]) -> Option<&'static str> {
    let mut words = rows.iter().flatten().map(|row| row.word);
    let first = words.next()??;
    (first != words::EITHER_WAY && words.all(|word| word == Some(first))).then_some(first)
}

/// Value and ±, with its own word below where it is wanted.
fn cell(row: &Row, worded: bool) -> String {
    let value = row.scale.bare_with_u(row.measured.value.unwrap_or_default(), row.measured.u);
    match row.word {
        Some(words::EITHER_WAY) => format!("{value}\neither way"),
        Some(word) if worded => format!("{value}\n{word}"),
        _ => value,
    }
}

/// Bind, joints and room.
fn effort(axles: &[Told]) -> Table {
    let mut rows: Vec<(String, Cells)> = Vec::new();
    let mut put = |label: String, cells: Vec<String>| rows.push((label, Cells::Values(cells)));
    for (side, label) in ["left wheel up", "right wheel up"].into_iter().enumerate() {
        let flexed =
            |told: &Told| told.common.flex.get(side).and_then(|f| f.at.outcome.as_ref().ok().cloned());
        let Some(units) = axles.first().map(|told| told.units) else { continue };
        let (moment, energy) = (units.moment(), units.energy());
        let of = |value: &dyn Fn(&crate::design::prediction::Reached) -> String| -> Vec<String> {
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
    Table { headings: headings("", axles), unbroken: true, rows }
}

fn links(told: &Told) -> String {
    let decimals = if told.units == Units::Mm { 1 } else { 2 };
    let one =
        |name: &str, length_m: f64| format!("{name} {}", told.units.length().set_to(length_m, decimals));
    let all: Vec<String> = told.axle.links.iter().map(|l| one(&l.name, l.length_m)).collect();
    match all.is_empty() {
        true => "No links between two joints.".to_owned(),
        false => format!("{} between joints.", words::capital(&words::list(&all))),
    }
}

fn gains(page: &mut Page, axles: &[Told]) {
    let contenders: Vec<Contender> = axles
        .iter()
        .map(|told| Contender { axle: told.axle, common: told.common, drawn: told.drawn() })
        .collect();
    let Some(units) = axles.first().map(|told| told.units) else { return };
    page.heading("What does each gain and give up?");
    page.paragraph(
        "Where it is at the better or the worse end, by more than ±; which of it matters is yours to say.",
        Ink::Faint,
    );
    for (told, trade) in axles.iter().zip(trade::trades(&contenders, units)) {
        let or_nothing =
            |list: Vec<String>| if list.is_empty() { vec!["nothing clear".to_owned()] } else { list };
        page.entry('+', Ink::Good, &format!("{} gains", told.name), &or_nothing(trade.gains));
        page.entry('−', Ink::Plain, &format!("{} gives up", told.name), &or_nothing(trade.gives_up));
    }
}
