//! `tune` as a user or a script meets it.

use super::{done, hingeline, json};
use serde_json::Value;
use std::fs;
use std::path::Path;

fn starter(at: &Path, layout: &str) -> String {
    done(at, &["new", layout, "Bramble"]);
    fs::read_to_string(at.join("Bramble/vehicle.toml")).expect("the starter")
}

fn refused(at: &Path, arguments: &[&str]) -> String {
    let output = hingeline(at, arguments);
    assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(output.stdout.is_empty(), "{}", String::from_utf8_lossy(&output.stdout));
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Both go to ride height alike; JSON carries every digit.
const SAME: f64 = 1e-9;

#[test]
fn the_winner_is_what_predict_says_of_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let text = starter(at, "double-triangulated-four-link");
    let wish = ["--wish", "anti_squat_percent=70..100", "--wish", "roll_centre_z_m=..0.6@3"];
    let mut arguments = vec!["tune", "Bramble/vehicle.toml", "--json"];
    arguments.extend(wish);
    let found = json(at, &arguments);
    let axle = &found["axles"][0];
    let holes = |c: &Value| c["alternatives"].as_array().map(Vec::len).unwrap_or_default();
    // The best one of the axle as it stands can be written into the file as another hole.
    let best = axle["ranking"].as_array().expect("a list").iter().find(|c| holes(c) == 0).expect("one");
    let hole = best["holes"][0]["hole"].as_u64().expect("a hole");
    assert_eq!(
        (axle["present"]["holes"][0]["hole"].as_u64(), &best["holes"][0]["now"]),
        (Some(2), &Value::from(2))
    );
    fs::write(at.join("Bramble/vehicle.toml"), text.replace("use = 2", &format!("use = {hole}")))
        .expect("written");
    let predicted = json(at, &["predict", "Bramble/vehicle.toml", "--json"]);
    let ride = &predicted["vehicles"][0]["axles"][0]["ride"];
    let mut compared = 0;
    for (key, value) in ride.as_object().expect("numbers") {
        match (value.as_f64(), best["ride"][key].as_f64()) {
            (Some(one), Some(other)) => {
                assert!((one - other).abs() <= SAME * one.abs().max(1.0), "{key}: {one} {other}");
                compared += 1;
            }
            (one, other) => assert_eq!(one, other, "{key}"),
        }
    }
    assert!(compared > 10);
    let u = predicted["vehicles"][0]["axles"][0]["ride_u"]["roll_centre_z_m"].as_f64().expect("u");
    let own = best["wishes"]
        .as_array()
        .expect("wishes")
        .iter()
        .find(|w| w["key"] == "roll_centre_z_m")
        .expect("one");
    assert!((own["u"].as_f64().expect("u") - u).abs() < 1e-4 * u, "{own} {u}");
}

#[test]
fn json_says_where_everybody_stands() {
    let folder = tempfile::tempdir().expect("a folder");
    starter(folder.path(), "double-triangulated-four-link");
    let found = json(folder.path(), &["tune", "Bramble", "--top", "4", "--json", "--apart"]);
    assert_eq!(found["format"], 1);
    let axle = &found["axles"][0];
    // Two sides of three holes; an alternative with two for each side of the lower links.
    assert_eq!(axle["combinations"], 9 + 9 * 4);
    let counts = axle["counts"].as_object().expect("counts");
    assert_eq!(counts.values().filter_map(Value::as_u64).sum::<u64>(), 45);
    let ranking = axle["ranking"].as_array().expect("a list");
    assert_eq!(ranking.len(), 4);
    assert_eq!(ranking[0]["rank"], 1);
    assert_eq!(ranking[0]["probability_behind_first"], 0.5);
    let keys: Vec<&String> = ranking[0].as_object().expect("one").keys().collect();
    for candidate in
        ranking.iter().chain(axle["pareto"].as_array().expect("a list")).chain([&axle["present"]])
    {
        assert_eq!(candidate.as_object().expect("one").keys().collect::<Vec<_>>(), keys);
        assert_eq!(candidate["states"].as_array().map(Vec::len), Some(4));
        assert!(candidate["ride"].get("castor_rad").is_some_and(Value::is_null));
    }
    assert!(axle["present"]["rank"].is_u64() && axle["present"]["present"] == true);
    assert_eq!(axle["wishes"][0]["applies"], "at ride height");
}

#[test]
fn the_page_answers_before_it_explains() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = starter(folder.path(), "double-triangulated-four-link");
    fs::write(folder.path().join("Bramble/vehicle.toml"), text.replace("max = 90", "max = 60"))
        .expect("written");
    let page = done(folder.path(), &["tune", "Bramble/vehicle.toml", "--top", "5"]);
    insta::assert_snapshot!(page);
    for line in page.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let inches = done(folder.path(), &["tune", "Bramble/vehicle.toml", "--units", "in"]);
    let flat = inches.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("in between joints") && !flat.contains(" mm"), "{inches}");
}

