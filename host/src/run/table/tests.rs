//! Tables good and bad.

use super::headings::expected_headings;
use super::*;
use crate::explain::Explain;
use crate::geometry::Pose;
use crate::rig::Kind;
use crate::run::Phase;
use crate::run::channels::outside_range;
use crate::run::test_rig::{CENTRE, readings, two_wires, whole};
use proptest::prelude::*;

fn read_text(text: &str, test: Option<Test>) -> Result<Recording, TableError> {
    read(text.as_bytes(), &two_wires(), &[CENTRE], test, &Choices::default())
}

/// What a person sees of an error.
fn told(text: &str) -> String {
    let error = read_text(text, None).expect_err("the table is wrong");
    format!("{error}\n\n{}", error.hint().unwrap_or_default())
}

/// A table of the whole rig at 20 Hz; `pose` gives the pose at each time.
fn table_of(rig: &Rig, seconds: f64, pose: impl Fn(f64) -> Pose) -> String {
    let mut text = format!("t_s,{}\n", expected_headings(rig).join(","));
    for k in 0..(seconds * 20.0) as usize {
        let t_s = k as f64 / 20.0;
        let cells: Vec<_> = readings(rig, &pose(t_s)).concat().iter().map(|v| format!("{v:.5}")).collect();
        text += &format!("{t_s},{}\n", cells.join(","));
    }
    text
}

const GOOD: &str =
    "t_s,phase,left,right\n0.00,still,540.5,541.25\n0.01,still,540.75,541.5\n0.02,bounce,530,531\n";

#[test]
fn every_way_of_writing_a_table_gives_the_same_recording() {
    let expected = read_text(GOOD, None).unwrap();
    assert_eq!(expected.series[0][0].value, [540.5, 540.75, 530.0].map(|mm| mm * 1e-3));
    assert_eq!(expected.series[1][0].t_s, [0.0, 0.01, 0.02]);
    assert_eq!(expected.counts.received, 6);
    assert_eq!(expected.phases.len(), 2);
    let others = [
        GOOD.replace(',', ";"),
        GOOD.replace(',', "\t"),
        GOOD.replace(',', ";").replace('.', ","),
        GOOD.replace('\n', "\r\n"),
        GOOD.replace('\n', "\r"),
        format!("\u{feff}{GOOD}"),
        GOOD.replace("left", "\"left\"").replace("540.5,", "\"540.5\", "),
        GOOD.replace("still", " Still "),
        GOOD.replace('\n', ",,\n").replace("right,,", "right"),
        format!("\n{GOOD}\n\n,,,\n"),
    ];
    for text in others {
        let mut got = read_text(&text, None).unwrap_or_else(|e| panic!("{e}: {text}"));
        got.provenance.data_hash.clone_from(&expected.provenance.data_hash);
        assert_eq!(got, expected, "{text}");
    }
}

#[test]
fn the_hash_is_that_of_the_bytes() {
    let recording = read_text(GOOD, None).unwrap();
    assert_eq!(recording.provenance.data_hash, blake3::hash(GOOD.as_bytes()).to_hex().as_str());
}

#[test]
fn readings_that_are_missing_or_out_of_range_are_set_aside_and_counted() {
    let text = "t_s,phase,left,right,oil\n0,still,540,541,hot\n1,still,,NaN,hot\n2,still,801,541,hot\n3,still,540,-1,hot\n";
    let recording = read_text(text, None).unwrap();
    assert_eq!(recording.series[0][0].t_s, [0.0, 3.0]);
    assert_eq!(recording.series[1][0].t_s, [0.0, 2.0]);
    assert_eq!((recording.counts.received, recording.counts.excluded), (8, 4));
    insta::assert_snapshot!(recording.remarks.join("\n"));
}

