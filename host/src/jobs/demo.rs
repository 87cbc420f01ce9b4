//! `demo`: the whole way on a vehicle that does not exist. A virtual vehicle, which differs from its drawing in one thing,
//! drives up a ramp; the real firmware reads its sensors; its readings come over a port, are recorded, measured and compared,
//! and the report should say what the thing is.

use super::record::{self, Recorded};
use super::virtual_line::VirtualLine;
use super::writing::{Fresh, write_new};
use super::{WriteError, compare, init, source};
use crate::device::line::{Clock, Connect};
use crate::explain::{Explain, Failure, Status};
use crate::files::logbook::{RIG_FILE, VEHICLE_FILE};
use crate::judge::Comparison;
use crate::rig::{self, Rig};
use crate::run::find::RUNS;
use crate::run::{Facts, Phase};
use crate::vehicle::{self, Vehicle};
use crate::virtual_rig::deviation::Deviation;
use crate::virtual_rig::logger::VirtualLogger;
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::{Test, VehicleOnRamp, VirtualRigError, scenario};
use jiff::ZonedDateTime;
use std::path::{Path, PathBuf};

#[cfg(test)]
mod tests;

/// What the virtual builder does.
const PLAN: [Phase; 4] = [Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight];
/// The ramp, rad: 20°.
const RAMP_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;
/// Virtual seconds per second where nobody asks for another speed: what a small computer keeps up with.
pub const SPEED: f64 = 20.0;
/// The folder of the vehicle, and the report.
const VEHICLE: &str = "Bramble";
const REPORT: &str = "report.html";
/// What the run's notes say.
const NOTES: &str = "A virtual vehicle: nothing here was measured on metal.";

/// What to demonstrate.
pub struct Request<'a> {
    /// The folder that becomes the demonstration's logbook: empty, or not there yet.
    pub folder: PathBuf,
    /// Chooses what is planted, and draws the sensors' errors.
    pub seed: u64,
    /// Virtual seconds per second.
    pub speed: f64,
    /// Now.
    pub now: ZonedDateTime,
    /// Writes the report of a comparison.
    pub report: &'a dyn Fn(&Comparison, &Vehicle) -> String,
}

