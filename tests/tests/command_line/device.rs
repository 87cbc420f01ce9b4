//! `device` on a virtual logger, as a person and a script meet it.

use super::{done, hingeline, program};
use hingeline::virtual_rig::scenario;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

/// A workshop with a logger on a port; the logger ends with it.
struct Bench {
    folder: tempfile::TempDir,
    logger: Child,
    port: String,
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = self.logger.kill();
        let _ = self.logger.wait();
    }
}

impl Bench {
    fn start(arguments: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        done(folder.path(), &["init", "."]);
        let vehicle = folder.path().join("Bramble");
        std::fs::create_dir(&vehicle).unwrap();
        std::fs::write(vehicle.join("vehicle.toml"), scenario::VEHICLE).unwrap();
        std::fs::write(vehicle.join("rig.toml"), scenario::RIG).unwrap();
        let mut logger = Command::new(program())
            .args(["simulate", "Bramble/vehicle.toml", "--plan", "ramp left,still"])
            .args(arguments)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut port = String::new();
        BufReader::new(logger.stdout.take().unwrap()).read_line(&mut port).unwrap();
        Self { folder, logger, port: port.trim().to_owned() }
    }

    fn device(&self, arguments: &[&str]) -> Output {
        let mut all = vec!["device", "--port", &self.port];
        all.extend_from_slice(arguments);
        hingeline(self.folder.path(), &all)
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn document(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {}", text(&output.stderr)))
}

#[test]
fn with_all_sensors_there_it_says_so_and_ends_with_0() {
    let bench = Bench::start(&[]);
    let output = bench.device(&["--vehicle", "Bramble", "--seconds", "1.5"]);
    let told = text(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{told}{}", text(&output.stderr));
    assert!(told.starts_with("The logger answers, and all 8 sensors for Bramble read."), "{told}");
    assert!(told.lines().all(|line| line.chars().count() <= 80), "{told}");
    // Without a vehicle only the logger itself is looked at.
    let alone = bench.device(&[]);
    assert_eq!(alone.status.code(), Some(0));
    assert!(text(&alone.stdout).starts_with("The logger answers.\n"));
}

#[test]
fn a_rig_file_may_take_the_place_of_the_vehicles_own() {
    let bench = Bench::start(&[]);
    let own = bench.folder.path().join("Bramble/rig.toml");
    let whole = std::fs::read_to_string(&own).unwrap();
    std::fs::write(own.with_file_name("bench.toml"), &whole).unwrap();
    std::fs::write(&own, whole.replacen("rate_hz", "rate_hertz", 1)).unwrap();
    assert_eq!(bench.device(&["--vehicle", "Bramble"]).status.code(), Some(2), "its own has a mistake");
    for vehicle in [&["--vehicle", "Bramble"][..], &[]] {
        let all = [vehicle, &["--rig", "Bramble/bench.toml", "--seconds", "1.5"]].concat();
        let output = bench.device(&all);
        let told = text(&output.stdout);
        assert_eq!(output.status.code(), Some(0), "{told}{}", text(&output.stderr));
        assert!(told.starts_with("The logger answers, and all 8 sensors for Bramble read."), "{told}");
    }
}

#[test]
fn one_missing_sensor_is_named_with_what_to_check_and_ends_with_3() {
    let rig = hingeline_names();
    let bench = Bench::start(&["--missing", &rig[7]]);
    let output = bench.device(&["--vehicle", "Bramble", "--seconds", "1.5"]);
    let told = text(&output.stdout);
    assert_eq!(output.status.code(), Some(3), "{told}");
    let first = format!("One sensor of 8 is missing or silent: \"{}\".", rig[7]);
    assert!(told.starts_with(&first), "{told}");
    let flat = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("lsm6dso at 0x6b on bus 1 does not answer."), "{flat}");
    assert!(
        flat.contains(
            "check: Its connector and cable; 3.3 V between its supply pins; the rest of bus 1 works."
        ),
        "{flat}"
    );

    let report = document(&bench.device(&["--vehicle", "Bramble", "--seconds", "1.5", "--json"]));
    assert_eq!((&report["well"], &report["format"]), (&false.into(), &1.into()));
    let troubled: Vec<&serde_json::Value> =
        report["sensors"].as_array().unwrap().iter().filter(|s| !s["trouble"].is_null()).collect();
    assert_eq!(troubled.len(), 1);
    assert_eq!(
        (&troubled[0]["name"], &troubled[0]["place"]["address"]),
        (&rig[7].as_str().into(), &0x6b.into())
    );
}

/// The names of the scenario's sensors.
fn hingeline_names() -> Vec<String> {
    let drawn = hingeline::vehicle::file::parse(scenario::VEHICLE, "vehicle.toml").unwrap();
    let rig = hingeline::rig::file::parse(scenario::RIG, "rig.toml", &drawn).unwrap();
    rig.sensors.iter().map(|s| s.name.clone()).collect()
}

#[test]
fn swapped_wires_are_found_by_moving_each_in_turn() {
    let names = hingeline_names();
    let bench = Bench::start(&["--wiggle", "--speed", "3", "--swap", &format!("{},{}", names[0], names[3])]);
    let output = bench.device(&["--vehicle", "Bramble", "--seconds", "0.5", "--wiggle", "--json"]);
    let asked = text(&output.stderr);
    assert!(asked.contains(&format!("1 of 8, \"{}\": pull its wire out", names[0])), "{asked}");
    let report = document(&output);
    assert_eq!(report["swapped"], serde_json::json!([[names[0], names[3]]]), "{report}");
    assert_eq!(report["sensors"][0]["moved"], format!("the row \"{}\" moved", names[3]));
    assert_eq!(report["sensors"][1]["moved"], "its own row moved");
    assert_eq!(output.status.code(), Some(3));
}

#[test]
fn nobody_there_and_no_vehicle_are_said_in_one_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let at = |path: &Path| path.join("no-port").to_str().unwrap().to_owned();
    let gone = hingeline(folder.path(), &["device", "--port", &at(folder.path())]);
    assert_eq!(gone.status.code(), Some(3));
    assert!(text(&gone.stderr).contains("cannot be opened") && gone.stdout.is_empty());
    let bare = hingeline(folder.path(), &["device", "--port", &at(folder.path()), "--wiggle"]);
    assert_eq!(bare.status.code(), Some(2));
    assert!(text(&bare.stderr).contains("Name it: --vehicle NAME"));
}
