//! What a set of sensors can and cannot see, before anyone crawls under a vehicle: the drawn vehicle goes through the test
//! on a virtual ramp, the rig's readings of it are measured, and only the uncertainties are looked at.

use super::vehicle_folder::VehicleFolder;
use crate::design::tolerance;
use crate::explain::{Explain, Failure};
use crate::files::did_you_mean;
use crate::geometry::{Matrix3, Vector3};
use crate::judge::verdict;
use crate::measure::{self, AxleAnalysis, Budget, Status};
use crate::rig::calibration::file::load_if_there;
use crate::rig::calibration::{CALIBRATION_FILE, Standing, overlay};
use crate::rig::{self, Carrier, DrawWire, Inertial, Kind, Reading, Rig, Scale, Sensor, UnitFound};
use crate::run::{Phase, Recording, Series, Timing};
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{self, Axle, Vehicle, plausible};
use crate::virtual_rig::readings::{Felt, Readings};
use crate::virtual_rig::{Test, VehicleOnRamp, pace};
use std::path::{Path, PathBuf};

/// What is asked.
#[derive(Debug, Clone)]
pub struct Request {
    /// The vehicle file.
    pub vehicle: PathBuf,
    /// The rig file.
    pub rig: PathBuf,
    /// Phases of the test.
    pub phases: Vec<Phase>,
    /// Angle of the ramp, rad.
    pub ramp_rad: f64,
    /// Sensors to leave out, by name.
    pub without: Vec<String>,
    /// Now, µs since 1970: how old the calibration beside the rig file is.
    pub now_us: Option<i64>,
}

/// Why it cannot be told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SensorsError {
    /// A sensor to leave out is not there.
    #[error("the rig has no sensor \"{name}\"")]
    NoSensor {
        /// The name asked for.
        name: String,
        /// The names that there are.
        names: Vec<String>,
    },
    /// Nothing is left.
    #[error("no sensor is left")]
    NothingLeft,
}

impl Explain for SensorsError {
    fn hint(&self) -> Option<String> {
        match self {
            SensorsError::NoSensor { name, names } => did_you_mean(name, names),
            SensorsError::NothingLeft => Some("Leave fewer out.".into()),
        }
    }
}

/// What a set of sensors can reach.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// Name of the vehicle.
    pub vehicle: String,
    /// Phases of the test.
    pub phases: Vec<Phase>,
    /// By axle that carries sensors.
    pub axles: Vec<AxleReach>,
    /// Where the calibration stands; empty without one.
    pub calibration: Vec<Standing>,
    /// Values of the vehicle file that no vehicle has, and a rate that no logger keeps, a sentence each.
    pub remarks: Vec<String>,
}

/// What the sensors of one axle can reach.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleReach {
    /// Its name.
    pub name: String,
    /// Sensors that take part.
    pub sensors: Vec<String>,
    /// Typical standard uncertainty of each coordinate over the travel: x, y, z (m), roll, pitch, yaw (rad); none = unseen.
    pub coordinates: [Option<f64>; 6],
    /// By number.
    pub numbers: Vec<NumberReach>,
    /// Sensors that could be added, the most useful first; empty if none helps.
    pub additions: Vec<Addition>,
}

/// What can be known of one number.
#[derive(Debug, Clone, PartialEq)]
pub struct NumberReach {
    /// Which.
    pub key: Key,
    /// How far it could be believed.
    pub status: Status,
    /// Standard uncertainty, SI.
    pub u: Option<f64>,
    /// What it is made of, as standard uncertainties, SI.
    pub budget: Option<Budget>,
    /// Why there is none.
    pub why: Option<String>,
    /// Difference that would count as agreement, SI.
    pub limit: f64,
    /// Whether the builder stated it; else it follows from the tolerance of the drawn points.
    pub stated: bool,
}

impl NumberReach {
    /// Whether a vehicle that is as drawn could be told to be so: `limit ≥ 2u`.
    pub fn can_agree(&self) -> bool {
        self.u.is_some_and(|u| self.limit >= 2.0 * u)
    }

    /// The least limit with which it could, SI; none where the number is out of reach.
    pub fn least_limit(&self) -> Option<f64> {
        self.u.map(|u| 2.0 * u)
    }
}

