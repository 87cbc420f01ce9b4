//! The file comes back, a calibration takes the place of what the rig file says, and a moved sensor's is void.

use super::file::{HEAD, entry_text, parse, symmetric};
use super::*;
use crate::rig::{Rig, Zero};
use proptest::prelude::*;

const RIG: &str = r#"
format = 1
[[sensor]]
name = "left travel"
kind = "draw-wire"
chassis = [0, 500, 1000]
axle = [0, 620, 460]
scale = 0.125
range = [0, 800]
[[sensor]]
name = "axle unit"
kind = "inertial"
body = "axle"
at = [0, 200, 560]
"#;

fn rig(text: &str) -> Rig {
    let layout = crate::files::starters::Layout::parse("four-link").unwrap();
    let vehicle = crate::vehicle::file::parse(&layout.vehicle_text("Bramble"), "vehicle.toml");
    crate::rig::file::parse(text, "rig.toml", &vehicle.unwrap()).unwrap()
}

fn entry(rig: &Rig, place: usize, found: Found) -> Entry {
    Entry {
        sensor: rig.sensors[place].name.clone(),
        found,
        date: "2026-11-26T10:11:12+01:00".into(),
        at_us: crate::files::instant_us("2026-11-26T10:11:12+01:00").unwrap(),
        valid_days: 365.0,
        method: "straight line through \"4\" lengths".into(),
        from: "lengths.csv".into(),
        from_hash: Some("ab".into()),
        points: 4,
        fitted: fitted(&rig.sensors[place]),
    }
}

fn everything(rig: &Rig) -> Vec<Entry> {
    let scale = ScaleFound {
        factor: 1.03125,
        relative_u: 8e-4,
        offset: -0.0125,
        known: vec![0.1, 0.3, 0.5, 0.7],
        residuals: vec![2e-4, -3e-4, 1e-4, 0.0],
        residual: 2.65e-4,
        linearity: Some(4e-4),
    };
    let zero = ZeroFound { offset: 0.25, u: 1.5e-3, reading: 0.303, factor: 1.03125 };
    let tumble = TumbleFound {
        bias: Vector3::new(0.15, -0.2, 0.05),
        bias_u: Vector3::new(0.002, 0.003, 0.002),
        matrix: symmetric(&Vector3::new(1.01, 0.99, 1.005), &Vector3::new(0.002, -0.003, 0.004)),
        scale_u: Vector3::new(3e-4, 2e-4, 4e-4),
        misalignment_u_rad: Vector3::new(5e-4, 6e-4, 7e-4),
        gyro_bias: Vector3::new(0.01, -0.02, 0.005),
        gyro_bias_u: Vector3::new(2e-4, 1e-4, 2e-4),
        residuals: vec![1e-3, -1e-3, 0.0, 2e-3, 0.0, -1e-3],
        residual: 1.6e-3,
    };
    let heading = HeadingFound { heading_rad: 0.0375, u_rad: 0.004, residuals_rad: vec![1e-3, -1e-3] };
    vec![
        entry(rig, 0, Found::Scale(scale)),
        entry(rig, 0, Found::Zero(zero)),
        entry(rig, 1, Found::Tumble(Box::new(tumble))),
        entry(rig, 1, Found::Heading(heading)),
    ]
}

fn text(rig: &Rig, entries: &[Entry]) -> String {
    entries.iter().fold(HEAD.to_owned(), |text, entry| {
        let sensor = rig.sensors.iter().find(|s| s.name == entry.sensor).unwrap();
        format!("{text}\n{}", entry_text(entry, quantity(&sensor.kind)).unwrap())
    })
}

#[test]
fn the_file_is_the_documented_one_and_comes_back() {
    let rig = rig(RIG);
    let entries = everything(&rig);
    let text = text(&rig, &entries);
    let read = parse(&text, CALIBRATION_FILE).map_err(|e| e.render(false)).unwrap();
    assert_eq!(read.entries, entries);
    assert_eq!(read.hash, blake3::hash(text.as_bytes()).to_hex().to_string());
    insta::assert_snapshot!(text);
}

#[test]
fn mistakes_are_shown_where_they_are() {
    let wrong = "format = 1\n[[calibration]]\nsensor = \"left travel\"\nkind = \"scal\"\ndate = \"yesterday\"\nfitted = []\n\n[[calibration]]\nsensor = \"left travel\"\nkind = \"scale\"\ndate = \"2026-11-26\"\nfitted = []\nfactor = 0\nfactor_relativ_u = 0.001\n";
    insta::assert_snapshot!(parse(wrong, CALIBRATION_FILE).unwrap_err().render(false));
}

