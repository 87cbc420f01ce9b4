//! Ten broken files, each with the message that it gets: exit status 2, nothing on standard output, the place underlined.

use super::hingeline;
use std::fs;

const VEHICLE: &str = r#"format = 1
name = "Bramble"
[vehicle]
wheelbase = 2540
cg_height = 810
[[axle]]
name = "rear"
position = "rear"
track = 1600
tyre_radius = 460
[[axle.link]]
name = "lower left"
chassis = [950, 360, 500]
axle = [20, 580, 400]
mirror = true
[[axle.link]]
name = "upper left"
chassis = { holes = [[800, 450, 640], [800, 450, 660]], use = 2 }
axle = [30, 120, 620]
mirror = true
"#;

const RIG: &str = r#"format = 1
[[sensor]]
name = "left travel"
kind = "draw-wire"
chassis = [0, 500, 1000]
axle = [0, 620, 460]
"#;

/// A file with one piece of text exchanged.
fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from} is not in the file");
    text.replacen(from, to, 1)
}

/// What standard error says of a vehicle and a rig file, one of which is broken.
fn complaint(command: &[&str], vehicle: &str, rig: &str) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("vehicle.toml"), vehicle).expect("written");
    fs::write(folder.path().join("rig.toml"), rig).expect("written");
    let output = hingeline(folder.path(), command);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty(), "{}", String::from_utf8_lossy(&output.stdout));
    String::from_utf8(output.stderr).expect("UTF-8")
}

macro_rules! broken {
    ($($name:ident: vehicle $from:literal => $to:literal;)*) => {
        $(#[test]
        fn $name() {
            insta::assert_snapshot!(complaint(&["predict", "vehicle.toml"], &changed(VEHICLE, $from, $to), RIG));
        })*
    };
    ($($name:ident: rig $from:literal => $to:literal;)*) => {
        $(#[test]
        fn $name() {
            insta::assert_snapshot!(complaint(&["sensors", "vehicle.toml"], VEHICLE, &changed(RIG, $from, $to)));
        })*
    };
}

broken! {
    vehicle_misspelt_key: vehicle "tyre_radius" => "tire_radius";
    vehicle_missing_key: vehicle "cg_height = 810\n" => "";
    vehicle_tyre_of_no_size: vehicle "tyre_radius = 460" => "tyre_radius = 0";
    vehicle_link_of_no_length: vehicle "axle = [20, 580, 400]" => "axle = [950, 360, 500]";
    vehicle_hole_that_is_not_there: vehicle "use = 2" => "use = 3";
    vehicle_two_of_one_name: vehicle "\"upper left\"" => "\"lower left\"";
    vehicle_mirror_without_a_side: vehicle "\"lower left\"" => "\"lower\"";
    vehicle_newer_format: vehicle "format = 1" => "format = 2";
    vehicle_not_toml: vehicle "chassis = [950, 360, 500]" => "chassis = [950, 360, 500";
}

broken! {
    rig_unknown_kind: rig "draw-wire" => "drawwire";
    rig_missing_end: rig "axle = [0, 620, 460]\n" => "";
    rig_word_for_a_number: rig "[0, 500, 1000]" => "[0, \"left\", 1000]";
}

/// Parallel three- and four-links need a panhard bar or a Watts linkage (common practice, no source).
#[test]
fn nothing_locates_the_axle_sideways() {
    let lowers = changed(VEHICLE, "[20, 580, 400]", "[20, 360, 400]");
    let parallel = changed(
        &lowers,
        "chassis = { holes = [[800, 450, 640], [800, 450, 660]], use = 2 }\naxle = [30, 120, 620]",
        "chassis = [800, 360, 660]\naxle = [30, 360, 620]\njoints = [\"rubber\", \"rubber\"]",
    );
    insta::assert_snapshot!(complaint(&["predict", "vehicle.toml"], &parallel, RIG));
}
