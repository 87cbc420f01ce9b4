//! A bush that is softer than the others: one pull in steps with a load cell on the strap goes through the whole program, which
//! says what every link gives and keeps it.

use super::worn_joint::{logbook, table};
use super::{done, json};
use hingeline::virtual_rig::PULL_N;
use std::fs;

/// The soft link, by its name and its place in the file, and its stiffness, N/m.
const SOFT: (&str, usize, f64) = ("lower left", 0, 4e6);

/// The load cell that the guide tells a builder to write into the rig file.
fn load_cell() -> &'static str {
    let guide = include_str!("../../../host/guide/wear.md");
    let blocks = guide.split("```toml\n").skip(1).filter_map(|b| b.split("```").next());
    blocks.into_iter().find(|b| b.contains("kind = \"force\"")).expect("the guide shows one")
}

#[test]
fn what_a_link_gives_is_measured_shown_and_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let (vehicle, rig) = logbook(at);
    let mut truly = vehicle.clone();
    truly.axles[0].locating.links[SOFT.1].stiffness_n_per_m = Some(SOFT.2);
    let import = |rig, seed| {
        fs::write(at.join("readings.csv"), table(&truly, rig, seed)).expect("written");
        let load = format!("{PULL_N}");
        done(at, &["import", "readings.csv", "--vehicle", "Bramble", "--test", "rock", "--load", &load]);
    };
    import(&rig, 1);
    let listed = json(at, &["history", "--json"]);
    let link = &listed["runs"][0]["axles"][0]["links"][0]["compliance_m_per_n"];
    assert_eq!(link["status"], "not measured");
    let files = ["--vehicle", "Bramble/vehicle.toml", "--rig", "Bramble/rig.toml", "--test", "rock"];
    let told = done(at, &[&["analyse", "readings.csv"], &files[..]].concat());
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("a force sensor on the strap"), "{told}");

    let rig_file = at.join("Bramble/rig.toml");
    let text = fs::read_to_string(&rig_file).expect("a rig");
    fs::write(&rig_file, format!("{text}\n{}", load_cell())).expect("written");
    let rig = hingeline::rig::file::load(&rig_file, &vehicle).expect("a good file");
    import(&rig, 2);
    let listed = json(at, &["history", "--json"]);
    let runs = listed["runs"].as_array().expect("runs");
    let kept: Vec<&serde_json::Value> = runs
        .iter()
        .map(|run| run["axles"][0]["links"].as_array().expect("links"))
        .flat_map(|links| links.iter().filter(|l| l["name"] == SOFT.0))
        .map(|link| &link["compliance_m_per_n"])
        .filter(|measured| measured["status"] == "measured")
        .collect();
    let [one] = kept.as_slice() else { panic!("{kept:?}") };
    let (value, u) = (one["value"].as_f64().expect("a value"), one["u"].as_f64().expect("its u"));
    assert!((value - 1.0 / SOFT.2).abs() < 4.0 * u && u < 0.1 * value, "{value} ± {u}");

    let run = runs
        .iter()
        .max_by_key(|r| r["run"].as_str().map(str::to_owned))
        .and_then(|r| r["run"].as_str())
        .expect("a name");
    let name = format!("Bramble/{run}");
    let analysed = json(at, &["analyse", &name, "--json"]);
    assert_eq!(analysed["axles"][0]["links"][0]["compliance_m_per_n"]["value"], one["value"]);
    let told = done(at, &["analyse", &name]);
    println!("{told}");
    assert!(told.contains("mm per kN"), "{told}");
    let followed = done(at, &["history", "--number", "compliance_m_per_n"]);
    println!("{followed}");
    assert!(followed.contains("mm per kN"), "{followed}");
}
