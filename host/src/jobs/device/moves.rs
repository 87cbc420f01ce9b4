//! How a person moves each kind of sensor, what counts as a movement, and which way it goes when a corner is pushed down.

use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::Pose;
use crate::rig::model::Model;
use crate::rig::{Kind, Sensor};
use crate::vehicle::Vehicle;

/// A hand pulls a wire or moves a target by several times this, m; noise and a frame that is leaned on stay far below.
const LENGTH_M: f64 = 0.015;
/// A link's sensor is turned by hand by several times this, rad.
const ANGLE_RAD: f64 = 0.05;
/// A pull on a load cell, N.
const FORCE_N: f64 = 100.0;
/// A knock on thick metal, m/s², and what turns with it, rad/s.
const KNOCK_M_PER_S2: f64 = 1.5;
const KNOCK_RAD_PER_S: f64 = 0.3;
/// A corner goes down by so much when somebody leans on it, m.
const PUSH_M: f64 = 0.03;

/// What counts as a movement of each channel of a sensor, SI.
pub fn thresholds(sensor: &Sensor) -> Vec<f64> {
    match sensor.kind {
        Kind::DrawWire(_) | Kind::Range(_) => vec![LENGTH_M],
        Kind::Angle(_) => vec![ANGLE_RAD],
        Kind::Force(_) => vec![FORCE_N],
        Kind::Inertial(_) => [[KNOCK_M_PER_S2; 3], [KNOCK_RAD_PER_S; 3]].concat(),
    }
}

/// What to do with a sensor.
pub fn how(kind: &Kind) -> &'static str {
    match kind {
        Kind::DrawWire(_) => "pull its wire out by a hand's width and let it back in",
        Kind::Angle(_) => "turn its magnet or its arm by hand, there and back",
        Kind::Range(_) => "hold something flat before it and take it away",
        Kind::Force(_) => "pull on it and let go",
        Kind::Inertial(_) => "knock a few times on the metal beside it",
    }
}

/// What a sensor's reading changes by when the body's left corner over the axle goes down: on that side the axle comes up to the
/// body, on the other it stays. None for a sensor that reads no scalar of the pose.
pub fn when_the_left_corner_goes_down(sensor: &Sensor, vehicle: &Vehicle) -> Option<f64> {
    let axle = vehicle.axles.get(sensor.axle)?;
    let model = Model::of(&sensor.kind)?;
    let pose = Pose::from_array([0.0, 0.0, 0.5 * PUSH_M, PUSH_M / axle.track_m, 0.0, 0.0]);
    let at = |pose: &Pose| model.value(&PlacedBody::new(pose, axle.centre()));
    Some(at(&pose) - at(&Pose::from_array([0.0; 6])))
}
