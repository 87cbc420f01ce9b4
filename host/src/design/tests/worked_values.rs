//! Worked values of the own cases, to the last digit printed. Source: computed by two independent programs (least squares;
//! Newton's method on SE(3)), lengths confirmed with a general-purpose multibody library.

use crate::design::cases;
use crate::design::{Mechanism, State};
use crate::geometry::Vector3;
use crate::vehicle::Vehicle;
use crate::vehicle::numbers::Key;

/// One unit in the last printed digit, and a little for the printing itself.
const LAST_DIGIT: f64 = 1.01;

/// Compares with a printed value, whose digits say how exact it is.
#[track_caller]
fn same(what: &str, actual: f64, printed: &str) {
    let expected: f64 = printed.replace('−', "-").parse().unwrap();
    let decimals = printed.split_once('.').map_or(0, |(_, d)| d.len());
    let tolerance = LAST_DIGIT * 0.1_f64.powi(decimals as i32);
    assert!((actual - expected).abs() <= tolerance, "{what}: {actual} instead of {printed}");
}

/// Printed with this many significant digits in all.
#[track_caller]
fn same_six(what: &str, actual: f64, printed: &str) {
    let expected: f64 = printed.replace('−', "-").parse().unwrap();
    // Six significant digits: one unit of the last is at most 1e-5 of the value, rounded to the decimals printed.
    same(what, actual, printed);
    assert!(
        (actual - expected).abs() <= 1e-5 * expected.abs() + 1e-12,
        "{what}: {actual} instead of {printed}"
    );
}

fn mechanism(vehicle: &Vehicle) -> Mechanism {
    Mechanism::new(vehicle, 0).unwrap()
}

#[test]
fn numbers_at_ride_height() {
    let rows = [
        ("T", cases::t(), "3.9690, 0.8246, -0.20777, 65.1514, 0.6108, 0.02137, 0.02138"),
        ("S", cases::s(), "3.0171, 0.7176, -0.23784, 74.5826, 0.6559, 0.10488, 0.10526"),
        ("W", cases::w(), "3.1706, 0.7338, -0.23142, 72.5691, 0.6368, 0.10488, 0.10526"),
        ("H", cases::h(), "-3.9843, 0.8194, 0.20566, 64.4900, 0.5736, -0.09281, -0.09308"),
        ("P", cases::p(), "-3.8803, 0.8085, 0.20835, 65.3337, 0.5732, -0.07905, -0.07921"),
    ];
    for (case, vehicle, printed) in rows {
        let m = mechanism(&vehicle);
        let n = m.numbers(m.ride());
        let anti = n.get(Key::AntiSquat).or(n.get(Key::AntiLiftDrive));
        let actual = [
            n.get(Key::SideViewInstantCentreX),
            n.get(Key::SideViewInstantCentreZ),
            n.get(Key::ContactForwardPerHeave),
            anti,
            n.get(Key::RollCentreZ),
            n.get(Key::RollAxisRise),
            n.get(Key::RollSteer),
        ];
        for (k, (value, printed)) in actual.iter().zip(printed.split(", ")).enumerate() {
            same(&format!("{case} column {k}"), value.unwrap(), printed);
        }
    }
}

/// Heave m, roll rad | x mm, y mm | pitch °, yaw ° | axle steer ° | E J.
const STATES: &str = "\
T | 0.08, 0 | -3.741, 0.000 | 1.3289, 0.0000 | 0.0000 | 0.000
T | 0, 0.2 | 4.260, 30.029 | -1.0059, 0.0786 | 0.2825 | 0.000
T | -0.06, 0.3 | 17.207, 43.475 | -3.1181, 0.7177 | 1.6817 | 0.000
S | 0.08, 0 | -3.275, 0.000 | 1.6855, 0.0000 | 0.0000 | 0.000
S | 0, 0.2 | 4.471, 39.094 | -1.2679, 1.0214 | 1.2784 | 0.000
S | -0.06, 0.3 | 17.356, 57.290 | -3.9926, 1.9805 | 3.2144 | 0.000
W | 0.08, 0 | -3.201, 0.000 | 1.7566, 0.0000 | 0.0000 | 0.000
W | 0, 0.2 | 4.048, 35.323 | -1.4779, 0.9737 | 1.2732 | 0.000
W | -0.06, 0.3 | 16.607, 52.615 | -4.3237, 1.8611 | 3.1971 | 0.000
H | 0.08, 0 | 3.662, -5.434 | -1.3007, -0.0217 | -0.0217 | 0.000
H | 0, 0.2 | -4.603, 18.640 | 0.0098, -1.1237 | -1.1257 | 0.000
H | -0.06, 0.3 | -17.895, 44.748 | 1.9494, -2.3073 | -2.9102 | 0.000
P | 0.08, 0 | 3.643, -5.430 | -1.3194, -0.0261 | -0.0261 | 0.017
P | 0, 0.2 | -3.908, 18.478 | 0.6220, -0.8428 | -0.9689 | 20.318
P | -0.06, 0.3 | -17.045, 44.537 | 2.6221, -1.9045 | -2.7152 | 27.811";

