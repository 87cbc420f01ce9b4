//! Every starter parses, is what its word says, and comes with a rig that sees it; and nothing is overwritten.

use super::*;
use crate::design::mechanism::Mechanism;
use crate::files::starters::Layout;
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::Pose;
use crate::rig::model::Model;
use crate::rig::{self, Rig};
use crate::vehicle::{self, Vehicle};
use nalgebra::{DMatrix, RowDVector};

fn starter(layout: Layout) -> (Vehicle, Rig) {
    let vehicle = vehicle::file::parse(&layout.vehicle_text("Thistle"), "vehicle.toml")
        .unwrap_or_else(|e| panic!("{layout:?}\n{}", e.render(false)));
    let rig = rig::file::parse(layout.rig_text(), "rig.toml", &vehicle)
        .unwrap_or_else(|e| panic!("{layout:?}\n{}", e.render(false)));
    (vehicle, rig)
}

#[test]
fn every_starter_parses_and_takes_its_name() {
    for (word, layout) in Layout::WORDS {
        let (vehicle, _) = starter(layout);
        assert_eq!(vehicle.name, "Thistle", "{word}");
        assert_eq!(Layout::parse(word), Some(layout));
        let odd = vehicle::file::parse(&layout.vehicle_text("the \"old\" one\\"), "vehicle.toml").unwrap();
        assert_eq!(odd.name, "the \"old\" one\\");
    }
}

/// What makes each layout that layout.
#[test]
fn every_starter_is_of_its_layout() {
    for (word, layout) in Layout::WORDS {
        let (vehicle, _) = starter(layout);
        let l = &vehicle.axles[0].locating;
        let across = l.links.iter().filter(|link| {
            let span = link.axle.point() - link.chassis.point();
            span.y.abs() > span.x.abs()
        });
        let counts = (l.links.len(), l.wishbones.len(), l.radius_arms.len(), l.watts.len(), across.count());
        let expected = match layout {
            Layout::RadiusArm => (1, 0, 2, 0, 1),
            Layout::ThreeLink => (4, 0, 0, 0, 1),
            Layout::FourLink => (5, 0, 0, 0, 1),
            Layout::TriangulatedFourLink | Layout::DoubleTriangulatedFourLink => (4, 0, 0, 0, 0),
            Layout::WishboneThreeLink => (2, 1, 0, 0, 0),
            Layout::RadiusArmWatts => (0, 0, 2, 1, 0),
        };
        assert_eq!(counts, expected, "{word}");
        if layout == Layout::FourLink {
            assert!(
                l.links.iter().all(|link| link.joints.is_some()),
                "a parallel four-link needs its joints"
            );
        }
    }
}

/// The six wires alone see all six coordinates: to 4 mm and 1.7° at worst for wires placed to 2 mm.
#[test]
fn every_starters_wires_see_the_whole_pose() {
    const WORST_TRANSLATION_M: f64 = 0.004;
    const WORST_ROTATION_RAD: f64 = 0.03;
    for (word, layout) in Layout::WORDS {
        let (vehicle, rig) = starter(layout);
        let body = PlacedBody::new(&Pose::default(), vehicle.axles[0].centre());
        let rows: Vec<RowDVector<f64>> = rig
            .sensors
            .iter()
            .filter_map(|sensor| {
                let (_, gradient) = Model::of(&sensor.kind)?.value_and_gradient(&body);
                let reading = sensor.reading()?;
                Some(RowDVector::from_iterator(6, gradient.iter().map(|g| g / reading.mount_m)))
            })
            .collect();
        assert_eq!(rows.len(), 6, "{word}");
        let information = DMatrix::from_rows(&rows);
        let covariance = (information.transpose() * &information).try_inverse().expect("all six are seen");
        for k in 0..6 {
            let worst = if k < 3 { WORST_TRANSLATION_M } else { WORST_ROTATION_RAD };
            assert!(covariance[(k, k)].sqrt() < worst, "{word}: {k}: {}", covariance[(k, k)].sqrt());
        }
    }
}

/// Chassis ends within half a metre or so of the axle's own end: a frame twists.
#[test]
fn every_starters_wires_are_short() {
    const LONGEST_M: f64 = 0.85;
    for (_, layout) in Layout::WORDS {
        let (_, rig) = starter(layout);
        for sensor in &rig.sensors {
            if let rig::Kind::DrawWire(wire) = &sensor.kind {
                assert!((wire.chassis - wire.axle).norm() < LONGEST_M, "{}", sensor.name);
                assert!(wire.chassis.x.abs() <= 0.5, "{}", sensor.name);
            }
        }
    }
}

