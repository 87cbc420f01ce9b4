//! A made-up axle motion with known numbers, and recordings of it by sensors whose errors are drawn from their priors.

use crate::geometry::placed::PlacedBody;
use crate::geometry::{Matrix3, Pose, Vector3};
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::rig::model::Model;
use crate::rig::*;
use crate::run::{Phase, PhaseSpan, Recording, Series, Timing};
use crate::vehicle::numbers::{AxleFacts, Motion};
use crate::vehicle::{Position, TorqueReaction};
use nalgebra::Rotation3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

pub const CENTRE: Vector3<f64> = Vector3::new(0.0, 0.0, 0.46);

pub fn facts() -> AxleFacts {
    AxleFacts {
        position: Position::Rear,
        track_m: 1.6,
        tyre_radius_m: 0.46,
        wheelbase_m: 2.54,
        cg_height_m: 0.81,
        drive_share: 1.0,
        brake_share: 1.0,
        drive_torque: TorqueReaction::Housing,
        brake_torque: TorqueReaction::Housing,
        pinion_rad: None,
        castor_rad: None,
    }
}

/// The motion's law: smooth, of the size that real layouts show, and not a polynomial that a surface could copy exactly.
pub fn pose(heave_m: f64, roll_rad: f64) -> Pose {
    let (h, r) = (heave_m, roll_rad);
    Pose {
        x_m: -0.04 * (2.0 * h).sin() + 0.09 * r * r - 0.3 * h * h,
        y_m: 0.15 * r.sin() + 0.02 * h + 0.1 * r * h,
        z_m: h,
        roll_rad: r,
        pitch_rad: 0.25 * h.sin() - 0.45 * r * r + 0.4 * h * h,
        yaw_rad: 0.06 * (1.1 * r).sin() + 0.1 * r * h + 0.005 * h,
    }
}

/// The motion at ride height, by central differences of the law.
pub fn ride_motion() -> Motion {
    let step = 1e-6;
    let rate = |a: Pose, b: Pose| {
        let (a, b) = (a.to_array(), b.to_array());
        std::array::from_fn(|k| (a[k] - b[k]) / (2.0 * step))
    };
    Motion {
        pose: Pose::default(),
        by_heave: rate(pose(step, 0.0), pose(-step, 0.0)),
        by_roll: rate(pose(0.0, step), pose(0.0, -step)),
    }
}

pub fn reading(range: [f64; 2]) -> Reading {
    Reading {
        scale: Scale::Linear(1.0),
        scale_u: 0.003,
        noise: 3e-4,
        linearity: 0.0,
        hysteresis: 0.0,
        range: Some(range),
        mount_m: 0.002,
        gain: 1.0,
        zero: None,
    }
}

fn wire(name: &str, chassis: [f64; 3], axle: [f64; 3]) -> Sensor {
    Sensor {
        name: name.into(),
        axle: 0,
        kind: Kind::DrawWire(DrawWire {
            chassis: chassis.into(),
            axle: axle.into(),
            reading: reading([0.0, 1.2]),
        }),
        input: None,
        rate_hz: 50.0,
    }
}

fn unit(name: &str, carrier: Carrier, at: [f64; 3]) -> Sensor {
    Sensor {
        name: name.into(),
        axle: 0,
        kind: Kind::Inertial(Inertial {
            carrier,
            at: at.into(),
            axes: Matrix3::identity(),
            heading_u_rad: 3f64.to_radians(),
            scale_u: 0.01,
            accel_bias_u: 0.2,
            gyro_bias_u: 3.5e-4,
            accel_noise: 0.02,
            gyro_noise: 0.002,
            found: UnitFound::default(),
        }),
        input: None,
        rate_hz: 50.0,
    }
}

/// Six wires: two down, two fore and aft, two across; two units where asked.
pub fn rig(units: bool) -> Rig {
    let mut sensors = vec![
        wire("left down", [0.05, 0.50, 1.0], [0.0, 0.62, 0.50]),
        wire("right down", [0.05, -0.50, 1.0], [0.0, -0.62, 0.50]),
        wire("left fore", [0.65, 0.55, 0.48], [0.02, 0.60, 0.42]),
        wire("right fore", [0.65, -0.55, 0.48], [0.02, -0.60, 0.42]),
        wire("across", [-0.10, 0.55, 0.60], [-0.08, -0.35, 0.55]),
        wire("top", [0.60, 0.05, 0.75], [0.03, 0.0, 0.66]),
    ];
    if units {
        sensors.push(unit("chassis unit", Carrier::Chassis, [0.1, 0.1, 0.75]));
        sensors.push(unit("axle unit", Carrier::Axle, [0.0, 0.2, 0.56]));
    }
    Rig { sensors, rate_hz: 50.0, hash: String::new() }
}

/// The test: 5 s still, three bounces of 8 s, each side up a ramp and back.
fn schedule(t: f64) -> (f64, f64, Phase) {
    let tau = std::f64::consts::TAU;
    if t < 5.0 {
        (0.0, 0.0, Phase::Still)
    } else if t < 29.0 {
        let s = t - 5.0;
        (0.09 * (tau * s / 8.0).sin(), 0.02 * (tau * s / 12.0).sin(), Phase::Bounce)
    } else if t < 53.0 {
        let lift = 0.5 - 0.5 * (tau * (t - 29.0) / 24.0).cos();
        (0.07 * lift * lift, 0.26 * lift, Phase::RampLeft)
    } else {
        let lift = 0.5 - 0.5 * (tau * (t - 53.0) / 24.0).cos();
        (0.06 * lift * lift, -0.26 * lift, Phase::RampRight)
    }
}

