//! Logs sound, damaged and cut.

use super::*;
use crate::rig::Kind;
use crate::run::Timing;
use crate::run::marks::Instant;
use crate::run::test_logger::{NOMINAL_COUNTS, Sent, TestLogger};
use crate::run::test_rig::{CENTRE, COUNT_RAD, whole};
use hingeline_protocol::LostReason;
use proptest::prelude::*;

/// The counts of the test logger times the scales of single precision on the wire.
const SINGLE_PRECISION: f64 = 1e-6;

fn read(rig: &Rig, bytes: &[u8]) -> Recording {
    read_with(rig, bytes, &Context::default())
}

fn read_with(rig: &Rig, bytes: &[u8], context: &Context) -> Recording {
    let mut reader = WireReader::new(rig);
    reader.feed(bytes, None);
    reader.finish(context)
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= SINGLE_PRECISION * b.abs().max(1e-3)
}

#[test]
fn every_reading_has_its_own_time_and_its_si_value() {
    let rig = whole();
    let mut logger = TestLogger::whole();
    logger.start();
    logger.run(1_000_000);
    logger.stop();
    let recording = read(&rig, &logger.output);
    assert_eq!(recording.timing, Timing::Own);
    assert_eq!(recording.counts.received, 101 * 15);
    assert_eq!((recording.counts.lost, recording.counts.excluded), (0, 0));
    let of = |channel: u8| logger.sent.iter().filter(move |s| s.channel == channel);
    let first_us = logger.sent[0].time_us;
    let check = |series: &crate::run::Series, channel: u8, per_count: f64| {
        assert_eq!(series.t_s.len(), of(channel).count());
        for ((t_s, value), sent) in series.t_s.iter().zip(&series.value).zip(of(channel)) {
            assert!(close(*t_s, (sent.time_us - first_us) as f64 * 1e-6));
            assert!(close(*value, f64::from(sent.raw) * per_count), "{value} {sent:?}");
        }
    };
    check(&recording.series[0][0], 0, 1e-3);
    check(&recording.series[1][0], 1, 1e-3);
    check(&recording.series[2][0], 2, COUNT_RAD);
    check(&recording.series[3][1], 4, 0.001);
    check(&recording.series[4][5], 14, 1e-4);
}

#[test]
fn a_sagging_excitation_does_not_look_like_travel() {
    let rig = whole();
    let mut logger = TestLogger::whole();
    // Supply falls by a tenth over 10 s; the wire stays at 400 counts of the nominal excitation.
    fn sag(t_us: u64) -> f64 {
        1.0 - 0.1 * (t_us - 1_000_000) as f64 / 10e6
    }
    logger.counts = |channel, t_us| if channel < 2 { (4000.0 * sag(t_us)).round() as i32 } else { 500 };
    logger.rows.last_mut().unwrap().scale *= 10.0;
    logger.start();
    let mut rig_fine = rig;
    for sensor in &mut rig_fine.sensors[..2] {
        if let Kind::DrawWire(wire) = &mut sensor.kind {
            wire.reading.scale = crate::rig::Scale::Linear(1e-4);
        }
    }
    logger.run(10_000_000);
    logger.stop();
    // The test logger's excitation is constant; here it is put where the sag is, by the scale of its row over time.
    let mut reader = WireReader::new(&rig_fine);
    reader.feed(&logger.output, None);
    for series in reader.excitations.values_mut() {
        let t_us = series.t_us.clone();
        for (raw, t) in series.raw.iter_mut().zip(t_us) {
            *raw = (f64::from(NOMINAL_COUNTS) * sag(t as u64) / 10.0).round() as i32;
        }
    }
    let recording = reader.finish(&Context::default());
    let spread = recording.series[0][0].value.iter().map(|v| (v - 0.4).abs()).fold(0.0, f64::max);
    // Half a count of 4000 on the wire and of 2640 on the excitation.
    assert!(spread < 0.4 * (0.6 / 3600.0 + 0.6 / 2370.0), "{spread}");
}

#[test]
fn a_shaft_that_passes_zero_does_not_jump() {
    let rig = whole();
    let mut logger = TestLogger::whole();
    logger.counts = |channel, t_us| {
        let step = (t_us / 10_000) as i32 % 100;
        if channel == 2 { (4060 + step).rem_euclid(4096) } else { 500 }
    };
    logger.start();
    logger.run(900_000);
    logger.stop();
    let recording = read(&rig, &logger.output);
    let angle = &recording.series[2][0].value;
    assert_eq!(angle.len(), 91);
    let steps: Vec<_> = angle.windows(2).map(|w| w[1] - w[0]).collect();
    assert!(steps.iter().all(|step| close(*step, COUNT_RAD)), "{steps:?}");
}