#[test]
fn all_readings_out_of_range_are_said_to_be_all_and_a_calibrated_scale_to_be_the_likely_cause() {
    let text = "t_s,phase,left,right\n0,still,801,541\n1,still,802,541\n2,still,803,900\n";
    let said = read_text(text, None).unwrap().remarks.join("\n");
    assert!(
        said.contains("\"left\": readings outside the sensor's range, set aside: 3, all of them."),
        "{said}"
    );
    assert!(said.contains("set aside: 1.") && !said.contains("calibration"), "{said}");
    let mut sensor = two_wires().sensors.swap_remove(0);
    if let Kind::DrawWire(wire) = &mut sensor.kind {
        wire.reading.gain = 1.43;
    }
    let told = outside_range("left", 3, true, &sensor);
    assert!(told.contains("Its calibration may be the cause") && told.contains("1.430"), "{told}");
    assert!(!outside_range("left", 3, false, &sensor).contains("calibration"));
}

#[test]
fn a_sensor_without_a_column_has_no_data_and_a_gap_is_told() {
    let text = "t_s,phase,left\n0,still,540\n0.1,still,540\n0.2,,540\n2.2,still,540\n";
    let recording = read_text(text, None).unwrap();
    assert!(recording.series[1][0].t_s.is_empty());
    let spans: Vec<_> = recording.phases.iter().map(|s| (s.from_s, s.to_s)).collect();
    assert_eq!(spans, [(0.0, 0.1), (2.2, 2.2)]);
    insta::assert_snapshot!(recording.remarks.join("\n"));
}

#[test]
fn errors_say_where_and_how_to_mend_it() {
    let bad = [
        ("no headings", "0.0,1,2\n0.1,1,2\n".to_owned()),
        ("nothing at all", String::new()),
        ("no sensor", GOOD.replace("left", "a").replace("right", "b")),
        ("heading twice", GOOD.replace("right", "left")),
        ("short row", GOOD.replace("0.01,still,540.75,541.5", "0.01,still,540.75")),
        ("decimal commas between commas", GOOD.replace("540.75,541.5", "540,75,541,5")),
        ("a word for a number", GOOD.replace("541.5\n", "full\n")),
        ("thousands", GOOD.replace(',', ";").replace("541.5\n", "1,541.5\n")),
        ("mixed decimals", GOOD.replace(',', ";").replace("541.5\n", "541,5\n")),
        ("no time", GOOD.replace("0.01,", ",")),
        ("time again", GOOD.replace("0.02,", "0.01,")),
        ("time goes back", GOOD.replace("0.02,", "0.005,")),
        ("no phase", GOOD.replace("bounce", "jump")),
        ("one row", "t_s,left\n0,540\n".to_owned()),
        ("UTF-16", "\u{0}".to_owned()),
    ];
    let mut all = String::new();
    for (name, text) in bad {
        let told = if name == "UTF-16" {
            let error = read(&b"\xff\xfet\0_\0s\0"[..], &two_wires(), &[CENTRE], None, &Choices::default())
                .unwrap_err();
            format!("{error}\n\n{}", error.hint().unwrap())
        } else {
            told(&text)
        };
        all += &format!("## {name}\n{told}\n\n");
    }
    insta::assert_snapshot!(all);
}

#[test]
fn all_mistakes_of_a_table_are_told_at_once_up_to_ten() {
    let text = GOOD.replace("540.75", "high").replace("bounce", "buonce").replace("0.02,", "0.005,");
    let told = told(&text.replace("540.5,", "low,"));
    insta::assert_snapshot!(told);
    let rows: String = (0..50).map(|k| format!("{k},still,x,y\n")).collect();
    let error = read_text(&format!("t_s,phase,left,right\n{rows}"), None).unwrap_err();
    let told = error.to_string();
    assert!(
        told.starts_with("10 mistakes, and it was read no further:\n  line 2, column 3 (left)"),
        "{told}"
    );
}

#[test]
fn a_column_that_looks_like_a_sensor_mistyped_is_refused_unless_asked() {
    let text = GOOD.replace("right", "rihgt");
    assert_eq!(
        told(&text),
        "line 1, column 4 (rihgt): no sensor of the rig is called \"rihgt\"\n\nDid you mean \"right\"? Head the column so, \
         or leave such columns out with --ignore-columns."
    );
    assert!(told(&GOOD.replace("right", "Right [mm]")).contains("Did you mean \"right\"?"));
    assert!(told(&GOOD.replace("phase", "phaze")).contains("Did you mean \"phase\"?"));
    let choices = Choices { ignore_unknown: true, ..Choices::default() };
    let recording = read(text.as_bytes(), &two_wires(), &[CENTRE], None, &choices).unwrap();
    assert!(recording.series[1][0].t_s.is_empty());
    // Beside the right one, a name alike is something else.
    assert!(
        read_text(
            &GOOD
                .replace("right\n", "right,rights\n")
                .replace("541.25\n", "541.25,1\n")
                .replace("541.5\n", "541.5,1\n")
                .replace("531\n", "531,1\n"),
            None
        )
        .is_ok()
    );
}

