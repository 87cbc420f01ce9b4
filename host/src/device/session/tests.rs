//! Sessions with the scripted logger: answers lost, restarts, refusals.

use super::*;
use crate::explain::Explain;
use crate::run::test_logger::TestLogger;
use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::{Component, SensorConfig, StoredRecord, encode_frame};

const STEP_US: u64 = 20_000;

fn sensor(index: u8) -> SensorConfig {
    SensorConfig {
        index,
        name: format!("wire {index}").as_str().try_into().unwrap(),
        part: "ads1115".try_into().unwrap(),
        bus: 0,
        mux: None,
        address: 0x48,
        input: index,
        excitation: None,
        component: Component::Length,
        every: 1,
        full_scale_mv: 0,
        full_scale_g: 0,
        full_scale_dps: 0,
    }
}

fn stream() -> Goal {
    Goal::Stream(Setup { sensors: (0..3).map(sensor).collect(), period_us: 10_000 })
}

/// Both ends on virtual time. `pass` says of each piece, to the logger (`true`) or from it, whether it arrives.
struct Both {
    session: Session,
    logger: TestLogger,
    now_us: u64,
    happened: Vec<Happening>,
}

impl Both {
    fn new(goal: Goal) -> Self {
        Self { session: Session::new(goal, 0), logger: TestLogger::whole(), now_us: 0, happened: Vec::new() }
    }

    fn run(&mut self, duration_us: u64, mut pass: impl FnMut(bool) -> bool) -> Result<(), SessionError> {
        let end_us = self.now_us + duration_us;
        while self.now_us < end_us {
            self.now_us += STEP_US;
            while let Some(message) = self.session.outgoing() {
                let mut frame = [0; MAX_WIRE];
                let used = encode_frame(&message, &mut frame).unwrap();
                if pass(true) {
                    self.logger.receive(&frame[..used]);
                }
            }
            self.logger.run(STEP_US);
            assert!(self.now_us < 600_000_000, "it ends");
            let bytes = std::mem::take(&mut self.logger.output);
            if pass(false) {
                self.session.receive(&bytes, self.now_us)?;
            }
            self.session.tick(self.now_us)?;
            self.happened.extend(std::iter::from_fn(|| self.session.happening()));
        }
        Ok(())
    }

    fn count(&self, what: fn(&Happening) -> bool) -> usize {
        self.happened.iter().filter(|h| what(h)).count()
    }
}

fn streaming(h: &Happening) -> bool {
    matches!(h, Happening::Streaming { .. })
}

#[test]
fn it_identifies_sets_up_starts_and_stops() {
    let mut both = Both::new(stream());
    both.run(3_000_000, |_| true).unwrap();
    assert!(both.session.is_streaming());
    assert_eq!(both.count(streaming), 1);
    let kinds: Vec<_> = both.logger.heard.iter().filter_map(kind).collect();
    assert_eq!(&kinds[..9], [0, 5, 1, 2, 2, 2, 3, 4, 7]);
    let device_us = both.session.device_us(both.now_us).unwrap();
    assert!(device_us.abs_diff(both.logger.now_us) <= STEP_US);
    both.session.stop(both.now_us);
    both.run(200_000, |_| true).unwrap();
    assert_eq!(both.count(|h| *h == Happening::Stopped), 1);
    assert!(!both.logger.streaming);
}

#[test]
fn a_line_that_loses_every_third_piece_only_takes_longer() {
    for phase in 0..3 {
        let mut both = Both::new(stream());
        let mut piece = phase;
        both.run(20_000_000, |_| {
            piece += 1;
            piece % 3 != 0
        })
        .unwrap();
        assert_eq!(both.count(streaming), 1);
        assert!(both.logger.streaming);
    }
}

#[test]
fn a_logger_that_restarts_is_set_up_anew() {
    let mut both = Both::new(stream());
    both.run(2_000_000, |_| true).unwrap();
    both.logger.reboot();
    both.run(2_000_000, |_| true).unwrap();
    assert_eq!(both.count(|h| matches!(h, Happening::Restarted(_))), 1);
    assert_eq!(both.count(streaming), 2);
    // Once more, and everything that it says while it boots is lost.
    both.logger.reboot();
    both.run(200_000, |_| false).unwrap();
    both.run(8_000_000, |_| true).unwrap();
    assert_eq!(both.count(streaming), 3);
}

