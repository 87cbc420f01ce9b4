//! Several vehicles as drawn, column by column, and what each gains and gives up.

use super::page::{Ink, Page};
use super::table::{Cells, Table};
use super::{joints, parts};
use crate::jobs::predict::PredictedVehicle;
use crate::show::beside::{self, Cell, Line};
use crate::show::questions::Question;
use crate::show::ramp;
use crate::show::told::{Told, plus_minus};
use crate::show::trade::{self, Contender, Point};
use crate::show::units::Units;
use crate::show::words;
use crate::vehicle::Position;

/// Columns that fit side by side.
const COLUMNS: usize = 4;

/// Writes them.
pub(super) fn write(page: &mut Page, vehicles: &[PredictedVehicle], units: Units) {
    let names = beside::names(vehicles);
    page.paragraph(&format!("{} vehicles side by side, as drawn", vehicles.len()), Ink::Strong);
    for (vehicle, name) in vehicles.iter().zip(&names) {
        page.entry('·', Ink::Plain, name, std::slice::from_ref(&vehicle.file));
    }
    let all: Vec<&PredictedVehicle> = vehicles.iter().collect();
    page.paragraph(&plus_minus(&all, units), Ink::Faint);
    let ends =
        [Position::Front, Position::Rear].map(|position| beside::at_end(vehicles, &names, position, units));
    for told in &ends {
        match told.as_slice() {
            [] => {}
            [one] => one.write(page, false),
            several => group(page, several),
        }
    }
    ends.iter().flatten().for_each(|told| told.loads(page));
}

fn group(page: &mut Page, axles: &[Told]) {
    let Some(first) = axles.first() else { return };
    let [end, _] = words::position(first.axle.position);
    for told in axles {
        decisive(page, told);
    }
    gains(page, axles);
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
        page.table(&table("", block, beside::effort(block)));
    }
    for told in axles {
        page.heading(&format!("{}: links and travel", told.name));
        page.item("·", &words::capital(&told.freedom()));
        page.item("·", &links(told));
        for (end, text) in told.reach() {
            page.entry('·', Ink::Plain, &end, &[text]);
        }
        parts::entries(page, &ramp::entries(told.axle, told.units));
        joints::joints(page, &told.axle.links, told.units);
        joints::struts(page, told.axle);
        joints::shaft(page, told.axle, told.units);
        joints::room(page, told.axle, told.units);
        parts::remarks(page, &told.remarks());
    }
}

/// What puts a layout's numbers in doubt, and what does not go as drawn, under its name.
fn decisive(page: &mut Page, told: &Told) {
    let named = |text: String| format!("{}, {} axle: {text}", told.name, told.axle.name);
    let binds = told.binds_in_roll().map(|text| text.replacen("It binds", "it binds", 1));
    let all = told.axle.implausible.iter().cloned().chain(binds).chain(told.beyond());
    for text in all {
        page.item("!", &named(text));
    }
}

fn names_of(axles: &[Told]) -> Vec<String> {
    axles.iter().map(|told| told.name.clone()).collect()
}

fn headings(first: &str, axles: &[Told]) -> Vec<String> {
    std::iter::once(first.to_owned()).chain(names_of(axles)).collect()
}

/// One question's numbers, a line for each that any of the axles has.
fn numbers(page: &mut Page, question: Question, axles: &[Told]) {
    let lines = beside::numbers(question, axles);
    if lines.is_empty() {
        return;
    }
    page.gap();
    page.table(&table(question.text(), axles, lines));
}

fn table(first: &str, axles: &[Told], lines: Vec<Line>) -> Table {
    let cell = |cell: Cell| match cell.word {
        Some(word) => format!("{}\n{word}", cell.value),
        None => cell.value,
    };
    let row = |line: Line| (line.label, Cells::Values(line.cells.into_iter().map(cell).collect()));
    Table { headings: headings(first, axles), unbroken: true, rows: lines.into_iter().map(row).collect() }
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
        let or_nothing = |list: Vec<Point>| match list.is_empty() {
            true => vec!["nothing clear".to_owned()],
            false => list.iter().map(Point::sentence).collect(),
        };
        page.entry('+', Ink::Good, &format!("{} gains", told.name), &or_nothing(trade.gains));
        page.entry('−', Ink::Plain, &format!("{} gives up", told.name), &or_nothing(trade.gives_up));
    }
}