/// A sensor that could be added.
#[derive(Debug, Clone, PartialEq)]
pub struct Addition {
    /// What and where, in words.
    pub what: String,
    /// Mean factor by which the uncertainties of the main numbers shrink (2 = halved).
    pub factor: f64,
    /// Numbers that come within reach or whose u shrinks by a quarter or more: before, after.
    pub gains: Vec<(Key, Option<f64>, f64)>,
}

/// Numbers that a builder asks for first; the worth of an added sensor is judged by them.
const MAIN: [Key; 6] = [
    Key::PitchPerHeave,
    Key::ContactForwardPerHeave,
    Key::RollCentreZ,
    Key::RollSteer,
    Key::RollAxisRise,
    Key::LateralPerHeave,
];
/// An addition must shrink the main uncertainties by this factor to be worth a clip.
const WORTH: f64 = 1.1;
/// Factor that counts for a number that comes within reach at all.
const WITHIN_REACH: f64 = 10.0;
/// The rehearsal's errors are drawn with this seed; only their size enters the result.
const SEED: u64 = 2;

/// Tells what the sensors can reach.
///
/// # Errors
/// Where a file is missing or wrong, or the drawn vehicle cannot go through the test.
pub fn run(request: &Request) -> Result<Reach, Failure> {
    let vehicle = vehicle::file::load(&request.vehicle)?;
    let mut rig = rig::file::load(&request.rig, &vehicle)?;
    let calibration = load_if_there(&request.rig.with_file_name(CALIBRATION_FILE))?;
    let calibration = overlay(&mut rig, &calibration, request.now_us);
    let rig = as_felt(without(rig, &request.without)?);
    let mut axles = Vec::new();
    for index in 0..vehicle.axles.len() {
        if rig.sensors.iter().any(|s| s.axle == index) {
            axles.push(axle_reach(&vehicle, &rig, index, request)?);
        }
    }
    let remarks = plausible::of_vehicle(&vehicle).into_iter().chain(pace::warning(&rig)).collect();
    Ok(Reach { vehicle: vehicle.name, phases: request.phases.clone(), axles, calibration, remarks })
}

/// A rig whose sensors feel what they would: what a calibration takes out of a unit's readings is not in those of a rehearsal.
fn as_felt(mut rig: Rig) -> Rig {
    for sensor in &mut rig.sensors {
        if let Kind::Inertial(unit) = &mut sensor.kind {
            unit.found = UnitFound::default();
        }
    }
    rig
}

/// Names of the sensors in a vehicle's folder, in the order of its rig file.
///
/// # Errors
/// Where one of its files is missing or wrong.
pub fn names(vehicle_folder: &Path) -> Result<Vec<String>, Failure> {
    let folder = VehicleFolder::load(vehicle_folder)?;
    Ok(folder.rig.sensors.into_iter().map(|sensor| sensor.name).collect())
}

/// A rig without the sensors of these names.
///
/// # Errors
/// Where there is no such sensor, or none is left.
pub fn without(mut rig: Rig, names: &[String]) -> Result<Rig, SensorsError> {
    for name in names {
        let Some(at) = rig.sensors.iter().position(|s| s.name == *name) else {
            let names = rig.sensors.iter().map(|s| s.name.clone()).collect();
            return Err(SensorsError::NoSensor { name: name.clone(), names });
        };
        rig.sensors.remove(at);
    }
    if rig.sensors.is_empty() { Err(SensorsError::NothingLeft) } else { Ok(rig) }
}

fn axle_reach(vehicle: &Vehicle, rig: &Rig, index: usize, request: &Request) -> Result<AxleReach, Failure> {
    let test = Test { axle: index, phases: request.phases.clone(), ramp_rad: request.ramp_rad };
    let stage = VehicleOnRamp::new(vehicle, &test)?;
    let designed_u = tolerance::number_u(vehicle, index)?;
    let own = only(rig, index);
    let now = rehearse(vehicle, &own, &stage)?;
    let numbers = numbers(&vehicle.axles[index], &designed_u, now.as_ref());
    let mut additions = Vec::new();
    for (what, sensors) in candidates(&vehicle.axles[index], index, &own, vehicle.tolerance_m) {
        let mut more = own.clone();
        more.sensors.extend(sensors);
        let then = rehearse(vehicle, &more, &stage)?;
        additions.extend(addition(
            what,
            &numbers,
            &self::numbers(&vehicle.axles[index], &designed_u, then.as_ref()),
        ));
    }
    additions.sort_by(|a, b| b.factor.total_cmp(&a.factor));
    Ok(AxleReach {
        name: vehicle.axles[index].name.clone(),
        sensors: own.sensors.iter().map(|s| s.name.clone()).collect(),
        coordinates: now.as_ref().map_or([None; 6], coordinates),
        numbers,
        additions,
    })
}