#[test]
fn columns_may_state_their_units() {
    let expected = read_text(GOOD, None).unwrap();
    let bracketed = "t [ms],phase,left [cm],right (mm)\n0,still,54.05,541.25\n10,still,54.075,541.5\n20,bounce,53.0,531\n";
    let suffixed =
        bracketed.replace("t [ms]", "t_ms").replace("left [cm]", "left_cm").replace("right (mm)", "right_mm");
    for text in [bracketed, &suffixed] {
        let got = read_text(text, None).unwrap();
        for (a, b) in got.series.iter().flatten().zip(expected.series.iter().flatten()) {
            let near = |a: &[f64], b: &[f64]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12);
            assert!(a.t_s.len() == 3 && near(&a.t_s, &b.t_s) && near(&a.value, &b.value), "{text}");
        }
    }
    let choices = Choices { units: ColumnUnit::parse_list("in,deg").unwrap(), ..Choices::default() };
    let inches = read(GOOD.as_bytes(), &two_wires(), &[CENTRE], None, &choices);
    // 540 in is far outside the wires' range.
    assert_eq!(inches.unwrap().counts.excluded, 6);
    for (heading, hint) in [("right [mmm]", "Units in headings are"), ("right [deg]", "Lengths are in mm")] {
        let told = told(&GOOD.replace("right", heading));
        assert!(
            told.starts_with(&format!("line 1, column 4 ({heading}): ")) && told.contains(hint),
            "{told}"
        );
    }
    assert!(
        told(&GOOD.replace("right", "left [mm]")).contains("\"left [mm]\" and \"left\" are the same column")
    );
}

#[test]
fn a_bounded_reading_counts_all_and_keeps_some_evenly() {
    let rows: String =
        (0..5000).map(|k| format!("{},still,{},540\n", k as f64 * 0.01, 540 + k % 7)).collect();
    let text = format!("t_s,phase,left,right\n{rows}");
    let all = read_text(&text, None).unwrap();
    let choices = Choices { most_readings: Some(100), ..Choices::default() };
    let some = read(text.as_bytes(), &two_wires(), &[CENTRE], None, &choices).unwrap();
    assert_eq!((some.counts, &some.phases, &some.remarks), (all.counts, &all.phases, &all.remarks));
    let kept = &some.series[0][0].t_s;
    assert!((50..=100).contains(&kept.len()), "{}", kept.len());
    let step_s = kept[1] - kept[0];
    assert!(kept.windows(2).all(|w| (w[1] - w[0] - step_s).abs() < 1e-9));
}

#[test]
fn a_bounce_is_found_before_between_and_after_ramps() {
    for rig in [whole(), two_wires()] {
        let text = table_of(&rig, 90.0, |t| match t {
            4.0..20.0 => Pose::heave_roll(0.05 * (std::f64::consts::TAU * (t - 4.0) / 8.0).sin(), 0.0),
            25.0..45.0 => Pose::heave_roll(0.0, 0.2 * (std::f64::consts::PI * (t - 25.0) / 20.0).sin()),
            50.0..58.0 => Pose::heave_roll(-0.06 * (std::f64::consts::PI * (t - 50.0) / 8.0).sin(), 0.0),
            60.0..80.0 => Pose::heave_roll(0.0, -0.2 * (std::f64::consts::PI * (t - 60.0) / 20.0).sin()),
            _ => Pose::default(),
        });
        let recording = read(text.as_bytes(), &rig, &[CENTRE], None, &Choices::default()).unwrap();
        assert_eq!(words(&recording), ["still", "bounce", "ramp left", "bounce", "ramp right"]);
        let [from_s, to_s] = [recording.phases[1].from_s, recording.phases[1].to_s];
        assert!((from_s - 4.0).abs() < 0.5 && (to_s - 20.0).abs() < 0.5, "{from_s} to {to_s}");
        assert!(recording.phases.windows(2).all(|w| w[0].to_s <= w[1].from_s));
    }
}

