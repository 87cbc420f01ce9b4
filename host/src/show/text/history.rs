//! Runs over time as a table, with what was done in between.

use super::Options;
use super::page::{Ink, Page};
use super::table::{Cells, Table};
use crate::history::quantity::{OfLink, Quantity};
use crate::history::record::Entry;
use crate::history::service::ServiceEvent;
use crate::jobs::history::{Listed, Listing};
use crate::jobs::service::Record;
use crate::measure::Status;
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
    page.heading(&title(vehicle, &columns, listing.one_number));
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
            None if columns.is_empty() => Cells::Remark("nothing that moved".into()),
            None => Cells::Values(columns.iter().map(|c| cell(run, c, units)).collect()),
        };
        table.rows.push((run.run.facts.run.clone(), cells));
    }
    table.rows.extend(services.map(service_row));
    page.table(&table);
    if columns.iter().any(|(_, q)| matches!(q, Quantity::Link(OfLink::Play, _))) {
        page.paragraph(&whole_play(listing.with_drawn_give), Ink::Faint);
    }
}

/// The vehicle, and what stands under the names of links or was asked for by itself.
fn title(vehicle: &str, columns: &[Column], one_number: bool) -> String {
    match columns.first() {
        Some((_, Quantity::Link(of, _))) => format!("{vehicle}: {} of each link", of.words()),
        Some((_, quantity)) if one_number => format!("{vehicle}: {}", quantity.label()),
        _ => vehicle.to_owned(),
    }
}

/// Which columns: what was asked for; else the numbers of every axle that a run measured, or the play of its links where no run
/// measured a number.
fn columns(runs: &[&Listed], one_number: bool) -> Vec<Column> {
    if one_number {
        return those(runs, |_| true);
    }
    let measured = |entry: &Entry| entry.measured.measured().is_some();
    let numbers =
        those(runs, |e| matches!(&e.quantity, Quantity::Number(k) if SHOWN.contains(k)) && measured(e));
    if !numbers.is_empty() {
        return numbers;
    }
    let looked_for = |entry: &Entry| measured(entry) || entry.measured.status == Status::NotResolved;
    those(runs, |e| matches!(&e.quantity, Quantity::Link(OfLink::Play, _)) && looked_for(e))
}

/// Every axle and quantity of which a run has an entry that is wanted, in the order of the results.
fn those(runs: &[&Listed], wanted: impl Fn(&Entry) -> bool) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    for (axle, entry) in runs.iter().flat_map(|r| &r.entries).filter(|(_, entry)| wanted(entry)) {
        let column = (axle.clone(), entry.quantity.clone());
        if !columns.contains(&column) {
            columns.push(column);
        }
    }
    columns
}

/// Why `wear` tells of the same play otherwise.
fn whole_play(with_drawn_give: bool) -> String {
    let less = match with_drawn_give {
        true => ", and takes off what bushes give as drawn before your limit counts",
        false => "",
    };
    format!("All the play that each run measured; hingeline wear tells its level over the runs{less}.")
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
    for (event, consequence) in record.added.iter().zip(&record.consequences) {
        let when: String = event.date.replacen('T', " ", 1).chars().take(16).collect();
        page.paragraph(
            &format!("Entered for {}, {when}: {}.", record.vehicle, service_words(event)),
            Ink::Strong,
        );
        page.paragraph(consequence, Ink::Plain);
    }
    page.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::service::Work;
    use crate::history::store::RunRow;
    use crate::history::store::tests::record;
    use crate::measure::Measured;
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
            with_drawn_give: false,
            said: vec!["The history was damaged.".into()],
        }
    }

    #[test]
    fn runs_and_work_stand_in_order_on_eighty_columns() {
        let page = history(&listing(None), &Options::default());
        assert!(page.lines().all(|l| l.chars().count() <= crate::show::text::WIDTH), "{page}");
        insta::assert_snapshot!(page);
    }

    /// The runs of the listing as rocks: no number was excited, and of two links the play of one is resolved.
    fn rocked() -> Listing {
        let mut listing = listing(None);
        let play = |link: &str, measured| Entry {
            quantity: Quantity::Link(OfLink::Play, link.into()),
            measured,
            budget: None,
        };
        for run in &mut listing.runs {
            run.entries.retain(|(_, entry)| entry.quantity.name() != "play_m");
            for (_, entry) in &mut run.entries {
                entry.measured = Measured::without(Status::NotExcited, "it hardly rolled");
            }
            if let Some((axle, _)) = run.entries.first().cloned() {
                run.entries.extend([
                    (axle.clone(), play("lower left", Measured::new(4e-4, 3e-5))),
                    (
                        axle,
                        play(
                            "upper left",
                            Measured::without(Status::NotResolved, "less than the wires tell"),
                        ),
                    ),
                ]);
            }
        }
        listing
    }

    #[test]
    fn runs_that_only_rocked_are_listed_with_their_play() {
        let mut listing = rocked();
        listing.with_drawn_give = true;
        let page = history(&listing, &Options::default());
        assert!(page.starts_with("Bramble: play of each link\n"), "{page}");
        assert!(page.contains("lower left") && page.contains("0.400 ± 0.059"), "{page}");
        // Words of headings and cells may stand one below the other.
        assert!(page.contains("upper") && page.contains("resolved"), "{page}");
        assert!(!page.contains("roll steer") && !page.contains("not excited"), "{page}");
        let flowing = page.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            flowing.contains("wear tells its level over the runs, and takes off what bushes give as drawn"),
            "{page}"
        );
    }

    #[test]
    fn a_number_that_was_asked_for_is_the_title() {
        let mut links = rocked();
        links.one_number = true;
        links.runs.iter_mut().for_each(|run| run.entries.retain(|(_, e)| e.quantity.name() == "play_m"));
        let page = history(&links, &Options::default());
        assert!(page.starts_with("Bramble: play of each link\n") && !page.contains("bushes"), "{page}");
        let index = history(&listing(Some("ramp_travel_index_left")), &Options::default());
        assert!(index.starts_with("Bramble: ramp travel index, left wheel up\n"), "{index}");
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