#[test]
fn after_a_gap_a_logger_that_went_on_is_left_alone() {
    let mut both = Both::new(stream());
    both.run(2_000_000, |_| true).unwrap();
    let starts = |b: &Both| b.logger.heard.iter().filter(|m| **m == HostMessage::Start).count();
    both.session.relinked(both.now_us);
    both.run(1_000_000, |_| true).unwrap();
    assert!(both.session.is_streaming());
    assert_eq!(starts(&both), 1);
    // Silence is looked into without being told.
    both.run(4_000_000, |to_logger| to_logger).unwrap();
    both.run(1_000_000, |_| true).unwrap();
    assert!(both.session.is_streaming());
    assert_eq!(starts(&both), 1);
}

#[test]
fn a_line_that_is_cut_while_the_logger_starts_still_tells_of_the_stream() {
    let mut both = Both::new(stream());
    // The eighth message is the start; nothing that the logger says from then on arrives.
    let mut sent = 0;
    both.run(600_000, |to_logger| {
        sent += u32::from(to_logger);
        to_logger || sent < 8
    })
    .unwrap();
    assert!(both.logger.streaming);
    let told = both.count(streaming);
    both.session.relinked(both.now_us);
    both.run(1_000_000, |_| true).unwrap();
    assert!(both.session.is_streaming());
    assert_eq!((told, both.count(streaming)), (0, 1));
}

#[test]
fn nobody_there_is_an_error_after_some_seconds() {
    let mut both = Both::new(stream());
    let error = both.run(20_000_000, |_| false).unwrap_err();
    assert!(both.now_us <= 6_000_000);
    assert_eq!(error.to_string(), "the logger does not answer when asked who it is");
}

#[test]
fn another_major_version_is_refused_by_name() {
    let mut both = Both::new(Goal::Identify);
    // A frame as version 9 would send it: the first byte of a frame is the major version.
    let content = [9_u8, 1, 2, 3];
    let mut frame = content.to_vec();
    frame.extend(hingeline_protocol::frame::check(&content).to_le_bytes());
    let mut bytes = vec![frame.len() as u8 + 1];
    bytes.extend(frame);
    bytes.push(0);
    assert!(!bytes[..bytes.len() - 1].contains(&0), "no zero to stuff");
    let error = both.session.receive(&bytes, 1).unwrap_err();
    assert_eq!(error, SessionError::OtherMajor { theirs: 9 });
    assert_eq!(error.to_string(), "the logger speaks version 9 of the wire, this program speaks version 1");
    assert_eq!(error.status().code(), 3);
}

#[test]
fn refusals_say_what_was_asked_and_what_to_do() {
    let reply = |to, outcome, detail| Reply { to, outcome, detail };
    let rate = HostMessage::SetRate { period_us: 5_000, scans_per_block: 0 };
    let told: Vec<_> = [
        (HostMessage::Start, reply(4, Outcome::TooFast, 8_300)),
        (HostMessage::SetSensor(sensor(2)), reply(2, Outcome::UnknownPart, 2)),
        (HostMessage::SetSensor(sensor(2)), reply(2, Outcome::Conflict, 1)),
        (HostMessage::SetSensor(sensor(2)), reply(2, Outcome::NoSuchBus, 1)),
        (rate, reply(3, Outcome::BadValue, 1_000)),
        (HostMessage::Start, reply(4, Outcome::NoSensors, 0)),
        (HostMessage::EraseStored, reply(10, Outcome::Other(77), 0)),
    ]
    .iter()
    .map(|(message, reply)| SessionError::refused(message, *reply))
    .map(|e| format!("{e}\n  {}", e.hint().unwrap_or_default()))
    .collect();
    insta::assert_snapshot!(told.join("\n"));
}

#[test]
fn records_that_did_not_arrive_are_asked_for_again() {
    let mut both = Both::new(Goal::Fetch);
    both.logger.store = (0..40)
        .map(|k| {
            let event = Event { time_us: u64::from(k), kind: EventKind::Still };
            StoredRecord::new(k, 40, 1, &DeviceMessage::Event(event)).unwrap()
        })
        .collect();
    // Everything comes in one piece: cut some frames out of the first one.
    both.run(STEP_US, |_| true).unwrap();
    while let Some(message) = both.session.outgoing() {
        let mut frame = [0; MAX_WIRE];
        let used = encode_frame(&message, &mut frame).unwrap();
        both.logger.receive(&frame[..used]);
    }
    let bytes = std::mem::take(&mut both.logger.output);
    for (k, frame) in bytes.split_inclusive(|b| *b == 0).enumerate() {
        if ![3, 4, 5, 20].contains(&k) {
            both.session.receive(frame, both.now_us).unwrap();
        }
    }
    both.run(3_000_000, |_| true).unwrap();
    assert_eq!(both.count(|h| *h == Happening::Fetched { records: 40, missing: 0 }), 1);
}
