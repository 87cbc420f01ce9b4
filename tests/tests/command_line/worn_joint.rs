//! A joint that wears: runs of a virtual vehicle whose play grows go through the whole program, and it says which joint.

use super::{done, hingeline, json};
use hingeline::rig::{Kind, Rig};
use hingeline::run::Phase;
use hingeline::vehicle::Vehicle;
use hingeline::virtual_rig::readings::{Felt, Readings};
use hingeline::virtual_rig::{PULL_N, Test, VehicleOnRamp};
use std::fmt::Write;
use std::fs;
use std::path::Path;

/// The link that wears, by its name and its place in the file.
const WORN: (&str, usize) = ("lower right", 1);
/// Its play from run to run, m: tight enough for seven runs, then a fifth of a millimetre a run.
const PLAY_M: [f64; 11] = [1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 3e-4, 5e-4, 7e-4, 9e-4];
const SCANS_PER_S: f64 = 50.0;

/// A rock and a shove as a table in the rig's own units: one row a scan.
pub fn table(truly: &Vehicle, rig: &Rig, seed: u64) -> String {
    let phases = vec![Phase::Still, Phase::RockForward, Phase::RockBack, Phase::ShoveLeft, Phase::ShoveRight];
    let it = VehicleOnRamp::new(truly, &Test { axle: 0, phases, ramp_rad: 0.35 }).expect("it can be rocked");
    let spans: Vec<_> = it.phases().copied().collect();
    let end_s = it.end_s();
    let mut readings = Readings::new(it, rig, Some(seed)).expect("sensors with something to read");
    let mut text = String::from("t_s,phase");
    for sensor in &rig.sensors {
        match sensor.kind {
            Kind::Inertial(_) => {
                ["ax", "ay", "az", "gx", "gy", "gz"]
                    .iter()
                    .for_each(|c| write!(text, ",{}.{c}", sensor.name).unwrap());
            }
            _ => write!(text, ",{}", sensor.name).unwrap(),
        }
    }
    for scan in 0..(end_s * SCANS_PER_S) as u32 {
        let t_s = f64::from(scan) / SCANS_PER_S;
        let phase = spans.iter().find(|s| (s.from_s..s.to_s).contains(&t_s)).map_or("", |s| s.phase.words());
        write!(text, "\n{t_s},{phase}").unwrap();
        for (k, sensor) in rig.sensors.iter().enumerate() {
            match readings.read(k, t_s).expect("it is there") {
                Felt::Scalar(si) => {
                    write!(text, ",{:.3}", sensor.reading().unwrap().scale.invert(si)).unwrap()
                }
                Felt::Unit([force, rate]) => {
                    force.iter().chain(rate.iter()).for_each(|v| write!(text, ",{v:.5}").unwrap());
                }
            }
        }
    }
    text + "\n"
}

/// A logbook with Bramble on wires whose hysteresis is a tenth of a millimetre.
pub fn logbook(at: &Path) -> (Vehicle, Rig) {
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    let (vehicle_file, rig_file) = (at.join("Bramble/vehicle.toml"), at.join("Bramble/rig.toml"));
    let rig_text = fs::read_to_string(&rig_file).expect("a starter");
    let wire = "kind = \"draw-wire\"\n";
    assert!(rig_text.contains(wire) && !rig_text.contains("\nhysteresis"), "a starter states no hysteresis");
    fs::write(&rig_file, rig_text.replace(wire, &format!("{wire}hysteresis = 0.1\n"))).expect("written");
    let vehicle = hingeline::vehicle::file::load(&vehicle_file).expect("a good file");
    let rig = hingeline::rig::file::load(&rig_file, &vehicle).expect("a good file");
    (vehicle, rig)
}

#[test]
fn the_joint_that_wears_is_named_from_its_runs() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let (vehicle, rig) = logbook(at);
    let load = format!("{PULL_N}");
    for (run, play_m) in PLAY_M.into_iter().enumerate() {
        let mut truly = vehicle.clone();
        truly.axles[0].locating.links[WORN.1].play_m = play_m;
        fs::write(at.join("readings.csv"), table(&truly, &rig, run as u64 + 1)).expect("written");
        // One each week.
        let day = format!("2026-{:02}-{:02}", 1 + run / 4, 1 + 7 * (run % 4));
        let told = ["--test", "rock", "--load", &load, "--recorded", &day];
        done(at, &[&["import", "readings.csv", "--vehicle", "Bramble"], &told[..]].concat());
    }
    let wear = json(at, &["wear", "Bramble", "--json"]);
    let joints = wear["axles"][0]["joints"].as_array().expect("joints");
    assert_eq!(joints.len(), 4);
    for joint in joints {
        let worn = joint["link"] == WORN.0;
        let state = joint["state"].as_str().expect("a state");
        assert_eq!(state == "growing" || state == "worn", worn, "{joint}");
        assert_eq!(joint["play_m"]["points"].as_array().map(Vec::len), Some(PLAY_M.len()), "{joint}");
        if worn {
            assert!(joint["probability"].as_f64().is_some_and(|p| p > 0.9), "{joint}");
        }
    }
    let told = done(at, &["wear", "Bramble"]);
    assert!(told.contains(WORN.0), "{told}");

    // The last run alone says it too.
    let runs = json(at, &["history", "--json"]);
    let last =
        runs["runs"].as_array().and_then(|r| r.iter().max_by_key(|r| r["run"].to_string())).expect("runs");
    let name = format!("Bramble/{}", last["run"].as_str().expect("a name"));
    let compared = json(at, &["compare", &name, "--json"]);
    let findings = compared["axles"][0]["findings"].as_array().expect("findings");
    assert!(findings.iter().any(|f| f["kind"] == "play" && f["element"] == WORN.0), "{findings:?}");
    assert!(findings.iter().all(|f| f["element"] == WORN.0), "{findings:?}");
    let told = done(at, &["compare", &name]);
    let status = |what| hingeline(at, &["compare", &name, "--fail-on", what]).status.code();
    assert_eq!((status("loose"), status("differs")), (Some(1), Some(0)));
    assert!(told.starts_with("Bramble, rear axle: \"lower right\" is loose."), "{told}");
}
