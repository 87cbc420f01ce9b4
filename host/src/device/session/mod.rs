//! A session with one logger: a state machine that is fed bytes and time and gives host messages and happenings.
//!
//! Identify, refuse another major version, then what was asked for: nothing more, streaming, or what the logger kept by
//! itself. It asks again where an answer was lost, and sets a logger up anew that has restarted.

mod clock;
mod error;
mod question;

#[cfg(test)]
mod tests;

pub use clock::Drift;
pub use error::SessionError;

use super::setup::Setup;
use clock::DeviceClock;
use hingeline_protocol::{
    DeviceMessage, Event, EventKind, FrameCounts, FrameDecoder, HostMessage, Identity, Outcome, Received,
    Reply, ResetCause,
};
use question::{kind, question};
use std::collections::{BTreeSet, VecDeque};

/// An answer that takes longer is asked for again, µs.
const ANSWER_WITHIN_US: u64 = 500_000;
/// How often a question is asked: a board that boots takes a second or two.
const TRIES: u32 = 10;
/// A logger sets its sensors up and lets them settle before it streams, µs.
const START_WITHIN_US: u64 = 10_000_000;
/// A streaming logger sends a status every second; after this long a silence is looked into, µs.
const SILENT_US: u64 = 3_000_000;
/// Pings keep the clocks together this often, µs …
const PING_EVERY_US: u64 = 1_000_000;
/// … and this often until there are a few, µs.
const FIRST_PINGS_EVERY_US: u64 = 100_000;
/// How many times what the logger kept is asked for again where records are missing.
const FETCH_ROUNDS: u32 = 5;
/// Happenings that nobody took; more are dropped, oldest first.
const MOST_WAITING: usize = 4096;

/// What a session is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Goal {
    /// Know who it is and what its channels are.
    Identify,
    /// Stream.
    Stream(Setup),
    /// Get what the logger kept by itself.
    Fetch,
}

/// Something that the owner of a session may want to know.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "passed on at once, never kept in numbers")]
pub enum Happening {
    /// The logger said who it is.
    Identified(Identity),
    /// Streaming began, at this device time.
    Streaming {
        /// Which boot of the logger.
        boot: u32,
        /// Device time, µs.
        device_us: u64,
    },
    /// The logger restarted and is being set up anew.
    Restarted(ResetCause),
    /// Streaming ended, as asked for.
    Stopped,
    /// Everything that the logger kept is here, apart from so many records.
    Fetched {
        /// Records received.
        records: u32,
        /// Records that did not come in spite of asking again.
        missing: u32,
    },
    /// Any other message.
    Message(DeviceMessage),
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum State {
    Identifying { resume: bool },
    SettingUp,
    Starting { since_us: u64 },
    Streaming,
    Stopping,
    Fetching { round: u32 },
    Idle,
}

/// A question that has not been answered.
#[derive(Debug, Clone)]
struct Asked {
    message: HostMessage,
    at_us: u64,
    tries: u32,
}

/// The session.
#[derive(Debug)]
pub struct Session {
    goal: Goal,
    state: State,
    decoder: FrameDecoder<DeviceMessage>,
    identity: Option<Identity>,
    steps: VecDeque<HostMessage>,
    asked: Option<Asked>,
    out: VecDeque<HostMessage>,
    happenings: VecDeque<Happening>,
    clock: DeviceClock,
    /// Whether the owner was told that streaming began since the logger was set up last.
    announced: bool,
    heard_us: u64,
    pinged_us: Option<u64>,
    fetched: BTreeSet<u32>,
    to_fetch: u32,
}

impl Session {
    /// A session that begins now by asking who is there.
    pub fn new(goal: Goal, now_us: u64) -> Self {
        let mut session = Self {
            goal,
            state: State::Identifying { resume: false },
            decoder: FrameDecoder::new(),
            identity: None,
            steps: VecDeque::new(),
            asked: None,
            out: VecDeque::new(),
            happenings: VecDeque::new(),
            clock: DeviceClock::default(),
            announced: false,
            heard_us: now_us,
            pinged_us: None,
            fetched: BTreeSet::new(),
            to_fetch: 0,
        };
        session.ask(HostMessage::Identify, now_us);
        session
    }

    /// The line was gone and is back: find out whether the logger went on meanwhile.
    pub fn relinked(&mut self, now_us: u64) {
        self.out.clear();
        self.heard_us = now_us;
        self.state = State::Identifying { resume: true };
        self.ask(HostMessage::Identify, now_us);
    }

    /// Who the logger is, once it has said so.
    pub fn identity(&self) -> Option<&Identity> {
        self.identity.as_ref()
    }

    /// What the line delivered and dropped.
    pub fn frame_counts(&self) -> &FrameCounts {
        self.decoder.counts()
    }

    /// Whether it streams.
    pub fn is_streaming(&self) -> bool {
        self.state == State::Streaming
    }

    /// Device time at a host time, µs since the logger's boot, as well as pings and arrivals tell.
    pub fn device_us(&self, now_us: u64) -> Option<u64> {
        self.clock.device_us(now_us)
    }

