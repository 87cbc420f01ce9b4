//! What each sensor reads at a time: the rig's own models at the true pose, with the errors that real sensors have.
//!
//! Every error is drawn once, from the rig file's own statement of how well the thing is known; a perfect rig draws none.

use super::error::VirtualRigError;
use super::procedure::{Held, Procedure};
use super::vehicle_on_ramp::{Stance, VehicleOnRamp};
use crate::geometry::placed::PlacedBody;
use crate::geometry::{Matrix3, Vector3};
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::rig::model::Model;
use crate::rig::{Carrier, Inertial, Kind, Reading, Rig, Scale, Sensor};
use nalgebra::Rotation3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, Uniform};

/// A unit is clipped on by eye: standard deviation of its tilt about x and y, rad.
const TILT_U_RAD: f64 = 0.03;
/// Bias of a gyro as it comes, one standard deviation, rad/s: 1 °/s.
const GYRO_BIAS_RAD_PER_S: f64 = std::f64::consts::PI / 180.0;
/// Zero of a wire's drum and of a range finder, one standard deviation, m.
const LENGTH_ZERO_M: f64 = 0.01;
/// An amplifier is trimmed to read a little above nothing where nothing pulls: no more than this, N.
const PULL_ZERO_N: f64 = 30.0;
/// A magnet sits at any angle within this, rad; the zero of the still takes it out.
const MAGNET_ZERO_RAD: f64 = 1.0;
/// Time step of the differences that give rates and accelerations from places, s: rounding 1e-9 m/s², and far shorter than
/// any move.
const STEP_S: f64 = 1e-3;

/// Draws numbers; a perfect one draws zeros.
#[derive(Debug, Clone)]
struct Dice {
    rng: ChaCha8Rng,
    perfect: bool,
}

impl Dice {
    fn normal(&mut self, sigma: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.rng);
        if self.perfect { 0.0 } else { sigma * z }
    }

    /// Evenly between −1 and 1.
    fn even(&mut self) -> f64 {
        let between = Uniform::new_inclusive(-1.0, 1.0).map_or(0.0, |u| u.sample(&mut self.rng));
        if self.perfect { 0.0 } else { between }
    }

    fn vector(&mut self, sigma: f64) -> Vector3<f64> {
        Vector3::from_fn(|_, _| self.normal(sigma))
    }
}

/// What a scalar sensor reads.
#[derive(Debug, Clone)]
enum Sensed {
    /// A scalar of the axle's pose.
    Pose(Model),
    /// How hard the axle is pulled.
    Pull,
}

/// A scalar sensor as it really is.
#[derive(Debug, Clone)]
struct TrueScalar {
    axle: usize,
    sensed: Sensed,
    reading: Reading,
    scale: f64,
    zero: f64,
    /// Departure from a straight line: `amplitude·sin(2π·value/span + phase)`.
    bow: f64,
    bow_span: f64,
    bow_phase: f64,
    /// Half the width of its hysteresis loop, and where in it the test finds the sensor, −1…1.
    half_loop: f64,
    start: f64,
    /// Where the hysteresis left it.
    dragged: Option<f64>,
    dice: Dice,
}

impl TrueScalar {
    fn new(sensor: &Sensor, sensed: Sensed, reading: &Reading, mut dice: Dice) -> Self {
        let mut sensed = sensed;
        if let Sensed::Pose(model) = &mut sensed {
            model.ends.chassis += dice.vector(reading.mount_m);
            model.ends.axle += dice.vector(reading.mount_m);
        }
        let zero = match (&sensor.kind, &reading.scale) {
            (Kind::Angle(_), _) => MAGNET_ZERO_RAD * dice.even(),
            (Kind::Force(_), _) => PULL_ZERO_N * dice.even().abs(),
            // A table of lengths was made with the sensor in place: it has no zero of its own.
            (_, Scale::Points(_)) => 0.0,
            _ => dice.normal(LENGTH_ZERO_M),
        };
        let span = reading.range.map_or(1.0, |[low, high]| high - low);
        Self {
            axle: sensor.axle,
            scale: 1.0 + dice.normal(reading.scale_u),
            zero,
            bow: reading.linearity * dice.even(),
            bow_span: span,
            bow_phase: std::f64::consts::PI * dice.even(),
            half_loop: 0.5 * reading.hysteresis * dice.even().abs(),
            start: dice.even(),
            sensed,
            reading: reading.clone(),
            dragged: None,
            dice,
        }
    }

    /// The reading at `t_s` of the test, SI, within the sensor's range; times must rise, for the hysteresis.
    fn read(&mut self, vehicle: &VehicleOnRamp, t_s: f64) -> f64 {
        let value = match &self.sensed {
            Sensed::Pose(model) => {
                let pose = vehicle.at(t_s).pose(self.axle);
                model.value(&PlacedBody::new(&pose, vehicle.centre(self.axle)))
            }
            Sensed::Pull => vehicle.pull_n(self.axle, t_s),
        };
        self.feel(value)
    }

