//! `calibrate`: what the sensors of a vehicle are worth, found from known lengths, positions and attitudes, and kept.

pub mod bench;
mod error;
pub mod guide;
mod keep;
mod readings;
#[cfg(test)]
mod tests;

pub use error::CalibrateJobError;

use super::subject::vehicle_file;
use super::vehicle_folder::{VehicleFolder, time_text};
use crate::calibrate::heading::Attitude;
use crate::calibrate::line::Point;
use crate::calibrate::rest::Settled;
use crate::calibrate::zero::Truth;
use crate::calibrate::{heading, line, tumble, zero};
use crate::explain::Failure;
use crate::files::Quantity;
use crate::files::logbook::Logbook;
use crate::rig::calibration::file::load_if_there;
use crate::rig::calibration::{
    CALIBRATION_FILE, Calibration, Entry, Found, Standing, fitted, overlay, quantity,
};
use crate::rig::{Inertial, Kind, Rig, Sensor};
use crate::run::Phase;
use crate::run::table::Choices;
use jiff::ZonedDateTime;
use readings::Readings;
use std::path::{Path, PathBuf};

/// The folder of the recordings that calibrations come from, in the vehicle's folder.
pub const CALIBRATIONS: &str = "calibrations";

/// How well a tape, a protractor and a weight are read where nobody says, one standard deviation: m, rad, and a part of the greatest
/// force. From memory.
const TAPE_U_M: f64 = 5e-4;
const PROTRACTOR_U_RAD: f64 = 0.2 * std::f64::consts::PI / 180.0;
const WEIGHT_U: f64 = 0.005;

/// What to calibrate from what.
#[derive(Debug, Clone)]
pub struct Request {
    /// The vehicle: a name in the logbook, a folder, or a vehicle file.
    pub vehicle: String,
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// What to find; none: only say where the calibration stands.
    pub work: Option<Work>,
    /// Runs or tables: one with all positions, or one for each.
    pub from: Vec<String>,
    /// How tables are read.
    pub columns: Choices,
    /// How long it holds, days.
    pub valid_days: f64,
    /// Now.
    pub now: ZonedDateTime,
}

/// What to find. Values are as people type them: mm, degrees, N, after what the sensor measures.
#[derive(Debug, Clone, PartialEq)]
pub enum Work {
    /// Zeros at a still.
    Zero {
        /// Sensor and what it truly measures at the still: its length, or its angle against the drawing.
        lengths: Vec<(String, f64)>,
        /// Ride mark and its taped length, mm; none of either: the lengths of vehicle.toml.
        marks: Vec<(String, f64)>,
        /// Standard uncertainty of a typed length or angle.
        u: Option<f64>,
    },
    /// A scale from known values.
    Scale {
        /// The sensor.
        sensor: String,
        /// Known value, and the reading in counts where it was typed.
        known: Vec<(f64, Option<f64>)>,
        /// Standard uncertainty of a known value.
        u: Option<f64>,
    },
    /// The positions of an accelerometer.
    Tumble {
        /// The unit.
        sensor: String,
        /// Whether six edges are recorded after the six faces.
        edges: bool,
    },
    /// The heading of a unit.
    Heading {
        /// The unit.
        sensor: String,
        /// The attitudes in their order; the first is level.
        attitudes: Vec<Attitude>,
        /// Standard uncertainty of roll and pitch, rad.
        u_rad: Option<f64>,
    },
}

/// A calibration as it is now.
#[derive(Debug, Clone)]
pub struct Calibrated {
    /// The vehicle's name.
    pub vehicle: String,
    /// Its rig, as the file has it.
    pub rig: Rig,
    /// What was added.
    pub added: Vec<Entry>,
    /// Where every entry stands.
    pub standings: Vec<Standing>,
    /// The vehicle's folder.
    pub folder: PathBuf,
    /// Where the file as it was before stays.
    pub kept: Option<PathBuf>,
}

impl Work {
    /// How many positions are recorded, one after another; for a tumble the least.
    pub fn positions(&self) -> usize {
        match self {
            Work::Zero { .. } => 1,
            Work::Scale { known, .. } => known.len(),
            Work::Tumble { edges: false, .. } => tumble::LEAST_POSITIONS,
            Work::Tumble { edges: true, .. } => 2 * tumble::LEAST_POSITIONS,
            Work::Heading { attitudes, .. } => attitudes.len(),
        }
    }

