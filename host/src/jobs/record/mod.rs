//! `record`: records a test from a logger, and `record --fetch`: brings what the board kept by itself.
//!
//! The loop between a line, the recorder and the run folder. It prints nothing: a caller's `watch` is shown where things
//! are and answers with what the person wants.

pub mod fetch;
pub mod guide;
mod starts;

#[cfg(test)]
mod tests;

use super::import::file_name;
use super::vehicle_folder::{VehicleFolder, run_name, time_text};
use crate::device::line::{Clock, Connect};
use crate::device::link::{Heard, Link, LinkError};
use crate::device::recorder::{Live, Recorder};
use crate::device::session::SessionError;
use crate::device::setup::Setup;
use crate::explain::{Explain, Failure, Status};
use crate::rig::Rig;
use crate::run::folder::{FolderError, Keep, Writer};
use crate::run::header::{FORMAT, Header, Logger, Source};
use crate::run::marks::Mark;
use crate::run::plan::{Test, plan_words};
use crate::run::{Facts, Phase};
use hingeline_protocol::{HostMessage, Identity};
use jiff::ZonedDateTime;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Longest wait for bytes: how late a key or a timer may be noticed.
const STEP: Duration = Duration::from_millis(50);
/// Bytes that are read at once.
const BUFFER: usize = 16 * 1024;
/// Most bytes that are held before the run is made: an introduction and some answers are a few thousand.
const MOST_EARLY: usize = 256 * 1024;

/// What to record.
#[derive(Debug, Clone)]
pub struct Request {
    /// The folder of the vehicle.
    pub vehicle_folder: PathBuf,
    /// The folder in it that the recording goes to: that of its runs, or of what calibrations come from.
    pub shelf: &'static str,
    /// The test.
    pub test: Option<Test>,
    /// The phases in order; none: only readings are recorded. [`Test::plan`] gives those of a test.
    pub plan: Vec<Phase>,
    /// Angle of the ramp, taped distances, notes.
    pub facts: Facts,
    /// Sensors of the rig that are not there today, by name.
    pub without: Vec<String>,
    /// Ends after so long, s.
    pub seconds: Option<f64>,
    /// How long an unplugged line is waited for, s.
    pub reconnect_s: f64,
    /// Now.
    pub now: ZonedDateTime,
}

/// Where a recording is, for the person who watches.
#[derive(Debug)]
pub struct Progress<'a> {
    /// The rig whose sensors are read.
    pub rig: &'a Rig,
    /// The run's folder, once there is one.
    pub folder: Option<&'a Path>,
    /// Who the logger is, once known.
    pub logger: Option<&'a Identity>,
    /// Since streaming began, s.
    pub elapsed_s: Option<f64>,
    /// Whether the line is there.
    pub linked: bool,
    /// The phase that lasts.
    pub phase: Option<Phase>,
    /// The phase that comes next.
    pub next: Option<Phase>,
    /// Phases of the plan that have begun.
    pub begun: usize,
    /// Latest readings, and readings received and lost.
    pub live: &'a Live,
    /// Frames that the line damaged.
    pub damaged_frames: u32,
    /// How often the logger restarted.
    pub restarts: u32,
}

/// What the person wants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// The next phase, or the end after the last.
    Next,
    /// The phase ends, the next does not begin yet.
    Pause,
    /// A wheel has just lifted.
    Lift,
    /// A remark.
    Note(String),
    /// The end.
    Stop,
}

/// Trouble that ended a recording; what came before is kept.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// The disk.
    #[error(transparent)]
    Disk(FolderError),
    /// The line.
    #[error(transparent)]
    Line(LinkError),
    /// The logger.
    #[error(transparent)]
    Logger(SessionError),
}

impl Trouble {
    fn inner(&self) -> &dyn Explain {
        match self {
            Trouble::Disk(e) => e,
            Trouble::Line(e) => e,
            Trouble::Logger(e) => e,
        }
    }
}

impl Explain for Trouble {
    fn status(&self) -> Status {
        Status::Device
    }

    fn hint(&self) -> Option<String> {
        self.inner().hint()
    }
}

