//! A calibration as a builder makes it: a table of lengths, what is kept, who uses it, and what is said of mistakes.

use super::journey::still_table;
use super::{done, hingeline, json};
use std::fs;
use std::path::Path;

/// The starter's scale, mm per count, and what its first wire is truly worth against it.
const SCALE: f64 = 0.0303;
const FACTOR: f64 = 1.03;

/// A wire held at these lengths, mm, for six seconds each, with a second of moving between; in counts.
fn lengths_table(at: &Path, lengths: &[f64]) {
    let mut text = String::from("t_s,left travel\n");
    let mut row = 0;
    for (k, mm) in lengths.iter().enumerate() {
        let from = if k == 0 { *mm } else { lengths[k - 1] };
        for step in 0..350 {
            let part = (f64::from(step) / 50.0).min(1.0);
            let noise = [0.2, -0.1, 0.0, 0.15, -0.25][step as usize % 5];
            let counts = (from + (mm - from) * part + noise) / (SCALE * FACTOR);
            text.push_str(&format!("{:.2},{counts:.1}\n", f64::from(row) / 50.0));
            row += 1;
        }
    }
    fs::write(at.join("lengths.csv"), text).expect("written");
}

fn shop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    done(folder.path(), &["init", "."]);
    done(folder.path(), &["new", "double-triangulated-four-link", "Bramble"]);
    lengths_table(folder.path(), &[100.0, 300.0, 500.0, 700.0]);
    folder
}

const CALIBRATE: [&str; 8] =
    ["calibrate", "Bramble", "scale", "left travel", "--at", "100,300,500,700", "--from", "lengths.csv"];

#[test]
fn a_scale_is_found_kept_and_used_by_every_command() {
    let folder = shop();
    let at = folder.path();
    let none = done(at, &["calibrate", "Bramble"]);
    assert!(none.starts_with("Bramble: no sensor is calibrated."), "{none}");
    let told = done(at, &CALIBRATE);
    assert!(told.starts_with("Bramble: found the scale of left travel."), "{told}");
    assert!(told.contains("+3.0") && told.contains("against rig.toml"), "{told}");
    assert!(told.lines().all(|line| line.chars().count() <= 80), "{told}");

    let listed = json(at, &["calibrate", "Bramble", "--json"]);
    let row = &listed["calibration"][0];
    assert_eq!((row["kind"].as_str(), row["used"].as_bool()), (Some("scale"), Some(true)), "{row}");
    let factor = row["factor"].as_f64().expect("a factor");
    assert!((factor - FACTOR).abs() < 3.0 * row["factor_relative_u"].as_f64().expect("its u"), "{row}");

    let reach = json(at, &["sensors", "Bramble/vehicle.toml", "--json"]);
    assert_eq!(reach["calibration"][0]["sensor"], "left travel");
    still_table(at, 6);
    let printed = done(at, &["import", "readings.csv", "--vehicle", "Bramble", "--test", "still"]);
    let run = printed.lines().last().expect("the run's name").trim();
    let analysis = json(at, &["analyse", run, "--json"]);
    assert_eq!(analysis["calibration"][0]["used"], true);
    let folder_of = at.join("Bramble/runs").join(run);
    let header = fs::read_to_string(folder_of.join("run.toml")).expect("a header");
    assert!(header.contains("calibration_hash = \""), "{header}");
    let copy = fs::read(folder_of.join("calibration.toml")).expect("the run's copy");
    assert_eq!(copy, fs::read(at.join("Bramble/calibration.toml")).expect("it was kept"));
    let shown = done(at, &["analyse", run]);
    assert!(shown.contains("scale calibrated"), "{shown}");
    let without = done(at, &["analyse", run, "--no-calibration"]);
    assert!(!without.contains("scale calibrated"));

    // The sensor is moved: its calibration is void, with a sentence.
    let rig = fs::read_to_string(at.join("Bramble/rig.toml")).expect("the rig");
    let moved = rig.replacen("chassis = [0, 500, 1000]", "chassis = [20, 500, 1000]", 1);
    fs::write(at.join("Bramble/rig.toml"), moved).expect("written");
    let stands = json(at, &["calibrate", "Bramble", "--json"]);
    assert_eq!(stands["calibration"][0]["used"], false);
    let why = stands["calibration"][0]["why_not"].as_str().expect("why");
    assert!(why.contains("another `chassis`"), "{why}");
}

#[test]
fn bad_input_is_one_sentence_and_a_way_out() {
    let folder = shop();
    let at = folder.path();
    let refused = |arguments: &[&str]| {
        let output = hingeline(at, arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty());
        String::from_utf8(output.stderr).expect("UTF-8")
    };
    let with = |k: usize, word: &'static str| {
        let mut arguments = CALIBRATE;
        arguments[k] = word;
        refused(&arguments)
    };
    assert!(
        with(1, "Thistle").starts_with("hingeline: there is no vehicle \"Thistle\"\n\n  There are: Bramble.")
    );
    assert!(
        with(3, "left travle").starts_with(
            "hingeline: the rig has no sensor \"left travle\"\n\n  Did you mean \"left travel\"?"
        )
    );
    let count = with(5, "100,300,500");
    assert!(
        count.starts_with("hingeline: \"left travel\" rests in 4 positions, and 3 were named\n"),
        "{count}"
    );
    assert!(with(7, "nowhere.csv").starts_with("hingeline: there is no run \"nowhere.csv\""));
    let same = with(5, "300,300.1,300.2,300.3");
    assert!(same.contains("say nothing of its scale: the known values are too close together"), "{same}");
    let bare = refused(&["calibrate", "Bramble", "scale", "left travel", "--at", "100,300"]);
    assert!(bare.starts_with("hingeline: there is nothing to calibrate from\n"), "{bare}");
    assert!(!at.join("Bramble/calibration.toml").exists(), "nothing was kept");
}