    /// The word that files and people use.
    pub fn word(&self) -> &'static str {
        match self {
            Work::Zero { .. } => "zero",
            Work::Scale { .. } => "scale",
            Work::Tumble { .. } => "tumble",
            Work::Heading { .. } => "heading",
        }
    }

    /// The sensor that it is about; none for zeros, which may be of many.
    fn sensor(&self) -> Option<&str> {
        match self {
            Work::Zero { .. } => None,
            Work::Scale { sensor, .. } | Work::Tumble { sensor, .. } | Work::Heading { sensor, .. } => {
                Some(sensor)
            }
        }
    }

    /// The plan of a recording that has them.
    pub fn plan(&self) -> Vec<Phase> {
        vec![Phase::Still; self.positions()]
    }
}

/// The folder of the vehicle that is meant.
///
/// # Errors
/// Where there is none.
pub fn vehicle_folder(name: &str, logbook: Option<&Logbook>) -> Result<PathBuf, Failure> {
    let file = vehicle_file(name, Path::new(""), logbook);
    let folder = file.as_deref().and_then(Path::parent).map(Path::to_owned);
    folder.ok_or_else(|| {
        let there = logbook.and_then(|book| book.vehicles().ok()).unwrap_or_default();
        CalibrateJobError::NoVehicle { name: name.to_owned(), there }.into()
    })
}

/// Finds what was asked for and keeps it.
///
/// # Errors
/// Where a file is missing or wrong, the readings do not serve, or the disk refuses.
pub fn run(request: &Request) -> Result<Calibrated, Failure> {
    let logbook = match Logbook::find(request.logbook.as_deref(), Path::new(".")) {
        Ok(logbook) => Some(logbook),
        Err(error) if request.logbook.is_some() => return Err(error.into()),
        Err(_) => None,
    };
    let path = vehicle_folder(&request.vehicle, logbook.as_ref())?;
    let folder = VehicleFolder::load(&path)?;
    let file = path.join(CALIBRATION_FILE);
    let before = load_if_there(&file)?;
    let bench = Bench { request, folder: &folder, before: &before, logbook: logbook.as_ref() };
    let added = match &request.work {
        None => Vec::new(),
        Some(work) => bench.find(work)?,
    };
    let kept = match added.is_empty() {
        true => None,
        false => keep::add(&path, &folder.rig, &added, &request.now)?,
    };
    let standings = overlay(&mut folder.rig.clone(), &load_if_there(&file)?, Some(now_us(&request.now)));
    Ok(Calibrated {
        vehicle: folder.vehicle.name.clone(),
        rig: folder.rig,
        added,
        standings,
        folder: path,
        kept,
    })
}

/// Sees that a rig has the sensor that is meant, and that it is of the right kind: before anybody holds anything.
///
/// # Errors
/// Where it has not.
pub fn checked(rig: &Rig, work: &Work) -> Result<(), CalibrateJobError> {
    let Some(name) = work.sensor() else { return Ok(()) };
    match work {
        Work::Scale { .. } if sensor(rig, name)?.1.reading().is_none() => {
            Err(other_kind(sensor(rig, name)?.1, "an inertial unit's scale is found by a tumble"))
        }
        Work::Tumble { .. } | Work::Heading { .. } => unit(rig, name).map(|_| ()),
        Work::Scale { .. } | Work::Zero { .. } => Ok(()),
    }
}

fn unit<'r>(rig: &'r Rig, name: &str) -> Result<(usize, &'r Sensor, &'r Inertial), CalibrateJobError> {
    let (place, sensor) = sensor(rig, name)?;
    match &sensor.kind {
        Kind::Inertial(unit) => Ok((place, sensor, unit)),
        _ => Err(other_kind(sensor, "only an inertial unit is tumbled or has a heading")),
    }
}

fn sensor<'r>(rig: &'r Rig, name: &str) -> Result<(usize, &'r Sensor), CalibrateJobError> {
    let found = rig.sensors.iter().enumerate().find(|(_, s)| s.name == name);
    found.ok_or_else(|| CalibrateJobError::NoSensor {
        name: name.to_owned(),
        there: rig.sensors.iter().map(|s| s.name.clone()).collect(),
    })
}

fn now_us(now: &ZonedDateTime) -> i64 {
    now.timestamp().as_microsecond()
}

/// Everything that a finding needs.
struct Bench<'a> {
    request: &'a Request,
    folder: &'a VehicleFolder,
    before: &'a Calibration,
    logbook: Option<&'a Logbook>,
}

