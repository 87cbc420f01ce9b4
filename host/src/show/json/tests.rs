//! The shapes that scripts rely on, key by key.

use crate::judge::compare::InUse;
use crate::show::sample;
use crate::vehicle::Side;
use crate::vehicle::numbers::Key;
use serde_json::Value;
use std::collections::BTreeSet;

fn parsed(text: &str) -> Value {
    assert!(text.ends_with("}\n"));
    serde_json::from_str(text).expect("JSON")
}

fn keys(value: &Value) -> BTreeSet<&str> {
    value.as_object().expect("an object").keys().map(String::as_str).collect()
}

/// Asserts that `value` has exactly these keys.
fn has(value: &Value, wanted: &[&str]) {
    assert_eq!(keys(value), wanted.iter().copied().collect::<BTreeSet<_>>());
}

fn vocabulary() -> Vec<&'static str> {
    Key::ALL.into_iter().map(Key::as_str).collect()
}

/// Exactly `value`, `u` and `status`, numbers where it was measured.
fn is_measured(value: &Value) {
    has(value, &["value", "u", "status"]);
    let status = value["status"].as_str().expect("a word");
    assert!(["measured", "not resolved", "not excited", "not measured", "from design"].contains(&status));
    for part in ["value", "u"] {
        assert!(value[part].is_number() || (value[part].is_null() && status != "measured"), "{value}");
    }
}

fn holes() -> Vec<Vec<InUse>> {
    vec![vec![InUse {
        element: "lower left".into(),
        links: vec!["lower left".into()],
        end: Side::Chassis,
        odds: vec![0.93, 0.06, 0.01],
    }]]
}

#[test]
fn an_analysis_has_its_shape() {
    let document = parsed(&super::analysis(&sample::analysis(), &holes(), &[]));
    has(&document, &["format", "axles", "articulation_sharing", "calibration", "load_n", "remarks"]);
    assert_eq!(document["format"], 1);
    let axle = &document["axles"][0];
    has(
        axle,
        &[
            "name",
            "measured",
            "along",
            "budget",
            "know_better_first",
            "ramp_travel_index",
            "links",
            "samples",
            "fit",
            "envelope",
        ],
    );
    has(&axle["measured"], &vocabulary());
    axle["measured"].as_object().expect("numbers").values().for_each(is_measured);
    assert_eq!(axle["measured"]["castor_rad"]["status"], "not measured");
    has(&axle["budget"], &vocabulary());
    for parts in axle["budget"].as_object().expect("numbers").values() {
        has(parts, &["noise", "mount", "scale", "zero", "heading", "model"]);
    }
    assert!(axle["budget"]["heave_rate_n_per_m"]["noise"].is_null());
    has(&axle["ramp_travel_index"], &["left", "right"]);
    is_measured(&axle["ramp_travel_index"]["left"]);
    is_measured(&axle["ramp_travel_index"]["right"]);
    has(&axle["samples"], &["received", "lost", "excluded"]);
    has(&axle["fit"], &["chi_square_per_dof"]);
}

#[test]
fn states_along_the_travel_have_their_shape() {
    let document = parsed(&super::analysis(&sample::analysis(), &[], &[]));
    let along = document["axles"][0]["along"].as_array().expect("states");
    let directions: BTreeSet<&str> = along.iter().filter_map(|p| p["direction"].as_str()).collect();
    assert_eq!(directions, BTreeSet::from(["up", "down"]));
    let mut wanted = vocabulary();
    wanted.extend(["heave_m", "roll_rad", "direction", "axle_steer_rad"]);
    for point in along {
        has(point, &wanted);
        is_measured(&point["roll_steer_rad_per_rad"]);
    }
}

#[test]
fn links_say_which_hole_the_motion_fits() {
    let document = parsed(&super::analysis(&sample::analysis(), &holes(), &[]));
    let links = document["axles"][0]["links"].as_array().expect("links");
    for link in links {
        has(
            link,
            &["name", "length_m", "nominal_m", "play_m", "drawn_give_m", "compliance_m_per_n", "in_use"],
        );
        has(&link["length_m"], &["value", "u"]);
        is_measured(&link["play_m"]);
        is_measured(&link["drawn_give_m"]);
        is_measured(&link["compliance_m_per_n"]);
    }
    let odds = links[0]["in_use"].as_array().expect("holes");
    assert_eq!(odds.len(), 3);
    has(&odds[0], &["end", "hole", "odds"]);
    assert_eq!((&odds[0]["end"], &odds[0]["hole"]), (&"chassis".into(), &1.into()));
    let sum: f64 = odds.iter().filter_map(|o| o["odds"].as_f64()).sum();
    assert!((sum - 1.0).abs() < 1e-12);
    assert_eq!(links[1]["in_use"], Value::Array(Vec::new()));
}

#[test]
fn a_comparison_has_its_shape() {
    let document = parsed(&super::comparison(&sample::comparison()));
    has(&document, &["format", "axles", "remarks"]);
    let axle = &document["axles"][0];
    has(axle, &["name", "numbers", "findings"]);
    has(&axle["numbers"], &vocabulary());
    for number in axle["numbers"].as_object().expect("numbers").values() {
        has(number, &["designed", "measured", "difference", "verdict"]);
        has(&number["designed"], &["value", "u"]);
        has(&number["difference"], &["value", "u"]);
        is_measured(&number["measured"]);
        let verdict = number["verdict"].as_str().expect("a word");
        assert!(["agrees", "differs", "not resolved", "not measured"].contains(&verdict));
    }
    has(&axle["findings"][0], &["kind", "element", "text", "size", "u"]);
    assert_eq!(axle["findings"][0]["kind"], "hole");
}

#[test]
fn two_runs_are_first_and_second() {
    let document = parsed(&super::runs(&sample::runs()));
    has(&document, &["format", "axles", "remarks", "vehicles"]);
    let axle = &document["axles"][0];
    has(axle, &["name", "numbers", "findings"]);
    for number in axle["numbers"].as_object().expect("numbers").values() {
        has(number, &["first", "second", "difference", "verdict"]);
        has(&number["first"], &["value", "u"]);
        is_measured(&number["second"]);
    }
}

#[test]
fn what_is_no_number_is_null() {
    let mut analysis = sample::analysis();
    for measured in analysis.axles[0].measured.values_mut() {
        measured.value = Some(f64::NAN);
        measured.u = Some(f64::INFINITY);
    }
    let document = parsed(&super::analysis(&analysis, &[], &[]));
    assert!(document["axles"][0]["measured"]["anti_squat_percent"]["value"].is_null());
}
