//! Looks a logger over: who it is, what answers on its buses, and what its sensors read for a while. A state machine that is
//! fed bytes and time.

use super::recorder::Live;
use super::session::{Drift, Goal, Happening, Session, SessionError};
use super::setup::Setup;
use crate::rig::Rig;
use hingeline_protocol::{
    BusScan, Channel, DeviceMessage, Event, EventKind, HostMessage, Identity, LostReason, Outcome, Reply,
    Status,
};
use std::collections::BTreeMap;

/// How long the rows of the channel table are waited for, µs.
const ROWS_WITHIN_US: u64 = 1_000_000;
/// A bus is searched in a second, with all outputs of a multiplexer in a few, µs.
const SCAN_WITHIN_US: u64 = 10_000_000;
/// How long the answer to the last stop is waited for, µs.
const STOP_WITHIN_US: u64 = 1_000_000;
/// A board whose time passes so many times slower than the host's is watched for no longer: it hardly goes on.
const SLOWEST: u64 = 20;
/// The kind of the message that asks for a search, as its reply names it.
const SCAN_KIND: u8 = 8;

/// What is to be looked at.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// What the logger shall read; none: it is not to stream.
    pub setup: Option<Setup>,
    /// How long its readings are watched, µs of its own time: a board that is slower than its clock is given the time that it
    /// takes.
    pub watch_us: u64,
    /// Whether streaming that goes on already may be ended.
    pub interrupt: bool,
}

/// What one channel read while it was watched, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Least, greatest and latest.
    pub low: f64,
    /// Greatest.
    pub high: f64,
    /// Latest.
    pub latest: f64,
}

/// What was found.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// Who it is.
    pub identity: Option<Identity>,
    /// Where its program failed before it last reset.
    pub last_words: Option<String>,
    /// The channel table as it was before anything was set up.
    pub rows: BTreeMap<u8, Channel>,
    /// Buses that were searched.
    pub searched: Vec<u8>,
    /// What acknowledged.
    pub scans: Vec<BusScan>,
    /// Whether it streamed.
    pub streamed: bool,
    /// Sensors that do not answer now, by their number on the wire.
    pub lost: BTreeMap<u8, LostReason>,
    /// Buses that stay stuck.
    pub stuck: Vec<u8>,
    /// The latest status.
    pub status: Option<Status>,
    /// What each channel of each sensor of the rig read; none: nothing that can be right.
    pub seen: Vec<Vec<Option<Seen>>>,
    /// The latest excitation that was read, V, by channel number.
    pub excitation_v: BTreeMap<u8, f64>,
    /// How its clock runs against the host's.
    pub drift: Option<Drift>,
    /// Frames that the line damaged.
    pub damaged_frames: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    Identifying,
    Rows { since_us: u64 },
    Searching { bus: u8, since_us: u64 },
    SettingUp,
    Watching { since_us: u64, from_device_us: u64 },
    Stopping { since_us: u64 },
    Over,
}

/// An inspection.
#[derive(Debug)]
pub struct Inspection {
    wanted: Wanted,
    session: Session,
    live: Live,
    stage: Stage,
    found: Found,
}

impl Inspection {
    /// Begins now by asking who is there. `rig` is what readings are brought to SI by.
    pub fn new(rig: &Rig, wanted: Wanted, now_us: u64) -> Self {
        let live = Live::new(rig);
        let found = Found {
            seen: live.latest.iter().map(|channels| vec![None; channels.len()]).collect(),
            ..Found::default()
        };
        Self { wanted, session: Session::new(Goal::Identify, now_us), live, stage: Stage::Identifying, found }
    }

    /// What was found so far.
    pub fn found(&self) -> &Found {
        &self.found
    }

    /// The latest readings.
    pub fn live(&self) -> &Live {
        &self.live
    }

    /// Whether it is over.
    pub fn is_over(&self) -> bool {
        self.stage == Stage::Over
    }

    /// Whether the logger streams, and was watched for as long as was wanted: it streams on until [`Self::stop`].
    pub fn is_watched(&self, now_us: u64) -> bool {
        let Stage::Watching { since_us, from_device_us } = self.stage else { return false };
        let status_us = self.found.status.map_or(0, |status| status.uptime_us);
        let device_us = self.live.latest_us.max(status_us);
        device_us >= from_device_us.saturating_add(self.wanted.watch_us)
            || now_us >= since_us.saturating_add(self.wanted.watch_us.saturating_mul(SLOWEST))
    }