/// Why nothing was recorded at all.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// It was ended before the logger streamed.
    #[error("nothing was recorded: it was stopped before the logger sent readings")]
    Nothing,
    /// The board has kept nothing by itself.
    #[error("the logger has kept nothing by itself")]
    KeptNothing,
}

impl Recorded {
    /// The run as VEHICLE/NAME, which no other run of the logbook is called.
    pub fn full_name(&self) -> String {
        format!("{}/{}", self.vehicle, self.name)
    }
}

impl Explain for RecordError {
    fn hint(&self) -> Option<String> {
        match self {
            Self::Nothing => None,
            Self::KeptNothing => Some(
                "A board with a store records by itself while no host listens and its button starts it."
                    .to_owned(),
            ),
        }
    }
}

/// A recording that ended.
#[derive(Debug)]
pub struct Recorded {
    /// The run's name.
    pub name: String,
    /// The folder of its vehicle.
    pub vehicle: String,
    /// Its folder.
    pub folder: PathBuf,
    /// How long its readings go on, by the logger's clock, s.
    pub seconds: f64,
    /// Readings received.
    pub received: u64,
    /// Readings lost on the line.
    pub lost: u64,
    /// Frames that the line damaged.
    pub damaged_frames: u32,
    /// How often the line was gone, and for how long altogether, s.
    pub gaps: (u32, f64),
    /// How often the logger restarted.
    pub restarts: u32,
    /// Sensors of the rig that never said anything.
    pub silent: Vec<String>,
    /// The phases that began.
    pub phases: Vec<Phase>,
    /// Why it ended, as a part of a sentence.
    pub why: String,
    /// What went wrong, if that ended it: the command then exits with status 3.
    pub trouble: Option<Trouble>,
}

/// Records a test. `watch` is called about twenty times a second.
///
/// # Errors
/// Where the vehicle's files are wrong, the logger cannot be reached or refuses, or nothing was recorded. Trouble once
/// readings were recorded is no error: it stands in [`Recorded::trouble`].
pub fn run(
    request: &Request,
    connect: &mut dyn Connect,
    clock: &dyn Clock,
    watch: &mut dyn FnMut(&Progress) -> Option<Command>,
) -> Result<Recorded, Failure> {
    let mut open = |run: &Path| Writer::open(run).map(|w| Box::new(w) as Box<dyn Keep>);
    record(request, connect, clock, watch, &mut open)
}

/// Opens what a published run's bytes go to.
type Open<'a> = &'a mut dyn FnMut(&Path) -> Result<Box<dyn Keep>, FolderError>;

/// [`run`], with the place that the bytes go to given from outside.
fn record(
    request: &Request,
    connect: &mut dyn Connect,
    clock: &dyn Clock,
    watch: &mut dyn FnMut(&Progress) -> Option<Command>,
    open: Open,
) -> Result<Recorded, Failure> {
    let mut folder = VehicleFolder::load(&request.vehicle_folder)?;
    folder.calibrate(request.now.timestamp().as_microsecond())?;
    folder.leave_out(&request.without)?;
    let setup = Setup::of(&folder.rig)?;
    let link = Link::open(connect, request.reconnect_s)?;
    let zero_us = clock.now_us();
    let recorder = Recorder::new(&folder.rig, setup, request.plan.clone(), request.seconds, 0);
    let mut work = Work {
        request,
        folder: &folder,
        clock,
        zero_us,
        link,
        recorder,
        early: VecDeque::new(),
        early_bytes: 0,
        kept: None,
        gaps: (0, 0.0),
        phases: Vec::new(),
    };
    let trouble = work.go(watch, open)?;
    work.end(trouble)
}

/// A run that is being written.
struct Kept {
    path: PathBuf,
    to: Box<dyn Keep>,
}

/// A recording at work.
struct Work<'a> {
    request: &'a Request,
    folder: &'a VehicleFolder,
    clock: &'a dyn Clock,
    zero_us: u64,
    link: Link<'a>,
    recorder: Recorder,
    /// Bytes with their times from before there was a run.
    early: VecDeque<(Vec<u8>, u64)>,
    early_bytes: usize,
    kept: Option<Kept>,
    gaps: (u32, f64),
    phases: Vec<Phase>,
}

