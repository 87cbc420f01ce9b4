//! Two runs set beside each other.

use super::Options;
use super::compare::numbers;
use super::page::{Ink, Page};
use crate::judge::RunsComparison;
use crate::show::rows;
use crate::show::units::PLUS_MINUS;
use crate::show::verdict::{self, Tally};
use crate::vehicle::Vehicle;

/// Two runs as text.
pub fn runs(runs: &RunsComparison, vehicle: &Vehicle, options: &Options) -> String {
    let mut page = Page::new(options);
    let two = runs.of_two_vehicles();
    let vehicles =
        if two { format!("{} and {}", runs.first_vehicle, runs.vehicle) } else { runs.vehicle.clone() };
    if let Some(before) = verdict::before_runs(runs) {
        page.paragraph(&before, Ink::Strong);
    }
    if runs.axles.is_empty() {
        page.paragraph(&which(runs), Ink::Plain);
    }
    for axle in &runs.axles {
        page.gap();
        let lead = format!("{vehicles}, {} axle", axle.name);
        page.paragraph(&format!("{lead}: {}", verdict::of_runs(axle, two)), Ink::Strong);
        page.paragraph(&Tally::of(&axle.numbers).sentence(), Ink::Plain);
        page.paragraph(&which(runs), Ink::Plain);
        page.paragraph(PLUS_MINUS, Ink::Faint);
        numbers(&mut page, &rows::of_runs(axle, vehicle, options.units), "first run");
    }
    super::parts::remarks(&mut page, &runs.remarks);
    page.finish()
}

/// Which runs they are.
fn which(runs: &RunsComparison) -> String {
    format!("First run {}, second run {}.", runs.first.run, runs.second.run)
}
