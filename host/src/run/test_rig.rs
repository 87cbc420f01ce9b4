//! A small rig for the tests of this folder: a wire on each side, an angle sensor, a unit on the axle and on the chassis.

use crate::geometry::placed::PlacedBody;
use crate::geometry::{Matrix3, Pose, Vector3};
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::rig::model::Model;
use crate::rig::{AngleSensor, Carrier, DrawWire, Inertial, Kind, Reading, Rig, Scale, Sensor, UnitFound};

/// The axle's centre, m.
pub const CENTRE: Vector3<f64> = Vector3::new(0.0, 0.0, 0.46);

/// One count of the angle sensor, rad.
pub const COUNT_RAD: f64 = std::f64::consts::TAU / 4096.0;

fn reading(scale: f64, noise: f64, range: Option<[f64; 2]>) -> Reading {
    Reading {
        scale: Scale::Linear(scale),
        scale_u: 0.003,
        noise,
        linearity: 0.001,
        hysteresis: 0.001,
        range,
        mount_m: 0.003,
        gain: 1.0,
        zero: None,
    }
}

fn sensor(name: &str, kind: Kind) -> Sensor {
    Sensor { name: name.into(), axle: 0, kind, input: None, rate_hz: 100.0 }
}

fn wire(name: &str, side: f64) -> Sensor {
    let reading = reading(1e-3, 3e-4, Some([0.0, 0.8]));
    sensor(
        name,
        Kind::DrawWire(DrawWire {
            chassis: Vector3::new(0.0, side * 0.5, 1.0),
            axle: Vector3::new(0.0, side * 0.62, 0.46),
            reading,
        }),
    )
}

fn unit(name: &str, carrier: Carrier) -> Sensor {
    sensor(
        name,
        Kind::Inertial(Inertial {
            carrier,
            at: Vector3::new(0.0, 0.2, 0.5),
            axes: Matrix3::identity(),
            heading_u_rad: 0.05,
            scale_u: 0.01,
            accel_bias_u: 0.2,
            gyro_bias_u: 3e-4,
            accel_noise: 0.02,
            gyro_noise: 0.002,
            found: UnitFound::default(),
        }),
    )
}

/// Two wires only: `left`, `right`, in mm.
pub fn two_wires() -> Rig {
    Rig { sensors: vec![wire("left", 1.0), wire("right", -1.0)], rate_hz: 100.0, hash: "rig".into() }
}

/// Two wires, an angle sensor `arm` (4096 counts a turn) and two inertial units, `axle unit` and `frame unit`.
pub fn whole() -> Rig {
    let mut rig = two_wires();
    let arm = AngleSensor {
        pivot: Vector3::new(0.95, 0.36, 0.5),
        axle: Vector3::new(0.02, 0.58, 0.4),
        axis: Vector3::y(),
        reading: reading(COUNT_RAD, 0.002, None),
    };
    rig.sensors.push(sensor("arm", Kind::Angle(arm)));
    rig.sensors.push(unit("axle unit", Carrier::Axle));
    rig.sensors.push(unit("frame unit", Carrier::Chassis));
    rig
}

/// What each channel of each sensor reads at a pose, in the unit of a table's column; the chassis stays level.
pub fn readings(rig: &Rig, pose: &Pose) -> Vec<Vec<f64>> {
    let body = PlacedBody::new(pose, CENTRE);
    let up = Vector3::new(0.0, 0.0, STANDARD_GRAVITY);
    rig.sensors
        .iter()
        .map(|s| match (&s.kind, Model::of(&s.kind), s.reading()) {
            (_, Some(model), Some(reading)) => vec![reading.scale.invert(model.value(&body))],
            (Kind::Inertial(unit), ..) => {
                let turned =
                    if unit.carrier == Carrier::Axle { *body.rotation() } else { Matrix3::identity() };
                let force = turned.transpose() * up;
                vec![force.x, force.y, force.z, 0.0, 0.0, 0.0]
            }
            _ => vec![0.0],
        })
        .collect()
}
