//! What a calibration found, and where every sensor's stands.

use super::Options;
use super::page::{Ink, Page};
use crate::jobs::calibrate::Calibrated;
use crate::rig::Rig;
use crate::rig::calibration::{CALIBRATION_FILE, Standing};
use crate::show::calibration::{QUESTION, cautions, sentences};
use crate::show::words;

/// A calibration as text.
pub fn calibrated(calibrated: &Calibrated, options: &Options) -> String {
    let mut page = Page::new(options);
    let added = &calibrated.added;
    let names: Vec<String> =
        added.iter().map(|e| format!("the {} of {}", e.found.word(), e.sensor)).collect();
    let lead = match names.as_slice() {
        [] if calibrated.standings.is_empty() => format!("{}: no sensor is calibrated.", calibrated.vehicle),
        [] => format!("{}: where the calibration stands.", calibrated.vehicle),
        names => format!("{}: found {}.", calibrated.vehicle, words::list(names)),
    };
    page.paragraph(&lead, Ink::Strong);
    if let Some(first) = added.first() {
        let positions = match first.points {
            1 => "one position".to_owned(),
            count => format!("{count} positions"),
        };
        let from = format!("From {}: {positions}. ", first.from);
        let kept = format!("Kept in {CALIBRATION_FILE}; runs that are recorded from now on carry it.");
        page.paragraph(&(from + &kept), Ink::Plain);
    }
    if let Some(name) = calibrated.kept.as_ref().and_then(|p| p.file_name()) {
        page.paragraph(&format!("As it was before: {}.", name.to_string_lossy()), Ink::Faint);
    }
    for caution in cautions(added) {
        page.paragraph(&caution, Ink::Bad);
    }
    page.paragraph(crate::show::units::PLUS_MINUS, Ink::Faint);
    standings(&mut page, &calibrated.standings, options);
    bare(&mut page, &calibrated.rig, &calibrated.standings);
    page.finish()
}

/// Where every sensor's calibration stands, under a heading of its own; nothing without one.
pub(super) fn standings(page: &mut Page, standings: &[Standing], options: &Options) {
    if standings.is_empty() {
        return;
    }
    page.heading(QUESTION);
    for standing in standings {
        let (sign, ink) = if standing.void.is_some() { ('!', Ink::Bad) } else { ('·', Ink::Plain) };
        page.entry(sign, ink, &standing.entry.sensor, &sentences(standing, options.units));
    }
}

/// Sensors that have no calibration.
fn bare(page: &mut Page, rig: &Rig, standings: &[Standing]) {
    let known = |name: &str| standings.iter().any(|s| s.entry.sensor == name && s.void.is_none());
    let bare: Vec<String> = rig.sensors.iter().map(|s| s.name.clone()).filter(|name| !known(name)).collect();
    if !bare.is_empty() {
        page.gap();
        page.paragraph(&format!("As rig.toml says: {}.", words::list(&bare)), Ink::Plain);
    }
}

/// The standings alone, for a command that shows them beside its own result.
pub fn calibration(standings: &[Standing], options: &Options) -> String {
    let mut page = Page::new(options);
    self::standings(&mut page, standings, options);
    page.finish()
}
