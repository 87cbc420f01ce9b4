//! Runs over time as a table, with what was done in between.

use super::Options;
use super::page::{Ink, Page};
use super::table::{Cells, Table};
use crate::history::quantity::Quantity;
use crate::history::record::Entry;
use crate::history::service::ServiceEvent;
use crate::jobs::history::{Listed, Listing};
use crate::jobs::service::Record;
use crate::show::units::{PLUS_MINUS, Units};
use crate::show::wear::{counted, scale};
use crate::show::words;
use crate::vehicle::numbers::Key;
use std::collections::BTreeSet;

/// Numbers that a list shows where none was asked for.
const SHOWN: [Key; 3] = [Key::RollSteer, Key::RollCentreZ, Key::PitchPerHeave];

/// A column: axle and quantity.
type Column = (String, Quantity);

/// Runs as text.
pub fn history(listing: &Listing, options: &Options) -> String {
    let mut page = Page::new(options);
    let vehicles: BTreeSet<&str> = listing
        .runs
        .iter()
        .map(|r| r.run.facts.vehicle.as_str())
        .chain(listing.services.iter().map(|s| s.0.as_str()))
        .collect();
    if vehicles.is_empty() {
        page.paragraph("No run fits.", Ink::Strong);
        page.paragraph("hingeline record or hingeline import makes one.", Ink::Faint);
    }
    for vehicle in &vehicles {
        page.heading(vehicle);
        of_vehicle(&mut page, listing, vehicle, options.units);
    }
    if listing.earlier > 0 {
        page.gap();
        let text = format!("{} before these: --last N or --all shows them.", counted(listing.earlier, "run"));
        page.paragraph(&text, Ink::Faint);
    }
    if !vehicles.is_empty() {
        page.gap();
        page.paragraph(PLUS_MINUS, Ink::Faint);
    }
    for sentence in &listing.said {
        page.gap();
        page.item("!", sentence);
    }
    page.finish()
}

fn of_vehicle(page: &mut Page, listing: &Listing, vehicle: &str, units: Units) {
    let runs: Vec<&Listed> = listing.runs.iter().filter(|r| r.run.facts.vehicle == vehicle).collect();
    let columns = columns(&runs, listing.one_number);
    let axles: BTreeSet<&String> = columns.iter().map(|c| &c.0).collect();
    let heading = |(axle, quantity): &Column| {
        let unit = scale(quantity, units).unit.trim();
        let axle = if axles.len() > 1 { format!("{axle} ") } else { String::new() };
        format!("{axle}{} {unit}", short(quantity))
    };
    let mut table = Table {
        headings: std::iter::once("run".to_owned()).chain(columns.iter().map(heading)).collect(),
        unbroken: false,
        rows: Vec::new(),
    };
    let mut services = listing.services.iter().filter(|s| s.0 == vehicle).map(|s| &s.1).peekable();
    for run in runs {
        while let Some(event) = services.next_if(|e| e.at_us <= run.run.facts.started_us) {
            table.rows.push(service_row(event));
        }
        let cells = match &run.run.facts.problem {
            Some(problem) => Cells::Remark(format!("not measured: {problem}")),
            None if columns.is_empty() => Cells::Remark("nothing measured".into()),
            None => Cells::Values(columns.iter().map(|c| cell(run, c, units)).collect()),
        };
        table.rows.push((run.run.facts.run.clone(), cells));
    }
    table.rows.extend(services.map(service_row));
    page.table(&table);
}

/// Which columns: what was asked for, else the numbers of every axle that a run measured.
fn columns(runs: &[&Listed], one_number: bool) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    for (axle, entry) in runs.iter().flat_map(|r| &r.entries) {
        let shown = one_number || matches!(&entry.quantity, Quantity::Number(key) if SHOWN.contains(key));
        let column = (axle.clone(), entry.quantity.clone());
        if shown && !columns.contains(&column) {
            columns.push(column);
        }
    }
    columns
}

fn short(quantity: &Quantity) -> String {
    match quantity {
        Quantity::Link(_, link) => link.clone(),
        _ => quantity.label(),
    }
}

