//! `simulate`: a virtual vehicle in a test, with the real firmware on it, behind a port that any program can open.

use super::calibrate::bench::procedure;
use super::calibrate::{Work, checked};
use crate::device::faults::{Faults, Rates};
use crate::device::line::Clock;
use crate::device::setup::Setup;
use crate::explain::{Explain, Failure, Status};
use crate::files::did_you_mean;
use crate::rig::{self, Rig};
use crate::run::Phase;
use crate::vehicle::{self, Vehicle};
use crate::virtual_rig::deviation::Deviation;
use crate::virtual_rig::hands::Hands;
use crate::virtual_rig::logger::VirtualLogger;
use crate::virtual_rig::pty::{Heard, Pty};
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::stage::Stage;
use crate::virtual_rig::wiring::wired;
use crate::virtual_rig::{Test, VehicleOnRamp, pace};
use std::io;
use std::path::PathBuf;
use std::time::Duration;

mod astray;
mod image;
#[cfg(test)]
mod tests;

pub use astray::Astray;
use astray::{Follower, Played};
pub use image::{Image, built_image};

/// Virtual time that passes at once, µs: short enough for answers to come soon.
const SLICE_US: u64 = 10_000;
/// Rest of the loop, wall time.
const REST: Duration = Duration::from_millis(2);
/// Virtual time waits while so many bytes wait for a program that has the port open, …
const WAITING: usize = 8 * 1024;
/// … but no longer than this, host time, µs: then the logger loses what it cannot send, as a real one does.
const PATIENCE_US: u64 = 1_000_000;
/// Behind by more than this, host time, µs, virtual time does not try to catch up.
const BEHIND_US: u64 = 500_000;

/// What to simulate.
#[derive(Debug, Clone)]
pub struct Request {
    /// The vehicle file: the drawing.
    pub vehicle_file: PathBuf,
    /// The rig file.
    pub rig_file: PathBuf,
    /// The axle under test by name; none: the only one, or the first with sensors.
    pub axle: Option<String>,
    /// Phases in order.
    pub plan: Vec<Phase>,
    /// Angle of the ramp, rad.
    pub ramp_rad: f64,
    /// Draws the sensors' errors.
    pub seed: u64,
    /// Makes the true vehicle differ from its drawing in one thing, chosen by this.
    pub deviation_seed: Option<u64>,
    /// Two sensors, by name, whose plugs are in each other's sockets.
    pub swapped: Option<[String; 2]>,
    /// Sensors, by name, whose parts do not answer.
    pub missing: Vec<String>,
    /// Whether the builder moves each sensor by hand before the test.
    pub wiggle: bool,
    /// In place of a test a sensor goes through the positions of a calibration.
    pub calibrates: Option<Work>,
    /// Virtual seconds per second.
    pub speed: f64,
    /// Ends after so many virtual seconds.
    pub seconds: Option<f64>,
    /// Speed of the line; none: as fast as the port takes it, like USB.
    pub baud: Option<u32>,
    /// Hurts what the line brings to the host: bytes lost, late, doubled, turned; drawn from this. Not with an image.
    pub bad_line_seed: Option<u64>,
    /// Runs this machine image in place of the native firmware; speed and baud are then its own.
    pub image: Option<Image>,
}

/// Where a simulation is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress<'a> {
    /// The port to open.
    pub port: &'a str,
    /// Whether a program has it open.
    pub open: bool,
    /// Virtual time since the logger booted, s.
    pub seconds: f64,
    /// The phase of the test; none before it begins and after its end.
    pub phase: Option<Phase>,
    /// Why a recording from this port would be refused; none where it would not.
    pub warning: Option<&'a str>,
    /// How a recording goes that follows another plan than is played here; none where that is not seen.
    pub astray: Option<Astray>,
}

/// A simulation that ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    /// Virtual time that passed, s.
    pub seconds: f64,
    /// Bytes that a program read from the port.
    pub bytes: u64,
    /// How the true vehicle differs from its drawing, in a builder's words.
    pub deviation: Option<String>,
}

