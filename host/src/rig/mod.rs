//! The sensors of a rig: what each reads, where its ends are, and how well each of these is known.
//!
//! SI and floor coordinates throughout; `file` reads rig.toml, `model` is the one home of `h(q)`.

pub mod calibration;
pub mod file;
pub mod inertial;
pub mod model;

use crate::geometry::{Matrix3, Vector3};

/// A rig file, made into types that cannot be wrong.
#[derive(Debug, Clone, PartialEq)]
pub struct Rig {
    /// Its sensors, in file order; names are unique.
    pub sensors: Vec<Sensor>,
    /// Scans per second, Hz.
    pub rate_hz: f64,
    /// Content hash of the file's bytes (BLAKE3, hex).
    pub hash: String,
}

/// One sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// Its name, unique in the rig.
    pub name: String,
    /// Index of the axle that it watches, in the vehicle's list.
    pub axle: usize,
    /// What it is and where it sits.
    pub kind: Kind,
    /// How it is wired; none for an imported table.
    pub input: Option<Input>,
    /// Readings per second, Hz.
    pub rate_hz: f64,
}

/// What a sensor reads.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// Distance between a chassis point and an axle point.
    DrawWire(DrawWire),
    /// Angle of a link about its chassis pivot.
    Angle(AngleSensor),
    /// Specific force and angular rate of a body.
    Inertial(Inertial),
    /// Distance along a ray fixed to the chassis to a plane fixed to the axle.
    Range(RangeFinder),
    /// Force in a link, or how hard a strap or a jack pulls at an axle, N.
    Force(ForceSensor),
}

/// How one scalar reading is made and how well.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// From counts (or a table's column) to SI.
    pub scale: Scale,
    /// Relative standard deviation of the scale.
    pub scale_u: f64,
    /// Standard deviation of one reading, SI.
    pub noise: f64,
    /// Largest departure from a straight line, SI.
    pub linearity: f64,
    /// Width of the widest hysteresis loop that the sensor may have, SI.
    pub hysteresis: f64,
    /// Range of valid readings, SI.
    pub range: Option<[f64; 2]>,
    /// Standard deviation of each coordinate of each end, m.
    pub mount_m: f64,
    /// What a calibration multiplied the scale with, 1 without one; columns of a table that state a unit are multiplied too.
    pub gain: f64,
    /// What a calibration found a reading to be short of the true value, where there was one.
    pub zero: Option<Zero>,
}

/// `true value = reading + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zero {
    /// SI.
    pub offset: f64,
    /// Its standard uncertainty, SI.
    pub u: f64,
}

impl Reading {
    /// Half the width of its hysteresis loop as far as the file tells: what is expected, and the standard uncertainty of that,
    /// SI. A stated width is the most that there is, and anything below is as likely (JCGM 100:2008, 4.3.7).
    pub fn drag(&self) -> (f64, f64) {
        let expected = 0.25 * self.hysteresis;
        (expected, expected / 3f64.sqrt())
    }

    /// Standard uncertainty of where in its hysteresis loop a sensor stands when a still finds it, SI: evenly between both
    /// flanks of a loop whose width is evenly likely up to the stated one.
    pub fn start_u(&self) -> f64 {
        self.hysteresis / 6.0
    }
}

/// From counts, or from the unit of a table's column, to SI.
#[derive(Debug, Clone, PartialEq)]
pub enum Scale {
    /// SI per count.
    Linear(f64),
    /// Counts and SI values, counts strictly rising, at least two; straight in between and beyond.
    Points(Vec<[f64; 2]>),
}

impl Scale {
    /// The SI value of a raw reading.
    pub fn apply(&self, raw: f64) -> f64 {
        match self {
            Scale::Linear(per_count) => raw * per_count,
            Scale::Points(points) => interpolate(points, 0, 1, raw),
        }
    }

    /// The raw reading of an SI value: the inverse of [`Self::apply`].
    pub fn invert(&self, value: f64) -> f64 {
        match self {
            Scale::Linear(per_count) => value / per_count,
            Scale::Points(points) => {
                if points.first().map(|p| p[1]) <= points.last().map(|p| p[1]) {
                    interpolate(points, 1, 0, value)
                } else {
                    let reversed: Vec<_> = points.iter().rev().copied().collect();
                    interpolate(&reversed, 1, 0, value)
                }
            }
        }
    }
}

/// Straight-line interpolation through points whose column `from` rises.
fn interpolate(points: &[[f64; 2]], from: usize, to: usize, at: f64) -> f64 {
    let after = points.partition_point(|p| p[from] < at).clamp(1, points.len() - 1);
    let (a, b) = (points[after - 1], points[after]);
    a[to] + (b[to] - a[to]) * (at - a[from]) / (b[from] - a[from])
}

/// A draw-wire, clipped to a chassis point and an axle point, m.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawWire {
    /// Chassis end.
    pub chassis: Vector3<f64>,
    /// Axle end.
    pub axle: Vector3<f64>,
    /// Its reading, m.
    pub reading: Reading,
}

