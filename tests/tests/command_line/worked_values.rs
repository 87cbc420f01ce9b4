//! Worked values of four layouts through `predict --states --json`. They come from two independent programs (least squares;
//! Newton on SE(3)) that agree to every digit printed; computed, not published.

use super::json;
use serde_json::Value;
use std::fmt::Write;

struct Case {
    name: &'static str,
    position: &'static str,
    elements: &'static [Element],
    /// Instant centre x, z; contact path; anti-squat or anti-lift under drive; roll centre; roll axis rise; roll steer.
    ride: [(&'static str, f64, f64); 7],
    /// (heave m, roll rad) → x mm, y mm, pitch °, yaw °, axle steer °.
    states: [([f64; 2], [f64; 5]); 3],
}

enum Element {
    /// Chassis, axle, whether the right side has one too.
    Link(&'static str, [f64; 3], [f64; 3], bool),
    /// Apex on the axle, legs on the chassis.
    Wishbone([f64; 3], [[f64; 3]; 2]),
}
use Element::{Link, Wishbone};

/// One in the last printed digit, and half a digit for the table's own rounding.
const LAST_DIGIT: f64 = 1.0;

const S_LOWER: Element = Link("lower left", [0.95, 0.45, 0.50], [0.0, 0.45, 0.40], true);

fn ride(anti: &'static str, values: [f64; 7]) -> [(&'static str, f64, f64); 7] {
    let [x, z, s, percent, roll_centre, rise, steer] = values;
    [
        ("side_view_instant_centre_x_m", x, 1e-4),
        ("side_view_instant_centre_z_m", z, 1e-4),
        ("contact_forward_per_heave", s, 1e-5),
        (anti, percent, 1e-4),
        ("roll_centre_z_m", roll_centre, 1e-4),
        ("roll_axis_rise_rad", rise, 1e-5),
        ("roll_steer_rad_per_rad", steer, 1e-5),
    ]
}

fn cases() -> [Case; 4] {
    const REAR: &str = "anti_squat_percent";
    const FRONT: &str = "anti_lift_drive_percent";
    [
        Case {
            name: "T",
            position: "rear",
            elements: &[
                Link("lower left", [0.95, 0.36, 0.50], [0.02, 0.58, 0.40], true),
                Link("upper left", [0.80, 0.45, 0.66], [0.03, 0.12, 0.62], true),
            ],
            ride: ride(REAR, [3.9690, 0.8246, -0.20777, 65.1514, 0.6108, 0.02137, 0.02138]),
            states: [
                ([0.08, 0.0], [-3.741, 0.000, 1.3289, 0.0000, 0.0000]),
                ([0.0, 0.2], [4.260, 30.029, -1.0059, 0.0786, 0.2825]),
                ([-0.06, 0.3], [17.207, 43.475, -3.1181, 0.7177, 1.6817]),
            ],
        },
        Case {
            name: "S",
            position: "rear",
            elements: &[S_LOWER, Link("upper left", [0.80, 0.42, 0.66], [0.03, 0.10, 0.64], true)],
            ride: ride(REAR, [3.0171, 0.7176, -0.23784, 74.5826, 0.6559, 0.10488, 0.10526]),
            states: [
                ([0.08, 0.0], [-3.275, 0.000, 1.6855, 0.0000, 0.0000]),
                ([0.0, 0.2], [4.471, 39.094, -1.2679, 1.0214, 1.2784]),
                ([-0.06, 0.3], [17.356, 57.290, -3.9926, 1.9805, 3.2144]),
            ],
        },
        Case {
            name: "W",
            position: "rear",
            elements: &[S_LOWER, Wishbone([0.03, 0.0, 0.64], [[0.70, 0.40, 0.66], [0.70, -0.40, 0.66]])],
            ride: ride(REAR, [3.1706, 0.7338, -0.23142, 72.5691, 0.6368, 0.10488, 0.10526]),
            states: [
                ([0.08, 0.0], [-3.201, 0.000, 1.7566, 0.0000, 0.0000]),
                ([0.0, 0.2], [4.048, 35.323, -1.4779, 0.9737, 1.2732]),
                ([-0.06, 0.3], [16.607, 52.615, -4.3237, 1.8611, 3.1971]),
            ],
        },
        Case {
            name: "H",
            position: "front",
            elements: &[
                Link("lower left", [-0.95, 0.42, 0.50], [0.0, 0.45, 0.40], true),
                Link("upper left", [-0.80, 0.30, 0.66], [0.03, 0.33, 0.62], false),
                Link("panhard bar", [0.05, 0.45, 0.62], [0.08, -0.42, 0.52], false),
            ],
            ride: ride(FRONT, [-3.9843, 0.8194, 0.20566, 64.4900, 0.5736, -0.09281, -0.09308]),
            states: [
                ([0.08, 0.0], [3.662, -5.434, -1.3007, -0.0217, -0.0217]),
                ([0.0, 0.2], [-4.603, 18.640, 0.0098, -1.1237, -1.1257]),
                ([-0.06, 0.3], [-17.895, 44.748, 1.9494, -2.3073, -2.9102]),
            ],
        },
    ]
}

/// The case as a vehicle file, in mm.
fn vehicle(case: &Case) -> String {
    let mm = |p: &[f64; 3]| format!("[{:.1}, {:.1}, {:.1}]", p[0] * 1e3, p[1] * 1e3, p[2] * 1e3);
    let mut text = format!(
        "format = 1\nname = \"{}\"\n[vehicle]\nwheelbase = 2540\ncg_height = 810\n[[axle]]\nname = \"axle\"\nposition = \"{}\"\ntrack = 1600\ntyre_radius = 460\ndrive_share = 1.0\n",
        case.name, case.position
    );
    for element in case.elements {
        match element {
            Link(name, chassis, axle, mirror) => {
                let mirror = if *mirror { "mirror = true\n" } else { "" };
                let _ = write!(
                    text,
                    "[[axle.link]]\nname = \"{name}\"\nchassis = {}\naxle = {}\n{mirror}",
                    mm(chassis),
                    mm(axle)
                );
            }
            Wishbone(apex, [left, right]) => {
                let _ = write!(
                    text,
                    "[[axle.wishbone]]\nname = \"upper wishbone\"\napex_on = \"axle\"\napex = {}\nlegs = [{}, {}]\n",
                    mm(apex),
                    mm(left),
                    mm(right)
                );
            }
        }
    }
    text
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} is {}", value[key]))
}

#[test]
fn every_printed_digit_of_four_layouts() {
    let folder = tempfile::tempdir().expect("a folder");
    for case in cases() {
        std::fs::write(folder.path().join("vehicle.toml"), vehicle(&case)).expect("written");
        let rows: Vec<String> = case.states.iter().map(|([h, r], _)| format!("{h},{r}")).collect();
        let table = format!("heave_m,roll_rad\n{}\n", rows.join("\n"));
        std::fs::write(folder.path().join("states.csv"), table).expect("written");
        let found = json(folder.path(), &["predict", "vehicle.toml", "--states", "states.csv", "--json"]);
        let axle = &found["vehicles"][0]["axles"][0];
        assert_eq!(axle["mobility"], 2, "{}", case.name);
        assert_eq!(axle["redundant"], 0, "{}", case.name);
        for (key, wanted, digit) in case.ride {
            let off = (number(&axle["ride"], key) - wanted).abs();
            assert!(off <= LAST_DIGIT * digit, "{} {key}: off by {off}", case.name);
        }
        for (state, (at, wanted)) in axle["states"].as_array().expect("states").iter().zip(case.states) {
            let degrees = 180.0 / std::f64::consts::PI;
            let keys = [
                ("x_m", 1e3, 1e-3),
                ("y_m", 1e3, 1e-3),
                ("pitch_rad", degrees, 1e-4),
                ("yaw_rad", degrees, 1e-4),
                ("axle_steer_rad", degrees, 1e-4),
            ];
            for ((key, scale, digit), wanted) in keys.into_iter().zip(wanted) {
                let off = (number(state, key) * scale - wanted).abs();
                assert!(off <= LAST_DIGIT * digit, "{} at {at:?} {key}: off by {off}", case.name);
            }
            assert!(number(state, "strain_energy_j").abs() < 1e-9, "{} at {at:?}", case.name);
        }
    }
}