    /// How the logger's clock runs against the host's, once pings tell.
    pub fn drift(&self) -> Option<Drift> {
        self.clock.drift()
    }

    /// A message to send beside those that the session sends by itself (a still mark, a bus scan).
    pub fn send(&mut self, message: HostMessage) {
        if self.out.len() < MOST_WAITING {
            self.out.push_back(message);
        }
    }

    /// End streaming.
    pub fn stop(&mut self, now_us: u64) {
        self.steps.clear();
        self.state = State::Stopping;
        self.ask(HostMessage::Stop, now_us);
    }

    /// The next message to put on the line.
    pub fn outgoing(&mut self) -> Option<HostMessage> {
        self.out.pop_front()
    }

    /// The next happening.
    pub fn happening(&mut self) -> Option<Happening> {
        self.happenings.pop_front()
    }

    /// When [`Self::tick`] has something to do next if nothing arrives, host time, µs.
    pub fn wake_us(&self) -> u64 {
        let answer = self.asked.as_ref().map(|a| a.at_us + ANSWER_WITHIN_US);
        let ping = self.is_streaming().then(|| self.ping_due_us());
        let silent = self.is_streaming().then_some(self.heard_us + SILENT_US);
        let started = match self.state {
            State::Starting { since_us } => Some(since_us + START_WITHIN_US),
            _ => None,
        };
        [answer, ping, silent, started].into_iter().flatten().min().unwrap_or(u64::MAX)
    }

    /// Takes bytes that arrived.
    ///
    /// # Errors
    /// When the logger speaks another major version, or refuses what it is told.
    pub fn receive(&mut self, bytes: &[u8], now_us: u64) -> Result<(), SessionError> {
        for &byte in bytes {
            match self.decoder.push(byte) {
                Some(Received::Message(message)) => {
                    self.heard_us = now_us;
                    self.message(message, now_us)?;
                }
                Some(Received::OtherMajor(theirs)) => return Err(SessionError::OtherMajor { theirs }),
                None => {}
            }
        }
        Ok(())
    }

    /// Lets time pass: asks again, pings, notices silence.
    ///
    /// # Errors
    /// When there was no answer in spite of asking again.
    pub fn tick(&mut self, now_us: u64) -> Result<(), SessionError> {
        if let Some(asked) = self.asked.clone()
            && now_us >= asked.at_us + ANSWER_WITHIN_US
        {
            if asked.tries >= TRIES {
                return Err(SessionError::NoAnswer { to: question(&asked.message) });
            }
            self.out.push_back(asked.message.clone());
            self.asked = Some(Asked { at_us: now_us, tries: asked.tries + 1, ..asked });
        }
        match self.state {
            State::Starting { since_us } if now_us >= since_us + START_WITHIN_US => {
                return Err(SessionError::NoStream);
            }
            State::Streaming if now_us >= self.heard_us + SILENT_US => self.relinked(now_us),
            State::Streaming if now_us >= self.ping_due_us() => {
                self.pinged_us = Some(now_us);
                self.out.push_back(HostMessage::Ping { host_us: now_us });
            }
            _ => {}
        }
        Ok(())
    }

    fn ping_due_us(&self) -> u64 {
        let every_us = if self.clock.is_settled() { PING_EVERY_US } else { FIRST_PINGS_EVERY_US };
        self.pinged_us.map_or(0, |at_us| at_us + every_us)
    }

    fn ask(&mut self, message: HostMessage, now_us: u64) {
        self.out.push_back(message.clone());
        self.asked = Some(Asked { message, at_us: now_us, tries: 1 });
    }

    fn happened(&mut self, happening: Happening) {
        if self.happenings.len() == MOST_WAITING {
            self.happenings.pop_front();
        }
        self.happenings.push_back(happening);
    }

    fn message(&mut self, message: DeviceMessage, now_us: u64) -> Result<(), SessionError> {
        match &message {
            DeviceMessage::Identity(identity) => self.identified(identity, now_us),
            DeviceMessage::Reply(reply) => self.replied(*reply, now_us)?,
            DeviceMessage::Pong(pong) => self.clock.ponged(*pong, now_us),
            DeviceMessage::Event(event) => self.event(*event, now_us),
            DeviceMessage::Samples(block) => {
                self.clock.heard(block.first_time_us, now_us);
                self.streams(block.first_time_us);
            }
            DeviceMessage::Status(status) => {
                self.clock.heard(status.uptime_us, now_us);
                if self.state == State::Streaming && !status.streaming {
                    self.set_up(now_us);
                }
            }
            DeviceMessage::Stored(record) => {
                self.fetched.insert(record.index);
                self.to_fetch = record.total;
                // Records keep coming: the reply that ends them is still on its way.
                if let Some(asked) = &mut self.asked {
                    asked.at_us = now_us;
                }
            }
            DeviceMessage::Channel(_) | DeviceMessage::BusScan(_) | DeviceMessage::LastWords(_) => {}
        }
        match message {
            DeviceMessage::Identity(identity) => self.happened(Happening::Identified(identity)),
            message => self.happened(Happening::Message(message)),
        }
        Ok(())
    }

