//! A recording that follows another plan than the virtual builder plays: the logger does not know the recorder's plan, but when it is
//! told to stop, and that it is not.

use super::Request;
use crate::run::Phase;

/// Time of the host that a recording may go on after the test before that is told, µs: its last press was the end of the plan, and a
/// busy computer takes a while to hear of it.
const AFTER_US: f64 = 10e6;

/// Where the test is at a turn of the loop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Played {
    /// Device time, µs.
    pub now_us: u64,
    /// The phase of the test; none before it begins and after its end.
    pub phase: Option<Phase>,
    /// Whether the test is over.
    pub over: bool,
    /// Whether somebody has the logger stream; none where that is not seen.
    pub streaming: Option<bool>,
}

/// How a recording shows that it follows another plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Astray {
    /// It stopped while a later phase than the first was played.
    StoppedIn(Phase),
    /// It goes on after the last phase.
    GoesOn,
}

/// Follows a recording through the test.
#[derive(Debug)]
pub(super) struct Follower {
    /// Whether a test is played whose phases a recording counts.
    counts: bool,
    first: Option<Phase>,
    /// Device time that a recording may go on after the test, µs.
    after_us: u64,
    streamed: bool,
    /// Whether a phase has given way to the next since the logger began to stream.
    moved_on: bool,
    over_since_us: Option<u64>,
    told_over: bool,
}

impl Follower {
    /// Nothing seen yet. Calibrations and checks by hand stop when they please, and so does whoever says for how long.
    pub fn new(request: &Request) -> Self {
        let counts = request.calibrates.is_none() && !request.wiggle && request.seconds.is_none();
        Self {
            counts,
            first: request.plan.first().copied(),
            after_us: (AFTER_US * request.speed.max(1.0)) as u64,
            streamed: false,
            moved_on: false,
            over_since_us: None,
            told_over: false,
        }
    }

    /// Looks at a turn; says once what it shows.
    pub fn see(&mut self, played: &Played) -> Option<Astray> {
        let streaming = played.streaming.filter(|_| self.counts)?;
        let stopped = self.streamed && !streaming;
        if streaming && !self.streamed {
            (self.moved_on, self.over_since_us, self.told_over) = (false, None, false);
        }
        self.moved_on |= streaming && played.phase.is_some() && played.phase != self.first;
        self.streamed = streaming;
        if stopped {
            return played.phase.filter(|_| self.moved_on && !played.over).map(Astray::StoppedIn);
        }
        if !(streaming && played.over) {
            self.over_since_us = None;
            return None;
        }
        let since_us = *self.over_since_us.get_or_insert(played.now_us);
        let late = played.now_us.saturating_sub(since_us) > self.after_us && !self.told_over;
        self.told_over |= late;
        late.then_some(Astray::GoesOn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn follower() -> Follower {
        Follower {
            counts: true,
            first: Some(Phase::Still),
            after_us: 10_000_000,
            streamed: false,
            moved_on: false,
            over_since_us: None,
            told_over: false,
        }
    }

    /// Turns at whole seconds: phase, whether the test is over, whether the logger streams.
    fn told(turns: &[(Option<Phase>, bool, bool)]) -> Vec<Astray> {
        let mut follower = follower();
        let turn = |(k, (phase, over, streaming)): (usize, &(Option<Phase>, bool, bool))| Played {
            now_us: 1_000_000 * k as u64,
            phase: *phase,
            over: *over,
            streaming: Some(*streaming),
        };
        turns.iter().enumerate().filter_map(|at| follower.see(&turn(at))).collect()
    }

    const BEFORE: (Option<Phase>, bool, bool) = (None, false, false);
    const STILL: (Option<Phase>, bool, bool) = (Some(Phase::Still), false, true);
    const BOUNCE: (Option<Phase>, bool, bool) = (Some(Phase::Bounce), false, true);
    const OVER: (Option<Phase>, bool, bool) = (None, true, true);
    const STOPPED: (Option<Phase>, bool, bool) = (None, true, false);

    #[test]
    fn a_recording_that_keeps_to_the_plan_is_left_alone() {
        assert_eq!(told(&[BEFORE, STILL, BOUNCE, OVER, STOPPED, STOPPED]), []);
    }

    #[test]
    fn a_recording_that_stops_early_is_told_and_a_look_at_the_sensors_is_not() {
        let stopped = (Some(Phase::Bounce), false, false);
        assert_eq!(told(&[BEFORE, STILL, BOUNCE, stopped, stopped]), [Astray::StoppedIn(Phase::Bounce)]);
        assert_eq!(told(&[BEFORE, STILL, STILL, (Some(Phase::Still), false, false)]), []);
    }

    #[test]
    fn a_recording_that_goes_on_after_the_test_is_told_once() {
        let turns = [[BEFORE, STILL, BOUNCE].as_slice(), &[OVER; 30]].concat();
        assert_eq!(told(&turns), [Astray::GoesOn]);
    }
}