proptest! {
    #[test]
    fn a_file_with_a_piece_cut_out_never_panics_and_always_explains(from in 0usize..4000, count in 1usize..80) {
        let rig = rig(RIG);
        let whole: Vec<char> = text(&rig, &everything(&rig)).chars().collect();
        let cut: String = whole.iter().take(from).chain(whole.iter().skip(from + count)).collect();
        if let Err(errors) = parse(&cut, CALIBRATION_FILE) {
            prop_assert!(!errors.errors.is_empty() && errors.errors.iter().all(|e| !e.help.is_empty()));
        }
    }
}

#[test]
fn what_was_found_takes_the_place_of_what_the_file_says() {
    let plain = rig(RIG);
    let calibration = Calibration { entries: everything(&plain), hash: String::new() };
    let mut laid = plain.clone();
    let at_us = calibration.entries[0].at_us + 190 * 86_400_000_000;
    let standings = overlay(&mut laid, &calibration, Some(at_us));
    assert!(standings.iter().all(|s| s.void.is_none() && s.age_days == Some(190.0)), "{standings:?}");
    let reading = laid.sensors[0].reading().unwrap();
    assert_eq!((reading.gain, reading.scale_u, reading.linearity), (1.03125, 8e-4, 4e-4));
    assert_eq!(reading.scale.apply(800.0), 0.1 * 1.03125);
    assert_eq!(reading.zero, Some(Zero { offset: 0.25, u: 1.5e-3 }));
    let Kind::Inertial(unit) = &laid.sensors[1].kind else { panic!("a unit") };
    assert_eq!((unit.accel_bias_u, unit.scale_u, unit.heading_u_rad), (0.003, 4e-4, 0.004));
    let truth = Vector3::new(1.0, -2.0, 9.5);
    let read = unit.found.matrix.try_inverse().unwrap() * truth + unit.found.bias;
    assert!((unit.found.force(&read) - truth).norm() < 1e-12);
    assert_eq!(unit.found.heading_rad, 0.0375);
}

#[test]
fn the_last_entry_counts() {
    let plain = rig(RIG);
    let mut entries = everything(&plain);
    let mut newer = entries[0].clone();
    if let Found::Scale(f) = &mut newer.found {
        f.factor = 0.98;
    }
    entries.push(newer);
    let mut laid = plain.clone();
    let standings = overlay(&mut laid, &Calibration { entries, hash: String::new() }, None);
    assert_eq!(laid.sensors[0].reading().unwrap().gain, 0.98);
    // The zero was found with the scale before.
    let zero = standings.iter().find(|s| s.entry.found.word() == "zero").unwrap();
    assert_eq!(zero.void, Some(Void::Rescaled));
    assert_eq!(laid.sensors[0].reading().unwrap().zero, None);
}

#[test]
fn a_sensor_that_was_moved_or_is_too_old_is_void_and_stays_as_the_file_has_it() {
    let plain = rig(RIG);
    let calibration = Calibration { entries: everything(&plain), hash: String::new() };
    let whys = |text: &str, at_us: Option<i64>| {
        let mut laid = rig(text);
        let untouched = laid.clone();
        let standings = overlay(&mut laid, &calibration, at_us);
        let void = standings.iter().all(|s| s.void.is_some());
        assert_eq!(void, laid == untouched);
        standings.iter().filter_map(|s| s.void.clone()).collect::<Vec<Void>>()
    };
    let moved = RIG.replace("[0, 500, 1000]", "[0, 520, 1000]");
    assert_eq!(whys(&moved, None), [Void::Changed("chassis".into()), Void::Changed("chassis".into())]);
    let rescaled = RIG.replace("0.125", "0.126");
    assert_eq!(whys(&rescaled, None), [Void::Changed("scale".into()), Void::Changed("scale".into())]);
    let renamed = RIG.replace("axle unit", "other unit");
    assert_eq!(whys(&renamed, None), [Void::Gone, Void::Gone]);
    let turned = format!("{RIG}axes = {{ x = \"+y\", y = \"-x\", z = \"+z\" }}\n");
    assert_eq!(whys(&turned, None), [Void::Changed("axes".into()), Void::Changed("axes".into())]);
    let late = calibration.entries[0].at_us + 366 * 86_400_000_000;
    assert_eq!(whys(RIG, Some(late)), vec![Void::Old(365); 4]);
    // What moves no sensor voids nothing: how well things are known.
    let better = format!("{RIG}heading_u = 2\n").replace("range", "noise = 0.2\nrange");
    assert_eq!(whys(&better, None), []);
    assert_eq!(whys(RIG, None), []);
}
