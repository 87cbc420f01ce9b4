//! What newcomers looked for and did not find, or found at the end of a long page.

use super::journey::still_table;
use super::{done, hingeline, json, program};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

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

/// Standard error of a command, whatever its end.
fn told_beside(at: &Path, arguments: &[&str]) -> String {
    String::from_utf8_lossy(&hingeline(at, arguments).stderr).into_owned()
}

#[test]
fn limits_finer_than_the_sensors_reach_are_named_with_ones_that_are_not() {
    let shop = shop(&[("Bramble", REAR)]);
    let at = shop.path();
    let told = flowing(&done(at, &["sensors", "Bramble"]));
    let (_, said) = told.split_once("these sensors will never say so of ").expect(&told);
    assert!(said.starts_with("roll axis rise and roll steer: the limits are finer"), "{said}");
    assert!(told.contains("the limit by the drawing's tolerance is"), "{told}");
    let agrees = |key: &str| {
        json(at, &["sensors", "Bramble", "--json"])["axles"][0]["numbers"][key]["can_agree"] == true
    };
    let (_, written) = said.split_once("vehicle.toml with ").expect(said);
    let (written, _) = written.split_once(". Finer").expect(written);
    let limits: Vec<&str> = written.split(" and ").collect();
    assert_eq!(limits.len(), 2, "{written}");
    let keys = limits.iter().map(|limit| limit.split_once(" = ").expect("KEY = LIMIT").0);
    assert!(keys.clone().all(|key| !agrees(key)));
    edit(at, "Bramble/vehicle.toml", "[axle.agree]", &format!("[axle.agree]\n{}\n#", limits.join("\n")));
    assert!(keys.clone().all(agrees), "{written}");
}

#[test]
fn a_rate_that_a_logger_refuses_is_told_before_one_is_there() {
    let shop = shop(&[("Bramble", REAR)]);
    let at = shop.path();
    let simulate = ["simulate", "Bramble", "--seconds", "0.2"];
    assert!(!told_beside(at, &simulate).contains("refuses this rig"));
    edit(at, "Bramble/rig.toml", "rate_hz = 100", "rate_hz = 190");
    for told in [done(at, &["sensors", "Bramble"]), told_beside(at, &simulate)] {
        let told = flowing(&told);
        assert!(told.contains("A logger refuses this rig at 190 Hz"), "{told}");
    }
    let remarks = json(at, &["sensors", "Bramble", "--json"])["remarks"].to_string();
    let (_, kept) = remarks.split_once("Set rate_hz in rig.toml to ").expect("a rate that is kept");
    let kept = kept.split(' ').next().expect("a number");
    edit(at, "Bramble/rig.toml", "rate_hz = 190", &format!("rate_hz = {kept}"));
    assert!(!told_beside(at, &simulate).contains("refuses this rig"), "{kept}");
}

#[test]
fn a_vehicle_where_a_run_is_asked_for_is_answered_with_its_runs() {
    let shop = shop(&[("Bramble", REAR), ("Fern", REAR)]);
    let at = shop.path();
    let none = told_beside(at, &["analyse", "Bramble"]);
    assert!(none.contains("\"Bramble\" is a vehicle, and a run is asked for"), "{none}");
    assert!(none.contains("no run yet") && none.contains("hingeline predict Bramble"), "{none}");
    let run = imported(at, "Bramble");
    for words in
        [&["analyse", "Bramble"][..], &["compare", "Bramble", "Fern"], &["analyse", "Bramble/vehicle.toml"]]
    {
        let output = hingeline(at, words);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains(&format!("Name one of its runs: {run}.")), "{told}");
    }
}

