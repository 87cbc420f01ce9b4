//! Names of wheels and ride marks at which something was measured by hand: each must be one that the vehicle has, so that a slip
//! is not kept with the run for ever.

use crate::explain::{Explain, Failure};
use crate::files::did_you_mean;
use crate::files::logbook::VEHICLE_FILE;
use crate::vehicle::{self, Vehicle};
use std::path::Path;

/// A vehicle does not have what was measured.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{vehicle} has no {what} \"{name}\"")]
pub struct UnknownPlace {
    vehicle: String,
    what: &'static str,
    name: String,
    there: Vec<String>,
}

impl Explain for UnknownPlace {
    fn hint(&self) -> Option<String> {
        did_you_mean(&self.name, &self.there)
    }
}

/// Checks the names of wheels and of ride marks against the vehicle of this folder. A file that gives no ride mark has none to
/// hold a name against: then any will do.
///
/// # Errors
/// With the first name that the vehicle does not have, or where its file is missing or wrong.
pub fn check(vehicle_folder: &Path, wheels: &[&str], marks: &[&str]) -> Result<(), Failure> {
    if wheels.is_empty() && marks.is_empty() {
        return Ok(());
    }
    let vehicle = vehicle::file::load(&vehicle_folder.join(VEHICLE_FILE))?;
    known(&vehicle, "wheel", wheels, wheels_of(&vehicle))?;
    let there: Vec<String> =
        vehicle.axles.iter().flat_map(|axle| &axle.ride_marks).map(|mark| mark.name.clone()).collect();
    if !there.is_empty() {
        known(&vehicle, "ride mark", marks, there)?;
    }
    Ok(())
}

fn known(
    vehicle: &Vehicle,
    what: &'static str,
    names: &[&str],
    there: Vec<String>,
) -> Result<(), UnknownPlace> {
    match names.iter().find(|name| !there.iter().any(|known| known.to_lowercase() == name.to_lowercase())) {
        None => Ok(()),
        Some(name) => {
            Err(UnknownPlace { vehicle: vehicle.name.clone(), what, name: (*name).to_owned(), there })
        }
    }
}

/// Every wheel by its axle and side; those of an axle that the file does not draw are on the vehicle all the same.
fn wheels_of(vehicle: &Vehicle) -> Vec<String> {
    let mut axles: Vec<&str> = vehicle.axles.iter().map(|axle| axle.name.as_str()).collect();
    axles.extend(
        ["front", "rear"].into_iter().filter(|usual| !vehicle.axles.iter().any(|a| a.name == *usual)),
    );
    let mut wheels: Vec<String> =
        axles.iter().flat_map(|axle| ["left", "right"].map(|side| format!("{axle} {side}"))).collect();
    if vehicle.axles.len() == 1 {
        wheels.extend(["left".to_owned(), "right".to_owned()]);
    }
    wheels
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::{init, new};
    use std::fs;

    #[test]
    fn wheels_and_marks_are_those_of_the_vehicle() {
        let dir = tempfile::tempdir().unwrap();
        init::run(dir.path()).unwrap();
        let made = new::run("four-link", "Bramble", dir.path()).unwrap();
        let folder = made.vehicle_file.parent().unwrap();
        let said = |wheels: &[&str], marks: &[&str]| {
            check(folder, wheels, marks).map_err(|e| format!("{e}\n{}", e.hint().unwrap_or_default()))
        };
        for wheel in ["front left", "rear right", "Front Left", "left"] {
            assert_eq!(said(&[wheel], &[]), Ok(()), "{wheel}");
        }
        assert_eq!(
            said(&["frnt left"], &[]).unwrap_err(),
            "Bramble has no wheel \"frnt left\"\nDid you mean \"front left\"?"
        );
        assert!(said(&["middle left"], &[]).unwrap_err().contains("There are: front left, front right"));
        let text = fs::read_to_string(&made.vehicle_file).unwrap();
        let drawn = text.contains("[[axle.ride_mark]]");
        let mark = "\n[[axle.ride_mark]]\nname = \"hub\"\nchassis = [0, 500, 900]\naxle = [0, 560, 480]\nlength = 424\n";
        fs::write(&made.vehicle_file, format!("{text}{mark}")).unwrap();
        assert!(!drawn, "the starter draws no mark of its own");
        assert_eq!(said(&[], &["hub"]), Ok(()));
        assert_eq!(
            said(&[], &["hud"]).unwrap_err(),
            "Bramble has no ride mark \"hud\"\nDid you mean \"hub\"?"
        );
        fs::write(&made.vehicle_file, text).unwrap();
        assert_eq!(said(&[], &["anything"]), Ok(()));
    }
}