#[test]
fn the_files_are_written_and_load() {
    let dir = tempfile::tempdir().unwrap();
    for (word, _) in Layout::WORDS {
        let made = run(word, word, dir.path()).unwrap();
        let vehicle = vehicle::file::load(&made.vehicle_file).unwrap();
        rig::file::load(&made.rig_file, &vehicle).unwrap();
        assert_eq!((vehicle.name.as_str(), made.layout), (word, word));
        assert_eq!(made.vehicle_file, dir.path().join(word).join("vehicle.toml"));
    }
}

#[test]
fn nothing_is_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("Thistle");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(folder.join("rig.toml"), "mine").unwrap();
    let error = run("three-link", "Thistle", dir.path()).unwrap_err();
    assert!(matches!(error, NewError::Already(_)), "{error}");
    assert!(!folder.join("vehicle.toml").exists(), "half a starter was written");
    assert_eq!(std::fs::read_to_string(folder.join("rig.toml")).unwrap(), "mine");
}

#[test]
fn wrong_words_are_explained() {
    let dir = tempfile::tempdir().unwrap();
    let said = |layout: &str, name: &str| {
        let error = run(layout, name, dir.path()).unwrap_err();
        assert_eq!(error.status(), Status::BadInput);
        format!("{error}\n{}", error.hint().unwrap_or_default())
    };
    insta::assert_snapshot!(said("threelink", "Thistle"), @r#"
    there is no layout called "threelink"
    did you mean three-link?
    "#);
    insta::assert_snapshot!(said("leaf", "Thistle"), @r#"
    there is no layout called "leaf"
    the layouts are: radius-arm, three-link, four-link, triangulated-four-link, double-triangulated-four-link, wishbone-three-link, radius-arm-watts
    "#);
    for name in ["", ".", "..", "a/b", "a\\b", ".hidden", "-x", "x.", "a\nb", "a:b", &"x".repeat(300)] {
        assert!(said("three-link", name).contains("use letters"), "{name:?}");
    }
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
}

/// A starter predicts as it stands: nothing is loose, its axle reaches every end of its own sweep, and no radius arm spins
/// about its own length on the way.
#[test]
fn every_starter_reaches_the_ends_of_its_sweep() {
    /// An arm leans with its axle and a little by its bushes; one that spins turns by a radian.
    const ARM_LEAN_RAD: f64 = 0.2;
    for (word, layout) in Layout::WORDS {
        let (vehicle, _) = starter(layout);
        let mechanism = Mechanism::new(&vehicle, 0).unwrap_or_else(|e| panic!("{word}: {e}"));
        let flexes = matches!(layout, Layout::FourLink | Layout::RadiusArm | Layout::RadiusArmWatts);
        assert_eq!(mechanism.redundant() > 0, flexes, "{word}");
        assert_eq!(mechanism.mobility(), if flexes { 1 } else { 2 }, "{word}");
        let sweep = vehicle.axles[0].sweep;
        for (heave_m, roll_rad) in [
            (sweep.up_m, 0.0),
            (-sweep.down_m, 0.0),
            (0.0, sweep.roll_rad),
            (0.0, -sweep.roll_rad),
            (-0.5 * sweep.down_m, sweep.roll_rad),
        ] {
            let state = mechanism.solve(heave_m, roll_rad).unwrap_or_else(|e| panic!("{word}: {e}"));
            for arm in 0..vehicle.axles[0].locating.radius_arms.len() {
                let lean = state.arm_pose(arm).unwrap().roll_rad - roll_rad;
                assert!(lean.abs() < ARM_LEAN_RAD, "{word}: arm {arm} leans {lean} at {heave_m}, {roll_rad}");
            }
        }
    }
}

#[test]
fn no_wire_of_a_starter_runs_out_of_its_range() {
    for (word, layout) in Layout::WORDS {
        let (vehicle, rig) = starter(layout);
        let (mechanism, axle) = (Mechanism::new(&vehicle, 0).unwrap(), &vehicle.axles[0]);
        let sweep = axle.sweep;
        let ends = [
            (0.0, 0.0),
            (sweep.up_m, 0.0),
            (-sweep.down_m, 0.0),
            (0.0, sweep.roll_rad),
            (0.0, -sweep.roll_rad),
        ];
        for (heave_m, roll_rad) in ends {
            let body = PlacedBody::new(&mechanism.solve(heave_m, roll_rad).unwrap().pose, axle.centre());
            for sensor in &rig.sensors {
                let range = sensor.reading().and_then(|r| r.range);
                if let (Some(model), Some([low, high])) = (Model::of(&sensor.kind), range) {
                    let length_m = model.value(&body);
                    assert!(low < length_m && length_m < high, "{word}: {} reads {length_m} m", sensor.name);
                }
            }
        }
    }
}