/// An angle sensor on a link's chassis pivot.
#[derive(Debug, Clone, PartialEq)]
pub struct AngleSensor {
    /// The pivot on the chassis, m.
    pub pivot: Vector3<f64>,
    /// The link's axle end, m.
    pub axle: Vector3<f64>,
    /// Unit direction of the sensor's axis on the chassis.
    pub axis: Vector3<f64>,
    /// Its reading, rad.
    pub reading: Reading,
}

/// A range finder on the chassis.
#[derive(Debug, Clone, PartialEq)]
pub struct RangeFinder {
    /// Where the ray starts on the chassis, m.
    pub chassis: Vector3<f64>,
    /// Unit direction of the ray.
    pub direction: Vector3<f64>,
    /// A point of the target plane on the axle, m.
    pub plane_point: Vector3<f64>,
    /// Unit normal of the target plane, fixed to the axle.
    pub plane_normal: Vector3<f64>,
    /// Its reading, m.
    pub reading: Reading,
}

/// A force sensor. On the strap, the winch or the jack of a rock or a shove it reads how hard the axle is pulled, whichever way:
/// the compliance of links is measured with it.
#[derive(Debug, Clone, PartialEq)]
pub struct ForceSensor {
    /// Name of the link that it sits in, or none for one that reads the pull on the axle.
    pub link: Option<String>,
    /// Its reading, N.
    pub reading: Reading,
}

/// Body that carries an inertial unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Carrier {
    /// The chassis at this axle.
    Chassis,
    /// The axle housing.
    Axle,
    /// A steered knuckle, left.
    KnuckleLeft,
    /// A steered knuckle, right.
    KnuckleRight,
}

/// A six-axis inertial unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Inertial {
    /// Body that carries it.
    pub carrier: Carrier,
    /// Where it sits, m.
    pub at: Vector3<f64>,
    /// From the sensor's axes to the vehicle's, as mounted by the file's `axes` (a signed permutation).
    pub axes: Matrix3<f64>,
    /// Standard deviation of its heading about the vertical, rad.
    pub heading_u_rad: f64,
    /// Relative standard deviation of each accelerometer axis' scale.
    pub scale_u: f64,
    /// Standard deviation of each accelerometer axis' bias, m/s².
    pub accel_bias_u: f64,
    /// Standard deviation of each gyro axis' bias once the still has been taken out, rad/s.
    pub gyro_bias_u: f64,
    /// Accelerometer noise of one reading, m/s².
    pub accel_noise: f64,
    /// Gyro noise of one reading, rad/s.
    pub gyro_noise: f64,
    /// What a calibration found.
    pub found: UnitFound,
}

/// What a calibration found of an inertial unit; nothing at all by default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitFound {
    /// Bias of the accelerometer, sensor axes, m/s².
    pub bias: Vector3<f64>,
    /// Takes what the accelerometer reads less its bias to the true force, sensor axes.
    pub matrix: Matrix3<f64>,
    /// Heading about the vertical against what `axes` say, rad.
    pub heading_rad: f64,
}

impl Default for UnitFound {
    fn default() -> Self {
        Self { bias: Vector3::zeros(), matrix: Matrix3::identity(), heading_rad: 0.0 }
    }
}

impl UnitFound {
    /// The force that a reading of the accelerometer stands for, sensor axes, m/s².
    pub fn force(&self, read: &Vector3<f64>) -> Vector3<f64> {
        self.matrix * (read - self.bias)
    }
}

/// How a sensor is wired to the logger.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Bus number.
    pub bus: u8,
    /// Multiplexer address and its channel, if behind one.
    pub mux: Option<(u8, u8)>,
    /// Part on the bus: "ads1115", "as5600", "lsm6dso", "vl53l4cd".
    pub device: String,
    /// Bus address.
    pub address: u8,
    /// Input of the part, where it has several.
    pub channel: u8,
    /// Input that reads the excitation, where the reading is a ratio.
    pub excitation: Option<u8>,
}

impl Kind {
    /// Whether it reads how hard an axle is pulled: a force sensor on the strap, not within a link.
    pub fn reads_pull(&self) -> bool {
        matches!(self, Kind::Force(force) if force.link.is_none())
    }
}

impl Sensor {
    /// The scalar reading, where the sensor has one.
    pub fn reading(&self) -> Option<&Reading> {
        match &self.kind {
            Kind::DrawWire(s) => Some(&s.reading),
            Kind::Angle(s) => Some(&s.reading),
            Kind::Range(s) => Some(&s.reading),
            Kind::Force(s) => Some(&s.reading),
            Kind::Inertial(_) => None,
        }
    }

    /// Names of its channels as tables and the wire carry them, after the sensor's name; one empty suffix for a scalar.
    pub fn channel_suffixes(&self) -> &'static [&'static str] {
        match self.kind {
            Kind::Inertial(_) => &["ax", "ay", "az", "gx", "gy", "gz"],
            _ => &[""],
        }
    }

    /// The word that files use for its kind.
    pub fn kind_word(&self) -> &'static str {
        match self.kind {
            Kind::DrawWire(_) => "draw-wire",
            Kind::Angle(_) => "angle",
            Kind::Inertial(_) => "inertial",
            Kind::Range(_) => "range",
            Kind::Force(_) => "force",
        }
    }
}