#[test]
fn columns_of_the_environment_count_where_there_is_no_terminal() {
    let shop = shop(&[("Bramble", REAR)]);
    let at = shop.path();
    let output = |words: &[&str], columns: Option<&str>| {
        let mut program = Command::new(program());
        program.args(words).current_dir(at).env("NO_COLOR", "1").env_remove("COLUMNS").stdin(Stdio::null());
        program.envs(columns.map(|columns| ("COLUMNS", columns)));
        program.output().expect("the program starts")
    };
    let widest = |bytes: &[u8]| String::from_utf8_lossy(bytes).lines().map(|l| l.chars().count()).max();
    let predict = |columns| widest(&output(&["predict", "Bramble"], columns).stdout).unwrap_or(0);
    assert!((60..=80).contains(&predict(None)), "as on a usual screen");
    assert!(predict(Some("44")) <= 44);
    assert_eq!(predict(Some("wide")), predict(None), "what is no number says nothing");
    // A complaint stays on its line for whoever reads it with a program, and fits where lines have a width.
    let complain = |columns| widest(&output(&["analyse", "nothing"], columns).stderr).unwrap_or(0);
    assert!(complain(None) > 44 && complain(Some("44")) <= 44);
    // A command is to be pasted, and stays whole.
    let simulated = output(&["simulate", "Bramble", "--seconds", "0.2"], Some("44"));
    let told = String::from_utf8_lossy(&simulated.stderr).into_owned();
    let (commands, prose): (Vec<&str>, Vec<&str>) =
        told.lines().partition(|line| line.trim_start().starts_with("hingeline record --port "));
    assert!(commands.len() == 1 && commands[0].ends_with('"'), "{told}");
    assert!(prose.iter().all(|line| line.chars().count() <= 44), "{told}");
}

#[test]
fn a_decimal_comma_is_told_for_what_it_is() {
    let shop = shop(&[("Bramble", REAR)]);
    let at = shop.path();
    fs::write(at.join("states.csv"), "heave_m,roll_rad\n0,08,0\n").expect("written");
    for (words, said) in [
        (&["predict", "Bramble", "--states", "states.csv"][..], "a fraction has a point: 0.08"),
        (&["tune", "Bramble", "--wish", "roll_centre_z_m=0,5..0.7"], "write the fraction with a point: 0.5"),
        (
            &["calibrate", "Bramble", "heading", "axle unit", "--at", "roll=10,5"],
            "write the fraction with a point: 10.5",
        ),
        (
            &["calibrate", "Bramble", "scale", "left travel", "--at", "100,5 300"],
            "commas between the values: 100.5,300",
        ),
    ] {
        let told = told_beside(at, words);
        assert!(told.contains(said), "{words:?}: {told}");
    }
}

/// A simulation with all that it says beside its port's name.
#[cfg(unix)]
fn simulated(at: &Path, arguments: &[&str]) -> (std::process::Child, String) {
    use std::io::{BufRead, BufReader};
    let mut child = Command::new(program())
        .args(["simulate", "Bramble"])
        .args(arguments)
        .current_dir(at)
        .env_remove("COLUMNS")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut port = String::new();
    BufReader::new(child.stdout.take().expect("piped")).read_line(&mut port).expect("a port");
    (child, port.trim().to_owned())
}

#[cfg(unix)]
#[test]
fn a_recording_that_follows_another_plan_than_is_played_is_told() {
    let shop = shop(&[("Bramble", REAR)]);
    let at = shop.path();
    for (played, recorded, astray) in
        [("still,bounce,ramp left,ramp right", "still,bounce", true), ("still,bounce", "still,bounce", false)]
    {
        let (mut rig, port) = simulated(at, &["--plan", played, "--speed", "8"]);
        done(at, &["record", "--vehicle", "Bramble", "--port", &port, "--plan", recorded]);
        // What the logger was told at the end has reached it when the simulation has gone round once more.
        std::thread::sleep(std::time::Duration::from_millis(500));
        rig.kill().expect("it runs");
        let told = String::from_utf8_lossy(&rig.wait_with_output().expect("it ends").stderr).into_owned();
        assert_eq!(told.contains("before all of the test was played"), astray, "{told}");
        assert_eq!(told.contains(&format!("As it is played here: --plan \"{played}\"")), astray, "{told}");
    }
}

#[cfg(unix)]
#[test]
fn a_port_that_is_pulled_is_told_once() {
    let shop = shop(&[("Bramble", REAR)]);
    let at = shop.path();
    let (mut rig, port) = simulated(at, &["--plan", "still,bounce"]);
    let pull = std::thread::spawn(move || {
        std::thread::sleep(std::time::Duration::from_secs(3));
        rig.kill().expect("it runs");
        let _ = rig.wait();
    });
    let output = hingeline(at, &["record", "--vehicle", "Bramble", "--port", &port, "--reconnect", "0"]);
    pull.join().expect("pulled");
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert_eq!(told.matches("was unplugged and did not come back").count(), 1, "{told}");
    assert!(
        told.contains("Recorded ") && String::from_utf8_lossy(&output.stdout).contains("Bramble/20"),
        "{told}"
    );
}
