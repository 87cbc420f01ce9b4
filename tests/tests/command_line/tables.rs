//! Tables from elsewhere as a builder brings them: units in headings, slips of the pen, and what is said of them.

use super::journey::still_table;
use super::{done, hingeline, json};
use std::fs;
use std::path::Path;

/// A logbook with the starter and a still of it in counts.
fn logbook(at: &Path) -> String {
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    still_table(at, 6);
    fs::read_to_string(at.join("readings.csv")).expect("written")
}

#[test]
fn a_mistyped_sensor_is_refused_everywhere_and_left_out_when_asked() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let text = logbook(at);
    let sensor = text.split(',').nth(1).expect("a sensor").to_owned();
    let slip = format!("{}x{}", &sensor[..2], &sensor[2..]);
    fs::write(at.join("Bramble/slip.csv"), text.replacen(&sensor, &slip, 1)).expect("written");
    let calls: [&[&str]; 3] = [
        &["import", "Bramble/slip.csv", "--vehicle", "Bramble"],
        &["analyse", "Bramble/slip.csv"],
        &["compare", "Bramble/slip.csv"],
    ];
    for call in calls {
        let output = hingeline(at, call);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{call:?}: {told}");
        let place = format!("slip.csv: line 1, column 2 ({slip}): no sensor of the rig is called \"{slip}\"");
        assert!(told.contains(&place), "{call:?} names file, line and column: {told}");
        assert!(told.contains(&format!("Did you mean \"{sensor}\"?")), "{told}");
        let mut again = call.to_vec();
        again.extend(["--ignore-columns", "--test", "still"]);
        done(at, &again);
    }
}

/// Whether two tables say the same, but for a product of two floats more or less.
fn same(a: &str, b: &str) -> bool {
    let cells = |text: &str| text.split([',', '\n']).map(str::to_owned).collect::<Vec<_>>();
    let near = |a: &String, b: &String| match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(a), Ok(b)) => (a - b).abs() < 1e-12,
        _ => a == b,
    };
    let (a, b) = (cells(a), cells(b));
    a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| near(a, b))
}

#[test]
fn a_table_in_millimetres_needs_no_other_rig_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let text = logbook(at);
    // What the starter makes of a count: its wires are all alike.
    let vehicle = hingeline::vehicle::file::load(&at.join("Bramble/vehicle.toml")).expect("the starter");
    let rig = hingeline::rig::file::load(&at.join("Bramble/rig.toml"), &vehicle).expect("its rig");
    let mm_per_count = rig.sensors[0].reading().expect("a wire").scale.apply(1.0) * 1e3;
    let (head, rows) = text.split_once('\n').expect("a heading");
    let wires: Vec<usize> = head
        .split(',')
        .enumerate()
        .filter(|(k, name)| *k > 0 && !name.contains('.'))
        .map(|(k, _)| k)
        .collect();
    let scaled = |factor: f64| -> String {
        let row = |line: &str| {
            let cell = |(k, cell): (usize, &str)| match wires.contains(&k) {
                true => format!("{}", cell.parse::<f64>().expect("counts") * factor),
                false => cell.to_owned(),
            };
            line.split(',').enumerate().map(cell).collect::<Vec<_>>().join(",")
        };
        rows.lines().map(row).collect::<Vec<_>>().join("\n")
    };
    let headed: Vec<String> = head
        .split(',')
        .enumerate()
        .map(|(k, name)| if wires.contains(&k) { format!("{name} [mm]") } else { name.to_owned() })
        .collect();
    let mm = scaled(mm_per_count);
    fs::write(at.join("headed.csv"), format!("{}\n{mm}\n", headed.join(","))).expect("written");
    fs::write(at.join("plain.csv"), format!("{head}\n{mm}\n")).expect("written");
    let of = |arguments: &[&str]| {
        let run = done(at, arguments).lines().last().expect("a name").to_owned();
        done(at, &["export", &run, &format!("Bramble/{run}"), "--csv"]);
        let samples =
            at.join(&run).join("samples/vehicle=Bramble").join(format!("run={run}")).join("data.csv");
        fs::read_to_string(samples).expect("exported")
    };
    let import = |file, more: &[&str]| {
        let mut all = vec!["import", file, "--vehicle", "Bramble", "--test", "still"];
        all.extend(more);
        of(&all)
    };
    let counts = import("readings.csv", &[]);
    assert!(counts.lines().count() > 1000);
    assert!(counts.contains("left travel"), "readings within the wires' range: {counts}");
    assert!(same(&import("headed.csv", &[]), &counts));
    assert!(same(&import("plain.csv", &["--column-units", "mm"]), &counts));
    let wrong = hingeline(at, &["import", "plain.csv", "--vehicle", "Bramble", "--column-units", "mm,inch"]);
    assert_eq!(wrong.status.code(), Some(2));
}

#[test]
fn runs_are_verified_and_mended_by_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    logbook(at);
    let run = done(at, &["import", "readings.csv", "--vehicle", "Bramble", "--test", "still"]);
    let run = run.lines().last().expect("a name");
    assert!(done(at, &["runs", "verify"]).contains("as they were made: 1"));
    let rig = at.join("Bramble/runs").join(run).join("rig.toml");
    let before = fs::read(&rig).expect("there");
    fs::write(&rig, "format = 1\n").expect("written");
    let looked = hingeline(at, &["runs", "verify", run]);
    let told = String::from_utf8_lossy(&looked.stdout).into_owned();
    assert_eq!(looked.status.code(), Some(1), "{told}");
    assert!(told.contains("rig.toml is not as it was when the run was made"), "{told}");
    let mended = json(at, &["runs", "repair", "--json", &format!("Bramble/{run}")]);
    assert_eq!(mended["runs"][0]["left"].as_array().map(Vec::len), Some(0), "{mended}");
    assert_eq!(fs::read(&rig).expect("there"), before);
    let slip = hingeline(at, &["runs", "verify", &format!("{run}l")]);
    assert_eq!(slip.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&slip.stderr).contains(&format!("Did you mean \"Bramble/{run}\"?")));
}