#[test]
fn what_cannot_be_right_is_set_aside_and_said() {
    let rig = whole();
    let mut logger = TestLogger::whole();
    logger.counts = |channel, t_us| match (channel, (t_us / 10_000) % 10) {
        (0, 0) => 32767,
        (1, 1) => 801,
        (3, 2) => -32768,
        _ => 500,
    };
    logger.start();
    logger.run(500_000);
    logger.event(EventKind::SensorLost { sensor: 1, reason: LostReason::NoAnswer });
    logger.event(EventKind::Overrun { scans: 3 });
    logger.event(EventKind::Overrun { scans: 2 });
    logger.run(2_000_000);
    logger.event(EventKind::SensorFound { sensor: 1 });
    logger.event(EventKind::SupplyLow { millivolts: 2950 });
    logger.stop();
    let recording = read(&rig, &logger.output);
    assert_eq!(recording.counts.excluded, 26 + 25 + 25);
    insta::assert_snapshot!(recording.remarks.join("\n"));
}

#[test]
fn a_restart_is_placed_by_the_hosts_clock_and_told() {
    let rig = whole();
    let mut logger = TestLogger::whole();
    let mut reader = WireReader::new(&rig);
    logger.introduce();
    logger.start();
    let mut host_us = 0;
    let mut pass = |logger: &mut TestLogger, reader: &mut WireReader, duration_us: u64| {
        for _ in 0..duration_us / 50_000 {
            logger.run(50_000);
            host_us += 50_000;
            reader.feed(&std::mem::take(&mut logger.output), Some(host_us));
        }
        host_us
    };
    pass(&mut logger, &mut reader, 3_000_000);
    logger.reboot();
    pass(&mut logger, &mut reader, 2_000_000);
    logger.start();
    pass(&mut logger, &mut reader, 3_000_000);
    let phase = |boot, device_us, phase| Mark::Phase { at: Instant { boot, device_us, host_us: 0 }, phase };
    let marks = [phase(1, 1_000_000, Phase::Still), phase(2, 2_505_000, Phase::Bounce)];
    let recording = reader.finish(&Context { marks: &marks, ..Context::default() });
    let times = &recording.series[0][0].t_s;
    assert!(times.windows(2).all(|w| w[1] > w[0]));
    let silence = times.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
    // 2 s of silence, an unsent block of at most 80 ms, and arrivals every 50 ms.
    assert!((silence - 2.0).abs() < 0.15, "{silence}");
    assert!((recording.phases[0].to_s - 5.5).abs() < 0.1, "{:?}", recording.phases);
    let told = recording.remarks.join("\n");
    assert!(told.contains("The logger restarted before") && told.contains("No readings between"), "{told}");
}

#[test]
fn the_button_steps_through_the_plan_where_no_marks_were_made() {
    let rig = whole();
    let mut logger = TestLogger::whole();
    logger.start();
    for _ in 0..2 {
        logger.run(2_000_000);
        logger.press();
    }
    logger.run(1_000_000);
    logger.press();
    logger.run(500_000);
    logger.stop();
    let plan = Test::Ramp.plan();
    let recording = read_with(&rig, &logger.output, &Context { plan: &plan, ..Context::default() });
    let spans: Vec<_> = recording.phases.iter().map(|s| (s.phase.words(), s.from_s, s.to_s)).collect();
    assert_eq!(spans, [("still", 0.0, 2.0), ("ramp left", 2.0, 4.0), ("ramp right", 4.0, 5.0)]);
}

#[test]
fn phases_that_nobody_marked_are_told_from_the_readings() {
    let rig = whole();
    let mut logger = TestLogger::whole();
    logger.counts = |channel, t_us| {
        let t_s = t_us as f64 * 1e-6 - 5.0;
        let rise = if t_s < 0.0 { 0.0 } else { 60.0 * (t_s * 0.8).sin() };
        match channel {
            0 | 1 => 500 - rise as i32,
            5 | 11 => 9807,
            _ => 0,
        }
    };
    logger.start();
    logger.run(15_000_000);
    logger.stop();
    let context =
        Context { plan: &Test::One(Phase::Bounce).plan(), centres: &[CENTRE], ..Context::default() };
    let recording = read_with(&rig, &logger.output, &context);
    let words: Vec<_> = recording.phases.iter().map(|s| s.phase.words()).collect();
    assert_eq!(words, ["still", "bounce"], "{:?}", recording.remarks);
}

