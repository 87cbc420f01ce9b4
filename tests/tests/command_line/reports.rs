//! Reports as a user makes them: of vehicles side by side, with pictures, and what is said when a name means nothing.

use super::journey::still_table;
use super::{done, hingeline};
use std::fs;
use std::path::Path;

fn shed(at: &Path) {
    done(at, &["init", "."]);
    done(at, &["new", "triangulated-four-link", "Bramble"]);
    done(at, &["new", "wishbone-three-link", "Thistle"]);
}

fn refused(at: &Path, arguments: &[&str]) -> String {
    let output = hingeline(at, arguments);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn layouts_stand_side_by_side_in_one_file_with_pictures_beside_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    shed(at);
    let call = [
        "report",
        "Bramble",
        "Thistle/vehicle.toml",
        "--drive",
        "8000",
        "--pictures",
        "pictures",
        "-o",
        "both.html",
    ];
    let told = done(at, &call);
    assert!(told.starts_with("Rear axles, as drawn: ") && told.contains("both.html"), "{told}");
    let page = fs::read_to_string(at.join("both.html")).expect("a report");
    for part in [
        "What does each gain",
        "Bramble",
        "Thistle",
        "What does each link carry?",
        "not a strength certificate",
    ] {
        assert!(page.contains(part), "{part}");
    }
    let pictures: Vec<String> = fs::read_dir(at.join("pictures"))
        .expect("a folder")
        .map(|entry| entry.expect("a file").file_name().to_string_lossy().into_owned())
        .collect();
    for name in ["bramble-rear-wide-side-view.svg", "rear-flex-steer.svg", "rear-flex-steer.png"] {
        assert!(pictures.iter().any(|p| p == name), "{name} is missing from {pictures:?}");
    }
    assert!(refused(at, &call).contains("both.html is already there"));
    let elsewhere = ["report", "Bramble", "--pictures", "pictures", "-o", "other.html"];
    assert!(refused(at, &elsewhere).contains("is not empty"));
    done(at, &["report", "Bramble", "-o", "both.html", "--force"]);
    let alone = fs::read_to_string(at.join("both.html")).expect("a report");
    assert!(alone.contains("Bramble, rear axle, as drawn: flexed to"), "one vehicle is told alone");
}

#[test]
fn a_name_that_means_nothing_is_told_before_a_file_in_the_way() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    shed(at);
    fs::write(at.join("report.html"), "kept").expect("written");
    let text = refused(at, &["report", "nope"]);
    assert!(text.contains("there is no run and no vehicle \"nope\""), "{text}");
    assert!(text.contains("There are: Bramble, Thistle."), "{text}");
    assert_eq!(fs::read_to_string(at.join("report.html")).expect("there"), "kept");
}

#[test]
fn runs_and_vehicles_do_not_mix() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    shed(at);
    still_table(at, 6);
    let printed = done(at, &["import", "readings.csv", "--vehicle", "Bramble", "--test", "still"]);
    let run = printed.lines().last().expect("the run's name").trim();
    assert!(refused(at, &["report", "Thistle", run]).contains("a report is of one run, or of vehicles"));
    assert!(refused(at, &["report", run, "--drive", "8000"]).contains("loads are worked out for vehicles"));
    assert!(
        refused(at, &["report", "Thistle", "--ramp-angle", "20"])
            .contains("--ramp-angle says something of a run")
    );
    done(at, &["report", run, "--pictures", "pictures"]);
    let drawings = fs::read_dir(at.join("pictures")).expect("a folder").count();
    assert!(drawings > 0, "drawings of a run that stood still");
}