    fn identified(&mut self, identity: &Identity, now_us: u64) {
        let before = self.identity.replace(identity.clone());
        let rebooted = before.is_some_and(|b| b.boot_count != identity.boot_count);
        if rebooted {
            self.clock = DeviceClock::default();
        }
        self.clock.heard(identity.uptime_us, now_us);
        let State::Identifying { resume } = self.state else {
            if rebooted && matches!(self.state, State::Streaming | State::Starting { .. } | State::SettingUp)
            {
                self.happened(Happening::Restarted(identity.reset_cause));
                self.set_up(now_us);
            }
            return;
        };
        self.asked = None;
        match self.goal {
            Goal::Identify => self.state = State::Idle,
            Goal::Stream(_) if resume && !rebooted && identity.streaming => {
                self.state =
                    if self.announced { State::Streaming } else { State::Starting { since_us: now_us } };
            }
            Goal::Stream(_) => {
                if resume && rebooted {
                    self.happened(Happening::Restarted(identity.reset_cause));
                }
                self.set_up(now_us);
            }
            Goal::Fetch => {
                self.to_fetch = identity.stored;
                self.state = State::Fetching { round: 0 };
                self.fetch(now_us);
            }
        }
    }

    /// Sends the whole setup, step by step, then the start.
    fn set_up(&mut self, now_us: u64) {
        let Goal::Stream(setup) = &self.goal else { return };
        self.steps = VecDeque::from([HostMessage::Stop]);
        if !setup.sensors.is_empty() {
            self.steps.push_back(HostMessage::ClearSensors);
            self.steps.extend(setup.sensors.iter().cloned().map(HostMessage::SetSensor));
            self.steps.push_back(HostMessage::SetRate { period_us: setup.period_us, scans_per_block: 0 });
        }
        self.steps.push_back(HostMessage::Start);
        self.announced = false;
        self.state = State::SettingUp;
        self.next_step(now_us);
    }

    fn next_step(&mut self, now_us: u64) {
        match self.steps.pop_front() {
            Some(message) => self.ask(message, now_us),
            None => {
                self.asked = None;
                self.state = State::Starting { since_us: now_us };
            }
        }
    }

    fn replied(&mut self, reply: Reply, now_us: u64) -> Result<(), SessionError> {
        let Some(asked) = self.asked.as_ref().filter(|a| kind(&a.message) == Some(reply.to)) else {
            return Ok(());
        };
        let message = asked.message.clone();
        let done = match (&message, reply.outcome) {
            (_, Outcome::Done) => true,
            // The answer to the try before was lost.
            (HostMessage::Start, Outcome::Streaming) => true,
            (HostMessage::SetSensor(sensor), Outcome::OutOfOrder) => {
                if reply.detail != u32::from(sensor.index) + 1 {
                    self.set_up(now_us);
                    return Ok(());
                }
                true
            }
            _ => false,
        };
        if let HostMessage::SetSensor(sensor) = &message
            && reply.outcome == Outcome::Done
            && reply.detail != u32::from(sensor.index)
        {
            // The answer to an earlier sensor, repeated.
            return Ok(());
        }
        if !done {
            return Err(SessionError::refused(&message, reply));
        }
        match self.state {
            State::SettingUp => self.next_step(now_us),
            State::Stopping => {
                (self.asked, self.state) = (None, State::Idle);
                self.happened(Happening::Stopped);
            }
            State::Fetching { .. } => self.fetch(now_us),
            _ => self.asked = None,
        }
        Ok(())
    }

    fn event(&mut self, event: Event, now_us: u64) {
        match event.kind {
            EventKind::Started => {
                self.clock.heard(event.time_us, now_us);
                self.streams(event.time_us);
            }
            EventKind::Booted { .. } if self.clock.is_before(event.time_us) => {
                // The identity that tells which boot this is may be lost: ask.
                self.clock = DeviceClock::default();
                self.relinked(now_us);
            }
            _ => self.clock.heard(event.time_us, now_us),
        }
    }

    /// Readings come: the logger streams.
    fn streams(&mut self, device_us: u64) {
        if matches!(self.state, State::Starting { .. }) {
            (self.state, self.asked, self.announced) = (State::Streaming, None, true);
            let boot = self.identity.as_ref().map_or(0, |i| i.boot_count);
            self.happened(Happening::Streaming { boot, device_us });
        }
    }

    /// Asks for the first stretch of records that is missing, or ends.
    fn fetch(&mut self, now_us: u64) {
        let State::Fetching { round } = self.state else { return };
        let first_missing = (0..self.to_fetch).find(|k| !self.fetched.contains(k));
        match first_missing {
            Some(first) if round < FETCH_ROUNDS => {
                let next = (first..self.to_fetch).find(|k| self.fetched.contains(k)).unwrap_or(self.to_fetch);
                self.state = State::Fetching { round: round + 1 };
                self.ask(HostMessage::FetchStored { first, count: next - first }, now_us);
            }
            _ => {
                (self.asked, self.state) = (None, State::Idle);
                let records = self.fetched.len() as u32;
                let missing = self.to_fetch.saturating_sub(records);
                self.happened(Happening::Fetched { records, missing });
            }
        }
    }
}