/// Why there is no simulation.
#[derive(Debug, thiserror::Error)]
pub enum SimulateError {
    /// No pseudo-terminal.
    #[error("the system gives no port to simulate on: {0}")]
    Port(#[from] io::Error),
    /// The vehicle has no such axle.
    #[error("{vehicle} has no axle called \"{axle}\"")]
    NoAxle {
        /// The vehicle.
        vehicle: String,
        /// Asked for.
        axle: String,
        /// What it has.
        known: Vec<String>,
    },
    /// The rig has no such sensor.
    #[error("the rig has no sensor \"{name}\"")]
    NoSensor {
        /// Asked for.
        name: String,
        /// What it has.
        known: Vec<String>,
    },
    /// The firmware does not take the rig.
    #[error("the logger does not take this rig: {0}")]
    Refused(&'static str),
}

impl Explain for SimulateError {
    fn status(&self) -> Status {
        match self {
            SimulateError::Port(_) => Status::Device,
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            SimulateError::Refused(_) => {
                Some("Lower rate_hz in rig.toml, or spread the sensors over more buses.".into())
            }
            SimulateError::NoAxle { axle: name, known, .. } | SimulateError::NoSensor { name, known } => {
                did_you_mean(name, known)
            }
            SimulateError::Port(_) => None,
        }
    }
}

/// Simulates until the time is up or `watch` says `false`; `watch` is first called when the port is there, and then some
/// hundred times a second.
///
/// # Errors
/// Where a file is wrong, the vehicle cannot do the test, or the system gives no port.
pub fn run(
    request: &Request,
    clock: &dyn Clock,
    watch: &mut dyn FnMut(&Progress) -> bool,
) -> Result<Simulated, Failure> {
    let drawn = vehicle::file::load(&request.vehicle_file)?;
    let rig = wired(&rig::file::load(&request.rig_file, &drawn)?);
    let axle = axle(&drawn, request.axle.as_deref(), rig.sensors.first().map_or(0, |s| s.axle))?;
    let deviation =
        request.deviation_seed.and_then(|seed| Deviation::choose(drawn.axles.get(axle)?, axle, seed));
    let truly = deviation.map_or_else(|| drawn.clone(), |d| d.apply(&drawn));
    let phases = request.calibrates.as_ref().map_or_else(|| request.plan.clone(), Work::plan);
    let test = Test { axle, phases, ramp_rad: request.ramp_rad };
    let mut readings = Readings::new(VehicleOnRamp::new(&truly, &test)?, &rig, Some(request.seed))?;
    if let Some(work) = &request.calibrates {
        checked(&rig, work)?;
        readings = match procedure(&rig, work, request.seed) {
            Some(procedure) => readings.with_procedure(procedure),
            None => readings,
        };
    }
    let (hands, missing) = by_hand(request, &rig)?;
    let warning = pace::warning(&rig);
    let limit_us = request.seconds.map_or(u64::MAX, |s| (s * 1e6) as u64);
    let mut follower = Follower::new(request);
    let mut go_on = |port: &str, open: bool, played: Played| {
        let (now_us, phase, warning) = (played.now_us, played.phase, warning.as_deref());
        let astray = follower.see(&played);
        let progress = Progress { port, open, seconds: now_us as f64 * 1e-6, phase, warning, astray };
        watch(&progress) && now_us < limit_us
    };
    let (now_us, bytes) = match &request.image {
        Some(image) => {
            let stage = Stage::new(&rig, readings)?.with_hands(hands, &missing);
            image::run(image, stage, clock, &mut go_on)?
        }
        None => {
            let logger = VirtualLogger::new(&rig, readings, request.seed)?.with_hands(hands, &missing);
            native(request, &rig, logger, clock, &mut go_on)?
        }
    };
    Ok(Simulated { seconds: now_us as f64 * 1e-6, bytes, deviation: deviation.map(|d| d.words(&drawn)) })
}

/// What the builder's hands do, and which sensors' parts are missing.
fn by_hand(request: &Request, rig: &Rig) -> Result<(Hands, Vec<usize>), SimulateError> {
    let place = |name: &String| {
        rig.sensors.iter().position(|s| s.name == *name).ok_or_else(|| SimulateError::NoSensor {
            name: name.clone(),
            known: rig.sensors.iter().map(|s| s.name.clone()).collect(),
        })
    };
    let swapped = match &request.swapped {
        Some([a, b]) => Some((place(a)?, place(b)?)),
        None => None,
    };
    let missing = request.missing.iter().map(place).collect::<Result<_, _>>()?;
    Ok((Hands { swapped, moves: if request.wiggle { rig.sensors.len() } else { 0 } }, missing))
}

/// Asked at every turn with the port, whether it is open, and where the test is: whether to go on.
type GoOn<'a> = dyn FnMut(&str, bool, Played) -> bool + 'a;

/// Runs the firmware natively; gives the device time at the end, µs, and the bytes that were sent.
fn native(
    request: &Request,
    rig: &Rig,
    mut logger: VirtualLogger,
    clock: &dyn Clock,
    go_on: &mut GoOn,
) -> Result<(u64, u64), Failure> {
    if let Some(baud) = request.baud {
        logger.set_baud(baud);
    }
    let setup = Setup::of(rig)?;
    logger
        .configure(&setup.sensors, setup.period_us)
        .map_err(|outcome| SimulateError::Refused(outcome.as_str()))?;
    let mut port = Pty::open().map_err(SimulateError::Port)?;
    let mut faults = request.bad_line_seed.map(|seed| Faults::new(seed, Rates { unplug: 0.0, ..Rates::BAD }));
    let pace = Pace { speed: request.speed, faults: faults.as_mut() };
    let bytes = serve(&mut logger, &mut port, clock, pace, &mut |logger, port, open| {
        let streaming = Some(logger.is_streaming());
        let (now_us, phase, over) = (logger.now_us(), logger.phase(), logger.is_over());
        go_on(port.path(), open, Played { now_us, phase, over, streaming })
    })
    .map_err(SimulateError::Port)?;
    Ok((logger.now_us(), bytes))
}

fn axle(vehicle: &Vehicle, name: Option<&str>, with_sensors: usize) -> Result<usize, SimulateError> {
    let Some(name) = name else { return Ok(vehicle.axle_index(None).unwrap_or(with_sensors)) };
    vehicle.axle_index(Some(name)).ok_or_else(|| SimulateError::NoAxle {
        vehicle: vehicle.name.clone(),
        axle: name.to_owned(),
        known: vehicle.axles.iter().map(|a| a.name.clone()).collect(),
    })
}

/// How a logger behind a port is kept going.
pub(super) struct Pace<'a> {
    /// Virtual seconds per second.
    pub speed: f64,
    /// What the line does to the bytes.
    pub faults: Option<&'a mut Faults>,
}

/// Keeps a logger going behind a port, `speed` virtual seconds per second, until `go_on` says no; gives the bytes that were
/// sent.
///
/// # Errors
/// When the port breaks.
pub(super) fn serve(
    logger: &mut VirtualLogger,
    port: &mut Pty,
    clock: &dyn Clock,
    Pace { speed, mut faults }: Pace<'_>,
    go_on: &mut dyn FnMut(&VirtualLogger, &Pty, bool) -> bool,
) -> io::Result<u64> {
    let (mut buffer, mut waiting) = ([0; 1024], Vec::new());
    let mut sent = 0;
    // Host time and virtual time that belong together.
    let mut even = (clock.now_us(), logger.now_us());
    let mut taken_us = clock.now_us();
    loop {
        let heard = port.read(&mut buffer)?;
        if let Heard::Bytes(count) = heard {
            logger.feed(buffer.get(..count).unwrap_or_default());
        }
        let open = heard != Heard::Nobody;
        if !go_on(logger, port, open) {
            return Ok(sent);
        }
        let now_us = clock.now_us();
        let patient = waiting.len() >= WAITING && now_us.saturating_sub(taken_us) < PATIENCE_US;
        let target_us = even.1 + ((now_us.saturating_sub(even.0)) as f64 * speed) as u64;
        if !patient && target_us > logger.now_us() {
            let until_us = target_us.min(logger.now_us() + SLICE_US);
            match &mut faults {
                None => logger.run(until_us, 2 * WAITING, &mut waiting),
                Some(faults) => {
                    let mut sent = Vec::new();
                    logger.run(until_us, 2 * WAITING, &mut sent);
                    waiting.extend(faults.pass(&sent));
                }
            }
        }
        if !open {
            // Nobody listens: the bytes are gone, as on any line.
            waiting.clear();
        }
        let count = port.write(&waiting)?;
        waiting.drain(..count);
        sent += count as u64;
        if count > 0 || waiting.is_empty() {
            taken_us = now_us;
        }
        let behind_us = target_us.saturating_sub(logger.now_us());
        if behind_us as f64 > BEHIND_US as f64 * speed || patient {
            even = (now_us, logger.now_us());
        }
        if behind_us < SLICE_US || patient {
            clock.pause(REST);
        }
    }
}
