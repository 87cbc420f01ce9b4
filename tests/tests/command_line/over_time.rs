//! Runs over time as a builder meets them: history, service, wear; and what is left when the program is killed.

use super::journey::still_table;
use super::{done, hingeline, json, program};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// A logbook with a vehicle and so many runs of it.
fn logbook(at: &Path, runs: usize) {
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    still_table(at, 6);
    for _ in 0..runs {
        done(at, &["import", "readings.csv", "--vehicle", "Bramble", "--test", "still"]);
    }
}

fn fits(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "wider than 80 columns: {line}");
    }
}

#[test]
fn runs_and_work_stand_in_one_list_and_wear_answers() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    logbook(at, 2);
    let listed = json(at, &["history", "--json"]);
    assert_eq!(listed["format"], 1);
    assert_eq!(listed["runs"].as_array().map(Vec::len), Some(2));
    let axle = &listed["runs"][0]["axles"][0];
    assert_eq!(axle["measured"]["roll_centre_z_m"]["status"], "not excited");
    assert!(axle["links"].as_array().is_some_and(|l| l.iter().all(|l| l["play_m"]["value"].is_null())));
    assert_eq!(listed["runs"][0]["vehicle_hash"].as_str().map(str::len), Some(64));

    let text = "new bush, the old one was oval";
    let entered = done(at, &["service", "Bramble", text, "--replaced", "lower left:chassis"]);
    assert!(entered.contains("play of other links goes on"), "{entered}");
    done(
        at,
        &[
            "service",
            "Bramble",
            "--moved",
            "upper left",
            "--end",
            "chassis",
            "--hole",
            "3",
            "--date",
            "2026-01-05",
        ],
    );
    let record = done(at, &["service", "Bramble"]);
    let (moved, replaced) = (record.find("Moved upper left").unwrap(), record.find("oval").unwrap());
    assert!(moved < replaced, "oldest first: {record}");
    let history = done(at, &["history", "--vehicle", "Bramble"]);
    assert!(
        history.contains("still") && history.contains("Replaced lower left, chassis end: new bush"),
        "{history}"
    );
    [&record, &history].into_iter().for_each(|t| fits(t));

    let wear = done(at, &["wear", "Bramble"]);
    fits(&wear);
    for words in ["rock or shove test", "stands rated", "Chock", "does not certify"] {
        assert!(wear.contains(words), "{words}:\n{wear}");
    }
    let wear = json(at, &["wear", "Bramble", "--json", "--fail-on", "growing"]);
    assert_eq!(wear["axles"][0]["joints"][0]["state"], "not measured");
    assert_eq!(wear["services"].as_array().map(Vec::len), Some(2));
}

#[test]
fn names_that_are_not_there_are_refused_with_those_that_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    logbook(at, 1);
    let calls: [(&[&str], &str); 8] = [
        (&["wear", "Bramble", "--link", "lower lft", "--plot", "x.svg"], "Did you mean \"lower left\"?"),
        (&["service", "Bramble", "x", "--greased", "lower lft"], "lower left"),
        (&["service", "Brumble", "x"], "Did you mean \"Bramble\"?"),
        (&["wear", "Brumble"], "Did you mean \"Bramble\"?"),
        (&["wear", "Thistle"], "There are: Bramble."),
        (&["history", "--link", "lower lft"], "Did you mean \"lower left\"?"),
        (&["history", "--number", "roll_center_z_m"], "Did you mean roll_centre_z_m?"),
        (
            &["history", "--number", "roll_centre_z_m", "--plot", "x.svg"],
            "No run that was asked for has measured it.",
        ),
    ];
    for (arguments, hint) in calls {
        let output = hingeline(at, arguments);
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(told.contains(hint), "{arguments:?}: {told}");
    }
    assert!(!at.join("Bramble/service.toml").exists());
}

#[test]
fn a_table_of_everything_goes_to_a_new_file_only() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    logbook(at, 1);
    done(at, &["history", "--csv", "all.csv"]);
    let table = fs::read_to_string(at.join("all.csv")).expect("written");
    let head = table.lines().next().expect("a header");
    assert!(head.starts_with("vehicle,run,started,test,axle,quantity,element,value,u,status"), "{head}");
    assert!(table.lines().any(|l| l.contains(",rear,roll_steer_rad_per_rad,,,,not excited,")), "{table}");
    assert_eq!(done(at, &["history", "--csv", "-"]), table);
    assert_eq!(hingeline(at, &["history", "--csv", "all.csv"]).status.code(), Some(2));
}

#[test]
fn a_damaged_history_is_said_once_and_loses_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    logbook(at, 2);
    done(at, &["history"]);
    fs::write(at.join("history.db"), "no database at all ".repeat(300)).expect("written");
    let mended = json(at, &["history", "--json"]);
    assert_eq!(mended["runs"].as_array().map(Vec::len), Some(2));
    let said = mended["said"][0].as_str().expect("a sentence");
    assert!(said.contains("damaged") && said.contains("history-damaged-"), "{said}");
    assert_eq!(json(at, &["history", "--json"])["said"].as_array().map(Vec::len), Some(0));
}

#[test]
fn one_vehicle_with_a_mistake_does_not_hide_what_the_others_need() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    logbook(at, 1);
    done(at, &["new", "three-link", "Thistle"]);
    let file = at.join("Thistle/vehicle.toml");
    let text = fs::read_to_string(&file).expect("a vehicle").replacen("track", "trakc", 1);
    fs::write(&file, text).expect("written");
    let told = done(at, &["wear"]);
    assert!(told.contains("Bramble") && told.contains("Thistle is left out"), "{told}");
    assert_eq!(hingeline(at, &["wear", "Thistle"]).status.code(), Some(2));
}

/// Times that the program is killed while it fills the history.
const KILLS: u64 = 15;

#[test]
fn killed_at_any_moment_it_loses_no_run() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let runs = 12;
    logbook(at, runs);
    let mut cut = 0;
    for kill in 0..KILLS {
        let mut filling = Command::new(program())
            .args(["history", "--rebuild"])
            .current_dir(at)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        std::thread::sleep(Duration::from_millis(5 + 23 * kill));
        cut += u64::from(filling.try_wait().expect("it can be asked").is_none());
        // On Unix this is SIGKILL: nothing is tidied up.
        filling.kill().expect("it can be killed");
        filling.wait().expect("it is gone");
        let listed = json(at, &["history", "--all", "--json"]);
        assert_eq!(listed["runs"].as_array().map(Vec::len), Some(runs), "after kill {kill}");
        assert_eq!(
            listed["said"].as_array().map(Vec::len),
            Some(0),
            "the database opens: {}",
            listed["said"]
        );
    }
    assert!(cut > 2, "it was always done before it was killed");
}