impl Bench<'_> {
    fn find(&self, work: &Work) -> Result<Vec<Entry>, Failure> {
        match work {
            Work::Zero { lengths, marks, u } => self.zero(lengths, marks, *u),
            Work::Scale { sensor, known, u } => Ok(vec![self.scale(sensor, known, *u)?]),
            Work::Tumble { sensor, .. } => Ok(vec![self.tumble(sensor)?]),
            Work::Heading { sensor, attitudes, u_rad } => Ok(vec![self.heading(sensor, attitudes, *u_rad)?]),
        }
    }

    /// The rig with what was found before laid over it.
    fn laid(&self) -> Rig {
        let mut rig = self.folder.rig.clone();
        overlay(&mut rig, self.before, Some(now_us(&self.request.now)));
        rig
    }

    fn readings(&self, rig: &Rig, sensors: &[&Sensor]) -> Result<Readings, Failure> {
        let (from, columns) = (&self.request.from, &self.request.columns);
        Readings::open(from, self.folder, rig, sensors, columns, self.logbook)
    }

    fn entry(
        &self,
        sensor: &Sensor,
        found: Found,
        from: (String, Option<String>),
        points: usize,
        method: &str,
    ) -> Entry {
        let plain = self.folder.rig.sensors.iter().find(|s| s.name == sensor.name).unwrap_or(sensor);
        Entry {
            sensor: sensor.name.clone(),
            found,
            date: time_text(&self.request.now),
            at_us: now_us(&self.request.now),
            valid_days: self.request.valid_days,
            method: method.to_owned(),
            from: from.0,
            from_hash: from.1,
            points,
            fitted: fitted(plain),
        }
    }

    fn scale(&self, name: &str, known: &[(f64, Option<f64>)], u: Option<f64>) -> Result<Entry, Failure> {
        let rig = &self.folder.rig;
        let (place, sensor) = sensor(rig, name)?;
        let (Some(reading), Some(quantity)) = (sensor.reading(), quantity(&sensor.kind)) else {
            return Err(other_kind(sensor, "an inertial unit's scale is found by a tumble").into());
        };
        let of = |value: f64| value * si(quantity);
        let greatest = known.iter().map(|(value, _)| of(*value).abs()).fold(0.0, f64::max);
        let known_u = u.map_or(typed_u(quantity, greatest), of);
        let typed: Option<Vec<f64>> = known.iter().map(|(_, reading)| *reading).collect();
        let any_typed = known.iter().any(|(_, reading)| reading.is_some());
        let (settled, from) = match (typed, self.request.from.is_empty()) {
            (Some(counts), true) => {
                let one =
                    |c: &f64| Settled { mean: reading.scale.apply(*c), scatter: reading.noise, count: 1 };
                (counts.iter().map(one).collect(), ("typed readings".to_owned(), None))
            }
            _ if any_typed => return Err(CalibrateJobError::MixedReadings.into()),
            _ => {
                let readings = self.readings(rig, &[sensor])?;
                let rests = readings.rests(sensor, place, Some(known.len()))?;
                let settled: Vec<Settled> =
                    rests.iter().filter_map(|r| r.channels.first().copied()).collect();
                (settled, (readings.name, Some(readings.hash)))
            }
        };
        let points: Vec<Point> = known
            .iter()
            .zip(settled)
            .map(|((known, _), reading)| Point { known: of(*known), known_u, reading })
            .collect();
        let found = line::fit(sensor, reading, &points)?;
        let method = "straight line through known values, weighted by what each is known to";
        Ok(self.entry(sensor, Found::Scale(found), from, points.len(), method))
    }

    fn tumble(&self, name: &str) -> Result<Entry, Failure> {
        let rig = &self.folder.rig;
        let (place, sensor, unit) = unit(rig, name)?;
        let readings = self.readings(rig, &[sensor])?;
        let rests = readings.rests(sensor, place, None)?;
        let found = tumble::fit(sensor, unit, &rests)?;
        let method = "positions at rest, the length of the force held to gravity";
        let from = (readings.name, Some(readings.hash));
        Ok(self.entry(sensor, Found::Tumble(Box::new(found)), from, rests.len(), method))
    }

    fn heading(&self, name: &str, attitudes: &[Attitude], u_rad: Option<f64>) -> Result<Entry, Failure> {
        let rig = self.laid();
        let (place, sensor, unit) = unit(&rig, name)?;
        let readings = self.readings(&rig, &[sensor])?;
        let rests = readings.rests(sensor, place, Some(attitudes.len()))?;
        let Some((level, tilted)) = rests.split_first() else {
            return Err(CalibrateJobError::NoSource.into());
        };
        let positions: Vec<_> = attitudes.iter().skip(1).copied().zip(tilted).collect();
        let found = heading::fit(sensor, unit, level, &positions, u_rad.unwrap_or(PROTRACTOR_U_RAD))?;
        let method = "direction in which known tilts are seen, against the still";
        let from = (readings.name, Some(readings.hash));
        Ok(self.entry(sensor, Found::Heading(found), from, rests.len(), method))
    }

    fn zero(
        &self,
        lengths: &[(String, f64)],
        marks: &[(String, f64)],
        u: Option<f64>,
    ) -> Result<Vec<Entry>, Failure> {
        let rig = self.laid();
        let truths = self.truths(&rig, lengths, marks, u)?;
        let sensors: Vec<&Sensor> = truths.iter().filter_map(|(place, ..)| rig.sensors.get(*place)).collect();
        let readings = self.readings(&rig, &sensors)?;
        let mut entries = Vec::new();
        for (place, truth, method) in truths {
            let Some(sensor) = rig.sensors.get(place) else { continue };
            let Some(reading) = sensor.reading() else { continue };
            // Ride marks say something of every sensor of their axle: one that is not there today is left out.
            if method == BY_MARKS && !readings.have(place) {
                continue;
            }
            let found = zero::fit(reading, &readings.first(sensor, place)?, truth)?;
            let from = (readings.name.clone(), Some(readings.hash.clone()));
            entries.push(self.entry(sensor, Found::Zero(found), from, 1, method));
        }
        if entries.is_empty() { Err(CalibrateJobError::NothingTaped.into()) } else { Ok(entries) }
    }

    /// By place in the rig what a sensor truly measures at the still.
    fn truths(
        &self,
        rig: &Rig,
        lengths: &[(String, f64)],
        marks: &[(String, f64)],
        u: Option<f64>,
    ) -> Result<Vec<(usize, Truth, &'static str)>, Failure> {
        let mut truths = Vec::new();
        for (name, value) in lengths {
            let (place, sensor) = sensor(rig, name)?;
            let Some(quantity) = quantity(&sensor.kind) else {
                return Err(other_kind(sensor, "the still of every test takes its zero").into());
            };
            let value = value * si(quantity);
            let u = u.map_or(typed_u(quantity, value), |u| u * si(quantity));
            truths.push((place, Truth { value, u }, "length taped at the still"));
        }
        if lengths.is_empty() || !marks.is_empty() {
            truths.extend(self.by_marks(rig, marks)?);
        }
        Ok(truths)
    }

    fn by_marks(
        &self,
        rig: &Rig,
        typed: &[(String, f64)],
    ) -> Result<Vec<(usize, Truth, &'static str)>, Failure> {
        let vehicle = &self.folder.vehicle;
        let all = || vehicle.axles.iter().flat_map(|a| &a.ride_marks);
        if let Some((name, _)) = typed.iter().find(|(name, _)| !all().any(|m| m.name == *name)) {
            let there = all().map(|m| m.name.clone()).collect();
            return Err(CalibrateJobError::NoMark { name: name.clone(), there }.into());
        }
        let mut truths = Vec::new();
        for (index, axle) in vehicle.axles.iter().enumerate() {
            let taped: Vec<_> = axle
                .ride_marks
                .iter()
                .filter_map(|mark| match typed.iter().find(|(name, _)| *name == mark.name) {
                    Some((_, length_mm)) => Some((mark, length_mm * si(Quantity::Length))),
                    None => typed.is_empty().then_some((mark, mark.length_m)),
                })
                .collect();
            if taped.is_empty() {
                continue;
            }
            for (place, sensor) in rig.sensors.iter().enumerate().filter(|(_, s)| s.axle == index) {
                let Some(reading) = sensor.reading().filter(|_| !matches!(sensor.kind, Kind::Force(_)))
                else {
                    continue;
                };
                let truth = zero::from_marks(sensor, reading, axle.centre(), &taped, vehicle.tolerance_m)?;
                truths.push((place, truth, BY_MARKS));
            }
        }
        if truths.is_empty() { Err(CalibrateJobError::NothingTaped.into()) } else { Ok(truths) }
    }
}

const BY_MARKS: &str = "ride marks taped at the still";

/// SI of what people type: mm, degrees, N.
fn si(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Length => 1e-3,
        Quantity::Angle => 1f64.to_radians(),
        _ => 1.0,
    }
}

fn typed_u(quantity: Quantity, greatest: f64) -> f64 {
    match quantity {
        Quantity::Length => TAPE_U_M,
        Quantity::Angle => PROTRACTOR_U_RAD,
        _ => WEIGHT_U * greatest.abs(),
    }
}

fn other_kind(sensor: &Sensor, what: &'static str) -> CalibrateJobError {
    let kind = match &sensor.kind {
        Kind::DrawWire(_) => "draw-wire",
        Kind::Angle(_) => "angle sensor",
        Kind::Range(_) => "range finder",
        Kind::Force(_) => "force sensor",
        Kind::Inertial(_) => "inertial unit",
    };
    let article = if kind.starts_with(['a', 'i']) { "an" } else { "a" };
    CalibrateJobError::OtherKind { name: sensor.name.clone(), article, kind, what }
}