/// How far a demonstration is.
#[derive(Debug)]
pub enum Step<'a> {
    /// The logbook is there.
    Logbook(&'a Path),
    /// The virtual logger listens on a port, or within the program where the system has no port to give.
    Port(Option<&'a str>),
    /// It is recorded.
    Recording(&'a record::Progress<'a>),
    /// It was recorded and is now measured and compared.
    Comparing(&'a Recorded),
}

/// A demonstration that was given.
#[derive(Debug)]
pub struct Demonstrated {
    /// The logbook.
    pub folder: PathBuf,
    /// The recording.
    pub recorded: Recorded,
    /// The drawing.
    pub vehicle: Vehicle,
    /// The run beside its drawing.
    pub comparison: Comparison,
    /// The report.
    pub report: PathBuf,
    /// How the true vehicle differs from its drawing, in a builder's words: to be told after the findings.
    pub planted: String,
    /// Whether a finding names the link that it concerns.
    pub found: bool,
}

/// Why there is no demonstration.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The folder holds something.
    #[error("{} is not empty", .0.display())]
    NotEmpty(PathBuf),
    /// The recording ended before the test did.
    #[error("the recording ended early: {why}")]
    Early {
        /// Why, as a part of a sentence.
        why: String,
    },
    /// The disk refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl Explain for DemoError {
    fn status(&self) -> Status {
        match self {
            DemoError::NotEmpty(_) => Status::BadInput,
            DemoError::Early { .. } => Status::Device,
            DemoError::Write(error) => error.status(),
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            DemoError::NotEmpty(_) => {
                Some("Name a folder that is empty or not there yet: hingeline demo DIR".into())
            }
            DemoError::Early { .. } => Some("Try again with a lower --speed.".into()),
            DemoError::Write(error) => error.hint(),
        }
    }
}

/// Gives the demonstration; `watch` is told how far it is.
///
/// # Errors
/// Where the folder is not empty, the disk refuses, or a step fails.
pub fn run(request: &Request, watch: &mut dyn FnMut(&Step)) -> Result<Demonstrated, Failure> {
    let folder = &request.folder;
    if folder.read_dir().is_ok_and(|mut entries| entries.next().is_some()) {
        return Err(DemoError::NotEmpty(folder.clone()).into());
    }
    let vehicle_folder = folder.join(VEHICLE);
    let mut fresh = Fresh::default();
    init::make(folder, &mut fresh)?;
    fresh.folder(&vehicle_folder).map_err(DemoError::Write)?;
    for (name, text) in [(VEHICLE_FILE, scenario::VEHICLE), (RIG_FILE, scenario::RIG)] {
        fresh.write(&vehicle_folder.join(name), text).map_err(DemoError::Write)?;
    }
    fresh.keep();
    watch(&Step::Logbook(folder));
    let drawn = vehicle::file::load(&vehicle_folder.join(VEHICLE_FILE))?;
    let rig = rig::file::load(&vehicle_folder.join(RIG_FILE), &drawn)?;
    let deviation = drawn.axles.first().and_then(|axle| Deviation::choose(axle, 0, request.seed));
    let logger = logger(&drawn, deviation, &rig, request.seed)?;
    let recorded = record_from(logger, request, vehicle_folder, watch)?;
    if recorded.trouble.is_some() || recorded.phases != PLAN {
        return Err(DemoError::Early { why: recorded.why }.into());
    }
    watch(&Step::Comparing(&recorded));
    let run = recorded.folder.display().to_string();
    let compared = compare::with_design(&source::Request { run, ..source::Request::default() })?;
    let report = folder.join(REPORT);
    write_new(&report, &(request.report)(&compared.comparison, &compared.source.vehicle))
        .map_err(DemoError::Write)?;
    let link = deviation.and_then(|d| d.link(&drawn));
    let names = |element: &str| link.is_some_and(|l| element.contains(&l.name));
    let found = compared.comparison.axles.iter().flat_map(|a| &a.findings).any(|f| names(&f.element));
    Ok(Demonstrated {
        folder: folder.clone(),
        recorded,
        comparison: compared.comparison,
        report,
        planted: deviation.map_or_else(|| "nothing".into(), |d| d.words(&drawn)),
        found,
        vehicle: drawn,
    })
}

/// The logger on the true vehicle.
fn logger(
    drawn: &Vehicle,
    deviation: Option<Deviation>,
    rig: &Rig,
    seed: u64,
) -> Result<VirtualLogger, VirtualRigError> {
    let truly = deviation.map_or_else(|| drawn.clone(), |d| d.apply(drawn));
    let test = Test { axle: 0, phases: PLAN.to_vec(), ramp_rad: RAMP_RAD };
    let readings = Readings::new(VehicleOnRamp::new(&truly, &test)?, rig, Some(seed))?;
    VirtualLogger::new(rig, readings, seed)
}

/// Records over a port where the system gives one, else within the program.
fn record_from(
    logger: VirtualLogger,
    request: &Request,
    vehicle_folder: PathBuf,
    watch: &mut dyn FnMut(&Step),
) -> Result<Recorded, Failure> {
    let record = record_request(vehicle_folder, request);
    #[cfg(unix)]
    if let Ok(port) = crate::virtual_rig::pty::Pty::open() {
        return over_port(logger, port, &record, request.speed, watch);
    }
    let mut line = VirtualLine::new(logger);
    watch(&Step::Port(None));
    recorded(&record, &line.clone(), &mut line, watch)
}

fn record_request(vehicle_folder: PathBuf, request: &Request) -> record::Request {
    record::Request {
        vehicle_folder,
        shelf: RUNS,
        test: None,
        plan: PLAN.to_vec(),
        facts: Facts { ramp_angle_rad: Some(RAMP_RAD), notes: NOTES.into(), ..Facts::default() },
        without: Vec::new(),
        seconds: None,
        reconnect_s: 1.0,
        now: request.now.clone(),
    }
}

fn recorded(
    request: &record::Request,
    clock: &dyn Clock,
    connect: &mut dyn Connect,
    watch: &mut dyn FnMut(&Step),
) -> Result<Recorded, Failure> {
    record::run(request, connect, clock, &mut |progress| {
        watch(&Step::Recording(progress));
        None
    })
}

#[cfg(unix)]
use port::over_port;

/// Recording over a pseudo-terminal, the logger on a thread of its own.
#[cfg(unix)]
mod port {
    use super::*;
    use crate::device::line::SystemClock;
    use crate::device::ports::{DEFAULT_BAUD, PortConnector};
    use crate::jobs::simulate::{Pace, SimulateError, serve};
    use crate::virtual_rig::pty::Pty;
    use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
    use std::time::Duration;

    /// The logger's own time, so that both ends agree however fast it runs.
    struct LoggersClock<'a> {
        now_us: &'a AtomicU64,
        speed: f64,
    }

    impl Clock for LoggersClock<'_> {
        fn now_us(&self) -> u64 {
            self.now_us.load(Ordering::Acquire)
        }

        fn pause(&self, duration: Duration) {
            std::thread::sleep(duration.div_f64(self.speed));
        }
    }

    pub fn over_port(
        mut logger: VirtualLogger,
        mut port: Pty,
        request: &record::Request,
        speed: f64,
        watch: &mut dyn FnMut(&Step),
    ) -> Result<Recorded, Failure> {
        let path = port.path().to_owned();
        watch(&Step::Port(Some(&path)));
        let (stop, now_us) = (AtomicBool::new(false), AtomicU64::new(0));
        std::thread::scope(|scope| {
            let served = scope.spawn(|| {
                serve(
                    &mut logger,
                    &mut port,
                    &SystemClock::start(),
                    Pace { speed, faults: None },
                    &mut |logger, _, _| {
                        now_us.store(logger.now_us(), Ordering::Release);
                        !stop.load(Ordering::Acquire)
                    },
                )
            });
            let clock = LoggersClock { now_us: &now_us, speed };
            let result = recorded(request, &clock, &mut PortConnector::new(&path, DEFAULT_BAUD), watch);
            stop.store(true, Ordering::Release);
            match served.join() {
                Ok(Err(error)) => Err(SimulateError::Port(error).into()),
                _ => result,
            }
        })
    }
}