#[test]
fn without_a_wish_it_says_what_ranks_instead() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = starter(folder.path(), "radius-arm-watts");
    let (head, tail) = text.split_once("[axle.wish]").expect("a wish");
    let (_, tail) = tail.split_once("[axle.agree]").expect("what follows");
    fs::write(folder.path().join("Bramble/vehicle.toml"), format!("{head}[axle.agree]{tail}"))
        .expect("written");
    let page = done(folder.path(), &["tune", "Bramble"]);
    let flat = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("The file wishes nothing, so settings are ranked by ease"), "{page}");
    assert!(page.contains("[axle.wish]"), "{page}");
    let found = json(folder.path(), &["tune", "Bramble", "--json"]);
    assert_eq!(found["axles"][0]["ranked_by"], "ease");
    let ease = |k: usize| found["axles"][0]["ranking"][k]["ease"].as_f64().expect("ease");
    assert!(ease(0) <= ease(1) && ease(1) <= ease(2));
}

#[test]
fn nothing_to_choose_says_how_holes_are_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = starter(folder.path(), "wishbone-three-link");
    assert!(!text.contains("holes ="), "a starter without holes");
    let said = refused(folder.path(), &["tune", "Bramble/vehicle.toml"]);
    assert!(said.contains("leaves nothing to choose") && said.contains("\n\n"), "{said}");
    assert!(said.contains("holes = [[") && said.contains("[[axle.alternative]]"), "{said}");
}

#[test]
fn wrong_names_and_wishes_are_refused_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    starter(folder.path(), "double-triangulated-four-link");
    let said = |arguments: &[&str]| refused(folder.path(), &[&["tune", "Bramble"], arguments].concat());
    assert!(said(&["--axle", "middle"]).contains("has no axle \"middle\"; it has rear"));
    assert!(said(&["--wish", "anti_squat_percnt=1..2"]).contains("did you mean anti_squat_percent"));
    assert!(said(&["--wish", "anti_dive_percent=1..2"]).contains("a rear axle has no anti-dive"));
    let missing = refused(folder.path(), &["tune", "nobody.toml"]);
    assert!(missing.contains("nobody.toml"), "{missing}");
}

#[test]
fn an_alternative_that_leaves_the_axle_loose_is_ruled_out_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = starter(folder.path(), "three-link");
    let more = "[[axle.alternative]]\nname = \"no bar\"\nreplaces = [\"panhard\"]\n\n[axle.wish]";
    fs::write(folder.path().join("Bramble/vehicle.toml"), text.replace("[axle.wish]", more))
        .expect("written");
    let page = done(folder.path(), &["tune", "Bramble/vehicle.toml"]);
    assert!(page.contains("nothing locates the axle sideways"), "{page}");
    let found = json(folder.path(), &["tune", "Bramble/vehicle.toml", "--json"]);
    assert_eq!(found["axles"][0]["counts"]["cannot_be_hung"], 3);
}

/// A four-link with a bracket of its own at each of eight ends, more combinations than a test could wait for.
fn many() -> String {
    let mut text = "format = 1\nname = \"Bramble\"\n[vehicle]\nwheelbase = 2540\ncg_height = 810\n[[axle]]\nname = \"rear\"\n\
        position = \"rear\"\ntrack = 1600\ntyre_radius = 460\n"
        .to_owned();
    let bracket = |x: i32, y: i32, z: i32| {
        let holes: Vec<String> = (0..12).map(|k| format!("[{x}, {y}, {}]", z + 3 * k)).collect();
        format!("{{ holes = [{}], use = 1 }}", holes.join(", "))
    };
    for (side, y) in [("left", 1), ("right", -1)] {
        for (name, from, to) in
            [("lower", (950, 360, 480), (20, 580, 400)), ("upper", (800, 450, 640), (30, 120, 610))]
        {
            let (from, to) = (bracket(from.0, y * from.1, from.2), bracket(to.0, y * to.1, to.2));
            text += &format!("[[axle.link]]\nname = \"{name} {side}\"\nchassis = {from}\naxle = {to}\n");
        }
    }
    text
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_it_with_a_sentence_and_no_half_ranking() {
    use std::process::{Command, Stdio};
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("vehicle.toml"), many()).expect("written");
    let child = Command::new(super::program())
        .args(["tune", "vehicle.toml"])
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    // Long enough for the program to listen to the signal, far too short for 430 million combinations.
    std::thread::sleep(std::time::Duration::from_secs(5));
    let told = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill");
    assert!(told.success());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(130));
    assert!(output.stdout.is_empty());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        said.starts_with("hingeline: stopped after ") && said.contains("of 429981696 combinations"),
        "{said}"
    );
    assert_eq!(said.lines().count(), 1, "no bar in a pipe: {said}");
}