    /// What it does now, in a person's words.
    pub fn doing(&self) -> &'static str {
        match self.stage {
            Stage::Identifying | Stage::Rows { .. } => "asking who is there",
            Stage::Searching { .. } => "searching the buses",
            Stage::SettingUp => "setting the sensors up",
            Stage::Watching { .. } => "watching the sensors",
            Stage::Stopping { .. } | Stage::Over => "done",
        }
    }

    /// The next message to put on the line.
    pub fn outgoing(&mut self) -> Option<HostMessage> {
        self.session.outgoing()
    }

    /// Ends it.
    pub fn stop(&mut self, now_us: u64) {
        self.note_line();
        if matches!(self.stage, Stage::SettingUp | Stage::Watching { .. }) {
            self.session.stop(now_us);
            self.stage = Stage::Stopping { since_us: now_us };
        } else {
            self.stage = Stage::Over;
        }
    }

    /// Takes bytes that arrived.
    ///
    /// # Errors
    /// When the logger speaks another major version, or refuses what it is told.
    pub fn receive(&mut self, rig: &Rig, bytes: &[u8], now_us: u64) -> Result<(), SessionError> {
        self.session.receive(bytes, now_us)?;
        while let Some(happening) = self.session.happening() {
            self.happening(rig, happening, now_us);
        }
        Ok(())
    }

    /// Lets time pass.
    ///
    /// # Errors
    /// When the logger does not answer, or streams already and must not be interrupted.
    pub fn tick(&mut self, now_us: u64) -> Result<(), SessionError> {
        match self.stage {
            Stage::Rows { since_us } if self.has_rows() || now_us >= since_us + ROWS_WITHIN_US => {
                let streaming = self.found.identity.as_ref().is_some_and(|i| i.streaming);
                match (streaming, self.wanted.interrupt) {
                    (false, _) => self.search(0, now_us),
                    (true, true) => self.set_up(now_us),
                    (true, false) => return Err(SessionError::Busy),
                }
            }
            Stage::Searching { bus, since_us } if now_us >= since_us + SCAN_WITHIN_US => {
                self.search(bus + 1, now_us);
            }
            Stage::Stopping { since_us } if now_us >= since_us + STOP_WITHIN_US => self.stage = Stage::Over,
            _ => {}
        }
        if matches!(self.stage, Stage::Stopping { .. } | Stage::Over) {
            return Ok(());
        }
        self.session.tick(now_us)
    }

    fn has_rows(&self) -> bool {
        let count = self.found.identity.as_ref().map_or(0, |i| usize::from(i.channels));
        self.found.rows.len() >= count
    }

    /// Searches a bus, or goes on after the last.
    fn search(&mut self, bus: u8, now_us: u64) {
        let buses = self.found.identity.as_ref().map_or(0, |i| i.buses);
        if bus < buses {
            self.session.send(HostMessage::ScanBus { bus });
            self.stage = Stage::Searching { bus, since_us: now_us };
        } else {
            self.set_up(now_us);
        }
    }

    fn set_up(&mut self, now_us: u64) {
        match self.wanted.setup.clone() {
            Some(setup) => {
                self.note_line();
                self.session = Session::new(Goal::Stream(setup), now_us);
                self.stage = Stage::SettingUp;
            }
            None => self.stop(now_us),
        }
    }

    /// Keeps what the session knows of the line.
    fn note_line(&mut self) {
        self.found.damaged_frames += self.session.frame_counts().refused();
        self.found.drift = self.session.drift().or(self.found.drift);
    }

    fn happening(&mut self, rig: &Rig, happening: Happening, now_us: u64) {
        match happening {
            Happening::Identified(identity) => {
                self.found.identity.get_or_insert(identity);
                if self.stage == Stage::Identifying {
                    self.stage = Stage::Rows { since_us: now_us };
                }
            }
            Happening::Streaming { device_us, .. } => {
                self.found.streamed = true;
                self.stage = Stage::Watching { since_us: now_us, from_device_us: device_us };
            }
            Happening::Stopped => self.stage = Stage::Over,
            Happening::Restarted(_) => {
                // Its times begin anew.
                self.live.restarted();
                self.found.status = None;
            }
            Happening::Fetched { .. } => {}
            Happening::Message(message) => self.message(rig, message, now_us),
        }
    }

    fn message(&mut self, rig: &Rig, message: DeviceMessage, now_us: u64) {
        match &message {
            DeviceMessage::Channel(row) if matches!(self.stage, Stage::Identifying | Stage::Rows { .. }) => {
                self.found.rows.insert(row.index, row.clone());
            }
            DeviceMessage::BusScan(scan) => self.found.scans.push(*scan),
            DeviceMessage::Reply(reply) => self.replied(*reply, now_us),
            DeviceMessage::Event(event) => self.event(*event),
            DeviceMessage::Status(status) => self.found.status = Some(*status),
            DeviceMessage::LastWords(words) => self.found.last_words = Some(words.place.to_string()),
            _ => {}
        }
        let readings = matches!(message, DeviceMessage::Samples(_));
        self.live.take(rig, message);
        if readings && matches!(self.stage, Stage::Watching { .. }) {
            self.see();
        }
    }

    fn replied(&mut self, reply: Reply, now_us: u64) {
        let Stage::Searching { bus, .. } = self.stage else { return };
        if reply.to == SCAN_KIND {
            if reply.outcome == Outcome::Done {
                self.found.searched.push(bus);
            }
            self.search(bus + 1, now_us);
        }
    }

    fn event(&mut self, event: Event) {
        match event.kind {
            EventKind::SensorLost { sensor, reason } => {
                self.found.lost.insert(sensor, reason);
            }
            EventKind::SensorFound { sensor } => {
                self.found.lost.remove(&sensor);
            }
            EventKind::BusStuck { bus } if !self.found.stuck.contains(&bus) => self.found.stuck.push(bus),
            EventKind::BusRecovered { bus } => self.found.stuck.retain(|stuck| *stuck != bus),
            _ => {}
        }
    }

    fn see(&mut self) {
        for (channels, seen) in self.live.latest.iter().zip(&mut self.found.seen) {
            for (latest, seen) in channels.iter().zip(seen) {
                *seen = latest.map(|latest| {
                    let before = seen.unwrap_or(Seen { low: latest, high: latest, latest });
                    Seen { low: before.low.min(latest), high: before.high.max(latest), latest }
                });
            }
        }
        self.found.excitation_v = self.live.excitations_v().collect();
    }
}
