//! `device`: who the logger is, what it sees on its buses, what is missing or wrong and what to check, and a check by hand of
//! every sensor's plug and sign.

mod diagnose;
mod moves;
#[cfg(test)]
mod tests;

pub use diagnose::{Place, Trouble};

pub use crate::device::inspection::Seen;
pub use crate::device::push::Sense;
pub use crate::device::wiggle::Moved;

use crate::device::inspection::{Found, Inspection, Wanted};
use crate::device::line::{Clock, Connect};
use crate::device::link::{Heard, Link};
use crate::device::push::Push;
use crate::device::session::Drift;
use crate::device::setup::Setup;
use crate::device::wiggle::Wiggle;
use crate::explain::{Explain, Failure, Status};
use crate::jobs::vehicle_folder::VehicleFolder;
use crate::rig::Rig;
use crate::run::channels::NOMINAL_EXCITATION_V;
use hingeline_protocol::{Identity, ResetCause};
use std::path::PathBuf;
use std::time::Duration;

/// Bytes read at once: some scans, so that no movement falls between two looks. And how long a read may wait.
const BUFFER: usize = 256;
const STEP: Duration = Duration::from_millis(20);
/// An excitation that is further from its nominal value than this part of it is in trouble.
const EXCITATION_WITHIN: f64 = 0.15;

/// What to look at.
#[derive(Debug, Clone)]
pub struct Request {
    /// The vehicle whose rig is on the logger; none: what the logger is set up for already.
    pub vehicle_folder: Option<PathBuf>,
    /// The rig file in place of the vehicle's own.
    pub rig: Option<PathBuf>,
    /// How long the sensors are watched, s.
    pub watch_s: f64,
    /// Whether each sensor is moved by hand afterwards.
    pub wiggle: bool,
    /// Whether a recording that goes on may be ended.
    pub stop: bool,
}

/// What a person may ask for meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Leave this sensor, or this step, out.
    Skip,
    /// End.
    Stop,
}

/// What goes on, for the person who watches.
#[derive(Debug)]
pub enum Progress<'a> {
    /// The logger is looked over.
    Looking(&'static str),
    /// A sensor is to be moved.
    Move {
        /// Its name.
        sensor: &'a str,
        /// What to do with it.
        how: &'static str,
        /// Whether it may be moved now; else all must be at rest first.
        armed: bool,
        /// The rows that do not come to rest.
        restless: Vec<&'a str>,
        /// The row that moves just now.
        moving: Option<&'a str>,
        /// Rows by name, with their latest reading.
        rows: Vec<(&'a str, Option<f64>)>,
        /// Sensors that had their turn.
        done: usize,
        /// Sensors in all.
        of: usize,
    },
    /// The left corner is to be pushed down.
    Push {
        /// Whether it may be pushed now; else all must be at rest first.
        armed: bool,
        /// The rows that do not come to rest.
        restless: Vec<&'a str>,
    },
}

/// A sensor of the rig, or of the logger where there is no rig.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// Where it is wired.
    pub place: Option<Place>,
    /// What it read, by channel: name (empty for a scalar), unit and reading.
    pub readings: Vec<Channel>,
    /// What is wrong with it.
    pub trouble: Option<Trouble>,
    /// What came of moving it.
    pub moved: Option<Moved>,
    /// Whether it moved the right way when the corner was pushed.
    pub sense: Option<Sense>,
}

/// What one channel of a sensor read while it was watched.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Which of the sensor's channels; empty where it has one.
    pub name: String,
    /// SI unit.
    pub unit: &'static str,
    /// Readings, SI.
    pub seen: Option<Seen>,
}

/// What answers somewhere.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answering {
    /// Bus.
    pub bus: u8,
    /// Multiplexer and its output; none: the bus itself.
    pub mux: Option<(u8, u8)>,
    /// Addresses.
    pub addresses: Vec<u8>,
}

/// The logger as it was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The port.
    pub port: String,
    /// Who it is.
    pub identity: Identity,
    /// Where its program failed before it last reset.
    pub last_words: Option<String>,
    /// The vehicle whose rig it was held against.
    pub vehicle: Option<String>,
    /// The sensors that it was set up for.
    pub set_up_for: Vec<String>,
    /// How its settings differ from the rig, before it was set up anew.
    pub settings: Vec<String>,
    /// What answers, where that was searched.
    pub answering: Vec<Answering>,
    /// The sensors.
    pub rows: Vec<Row>,
    /// What is wrong with a bus, a multiplexer or a supply.
    pub shared: Vec<String>,
    /// Pairs of sensors that answer for each other.
    pub swapped: Vec<(usize, usize)>,
    /// Rows that moved together though one sensor only was to be moved: the vehicle moves, it seems.
    pub moved_together: Vec<usize>,
    /// Rows that need not move when the corner is pushed, and did.
    pub also_moved: Vec<usize>,
    /// How its clock runs against this computer's.
    pub drift: Option<Drift>,
    /// Scans that it left out, messages that it dropped, transfers that failed, since it booted.
    pub left_out: Option<[u32; 3]>,
    /// Frames that the line damaged.
    pub damaged_frames: u32,
    /// Whether it was ended before all was done.
    pub broken_off: bool,
}

