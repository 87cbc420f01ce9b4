//! What newcomers looked for and did not find, or found at the end of a long page.

use super::journey::still_table;
use super::{done, json};
use std::fs;
use std::path::Path;

/// A logbook with these vehicles by name and layout, and a table of readings of Bramble at rest.
fn shop(vehicles: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "."]);
    for (name, layout) in vehicles {
        done(at, &["new", layout, name]);
    }
    still_table(at, 6);
    folder
}

const REAR: &str = "double-triangulated-four-link";

fn edit(at: &Path, file: &str, from: &str, to: &str) {
    let text = fs::read_to_string(at.join(file)).expect("a file");
    assert!(text.contains(from), "{from} in {text}");
    fs::write(at.join(file), text.replacen(from, to, 1)).expect("written");
}

/// The readings as a run of a vehicle.
fn imported(at: &Path, vehicle: &str) -> String {
    let told = done(at, &["import", "readings.csv", "--vehicle", vehicle, "--test", "still"]);
    format!("{vehicle}/{}", told.lines().last().expect("a name").trim())
}

fn flowing(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_value_that_no_vehicle_has_is_told_first_and_by_every_command() {
    const CAUTION: &str = "Look at `tyre_radius` of axle \"rear\": it is 4600 mm";
    let shop = shop(&[("Bramble", REAR)]);
    let at = shop.path();
    edit(at, "Bramble/vehicle.toml", "tyre_radius = 460", "tyre_radius = 4600");
    let predicted = done(at, &["predict", "Bramble"]);
    let (first, _) = predicted.split_once("\n\n").expect("a first paragraph");
    assert!(flowing(first).contains(CAUTION), "{first}");
    assert_eq!(flowing(&predicted).matches(CAUTION).count(), 1, "{predicted}");
    let run = imported(at, "Bramble");
    for words in [&["sensors", "Bramble"][..], &["analyse", &run], &["compare", &run]] {
        let told = flowing(&done(at, words));
        assert_eq!(told.matches(CAUTION).count(), 1, "{words:?}: {told}");
        let remarks = json(at, &[words, &["--json"]].concat())["remarks"].to_string();
        assert!(remarks.contains("`tyre_radius`"), "{words:?}: {remarks}");
    }
    let sensors = done(at, &["sensors", "Bramble"]);
    let (first, _) = sensors.split_once("\n\n").expect("a first paragraph");
    assert!(flowing(first).contains(CAUTION), "{first}");
    let notes = &json(at, &["predict", "Bramble", "--json"])["vehicles"][0]["axles"][0]["notes"];
    assert!(notes.to_string().contains("`tyre_radius`"), "{notes}");
}

#[test]
fn what_decides_stands_before_what_fits() {
    let shop = shop(&[("Bramble", REAR), ("Fern", "triangulated-four-link")]);
    let at = shop.path();
    // The upper link's joints bear a degree, which they outdo.
    edit(at, "Bramble/vehicle.toml", "misalignment_limit = 25", "misalignment_limit = 1");
    let one = done(at, &["predict", "Bramble"]);
    let (first, _) = one.split_once("\n\n").expect("a first paragraph");
    let first = flowing(first);
    assert!(
        first.contains("! Lower left: at most") && first.contains("more than the 1.0° it bears"),
        "{first}"
    );
    let both = done(at, &["predict", "Bramble", "Fern"]);
    let place = |what: &str| both.find(what).unwrap_or_else(|| panic!("{what}: {both}"));
    assert!(place("What does each gain and give up?") < place("Does it steer itself?"), "{both}");
    assert!(place("more than the 1.0° it") < place("What does each gain and give up?"), "{both}");
    assert!(place("Does it steer itself?") < place("Is there room to move?"), "{both}");
}

#[test]
fn two_vehicles_are_said_to_be_two() {
    let shop = shop(&[("Bramble", REAR), ("Fern", REAR), ("Thistle", "three-link")]);
    let at = shop.path();
    let [bramble, fern] = ["Bramble", "Fern"].map(|name| imported(at, name));
    let told = flowing(&done(at, &["compare", &bramble, &fern]));
    assert!(
        told.starts_with("These are two vehicles, Bramble in the first run and Fern in the second"),
        "{told}"
    );
    assert!(told.contains("neither measured any. A bounce and a ramp give them all."), "{told}");
    assert!(!told.contains("one rig") && !told.contains("file changed"), "{told}");
    let document = json(at, &["compare", &bramble, &fern, "--json"]);
    assert_eq!(document["vehicles"]["first"], "Bramble");
    assert_eq!(document["vehicles"]["second"], "Fern");
    // A front axle's rig has sensors of the same names.
    fs::write(
        at.join("Thistle/rig.toml"),
        fs::read_to_string(at.join("Bramble/rig.toml")).expect("a rig").replace("\"rear\"", "\"front\""),
    )
    .expect("written");
    let thistle = imported(at, "Thistle");
    let told = flowing(&done(at, &["compare", &bramble, &thistle]));
    for words in [
        "two vehicles",
        "the first measured rear axle and the second measured front axle",
        "hingeline predict",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
}
