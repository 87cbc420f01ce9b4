//! Broken rig files, each with its exact message; and no text makes the reader panic.

use super::super::parse;
use super::{RIG, vehicle, vehicle_of_two};
use crate::vehicle::Vehicle;
use proptest::prelude::*;

fn said(text: &str, vehicle: &Vehicle) -> String {
    match parse(text, "rig.toml", vehicle) {
        Ok(_) => "no error".to_owned(),
        Err(errors) => format!("{errors}\n\n{}", errors.render(false)),
    }
}

/// The messages for [`RIG`] with `from` replaced by `to`.
fn broken(from: &str, to: &str) -> String {
    assert!(RIG.contains(from), "{from}");
    said(&RIG.replacen(from, to, 1), &vehicle())
}

macro_rules! says {
    ($($name:ident: $from:expr => $to:expr;)*) => { $(
        #[test]
        fn $name() {
            insta::assert_snapshot!(broken($from, $to));
        }
    )* };
}

says! {
    unknown_axle: "axle_name = \"rear\"" => "axle_name = \"raer\"";
    unknown_kind: "kind = \"angle\"" => "kind = \"wheel speed\"";
    misspelt_kind: "kind = \"draw-wire\"" => "kind = \"drawwire\"";
    missing_kind: "kind = \"angle\"\n" => "";
    missing_name: "name = \"gap\"\n" => "";
    missing_end: "axle = [0, 620, 460]\n" => "";
    same_name: "name = \"right travel\"" => "name = \"left travel\"";
    reserved_name: "name = \"gap\"" => "name = \"t_s\"";
    key_of_another_kind: "body = \"axle\"" => "body = \"axle\"\nchassis = [0, 0, 0]";
    both_ends_in_one_place: "axle = [0, 620, 460]" => "axle = [0, 500, 1000]";
    scale_zero: "scale = 0.125" => "scale = 0";
    scale_that_turns_back: "[20000, 450]" => "[20000, 950]";
    scale_counts_that_fall: "[20000, 450]" => "[200000, 450]";
    scale_of_one_point: "[[100, 900], [20000, 450], [32000, 20]]" => "[[100, 900]]";
    range_inside_out: "[0, 800]" => "[800, 0]";
    noise_zero: "noise = 0.3" => "noise = 0";
    negative_mount: "mount = 2.0" => "mount = -2";
    axis_along_the_link: "axis = \"y\"" => "axis = [-930, 220, -100]";
    ray_along_the_plane: "direction = [0, 0, -1]" => "direction = \"x\"";
    plane_behind: "direction = [0, 0, -1]" => "direction = \"z\"";
    body_word: "body = \"axle\"" => "body = \"knuckle\"";
    left_handed_axes: "y = \"-x\"" => "y = \"+x\"";
    axis_twice: "y = \"-x\"" => "y = \"+y\"";
    axis_word: "y = \"-x\"" => "y = \"back\"";
    address: "address = 0x48" => "address = 0x148";
    mux_without_channel: "mux_channel = 2, " => "";
    excitation_on_its_own_channel: "excitation = 3" => "excitation = 0";
    input_without_device: "device = \"ads1115\", " => "";
    unknown_link: "link = \"lower left\"" => "link = \"lower lift\"";
    rate_zero: "rate_hz = 200" => "rate_hz = 0";
    newer_format: "format = 1" => "format = 7";
}

#[test]
fn which_axle_must_be_said_where_there_are_two() {
    let text = RIG.split("[[sensor]]").take(3).collect::<Vec<_>>().join("[[sensor]]");
    insta::assert_snapshot!(said(&text, &vehicle_of_two()));
}

#[test]
fn two_sensors_on_one_input() {
    let wiring = RIG.lines().find(|l| l.starts_with("input")).unwrap();
    let text = RIG.replacen("name = \"right travel\"", &format!("name = \"right travel\"\n{wiring}"), 1);
    insta::assert_snapshot!(said(&text, &vehicle()));
}

#[test]
fn no_sensors() {
    insta::assert_snapshot!(said("format = 1\nsensor = []\n", &vehicle()));
    insta::assert_snapshot!(said("format = 1\n", &vehicle()));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 192, ..ProptestConfig::default() })]

    #[test]
    fn no_change_of_text_goes_unexplained(edits in prop::collection::vec((any::<prop::sample::Index>(), "[-\\[\\]{}=\",.#a-z0-9é\n]|\\PC"), 1..8)) {
        let mut text: Vec<char> = RIG.chars().collect();
        for (at, with) in edits {
            let at = at.index(text.len());
            text.splice(at..=at, with.chars());
        }
        let text: String = text.into_iter().collect();
        if let Err(errors) = parse(&text, "rig.toml", &vehicle()) {
            prop_assert!(!errors.errors.is_empty(), "refused without a reason:\n{text}");
            prop_assert!(errors.render(true).contains("help"));
        }
    }
}