impl Report {
    /// Whether anything is wrong.
    pub fn is_well(&self) -> bool {
        let well = |row: &Row| {
            row.trouble.is_none()
                && !matches!(row.moved, Some(Moved::Other(_) | Moved::Several(_)))
                && row.sense != Some(Sense::Wrong)
        };
        self.shared.is_empty() && self.rows.iter().all(well)
    }

    /// Why it last reset, and what to make of that.
    pub fn last_reset(&self) -> String {
        let what = match self.identity.reset_cause {
            ResetCause::Watchdog => ": its program hung; if it does so again, note what it was doing",
            ResetCause::BrownOut => ": its supply fell; look at the cable and the port",
            ResetCause::Fault => ": its program failed; put newer firmware on it, and tell what it was doing",
            _ => "",
        };
        let place =
            self.last_words.as_ref().map_or_else(String::new, |place| format!(" (it failed at {place})"));
        format!("{}{what}{place}", self.identity.reset_cause.as_str())
    }
}

/// Why there is nothing to tell.
#[derive(Debug, thiserror::Error)]
pub enum DeviceError {
    /// It was ended before the logger had said who it is.
    #[error("nothing was found out: it was ended before the logger answered")]
    Nothing,
    /// Moving sensors needs names.
    #[error("the check by hand needs the vehicle whose sensors are on the logger")]
    NoVehicle,
}

impl Explain for DeviceError {
    fn status(&self) -> Status {
        match self {
            Self::Nothing => Status::Stopped,
            Self::NoVehicle => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        matches!(self, Self::NoVehicle).then(|| "Name it: --vehicle NAME".to_owned())
    }
}

/// Looks a logger over. `watch` is called some fifty times a second.
///
/// # Errors
/// Where the vehicle's files are wrong, or the logger cannot be reached, refuses, or is recording and may not be stopped.
pub fn run(
    request: &Request,
    connect: &mut dyn Connect,
    clock: &dyn Clock,
    watch: &mut dyn FnMut(&Progress) -> Option<Command>,
) -> Result<Report, Failure> {
    let load = |path: &PathBuf| match &request.rig {
        Some(rig) => VehicleFolder::load_with_rig(path, rig),
        None => VehicleFolder::load(path),
    };
    let folder = request.vehicle_folder.as_ref().map(load).transpose()?;
    if request.wiggle && folder.is_none() {
        return Err(DeviceError::NoVehicle.into());
    }
    let none = Rig { sensors: Vec::new(), rate_hz: 1.0, hash: String::new() };
    let rig = folder.as_ref().map_or(&none, |f| &f.rig);
    let setup = folder.as_ref().map(|f| Setup::of(&f.rig)).transpose()?.filter(|s| !s.sensors.is_empty());
    let wanted = Wanted { setup, watch_us: (request.watch_s * 1e6) as u64, interrupt: request.stop };
    let port = connect.name().to_owned();
    let link = Link::open(connect, 0.0)?;
    let zero_us = clock.now_us();
    let mut work = Work { link, clock, zero_us, rig, inspection: Inspection::new(rig, wanted, 0) };
    let mut by_hand = request.wiggle.then(|| ByHand::new(rig, folder.as_ref())).flatten();
    let broken_off = work.go(&mut by_hand, watch)?;
    let found = work.inspection.found();
    let Some(identity) = found.identity.clone() else { return Err(DeviceError::Nothing.into()) };
    Ok(report(port, identity, folder.as_ref(), found, by_hand, broken_off))
}

/// The checks by hand.
struct ByHand {
    wiggle: Wiggle,
    push: Push,
}

impl ByHand {
    fn new(rig: &Rig, folder: Option<&VehicleFolder>) -> Option<Self> {
        let vehicle = &folder?.vehicle;
        let thresholds: Vec<Vec<f64>> = rig.sensors.iter().map(moves::thresholds).collect();
        let first = thresholds.iter().map(|t| t.first().copied().unwrap_or(f64::INFINITY)).collect();
        let expected =
            rig.sensors.iter().map(|s| moves::when_the_left_corner_goes_down(s, vehicle)).collect();
        Some(Self { wiggle: Wiggle::new(thresholds), push: Push::new(expected, first) })
    }

    /// A push says something of a sign only where every row is its own sensor's, and the vehicle rests.
    fn is_over(&self) -> bool {
        let crossed = self.wiggle.outcomes().iter().any(|moved| matches!(moved, Moved::Other(_)))
            || !self.wiggle.moved_together().is_empty();
        self.wiggle.asked().is_none() && (self.push.is_over() || !self.push.tells() || crossed)
    }
}

/// A logger that is being looked over.
struct Work<'a> {
    link: Link<'a>,
    clock: &'a dyn Clock,
    zero_us: u64,
    rig: &'a Rig,
    inspection: Inspection,
}

