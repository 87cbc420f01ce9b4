//! What hands slip on that do not know the program yet: names, dates, wheels, folders that are a vehicle's, files that are a run's.

use super::journey::still_table;
use super::{done, hingeline};
use std::fs;
use std::path::Path;

/// A logbook with the vehicle Bramble and a table of readings.
fn shop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    still_table(at, 6);
    folder
}

/// Standard error of a command that must end with 2.
fn refused(at: &Path, arguments: &[&str]) -> String {
    let output = hingeline(at, arguments);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {told}");
    told
}

const IMPORT: [&str; 6] = ["import", "readings.csv", "--vehicle", "Bramble", "--test", "still"];

fn imported(at: &Path) -> String {
    done(at, &IMPORT).lines().last().expect("a name").trim().to_owned()
}

#[test]
fn a_slip_in_a_name_is_answered_with_the_name_that_was_meant() {
    let shop = shop();
    let at = shop.path();
    let run = imported(at);
    let slip = run.replace("still", "stil");
    for (arguments, meant) in [
        (&["predict", "Brambel"][..], "did you mean Bramble?"),
        (&["sensors", "bramble/vehicle.toml"], "did you mean Bramble/vehicle.toml?"),
        (&["history", "--vehicle", "bramble"], "Did you mean \"Bramble\"?"),
        (&["import", "readings.csv", "--vehicle", "bramble"], "Did you mean \"Bramble\"?"),
        (&["record", "--port", "none", "--vehicle", "Brambel"], "Did you mean \"Bramble\"?"),
        (&["report", "Brambel"], "Did you mean \"Bramble\"?"),
        (&["analyse", &slip], "Did you mean \"Bramble/"),
        (&["import", "readings.csv", "--vehicle", "Bramble", "--test", "rmap"], "did you mean ramp?"),
        (&["simulate", "Bramble", "--plan", "still,bonce"], "did you mean bounce?"),
    ] {
        let told = refused(at, arguments);
        assert!(told.contains(meant), "{arguments:?}: {told}");
    }
}

#[test]
fn a_day_to_come_and_a_wheel_that_is_not_there_are_not_kept_with_a_run() {
    let shop = shop();
    let at = shop.path();
    let with = |more: &[&str]| refused(at, &[&IMPORT, more].concat());
    let future = with(&["--recorded", "2099-01-01"]);
    assert!(future.contains("that is in the future: by this computer's clock it is 20"), "{future}");
    let done_then = refused(at, &["service", "Bramble", "x", "--date", "2099-01-01"]);
    assert!(done_then.contains("in the future"), "{done_then}");
    let wheel = with(&["--tyre-pressure", "raer left=1.4"]);
    assert!(wheel.contains("no wheel \"raer left\"") && wheel.contains("\"rear left\"?"), "{wheel}");
    let comma = with(&["--loaded-radius", "rear left=455,5"]);
    assert!(comma.contains("write the fraction with a point: 455.5"), "{comma}");
    assert!(!at.join("Bramble/runs").exists(), "no run was made");
    done(at, &[&IMPORT[..], &["--tyre-pressure", "rear left=1.4", "--recorded", "2026-01-05"]].concat());
}

#[test]
fn sensors_without_a_column_are_named_in_one_sentence() {
    let shop = shop();
    let at = shop.path();
    let table = fs::read_to_string(at.join("readings.csv")).expect("a table");
    let two: Vec<String> =
        table.lines().map(|row| row.split(',').take(2).collect::<Vec<_>>().join(",")).collect();
    fs::write(at.join("readings.csv"), two.join("\n")).expect("written");
    let output = hingeline(at, &IMPORT);
    let told = String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(output.status.success(), "{told}");
    assert_eq!(told.matches("have no column in the table").count(), 1, "{told}");
    assert!(told.contains(" and \""), "all of them in one list: {told}");
}

#[test]
fn a_vehicles_folder_takes_no_export_and_no_second_logbook() {
    let shop = shop();
    let at = shop.path();
    let run = imported(at);
    for into in ["Bramble", "bramble", "Bramble/exported"] {
        let told = refused(at, &["export", into]);
        assert!(told.contains("hingeline export exported --vehicle Bramble"), "{told}");
    }
    let told = refused(at, &["export", &run]);
    assert!(told.contains(&format!("hingeline export exported {run}")), "{told}");
    for name in ["Bramble", "bramble"] {
        assert!(refused(at, &["init", name]).contains("is the folder of the vehicle \"Bramble\""));
    }
    assert!(refused(at, &["new", "four-link", "bramble"]).contains("there is a vehicle \"Bramble\""));
    let mut names: Vec<String> = fs::read_dir(at.join("Bramble"))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(names, ["rig.toml", "runs", "vehicle.toml"], "nothing was left in it");
    assert!(!at.join("bramble").exists() || cfg!(not(target_os = "linux")));
}

#[test]
fn what_is_said_to_be_typed_next_can_be_pasted() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let told = done(at, &["init", "my log book"]);
    assert!(told.contains("\n  cd \"my log book\"\n"), "{told}");
    let book = at.join("my log book");
    let told = done(&book, &["new", "three-link", "Old Truck"]);
    let line = told.lines().last().expect("a line").trim();
    // The shell makes of the pasted line what was meant.
    let pasted = line.replacen("hingeline", "\"$0\"", 1);
    let output = std::process::Command::new("sh")
        .args(["-c", &pasted])
        .arg(hingeline_tests::program())
        .current_dir(at)
        .output()
        .expect("a shell");
    assert!(output.status.success(), "{line}: {}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn a_damaged_copy_is_the_runs_and_comes_back() {
    let shop = shop();
    let at = shop.path();
    let run = imported(at);
    let copy = at.join("Bramble/runs").join(&run).join("vehicle.toml");
    let text = fs::read_to_string(&copy).expect("a copy");
    fs::write(&copy, text.replacen("wheelbase = ", "wheelbase = \"", 1)).expect("written");
    let told = refused(at, &["analyse", &run]);
    assert!(told.contains("the run's own copy of vehicle.toml cannot be read"), "{told}");
    let (_, command) = told.split_once(": hingeline ").expect("a command");
    let command: Vec<&str> = command.split(' ').take(3).collect();
    done(at, &command);
    assert_eq!(fs::read_to_string(&copy).expect("a copy"), text);
    done(at, &["analyse", &run]);
}