fn cell(run: &Listed, column: &Column, units: Units) -> String {
    let same = |(axle, entry): &&(String, Entry)| *axle == column.0 && entry.quantity == column.1;
    match run.entries.iter().find(same) {
        Some((_, entry)) => match entry.measured.measured() {
            Some((value, u)) => scale(&column.1, units).bare_with_u(value, Some(u)),
            None => entry.measured.status.word().to_owned(),
        },
        None => "–".into(),
    }
}

fn service_row(event: &ServiceEvent) -> (String, Cells) {
    let day: String = event.date.chars().take(10).collect();
    (day, Cells::Remark(service_words(event)))
}

fn service_words(event: &ServiceEvent) -> String {
    let text = if event.text.is_empty() { String::new() } else { format!(": {}", event.text) };
    format!("{}{text}", words::capital(&event.work.words()))
}

/// A vehicle's service record as text.
pub fn service(record: &Record, options: &Options) -> String {
    let mut page = Page::new(options);
    if record.added.is_empty() {
        page.paragraph(&format!("{}: service record", record.vehicle), Ink::Strong);
        if record.all.is_empty() {
            page.paragraph("Nothing entered.", Ink::Plain);
        }
        for event in &record.all {
            let when: String = event.date.replacen('T', " ", 1).chars().take(16).collect();
            page.item(&when, &service_words(event));
        }
        return page.finish();
    }
    for event in &record.added {
        let when: String = event.date.replacen('T', " ", 1).chars().take(16).collect();
        page.paragraph(
            &format!("Entered for {}, {when}: {}.", record.vehicle, service_words(event)),
            Ink::Strong,
        );
        page.paragraph(&event.work.consequence(), Ink::Plain);
    }
    page.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::service::Work;
    use crate::history::store::RunRow;
    use crate::history::store::tests::record;
    use crate::show::csv;

    /// Two runs with work in between, and one that could not be measured.
    fn listing(number: Option<&str>) -> Listing {
        let listed = |n: i64| {
            let record = record(n);
            let axle = &record.axles[0];
            let wanted = |e: &&Entry| number.is_none_or(|n| e.quantity.name() == n);
            let entries =
                axle.entries.iter().filter(wanted).map(|e| (axle.name.clone(), e.clone())).collect();
            Listed { run: RunRow { id: n, facts: record.facts }, entries }
        };
        let mut runs: Vec<Listed> = (1..=3).map(listed).collect();
        runs[2].run.facts.problem = Some("the run has no still period of at least 3 s".into());
        runs[2].entries.clear();
        let work =
            Work::Moved { element: "upper left".into(), end: crate::vehicle::Side::Axle, hole: Some(2) };
        let at_us = 900_000_000_000;
        let event = ServiceEvent {
            date: "2026-11-30T08:00:00+01:00".into(),
            at_us,
            text: "for the rally".into(),
            work,
        };
        Listing {
            runs,
            earlier: 4,
            services: vec![("Bramble".into(), event)],
            one_number: number.is_some(),
            said: vec!["The history was damaged.".into()],
        }
    }

    #[test]
    fn runs_and_work_stand_in_order_on_eighty_columns() {
        let page = history(&listing(None), &Options::default());
        assert!(page.lines().all(|l| l.chars().count() <= crate::show::text::WIDTH), "{page}");
        insta::assert_snapshot!(page);
    }

    #[test]
    fn on_a_narrow_screen_every_line_fits_and_names_of_runs_stay_whole() {
        for columns in [40, 60] {
            let options = Options { columns, ..Options::default() };
            let mut listing = listing(None);
            listing.runs[0].run.facts.run = "2026-11-26-1024-rock-forward-12".into();
            let page = history(&listing, &options);
            assert!(page.lines().all(|l| l.chars().count() <= columns), "{columns}: {page}");
            assert!(page.contains("2026-11-26-1024-rock-forward-12"), "{page}");
        }
    }

    #[test]
    fn one_number_has_a_column_and_a_table_has_every_value() {
        let listing = listing(Some("ramp_travel_index_left"));
        let page = history(&listing, &Options::default());
        assert!(page.contains("601.0 ± 7.8"), "{page}");
        let table = csv::history(&listing);
        assert_eq!(table.lines().count(), 4, "a header and a row per run: {table}");
        assert!(
            table.lines().any(|l| l.contains("ramp_travel_index_left,,601,4,measured,,,,,,,")),
            "{table}"
        );
        assert!(table.lines().any(|l| l.contains("no still period")), "{table}");
    }
}