#[test]
fn states_of_links_and_wishbones() {
    for line in STATES.lines() {
        let (case, rest) = line.split_once(" | ").unwrap();
        let vehicle = match case {
            "T" => cases::t(),
            "S" => cases::s(),
            "W" => cases::w(),
            "H" => cases::h(),
            _ => cases::p(),
        };
        let cells: Vec<&str> = rest.split(" | ").flat_map(|c| c.split(", ")).collect();
        let imposed: Vec<f64> = cells[..2].iter().map(|c| c.parse().unwrap()).collect();
        let s = mechanism(&vehicle).solve(imposed[0], imposed[1]).unwrap();
        let p = &s.pose;
        assert_eq!((p.z_m, p.roll_rad), (imposed[0], imposed[1]));
        let degrees = [p.pitch_rad, p.yaw_rad, p.axle_steer_rad()].map(f64::to_degrees);
        let actual = [1e3 * p.x_m, 1e3 * p.y_m, degrees[0], degrees[1], degrees[2], s.strain_energy_j];
        for (value, printed) in actual.iter().zip(&cells[2..]) {
            same(line, *value, printed);
        }
    }
}

#[test]
fn roll_moments_of_the_parallel_four_link() {
    let m = mechanism(&cases::p());
    for ((heave, roll), printed) in
        [(0.08, 0.0), (0.0, 0.2), (-0.06, 0.3)].into_iter().zip(["-7.80020", "191.537", "151.452"])
    {
        same_six("P", m.solve(heave, roll).unwrap().roll_moment_nm, printed);
    }
}

#[test]
fn links_keep_their_lengths_to_rounding() {
    /// Lengths of a metre carry 53 bits: 1.1e-16, and a few roundings on the way.
    const ROUNDING_M: f64 = 1e-15;
    for vehicle in [cases::t(), cases::s(), cases::h()] {
        let m = mechanism(&vehicle);
        let axle = &vehicle.axles[0];
        let s = m.solve(-0.06, 0.3).unwrap();
        for link in &axle.locating.links {
            let c = axle.centre();
            let end = s.pose.rotation() * (link.axle.point() - c) + c + s.pose.translation();
            let length: f64 = (end - link.chassis.point()).norm();
            assert!((length - link.drawn_length_m()).abs() <= ROUNDING_M, "{}: {length}", link.name);
        }
    }
}

fn ride_row(vehicle: &Vehicle) -> [f64; 7] {
    let m = mechanism(vehicle);
    let n = m.numbers(m.ride());
    [
        Key::SideViewInstantCentreX,
        Key::SideViewInstantCentreZ,
        Key::ContactForwardPerHeave,
        Key::RollCentreZ,
        Key::RollAxisRise,
        Key::RollSteer,
        Key::LateralPerHeave,
    ]
    .map(|k| n.get(k).unwrap())
}

#[test]
fn radius_arms_at_ride_height() {
    let row = ride_row(&cases::r(1.0));
    let actual = [row[0], row[1], row[2], row[4], row[3], row[5], row[6]];
    let printed = ["-0.950261", "0.520037", "0.547257", "-0.0400415", "0.584040", "-0.0400629", "-0.105848"];
    for (value, printed) in actual.iter().zip(printed) {
        same_six("R", *value, printed);
    }
}

#[test]
fn radius_arms_bind() {
    let m = mechanism(&cases::r(1.0));
    for (heave, roll, printed) in [
        (0.08, 0.0, "1.67674, -3.71169, -4.81767, -0.0198256, 0.888045, -12.5214"),
        (0.0, 0.2, "-3.47287, 20.6671, 0.280280, -0.447469, 1127.87, 11098.0"),
        (-0.06, 0.3, "-14.1910, 47.6506, 4.59151, -0.401098, 2528.30, 16187.2"),
    ] {
        let s = m.solve(heave, roll).unwrap();
        let p = &s.pose;
        let actual = [
            1e3 * p.x_m,
            1e3 * p.y_m,
            p.pitch_rad.to_degrees(),
            p.yaw_rad.to_degrees(),
            s.strain_energy_j,
            s.roll_moment_nm,
        ];
        for (value, printed) in actual.iter().zip(printed.split(", ")) {
            same_six("R", *value, printed);
        }
    }
    same("R", m.solve(0.0, 0.05).unwrap().roll_moment_nm, "2861.4");
}

#[test]
fn watts_at_ride_height() {
    let row = ride_row(&cases::q());
    let actual = [row[0], row[1], row[2], row[3], row[4], row[5]];
    let printed = ["4.09718", "0.831282", "-0.202891", "0.510526", "0.104877", "0.105263"];
    for (value, printed) in actual.iter().zip(printed) {
        same_six("Q", *value, printed);
    }
}

#[test]
fn watts_states() {
    let vehicle = cases::q();
    let m = mechanism(&vehicle);
    let pivot_y = |s: &State| {
        let c = vehicle.axles[0].centre();
        (s.pose.rotation() * (Vector3::new(-0.10, 0.0, 0.50) - c) + c + s.pose.translation()).y
    };
    for (heave, roll, printed) in [
        (0.08, 0.0, "-3.67368, -0.0444438, 1.30446, 0.000000, -3.55402, -0.0444438"),
        (0.0, 0.2, "4.78804, 10.1411, 0.0847962, 1.25840, -11.4708, 0.00135326"),
        (-0.06, 0.3, "17.6157, 16.3368, -1.55359, 2.61335, -19.5987, -0.0768251"),
    ] {
        let s = m.solve(heave, roll).unwrap();
        let p = &s.pose;
        let angles = [p.pitch_rad, p.yaw_rad, s.crank_rad(0).unwrap()].map(f64::to_degrees);
        let actual = [1e3 * p.x_m, 1e3 * p.y_m, angles[0], angles[1], angles[2], 1e3 * pivot_y(&s)];
        for (value, printed) in actual.iter().zip(printed.split(", ")) {
            same(&format!("Q {heave} {roll}"), *value, printed);
        }
    }
}