impl Work<'_> {
    fn now_us(&self) -> u64 {
        self.clock.now_us().saturating_sub(self.zero_us)
    }

    /// Goes on until all is done; gives whether it was broken off.
    fn go(
        &mut self,
        by_hand: &mut Option<ByHand>,
        watch: &mut dyn FnMut(&Progress) -> Option<Command>,
    ) -> Result<bool, Failure> {
        let mut broken_off = false;
        while !self.inspection.is_over() {
            self.step()?;
            let now_us = self.now_us();
            let watched = self.inspection.is_watched(now_us);
            let command = match by_hand.as_mut().filter(|checks| watched && !checks.is_over()) {
                Some(checks) => self.by_hand(checks, watch),
                None => {
                    if watched {
                        self.inspection.stop(now_us);
                    }
                    watch(&Progress::Looking(self.inspection.doing()))
                }
            };
            if command == Some(Command::Stop) && !broken_off {
                broken_off = true;
                self.inspection.stop(now_us);
            }
        }
        Ok(broken_off)
    }

    fn step(&mut self) -> Result<(), Failure> {
        let mut buffer = [0; BUFFER];
        while let Some(message) = self.inspection.outgoing() {
            self.link.send(&message, self.now_us());
        }
        match self.link.read(&mut buffer, STEP, self.clock, self.now_us())? {
            Heard::Bytes(count) => {
                let now_us = self.now_us();
                let bytes = buffer.get(..count).unwrap_or_default();
                self.inspection.receive(self.rig, bytes, now_us)?;
            }
            Heard::Back { .. } | Heard::Nothing => {}
        }
        if self.link.is_up() {
            self.inspection.tick(self.now_us())?;
        }
        Ok(())
    }

    /// One turn of the checks by hand.
    fn by_hand(
        &self,
        checks: &mut ByHand,
        watch: &mut dyn FnMut(&Progress) -> Option<Command>,
    ) -> Option<Command> {
        let live = self.inspection.live();
        let name = |k: usize| self.rig.sensors.get(k).map_or("", |s| s.name.as_str());
        let scalar: Vec<Option<f64>> = live.latest.iter().map(|c| c.first().copied().flatten()).collect();
        let Some(asked) = checks.wiggle.asked() else {
            checks.push.take(live.latest_us, &scalar);
            let restless = checks.push.restless().iter().map(|k| name(*k)).collect();
            let command = watch(&Progress::Push { armed: checks.push.is_armed(), restless });
            if command == Some(Command::Skip) {
                checks.push.skip();
            }
            return command;
        };
        checks.wiggle.take(live.latest_us, &live.latest);
        let command = watch(&Progress::Move {
            sensor: name(asked),
            how: self.rig.sensors.get(asked).map_or("", |s| moves::how(&s.kind)),
            armed: checks.wiggle.is_armed(),
            restless: checks.wiggle.restless().iter().map(|k| name(*k)).collect(),
            moving: checks.wiggle.moving().map(name),
            rows: self.rig.sensors.iter().zip(scalar).map(|(s, latest)| (s.name.as_str(), latest)).collect(),
            done: asked,
            of: self.rig.sensors.len(),
        });
        if command == Some(Command::Skip) {
            checks.wiggle.skip();
        }
        command
    }
}

fn report(
    port: String,
    identity: Identity,
    folder: Option<&VehicleFolder>,
    found: &Found,
    by_hand: Option<ByHand>,
    broken_off: bool,
) -> Report {
    let rig = folder.map(|f| &f.rig);
    let mut rows = rig.map_or_else(Vec::new, |rig| diagnose::rows(rig, found));
    let (mut swapped, mut moved_together, mut also_moved) = (Vec::new(), Vec::new(), Vec::new());
    if let Some(checks) = by_hand {
        swapped = checks.wiggle.swaps();
        moved_together = checks.wiggle.moved_together();
        also_moved = checks.push.also_moved();
        let senses = checks.push.is_over().then(|| checks.push.senses());
        for (k, row) in rows.iter_mut().enumerate() {
            row.moved = checks.wiggle.outcomes().get(k).cloned();
            row.sense = senses.as_ref().and_then(|s| s.get(k).copied());
        }
    }
    Report {
        port,
        identity,
        last_words: found.last_words.clone(),
        vehicle: folder.map(|f| f.vehicle.name.clone()),
        set_up_for: diagnose::set_up_for(found),
        settings: rig.map_or_else(Vec::new, |rig| diagnose::settings(rig, found)),
        answering: diagnose::answering(found),
        rows,
        shared: diagnose::shared(found),
        swapped,
        moved_together,
        also_moved,
        drift: found.drift,
        left_out: found.status.map(|s| [s.overrun_scans, s.dropped_messages, s.bus_errors]),
        damaged_frames: found.damaged_frames,
        broken_off,
    }
}

/// Whether an excitation is near its nominal value.
fn is_excited(volts: f64) -> bool {
    (volts / NOMINAL_EXCITATION_V - 1.0).abs() <= EXCITATION_WITHIN
}
