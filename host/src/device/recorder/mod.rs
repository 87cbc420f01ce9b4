//! Records a test: a state machine that is fed bytes and time, follows a plan of phases, and says which marks to keep.
//!
//! The bytes themselves go to the run before they come here; nothing here keeps them. A phase begins with the press of the
//! logger's button or the user's key, the first one with the stream.

mod live;
mod trail;

#[cfg(test)]
mod tests;

pub use live::Live;
pub use trail::Trail;

use super::session::{Goal, Happening, Session, SessionError};
use super::setup::Setup;
use crate::rig::Rig;
use crate::run::Phase;
use crate::run::marks::{Instant, Mark};
use hingeline_protocol::{DeviceMessage, Event, EventKind, HostMessage, Identity, Press};
use std::collections::VecDeque;

/// Presses closer than this are one, µs: contacts bounce, fingers tremble.
const ONE_PRESS_US: u64 = 400_000;
/// How long the last block is waited for after the end, µs.
const STOP_WITHIN_US: u64 = 2_000_000;

/// Why a recording ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Every phase of the plan is done.
    PlanDone,
    /// The time asked for has passed.
    TimeUp,
    /// A person asked for it.
    Asked,
}

impl End {
    /// Its words, as marks keep them.
    pub fn words(self) -> &'static str {
        match self {
            End::PlanDone => "the plan is done",
            End::TimeUp => "the time is up",
            End::Asked => "asked to stop",
        }
    }
}

/// Where a recording is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Course {
    /// The logger is being set up.
    Before,
    /// Readings are recorded.
    During,
    /// The logger was told to stop; what is still on its way is taken.
    Ending { end: End, since_us: u64 },
    /// It is over.
    Over(End),
}

/// The recorder.
#[derive(Debug)]
pub struct Recorder {
    session: Session,
    live: Live,
    plan: Vec<Phase>,
    /// Phases of the plan that have begun.
    begun: usize,
    /// Whether the phase begun last still lasts.
    in_phase: bool,
    seconds_us: Option<u64>,
    course: Course,
    /// When streaming began, host time, µs.
    started_us: Option<u64>,
    last_press: Option<Event>,
    marks: VecDeque<Mark>,
    restarts: u32,
}

impl Recorder {
    /// A recorder that begins now. `plan` are the phases in order (none: only the bytes are kept); `seconds` limits the
    /// recording.
    pub fn new(rig: &Rig, setup: Setup, plan: Vec<Phase>, seconds: Option<f64>, now_us: u64) -> Self {
        Self {
            session: Session::new(Goal::Stream(setup), now_us),
            live: Live::new(rig),
            plan,
            begun: 0,
            in_phase: false,
            seconds_us: seconds.map(|s| (s * 1e6) as u64),
            course: Course::Before,
            started_us: None,
            last_press: None,
            marks: VecDeque::new(),
            restarts: 0,
        }
    }

    /// Who the logger is, once known.
    pub fn identity(&self) -> Option<&Identity> {
        self.session.identity()
    }

    /// When streaming began, host time, µs.
    pub fn started_us(&self) -> Option<u64> {
        self.started_us
    }

    /// Phases of the plan that have begun.
    pub fn begun(&self) -> usize {
        self.begun
    }

    /// The latest reading of every channel, and what was lost.
    pub fn live(&self) -> &Live {
        &self.live
    }

    /// Frames that the line damaged.
    pub fn damaged_frames(&self) -> u32 {
        self.session.frame_counts().refused()
    }

    /// How often the logger restarted.
    pub fn restarts(&self) -> u32 {
        self.restarts
    }

    /// The phase that lasts now.
    pub fn phase(&self) -> Option<Phase> {
        self.begun.checked_sub(1).filter(|_| self.in_phase).and_then(|k| self.plan.get(k)).copied()
    }

    /// The phase that the next press or key begins.
    pub fn next_phase(&self) -> Option<Phase> {
        self.plan.get(self.begun).copied()
    }

    /// Why the recording ended, once it is over.
    pub fn end(&self) -> Option<End> {
        match self.course {
            Course::Over(end) => Some(end),
            _ => None,
        }
    }

    /// The next message to put on the line.
    pub fn outgoing(&mut self) -> Option<HostMessage> {
        self.session.outgoing()
    }

    /// The next mark to keep.
    pub fn mark(&mut self) -> Option<Mark> {
        self.marks.pop_front()
    }

    /// When [`Self::tick`] has something to do next if nothing arrives, host time, µs.
    pub fn wake_us(&self) -> u64 {
        let limit_us = match self.course {
            Course::During => self.limit_us(),
            Course::Ending { since_us, .. } => Some(since_us + STOP_WITHIN_US),
            Course::Before | Course::Over(_) => None,
        };
        self.session.wake_us().min(limit_us.unwrap_or(u64::MAX))
    }

    fn limit_us(&self) -> Option<u64> {
        Some(self.started_us? + self.seconds_us?)
    }

    /// Takes bytes that arrived.
    ///
    /// # Errors
    /// When the session with the logger cannot go on.
    pub fn receive(&mut self, rig: &Rig, bytes: &[u8], now_us: u64) -> Result<(), SessionError> {
        let result = self.session.receive(bytes, now_us);
        while let Some(happening) = self.session.happening() {
            self.happening(rig, happening, now_us);
        }
        self.unless_ending(result)
    }