#[test]
fn what_a_board_kept_by_itself_reads_like_a_live_log_in_any_order() {
    let rig = whole();
    let mut live = TestLogger::whole();
    live.start();
    live.run(2_000_000);
    live.stop();
    let mut messages = Vec::new();
    FrameDecoder::<DeviceMessage>::new().feed(&live.output, |r| {
        if let Received::Message(m) = r {
            messages.push(m);
        }
    });
    let total = messages.len() as u32;
    let record = |k: u32| StoredRecord::new(k, total, 1, &messages[k as usize]).unwrap();
    let mut carrier = TestLogger::whole();
    carrier.boot = 2;
    carrier.introduce();
    for k in (0..total).rev().chain([3, 3]) {
        carrier.say(&DeviceMessage::Stored(record(k)));
    }
    let (expected, got) = (read(&rig, &live.output), read(&rig, &carrier.output));
    assert_eq!(got.series, expected.series);
    assert_eq!(got.counts, expected.counts);
}

#[derive(Debug, Clone)]
enum Fault {
    Drop,
    Twice,
    Flip(usize),
    Cut(usize),
}

fn faults() -> impl Strategy<Value = Vec<(usize, Fault)>> {
    let fault = prop_oneof![
        Just(Fault::Drop),
        Just(Fault::Twice),
        (0_usize..4000).prop_map(Fault::Flip),
        (0_usize..400).prop_map(Fault::Cut),
    ];
    prop::collection::vec((0_usize..80, fault), 0..12)
}

/// The frames of a log, faults put in.
fn damaged(frames: &[&[u8]], faults: &[(usize, Fault)]) -> Vec<u8> {
    let mut out = Vec::new();
    for (k, frame) in frames.iter().enumerate() {
        let mut bytes = frame.to_vec();
        let mut times = 1;
        for (_, fault) in faults.iter().filter(|(at, _)| *at == k) {
            match fault {
                Fault::Drop => times = 0,
                Fault::Twice => times += 1,
                Fault::Flip(bit) => {
                    let bit = bit % (bytes.len() * 8);
                    bytes[bit / 8] ^= 1 << (bit % 8);
                }
                Fault::Cut(n) => bytes.truncate(*n % (bytes.len() + 1)),
            }
            if bytes.is_empty() {
                break;
            }
        }
        (0..times).for_each(|_| out.extend_from_slice(&bytes));
    }
    out
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn whatever_the_line_does_the_recording_is_a_part_of_what_was_sent(faults in faults()) {
        let rig = whole();
        let mut logger = TestLogger::whole();
        logger.introduce();
        logger.start();
        logger.run(3_000_000);
        logger.stop();
        let bytes = logger.output.clone();
        let frames: Vec<&[u8]> = bytes.split_inclusive(|b| *b == 0).collect();
        // The introductions arrive: a session does not begin without them.
        let head = 2 * (1 + logger.rows.len());
        let faults: Vec<_> = faults.into_iter().map(|(at, f)| (at + head, f)).collect();
        let mut reader = WireReader::new(&rig);
        reader.feed(&damaged(&frames, &faults), None);
        let mut last_block = None;
        for (channel, series) in reader.raw.iter().flatten().enumerate() {
            let mut sent = logger.sent.iter().filter(|s| usize::from(s.channel) == channel);
            for (t_us, raw) in series.t_us.iter().zip(&series.raw) {
                let same = sent.find(|s| (s.time_us as i64, s.raw) == (*t_us, *raw));
                prop_assert!(same.is_some(), "not sent, or out of order: {t_us} {raw}");
                last_block = last_block.max(same.map(|s| s.block));
            }
        }
        // Everything up to the last block that arrived is either there or counted as lost.
        let until = |s: &&Sent| s.channel < 15 && Some(s.block) <= last_block;
        let sent = logger.sent.iter().filter(until).count() as u64;
        prop_assert_eq!(reader.counts.received + reader.counts.lost, sent);
        let recording = reader.finish(&Context::default());
        prop_assert_eq!(recording.counts.received + recording.counts.lost, sent);
        prop_assert!(recording.series.iter().flatten().all(|s| s.t_s.windows(2).all(|w| w[1] > w[0])));
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..2000), cut in any::<prop::sample::Index>()) {
        let rig = whole();
        let mut logger = TestLogger::whole();
        logger.start();
        logger.run(200_000);
        let at = cut.index(logger.output.len());
        let mut log = logger.output[..at].to_vec();
        log.extend(bytes);
        log.extend(&logger.output[at..]);
        read(&rig, &log);
    }
}