impl Work<'_> {
    /// Host time, µs since the recording began.
    fn now_us(&self) -> u64 {
        self.clock.now_us().saturating_sub(self.zero_us)
    }

    /// Goes on until the recording is over; gives the trouble that ended it, if any.
    fn go(
        &mut self,
        watch: &mut dyn FnMut(&Progress) -> Option<Command>,
        open: Open,
    ) -> Result<Option<Trouble>, Failure> {
        let mut buffer = vec![0; BUFFER];
        while self.recorder.end().is_none() {
            match self.step(&mut buffer, open) {
                Ok(()) => {}
                Err(trouble) if self.kept.is_some() => return Ok(Some(trouble)),
                Err(trouble) => return Err(trouble.into()),
            }
            if let Some(command) = watch(&self.progress()) {
                self.command(command);
            }
        }
        Ok(None)
    }

    fn step(&mut self, buffer: &mut [u8], open: Open) -> Result<(), Trouble> {
        while let Some(message) = self.recorder.outgoing() {
            self.link.send(&message, self.now_us());
        }
        let now_us = self.now_us();
        let wait = Duration::from_micros(self.recorder.wake_us().saturating_sub(now_us))
            .clamp(Duration::from_millis(1), STEP);
        let heard = self.link.read(buffer, wait, self.clock, now_us).map_err(Trouble::Line)?;
        let now_us = self.now_us();
        match heard {
            Heard::Bytes(count) => {
                let bytes = buffer.get(..count).unwrap_or_default();
                self.keep(bytes, now_us).map_err(Trouble::Disk)?;
                self.recorder.receive(&self.folder.rig, bytes, now_us).map_err(Trouble::Logger)?;
            }
            Heard::Back { from_us } => {
                self.gaps.0 += 1;
                self.gaps.1 += now_us.saturating_sub(from_us) as f64 * 1e-6;
                self.recorder.relinked(from_us, now_us);
            }
            Heard::Nothing => {}
        }
        if self.link.is_up() {
            self.recorder.tick(now_us).map_err(Trouble::Logger)?;
        }
        if self.kept.is_none() && self.recorder.started_us().is_some() {
            self.make_run(open).map_err(Trouble::Disk)?;
        }
        self.keep_marks().map_err(Trouble::Disk)
    }

    fn keep(&mut self, bytes: &[u8], now_us: u64) -> Result<(), FolderError> {
        match &mut self.kept {
            Some(kept) => kept.to.append(bytes, now_us),
            None => {
                self.early_bytes += bytes.len();
                self.early.push_back((bytes.to_vec(), now_us));
                while self.early_bytes > MOST_EARLY
                    && let Some((dropped, _)) = self.early.pop_front()
                {
                    self.early_bytes -= dropped.len();
                }
                Ok(())
            }
        }
    }

    fn keep_marks(&mut self) -> Result<(), FolderError> {
        let Some(kept) = &mut self.kept else { return Ok(()) };
        while let Some(mark) = self.recorder.mark() {
            if let Mark::Phase { phase, .. } = &mark {
                self.phases.push(*phase);
            }
            kept.to.mark(&mark)?;
        }
        Ok(())
    }

    /// Makes the run's folder and puts in what came before.
    fn make_run(&mut self, open: Open) -> Result<(), FolderError> {
        let request = self.request;
        let mut header = header(Source::Wire, &request.now, &request.plan, self.recorder.identity());
        let facts = facts(request.test, &request.plan, &request.facts);
        let notes = noted(&facts.notes, &request.without);
        header.set_facts(&Facts { notes, ..facts });
        let draft = self.folder.begin_in(request.shelf)?;
        self.folder.describe(&draft, &mut header)?;
        let path = draft.publish(&run_name(&request.now, request.test, &request.plan))?;
        let mut to = open(&path)?;
        for (bytes, at_us) in self.early.drain(..) {
            to.append(&bytes, at_us)?;
        }
        self.kept = Some(Kept { path, to });
        Ok(())
    }

    fn command(&mut self, command: Command) {
        let now_us = self.now_us();
        match command {
            Command::Next => self.recorder.advance(now_us),
            Command::Pause => self.recorder.pause(now_us),
            Command::Lift => self.recorder.lift(now_us),
            Command::Note(text) => self.recorder.note(&text, now_us),
            Command::Stop => self.recorder.stop(now_us),
        }
    }

    fn progress(&self) -> Progress<'_> {
        let since = |from_us: u64| self.now_us().saturating_sub(from_us) as f64 * 1e-6;
        Progress {
            rig: &self.folder.rig,
            folder: self.kept.as_ref().map(|k| k.path.as_path()),
            logger: self.recorder.identity(),
            elapsed_s: self.recorder.started_us().map(since),
            linked: self.link.is_up(),
            phase: self.recorder.phase(),
            next: self.recorder.next_phase(),
            begun: self.recorder.begun(),
            live: self.recorder.live(),
            damaged_frames: self.recorder.damaged_frames(),
            restarts: self.recorder.restarts(),
        }
    }

    /// Closes the run. After trouble the end mark and the logger's stop are tried, for what they are worth.
    fn end(mut self, trouble: Option<Trouble>) -> Result<Recorded, Failure> {
        let now_us = self.now_us();
        let why = match (&trouble, self.recorder.end()) {
            (Some(trouble), _) => trouble.to_string(),
            (None, end) => end.map(|e| e.words().to_owned()).unwrap_or_default(),
        };
        let at = self.recorder.instant(now_us);
        let Some(mut kept) = self.kept else { return Err(RecordError::Nothing.into()) };
        let mut trouble = trouble;
        if trouble.is_some() {
            self.link.send(&HostMessage::Stop, now_us);
            let _ = kept.to.mark(&Mark::End { at, why: why.clone() });
        }
        if let Err(error) = kept.to.close() {
            trouble.get_or_insert(Trouble::Disk(error));
        }
        let live = self.recorder.live();
        let sensors = self.folder.rig.sensors.iter().zip(&live.latest);
        let silent =
            sensors.filter(|(_, said)| said.iter().all(Option::is_none)).map(|(s, _)| s.name.clone());
        let silent = silent.collect();
        Ok(Recorded {
            name: file_name(&kept.path),
            vehicle: file_name(&self.folder.path),
            folder: kept.path,
            seconds: live.trail().end_s(),
            received: live.received,
            lost: live.lost,
            damaged_frames: self.recorder.damaged_frames(),
            gaps: self.gaps,
            restarts: self.recorder.restarts(),
            silent,
            phases: self.phases,
            why,
            trouble,
        })
    }
}