    /// The reading at a true value.
    fn feel(&mut self, value: f64) -> f64 {
        let bow = self.bow * (std::f64::consts::TAU * value / self.bow_span + self.bow_phase).sin();
        let felt = self.scale * value + self.zero + bow;
        let found = felt + self.start * self.half_loop;
        let held = self.dragged.unwrap_or(found).clamp(felt - self.half_loop, felt + self.half_loop);
        self.dragged = Some(held);
        let noisy = held + self.dice.normal(self.reading.noise);
        self.reading.range.map_or(noisy, |[low, high]| noisy.clamp(low, high))
    }
}

/// An inertial unit as it really is.
#[derive(Debug, Clone)]
struct TrueUnit {
    axle: usize,
    unit: Inertial,
    /// From the sensor's axes to the carrier's, mounting errors included.
    mounting: Matrix3<f64>,
    accel_scale: Vector3<f64>,
    accel_bias: Vector3<f64>,
    gyro_bias: Vector3<f64>,
    dice: Dice,
}

impl TrueUnit {
    fn new(sensor: &Sensor, unit: &Inertial, mut dice: Dice) -> Self {
        let tilt = Rotation3::from_euler_angles(dice.normal(TILT_U_RAD), dice.normal(TILT_U_RAD), 0.0);
        let heading = Rotation3::from_euler_angles(0.0, 0.0, dice.normal(unit.heading_u_rad));
        Self {
            axle: sensor.axle,
            unit: unit.clone(),
            mounting: (heading * tilt).matrix() * unit.axes,
            accel_scale: dice.vector(unit.scale_u).add_scalar(1.0),
            accel_bias: dice.vector(unit.accel_bias_u),
            gyro_bias: dice.vector(GYRO_BIAS_RAD_PER_S),
            dice,
        }
    }

    /// Place of the unit in the level frame, m, and the rotation from its carrier to there. A knuckle turns about its kingpin as the
    /// drag link bids it; where none is drawn it counts as the axle.
    fn carried(&self, vehicle: &VehicleOnRamp, stance: &Stance) -> (Vector3<f64>, Matrix3<f64>) {
        match self.unit.carrier {
            Carrier::Chassis => (vehicle.place(stance, self.axle, &self.unit.at), stance.chassis.rotation()),
            Carrier::Axle | Carrier::KnuckleLeft | Carrier::KnuckleRight => {
                let body = PlacedBody::new(&stance.pose(self.axle), vehicle.centre(self.axle));
                let (point, turn) = match self.unit.carrier {
                    Carrier::Axle => None,
                    side => vehicle.knuckle(stance, self.axle, side == Carrier::KnuckleLeft),
                }
                .unwrap_or((self.unit.at, Rotation3::identity()));
                let at = point + turn * (self.unit.at - point);
                let place = vehicle.place(stance, self.axle, &body.position(&at));
                (place, stance.axle_rotation(self.axle) * turn.matrix())
            }
        }
    }

    /// The up direction in the sensor's axes in a position of a procedure.
    fn up(&self, held: Option<Held>) -> Vector3<f64> {
        match held {
            Some(Held::Up(up)) => up,
            Some(Held::Tilt([roll_rad, pitch_rad])) => {
                let body = Rotation3::from_euler_angles(roll_rad, pitch_rad, 0.0);
                self.mounting.tr_mul(&(body.inverse() * Vector3::z()))
            }
            Some(Held::Value(_)) | None => self.mounting.tr_mul(&Vector3::z()),
        }
    }

    /// Specific force (m/s²) and angular rate (rad/s), sensor axes; `up` is against gravity in the floor's frame.
    fn read(&mut self, vehicle: &VehicleOnRamp, up: &Vector3<f64>, t_s: f64) -> [Vector3<f64>; 2] {
        let at = |t_s: f64| self.carried(vehicle, &vehicle.at(t_s));
        let [(before, turned_before), (now, turned), (after, turned_after)] =
            [t_s - STEP_S, t_s, t_s + STEP_S].map(at);
        let acceleration = (after - now * 2.0 + before) / (STEP_S * STEP_S);
        let force = turned.transpose() * (acceleration + up * STANDARD_GRAVITY);
        // The sine of so small a turn is the turn itself, and unlike an arc cosine it bears rounding.
        let turn = turned_before.transpose() * turned_after;
        let [x, y, z] = [(2, 1), (0, 2), (1, 0)].map(|(i, k)| 0.5 * (turn[(i, k)] - turn[(k, i)]));
        let rate = Vector3::new(x, y, z) / (2.0 * STEP_S);
        let to_sensor = self.mounting.transpose();
        self.feel(&(to_sensor * force), &(to_sensor * rate))
    }

