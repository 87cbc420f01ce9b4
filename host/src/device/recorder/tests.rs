//! The recorder's plan, presses and end, with the scripted logger.

use super::*;
use crate::run::test_logger::TestLogger;
use crate::run::test_rig::whole;
use hingeline_protocol::encode_frame;
use hingeline_protocol::sizes::MAX_WIRE;

const STEP_US: u64 = 20_000;

struct Both {
    rig: Rig,
    recorder: Recorder,
    logger: TestLogger,
    now_us: u64,
    marks: Vec<Mark>,
}

impl Both {
    fn new(plan: &[Phase], seconds: Option<f64>) -> Self {
        let rig = whole();
        let setup = Setup::of(&rig).unwrap();
        let recorder = Recorder::new(&rig, setup, plan.to_vec(), seconds, 0);
        Self { rig, recorder, logger: TestLogger::whole(), now_us: 0, marks: Vec::new() }
    }

    fn run(&mut self, duration_us: u64) {
        let end_us = self.now_us + duration_us;
        while self.now_us < end_us {
            self.now_us += STEP_US;
            while let Some(message) = self.recorder.outgoing() {
                let mut frame = [0; MAX_WIRE];
                let used = encode_frame(&message, &mut frame).unwrap();
                self.logger.receive(&frame[..used]);
            }
            self.logger.run(STEP_US);
            let bytes = std::mem::take(&mut self.logger.output);
            self.recorder.receive(&self.rig, &bytes, self.now_us).unwrap();
            self.recorder.tick(self.now_us).unwrap();
            self.marks.extend(std::iter::from_fn(|| self.recorder.mark()));
        }
    }

    fn told(&self) -> Vec<&str> {
        self.marks
            .iter()
            .map(|m| match m {
                Mark::Phase { phase, .. } => phase.words(),
                Mark::Pause { .. } => "pause",
                Mark::End { why, .. } => why,
                _ => "other",
            })
            .collect()
    }
}

const PLAN: [Phase; 3] = [Phase::Still, Phase::RampLeft, Phase::RampRight];

#[test]
fn presses_and_keys_step_through_the_plan_and_end_it() {
    let mut both = Both::new(&PLAN, None);
    both.run(2_000_000);
    assert_eq!(
        (both.recorder.phase(), both.recorder.next_phase()),
        (Some(Phase::Still), Some(Phase::RampLeft))
    );
    let pressed_us = both.logger.now_us;
    both.logger.press();
    both.logger.press();
    both.run(1_000_000);
    assert_eq!(both.recorder.phase(), Some(Phase::RampLeft), "two presses at once are one");
    both.recorder.pause(both.now_us);
    both.run(100_000);
    assert_eq!(both.recorder.phase(), None);
    both.recorder.advance(both.now_us);
    both.run(1_000_000);
    both.logger.press();
    both.run(500_000);
    assert_eq!(both.recorder.end(), Some(End::PlanDone));
    assert_eq!(both.told(), ["still", "ramp left", "pause", "ramp right", "the plan is done"]);
    assert!(!both.logger.streaming);
    assert!(both.logger.heard.contains(&HostMessage::Still));
    let Mark::Phase { at, .. } = &both.marks[1] else { panic!("a phase") };
    assert_eq!(at.device_us, pressed_us, "the logger's own time of the press");
    let Mark::Phase { at, .. } = &both.marks[3] else { panic!("a phase") };
    assert!(
        at.device_us.abs_diff(pressed_us + 1_100_000) <= 2 * STEP_US,
        "the key's time on the logger's clock"
    );
}

#[test]
fn time_and_a_long_press_end_it() {
    let mut both = Both::new(&PLAN, Some(1.5));
    both.run(3_000_000);
    assert_eq!(both.recorder.end(), Some(End::TimeUp));
    let mut both = Both::new(&[], None);
    both.run(1_000_000);
    both.logger.event(EventKind::Button { press: Press::Long });
    both.run(500_000);
    assert_eq!(both.recorder.end(), Some(End::Asked));
    assert_eq!(both.told(), ["asked to stop"]);
}

#[test]
fn a_logger_that_falls_silent_at_the_end_changes_nothing() {
    let mut both = Both::new(&PLAN, None);
    both.run(1_000_000);
    both.recorder.stop(both.now_us);
    for k in 1..=200 {
        both.recorder.tick(both.now_us + k * STEP_US).unwrap();
    }
    assert_eq!(both.recorder.end(), Some(End::Asked));
}

#[test]
fn live_numbers_are_the_latest_in_si() {
    let mut both = Both::new(&PLAN, None);
    both.run(2_000_000);
    let live = both.recorder.live();
    let last = both.logger.sent.iter().rev().find(|s| s.channel == 0).unwrap();
    let left = live.latest[0][0].unwrap();
    // Single precision of the excitation's scale.
    assert!((left - f64::from(last.raw) * 1e-3).abs() < 1e-6, "{left}");
    assert!(live.latest.iter().flatten().all(Option::is_some));
    assert_eq!(live.received as usize, both.logger.sent.iter().filter(|s| s.channel < 15).count());
    assert_eq!(live.lost, 0);
    assert!(live.table().is_complete());
}