/// What a person typed in, with the words of the test, or of those that the plan goes through.
fn facts(test: Option<Test>, plan: &[Phase], facts: &Facts) -> Facts {
    let test = test.map(|t| t.words().to_owned()).or_else(|| facts.test.clone()).or_else(|| plan_words(plan));
    Facts { test, ..facts.clone() }
}

/// The notes of a run with the sensors that it was recorded without.
fn noted(notes: &str, without: &[String]) -> String {
    if without.is_empty() {
        return notes.to_owned();
    }
    let said = format!("Recorded without: {}.", without.join(", "));
    if notes.is_empty() { said } else { format!("{notes}\n{said}") }
}

/// A header without facts and hashes.
fn header(source: Source, now: &ZonedDateTime, plan: &[Phase], logger: Option<&Identity>) -> Header {
    Header {
        format: FORMAT,
        source,
        started: time_text(now),
        test: None,
        plan: plan.to_vec(),
        ramp_angle_rad: None,
        taped_left_m: None,
        taped_right_m: None,
        load_n: None,
        notes: String::new(),
        vehicle_hash: String::new(),
        rig_hash: String::new(),
        calibration_hash: None,
        table_name: None,
        table_units: Vec::new(),
        table_hash: None,
        logger: logger.map(Logger::from),
        stored: None,
    }
}