/// Still for 4 s, then a slow motion of this sign and size.
fn swing(t_s: f64, period_s: f64) -> f64 {
    if t_s < 4.0 { 0.0 } else { (std::f64::consts::TAU * (t_s - 4.0) / period_s).sin() }
}

fn words(recording: &Recording) -> Vec<&'static str> {
    recording.phases.iter().map(|s| s.phase.words()).collect()
}

#[test]
fn without_a_phase_column_the_still_ends_before_the_first_motion() {
    let rig = whole();
    let text = table_of(&rig, 20.0, |t| Pose::heave_roll(0.05 * swing(t, 8.0), 0.0));
    for test in [None, Some(Test::One(Phase::Bounce))] {
        let recording = read(text.as_bytes(), &rig, &[CENTRE], test, &Choices::default()).unwrap();
        assert_eq!(words(&recording), ["still", "bounce"]);
        let end_s = recording.phases[0].to_s;
        assert!(end_s > 3.0 && end_s <= 4.0, "still until {end_s}");
    }
}

#[test]
fn ramps_are_told_by_their_side() {
    for rig in [whole(), two_wires()] {
        let text = table_of(&rig, 45.0, |t| {
            let roll = if t < 24.0 { swing(t, 40.0).max(0.0) } else { swing(t, 40.0).min(0.0) };
            Pose::heave_roll(0.04 * roll.abs(), 0.25 * roll)
        });
        for test in [None, Some(Test::Ramp)] {
            let recording = read(text.as_bytes(), &rig, &[CENTRE], test, &Choices::default()).unwrap();
            assert_eq!(words(&recording), ["still", "ramp left", "ramp right"]);
            assert!((recording.phases[1].to_s - 24.0).abs() < 1.0);
        }
    }
}

#[test]
fn what_cannot_be_told_is_an_error() {
    let rig = two_wires();
    let moves = |t: f64| Pose::heave_roll(0.05 * swing(t + 4.0, 8.0), 0.0);
    let bounce = |t: f64| Pose::heave_roll(0.05 * swing(t, 8.0), 0.0);
    let mut lone = two_wires();
    lone.sensors.truncate(1);
    let cases = [
        (&rig, table_of(&rig, 20.0, moves), None),
        (&rig, table_of(&rig, 2.0, bounce), None),
        (&rig, table_of(&rig, 20.0, bounce), Some(Test::Ramp)),
        (&rig, table_of(&rig, 20.0, bounce), Some(Test::Rock)),
        (&lone, table_of(&lone, 20.0, bounce), None),
    ];
    let told: Vec<_> = cases
        .iter()
        .map(|(rig, text, test)| {
            let error = read(text.as_bytes(), rig, &[CENTRE], *test, &Choices::default()).unwrap_err();
            assert_eq!(error.status().code(), 2);
            format!("{error}\n\n{}", error.hint().unwrap())
        })
        .collect();
    insta::assert_snapshot!(told.join("\n\n"));
}

#[test]
fn a_time_that_jumps_by_years_is_told_at_once() {
    let rig = two_wires();
    let text = table_of(&rig, 20.0, |t| Pose::heave_roll(0.05 * swing(t, 8.0), 0.0)) + "1.8e15,540,540\n";
    let error = read(text.as_bytes(), &rig, &[CENTRE], None, &Choices::default()).unwrap_err();
    assert!(error.to_string().ends_with("its times span more than a day"), "{error}");
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), cut in 0_usize..90, at in 0_usize..90) {
        let mut text = GOOD.as_bytes().to_vec();
        text.splice(at.min(cut).min(text.len())..cut.min(text.len()), bytes);
        let _ = read(&text[..], &two_wires(), &[CENTRE], None, &Choices::default());
    }
}