    /// The readings of a true specific force and rate, sensor axes.
    fn feel(&mut self, force: &Vector3<f64>, rate: &Vector3<f64>) -> [Vector3<f64>; 2] {
        let (accel_noise, gyro_noise) = (self.unit.accel_noise, self.unit.gyro_noise);
        let force = force.component_mul(&self.accel_scale) + self.accel_bias;
        let rate = rate + self.gyro_bias;
        [force + self.dice.vector(accel_noise), rate + self.dice.vector(gyro_noise)]
    }
}

#[derive(Debug, Clone)]
enum TrueSensor {
    Scalar(Box<TrueScalar>),
    Unit(Box<TrueUnit>),
}

/// The sensor at a place in the rig with its errors drawn.
fn true_sensor(place: usize, sensor: &Sensor, seed: Option<u64>) -> Result<TrueSensor, VirtualRigError> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed.unwrap_or(0));
    // A stream of its own for each sensor, so that adding one leaves the others as they were.
    rng.set_stream(place as u64);
    let dice = Dice { rng, perfect: seed.is_none() };
    let sensed = match &sensor.kind {
        Kind::Inertial(unit) => {
            return Ok(TrueSensor::Unit(Box::new(TrueUnit::new(sensor, unit, dice))));
        }
        Kind::Force(force) => force.link.is_none().then_some(Sensed::Pull),
        kind => Model::of(kind).map(Sensed::Pose),
    };
    let (sensed, reading) =
        sensed.zip(sensor.reading()).ok_or_else(|| VirtualRigError::Force { sensor: sensor.name.clone() })?;
    Ok(TrueSensor::Scalar(Box::new(TrueScalar::new(sensor, sensed, reading, dice))))
}

/// What a sensor reads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Felt {
    /// A length (m), an angle (rad) or a force (N).
    Scalar(f64),
    /// Specific force (m/s²) and angular rate (rad/s), sensor axes.
    Unit([Vector3<f64>; 2]),
}

/// The sensors of a rig on a vehicle in a test.
#[derive(Debug, Clone)]
pub struct Readings {
    vehicle: VehicleOnRamp,
    sensors: Vec<TrueSensor>,
    procedure: Option<Procedure>,
    /// Against gravity, in the frame of the floor.
    up: Vector3<f64>,
}

impl Readings {
    /// Sensors with errors drawn from `seed`; none = perfect sensors.
    ///
    /// # Errors
    /// Where a sensor reads what a virtual vehicle has not.
    pub fn new(vehicle: VehicleOnRamp, rig: &Rig, seed: Option<u64>) -> Result<Self, VirtualRigError> {
        let sensors = rig.sensors.iter().enumerate().map(|(k, sensor)| true_sensor(k, sensor, seed));
        Ok(Self { sensors: sensors.collect::<Result<_, _>>()?, vehicle, procedure: None, up: Vector3::z() })
    }

    /// The floor slopes about its x and its y axis, rad.
    pub fn on_a_slope(mut self, [about_x_rad, about_y_rad]: [f64; 2]) -> Self {
        self.up = Rotation3::from_euler_angles(about_x_rad, about_y_rad, 0.0).inverse() * Vector3::z();
        self
    }

    /// One sensor is off the vehicle, or its body is tilted, and goes through the positions of a procedure.
    pub fn with_procedure(mut self, procedure: Procedure) -> Self {
        self.procedure = Some(procedure);
        self
    }

    /// The vehicle that carries them.
    pub fn vehicle(&self) -> &VehicleOnRamp {
        &self.vehicle
    }

    /// What a sensor of the rig reads at `t_s` of the test; `None` if there is no such sensor. The times of one sensor rise.
    pub fn read(&mut self, sensor: usize, t_s: f64) -> Option<Felt> {
        let vehicle = &self.vehicle;
        let held = |t_s: f64| {
            let procedure = self.procedure.as_ref().filter(|p| p.sensor == sensor)?;
            procedure.at(vehicle.phases(), t_s)
        };
        Some(match (self.sensors.get_mut(sensor)?, held(t_s)) {
            (TrueSensor::Scalar(scalar), Some(Held::Value(value))) => Felt::Scalar(scalar.feel(value)),
            (TrueSensor::Unit(unit), Some(Held::Up(_) | Held::Tilt(_))) => {
                let up = |t_s: f64| unit.up(held(t_s));
                let [up, rate] = Procedure::turning(up, t_s);
                Felt::Unit(unit.feel(&(up * STANDARD_GRAVITY), &rate))
            }
            (TrueSensor::Scalar(scalar), _) => Felt::Scalar(scalar.read(vehicle, t_s)),
            (TrueSensor::Unit(unit), _) => Felt::Unit(unit.read(vehicle, &self.up, t_s)),
        })
    }
}