pub const END_S: f64 = 77.0;

fn chassis_attitude(heave_m: f64, roll_rad: f64) -> Rotation3<f64> {
    Rotation3::from_euler_angles(
        0.45 * roll_rad + 0.01 * heave_m,
        0.2 * roll_rad * roll_rad - 0.15 * heave_m,
        0.02 * roll_rad,
    )
}

/// A recording of the law with errors drawn from the rig's priors; `seed` none = perfect sensors without noise.
pub fn record(rig: &Rig, seed: Option<u64>) -> Recording {
    let mut rng = ChaCha8Rng::seed_from_u64(seed.unwrap_or(0));
    let size = if seed.is_some() { 1.0 } else { 0.0 };
    let mut draw = |sigma: f64| {
        let z: f64 = StandardNormal.sample(&mut rng);
        size * sigma * z
    };
    let mut recording = Recording::empty(rig);
    recording.timing = Timing::Own;
    let count = (END_S * rig.rate_hz) as usize;
    for (index, sensor) in rig.sensors.iter().enumerate() {
        let times: Vec<f64> = (0..count).map(|k| (k as f64 + 0.1 * index as f64) / rig.rate_hz).collect();
        match &sensor.kind {
            Kind::Inertial(unit) => {
                let heading = draw(unit.heading_u_rad);
                let tilt = Rotation3::from_euler_angles(draw(0.05), draw(0.05), 0.0);
                let mount = tilt * Rotation3::from_euler_angles(0.0, 0.0, heading);
                let scale = Vector3::from_fn(|_, _| 1.0 + draw(unit.scale_u));
                let bias = Vector3::from_fn(|_, _| draw(unit.accel_bias_u));
                let channels: Vec<Vec<f64>> = times
                    .iter()
                    .map(|t| {
                        let force = mount.inverse() * specific_force(unit, *t);
                        let force = force.component_mul(&scale) + bias;
                        let noise = Vector3::from_fn(|_, _| draw(unit.accel_noise));
                        let rate = mount.inverse() * rate(unit, *t);
                        [force + noise, rate + Vector3::from_fn(|_, _| draw(unit.gyro_noise))]
                            .iter()
                            .flat_map(|v| v.iter().copied().collect::<Vec<_>>())
                            .collect()
                    })
                    .collect();
                for (c, series) in recording.series[index].iter_mut().enumerate() {
                    *series = Series { t_s: times.clone(), value: channels.iter().map(|v| v[c]).collect() };
                }
            }
            kind => {
                let (Some(mut model), Some(reading)) = (Model::of(kind), sensor.reading()) else { continue };
                for k in 0..3 {
                    model.ends.chassis[k] += draw(reading.mount_m);
                    model.ends.axle[k] += draw(reading.mount_m);
                }
                let (scale, zero) = (1.0 + draw(reading.scale_u), draw(0.01));
                let value = times
                    .iter()
                    .map(|t| {
                        let (h, r, _) = schedule(*t);
                        scale * model.value(&PlacedBody::new(&pose(h, r), CENTRE))
                            + zero
                            + draw(reading.noise)
                    })
                    .collect();
                recording.series[index] = vec![Series { t_s: times, value }];
            }
        }
    }
    recording.phases = phases();
    recording
}

fn phases() -> Vec<PhaseSpan> {
    [
        (Phase::Still, 0.0, 5.0),
        (Phase::Bounce, 5.0, 29.0),
        (Phase::RampLeft, 29.0, 53.0),
        (Phase::RampRight, 53.0, END_S),
    ]
    .map(|(phase, from_s, to_s)| PhaseSpan { phase, from_s, to_s })
    .to_vec()
}

/// Place of a unit and rotation of its carrier in a level frame, at a time.
fn carried(unit: &Inertial, t: f64) -> (Vector3<f64>, Rotation3<f64>) {
    let (h, r, _) = schedule(t);
    let chassis = chassis_attitude(h, r);
    match unit.carrier {
        Carrier::Axle => {
            let body = PlacedBody::new(&pose(h, r), CENTRE);
            let rotation = Rotation3::from_matrix_unchecked(*body.rotation());
            (chassis * body.position(&unit.at), chassis * rotation)
        }
        _ => (chassis * unit.at, chassis),
    }
}

fn specific_force(unit: &Inertial, t: f64) -> Vector3<f64> {
    let d = 1e-3;
    let acceleration = (carried(unit, t + d).0 - carried(unit, t).0 * 2.0 + carried(unit, t - d).0) / (d * d);
    carried(unit, t).1.inverse() * (acceleration + Vector3::new(0.0, 0.0, STANDARD_GRAVITY))
}

fn rate(unit: &Inertial, t: f64) -> Vector3<f64> {
    let d = 1e-4;
    let (before, after) = (carried(unit, t - d).1, carried(unit, t + d).1);
    (before.inverse() * after).scaled_axis() / (2.0 * d)
}