/// The rig with the sensors of one axle.
fn only(rig: &Rig, index: usize) -> Rig {
    let sensors = rig.sensors.iter().filter(|s| s.axle == index).cloned().collect();
    Rig { sensors, ..rig.clone() }
}

/// The drawn vehicle through the test, measured; `None` where the sensors say nothing of the pose.
fn rehearse(vehicle: &Vehicle, rig: &Rig, stage: &VehicleOnRamp) -> Result<Option<AxleAnalysis>, Failure> {
    let mut readings = Readings::new(stage.clone(), rig, Some(SEED))?;
    let mut recording = Recording::empty(rig);
    recording.timing = Timing::Own;
    recording.phases = stage.phases().copied().collect();
    for (index, sensor) in rig.sensors.iter().enumerate() {
        let rate_hz = sensor.rate_hz.min(REHEARSAL_HZ);
        let count = (stage.end_s() * rate_hz) as usize;
        let mut channels = vec![Series::default(); sensor.channel_suffixes().len()];
        for k in 0..count {
            let t_s = k as f64 / rate_hz;
            let values: Vec<f64> = match readings.read(index, t_s) {
                Some(Felt::Scalar(value)) => vec![value],
                Some(Felt::Unit([force, rate])) => force.iter().chain(rate.iter()).copied().collect(),
                None => continue,
            };
            for (series, value) in channels.iter_mut().zip(values) {
                series.t_s.push(t_s);
                series.value.push(value);
            }
        }
        recording.series[index] = channels;
    }
    match measure::analyse(vehicle, rig, &recording) {
        Ok(analysis) => Ok(analysis.axles.into_iter().next()),
        Err(measure::MeasureError::NoData { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// Enough readings to average noise as a recording does, few enough to answer at once.
const REHEARSAL_HZ: f64 = 50.0;

fn coordinates(analysis: &AxleAnalysis) -> [Option<f64>; 6] {
    std::array::from_fn(|k| {
        if !analysis.seen[k] {
            return None;
        }
        let mut us: Vec<f64> =
            analysis.path.iter().filter(|p| p.phase.travels()).filter_map(|p| p.u[k]).collect();
        us.sort_by(f64::total_cmp);
        us.get(us.len() / 2).copied()
    })
}

fn numbers(axle: &Axle, designed_u: &Numbers, analysis: Option<&AxleAnalysis>) -> Vec<NumberReach> {
    Key::ALL
        .into_iter()
        .filter(|key| key.applies_to(axle.position))
        .map(|key| {
            let stated = axle.agree.iter().find(|(k, _)| *k == key).map(|(_, limit)| *limit);
            let measured = analysis.and_then(|a| a.measured.get(&key));
            NumberReach {
                key,
                status: measured.map_or(Status::NotMeasured, |m| m.status),
                u: measured.and_then(|m| m.u),
                budget: analysis.and_then(|a| a.budget.get(&key)).copied(),
                why: match measured {
                    Some(m) => m.why.clone(),
                    None => Some("the sensors say nothing of how the axle moves against the chassis".into()),
                },
                limit: verdict::limit(key, stated, designed_u.get(key)),
                stated: stated.is_some(),
            }
        })
        .collect()
}

fn addition(what: String, before: &[NumberReach], after: &[NumberReach]) -> Option<Addition> {
    let pairs = || before.iter().zip(after);
    let logs: Vec<f64> = pairs()
        .filter(|(b, _)| MAIN.contains(&b.key))
        .filter_map(|(b, a)| match (b.u, a.u) {
            (Some(b), Some(a)) if a > 0.0 => Some((b / a).ln()),
            (None, Some(_)) => Some(WITHIN_REACH.ln()),
            _ => None,
        })
        .collect();
    let factor = (logs.iter().sum::<f64>() / MAIN.len() as f64).exp();
    let gains = pairs()
        .filter_map(|(b, a)| match (b.u, a.u?) {
            (Some(before), after) if after > 0.75 * before => None,
            (before, after) => Some((b.key, before, after)),
        })
        .collect();
    (factor >= WORTH).then_some(Addition { what, factor, gains })
}

/// Sensors that a builder could add, with ends where there is room on most axles.
fn candidates(axle: &Axle, index: usize, rig: &Rig, mount_m: f64) -> Vec<(String, Vec<Sensor>)> {
    let (half, r) = (0.5 * axle.track_m, axle.tyre_radius_m);
    let mut found = Vec::new();
    for (side, sign) in [("left", 1.0), ("right", -1.0)] {
        let wires = [
            (
                "fore and aft, ",
                "at axle height",
                [0.45, 0.70 * sign * half, r + 0.12],
                [0.0, 0.78 * sign * half, r - 0.05],
            ),
            (
                "straight up, ",
                "from the axle tube",
                [0.0, 0.62 * sign * half, r + 0.50],
                [0.0, 0.76 * sign * half, r],
            ),
        ];
        for (way, place, chassis, axle_end) in wires {
            let what = format!("a draw-wire {way}{side} side, {place}");
            let wire = wire(&what, index, chassis.into(), axle_end.into(), mount_m, rig.rate_hz);
            found.push((what, vec![wire]));
        }
    }
    let across = "a draw-wire across, from one side of the chassis to the other side of the axle";
    let wire = wire(
        across,
        index,
        Vector3::new(-0.10, -0.62 * half, r + 0.24),
        Vector3::new(-0.08, 0.62 * half, r + 0.07),
        mount_m,
        rig.rate_hz,
    );
    found.push((across.to_owned(), vec![wire]));
    let has =
        |carrier| rig.sensors.iter().any(|s| matches!(&s.kind, Kind::Inertial(u) if u.carrier == carrier));
    let missing: Vec<Sensor> = [(Carrier::Chassis, "chassis", 0.3), (Carrier::Axle, "axle", 0.1)]
        .into_iter()
        .filter(|(carrier, ..)| !has(*carrier))
        .map(|(carrier, body, up)| unit(body, carrier, index, Vector3::new(0.0, 0.2, r + up), rig.rate_hz))
        .collect();
    match missing.as_slice() {
        [] => {}
        [one] => found.push((format!("an inertial unit on the {}", one.name), missing)),
        _ => found.push(("an inertial unit on the axle and one on the chassis".to_owned(), missing)),
    }
    found
}

/// A draw-wire of the ordinary kind; figures from memory.
fn wire(
    what: &str,
    axle: usize,
    chassis: Vector3<f64>,
    end: Vector3<f64>,
    mount_m: f64,
    rate_hz: f64,
) -> Sensor {
    let reading = Reading {
        scale: Scale::Linear(1.0),
        scale_u: 0.003,
        noise: 3e-4,
        linearity: 0.003 * 0.8,
        hysteresis: 1e-3,
        range: None,
        mount_m,
        gain: 1.0,
        zero: None,
    };
    let kind = Kind::DrawWire(DrawWire { chassis, axle: end, reading });
    Sensor { name: what.to_owned(), axle, kind, input: None, rate_hz }
}

/// An inertial unit of the ordinary kind; figures from memory.
fn unit(name: &str, carrier: Carrier, axle: usize, at: Vector3<f64>, rate_hz: f64) -> Sensor {
    let kind = Kind::Inertial(Inertial {
        carrier,
        at,
        axes: Matrix3::identity(),
        heading_u_rad: 3f64.to_radians(),
        scale_u: 0.01,
        accel_bias_u: 0.2,
        gyro_bias_u: 0.02f64.to_radians(),
        accel_noise: 0.02,
        gyro_noise: 0.002,
        found: UnitFound::default(),
    });
    Sensor { name: name.to_owned(), axle, kind, input: None, rate_hz }
}