    /// Lets time pass.
    ///
    /// # Errors
    /// When the logger does not answer.
    pub fn tick(&mut self, now_us: u64) -> Result<(), SessionError> {
        match self.course {
            Course::During if self.limit_us().is_some_and(|limit| now_us >= limit) => {
                self.finish(End::TimeUp, now_us);
            }
            Course::Ending { end, since_us } if now_us >= since_us + STOP_WITHIN_US => {
                self.course = Course::Over(end);
            }
            _ => {}
        }
        let result = self.session.tick(now_us);
        self.unless_ending(result)
    }

    /// Everything that matters is kept by then: a logger that says no more changes nothing.
    fn unless_ending(&self, result: Result<(), SessionError>) -> Result<(), SessionError> {
        if matches!(self.course, Course::Ending { .. } | Course::Over(_)) { Ok(()) } else { result }
    }

    /// The line was gone since `from_us` and is back.
    pub fn relinked(&mut self, from_us: u64, now_us: u64) {
        self.marks.push_back(Mark::Gap { from_host_us: from_us, to_host_us: now_us });
        if !matches!(self.course, Course::Ending { .. } | Course::Over(_)) {
            self.session.relinked(now_us);
        }
    }

    /// The user's key: the next phase, or the end after the last.
    pub fn advance(&mut self, now_us: u64) {
        if self.course == Course::During {
            let at = self.instant(now_us);
            self.next(at, now_us);
        }
    }

    /// The phase ends, the next one does not begin yet.
    pub fn pause(&mut self, now_us: u64) {
        if self.course == Course::During && self.in_phase {
            self.in_phase = false;
            let at = self.instant(now_us);
            self.marks.push_back(Mark::Pause { at });
        }
    }

    /// A person has just seen a wheel lift.
    pub fn lift(&mut self, now_us: u64) {
        let at = self.instant(now_us);
        self.marks.push_back(Mark::Lift { at });
    }

    /// A person's remark.
    pub fn note(&mut self, text: &str, now_us: u64) {
        let at = self.instant(now_us);
        self.marks.push_back(Mark::Note { at, text: text.to_owned() });
    }

    /// End now. Before streaming has begun there is nothing to wait for.
    pub fn stop(&mut self, now_us: u64) {
        match self.course {
            Course::Before => self.course = Course::Over(End::Asked),
            Course::During => self.finish(End::Asked, now_us),
            Course::Ending { .. } | Course::Over(_) => {}
        }
    }

    /// An instant on both clocks.
    pub fn instant(&self, now_us: u64) -> Instant {
        Instant {
            boot: self.session.identity().map_or(0, |i| i.boot_count),
            device_us: self.session.device_us(now_us).unwrap_or_default(),
            host_us: now_us,
        }
    }

    fn happening(&mut self, rig: &Rig, happening: Happening, now_us: u64) {
        match happening {
            Happening::Streaming { boot, device_us } if self.course == Course::Before => {
                self.course = Course::During;
                self.started_us = Some(now_us);
                self.next(Instant { boot, device_us, host_us: now_us }, now_us);
            }
            Happening::Streaming { .. } | Happening::Identified(_) | Happening::Fetched { .. } => {}
            Happening::Restarted(_) => {
                self.restarts += 1;
                self.live.restarted();
            }
            Happening::Stopped => {
                if let Course::Ending { end, .. } = self.course {
                    self.course = Course::Over(end);
                }
            }
            Happening::Message(message) => {
                if let DeviceMessage::Event(event) = &message {
                    self.event(*event, now_us);
                }
                self.live.take(rig, message);
            }
        }
    }

    fn event(&mut self, event: Event, now_us: u64) {
        let EventKind::Button { press } = event.kind else { return };
        if self.course != Course::During {
            return;
        }
        let again = self.last_press.is_some_and(|last| event.time_us.abs_diff(last.time_us) < ONE_PRESS_US);
        self.last_press = Some(event);
        if again {
            return;
        }
        let at = Instant { device_us: event.time_us, ..self.instant(now_us) };
        match press {
            Press::Long => self.finish(End::Asked, now_us),
            _ => self.next(at, now_us),
        }
    }

    /// Begins the next phase at an instant, or ends after the last.
    fn next(&mut self, at: Instant, now_us: u64) {
        if let Some(phase) = self.plan.get(self.begun).copied() {
            self.begun += 1;
            self.in_phase = true;
            self.marks.push_back(Mark::Phase { at, phase });
            if phase == Phase::Still {
                self.session.send(HostMessage::Still);
            }
        } else if !self.plan.is_empty() {
            self.finish_at(End::PlanDone, at, now_us);
        }
    }

    fn finish(&mut self, end: End, now_us: u64) {
        let at = self.instant(now_us);
        self.finish_at(end, at, now_us);
    }

    fn finish_at(&mut self, end: End, at: Instant, now_us: u64) {
        self.marks.push_back(Mark::End { at, why: end.words().to_owned() });
        self.in_phase = false;
        self.session.stop(now_us);
        self.course = Course::Ending { end, since_us: now_us };
    }
}
