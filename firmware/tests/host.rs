//! The host's side: what it asks, what it sends wrong, and when it does not listen.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "tests")]

mod common;

use common::*;
use hingeline_firmware::{Board, Logger};
use hingeline_protocol::*;
use proptest::prelude::*;

fn bench() -> Rig {
    Rig::new(|now| vec![Bench::new(now).with(0x48, Model::adc()).with(0x6a, Model::inertial())])
}

#[test]
fn boots_and_says_who_it_is() {
    let mut rig = bench();
    rig.run(2_500_000);
    let DeviceMessage::Identity(identity) = &rig.received[0] else { panic!("{:?}", rig.received[0]) };
    assert_eq!((identity.major, identity.minor), (MAJOR, MINOR));
    assert_eq!((identity.boot_count, identity.buses, identity.unique_id.len()), (3, 1, 8));
    assert_eq!(rig.events(), [EventKind::Booted { cause: ResetCause::PowerOn }]);
    let statuses = rig.received.iter().filter(|message| matches!(message, DeviceMessage::Status(_))).count();
    assert_eq!(statuses, 2, "one a second");
}

#[test]
fn a_board_that_failed_says_where_after_every_identity() {
    let words = "usb-device-0.3.2/src/device.rs:620 and more than the wire has room for";
    let failed = Board { reset_cause: ResetCause::Fault, last_words: words, ..board(1) };
    let mut logger = Logger::new(failed, 0);
    let mut bytes = vec![0; 4096];
    let mut told = Vec::new();
    for _ in 0..2 {
        let count = logger.take_output(&mut bytes);
        let mut decoder = FrameDecoder::<DeviceMessage>::new();
        decoder.feed(&bytes[..count], |received| {
            if let Received::Message(DeviceMessage::LastWords(last)) = received {
                told.push(last.place.to_string());
            }
        });
        let mut frame = [0; 64];
        let used = encode_frame(&HostMessage::Identify, &mut frame).unwrap();
        logger.feed(1_000, &frame[..used]);
    }
    assert_eq!(told, [&words[..48], &words[..48]]);
}

#[test]
fn ping_still_button_supply() {
    let mut rig = bench();
    rig.tell(&[HostMessage::Ping { host_us: 42 }, HostMessage::Still]);
    rig.logger.button(1_000_100, Press::Long);
    rig.logger.supply_low(1_000_200, 2900);
    rig.run(1000);
    assert!(rig.received.contains(&DeviceMessage::Pong(Pong { host_us: 42, device_us: 1_000_000 })));
    let event = |time_us, kind| DeviceMessage::Event(Event { time_us, kind });
    assert!(rig.received.contains(&event(1_000_000, EventKind::Still)));
    assert!(rig.received.contains(&event(1_000_100, EventKind::Button { press: Press::Long })));
    assert!(rig.received.contains(&event(1_000_200, EventKind::SupplyLow { millivolts: 2900 })));
    assert_eq!(rig.replies(), [(6, Outcome::Done, 0)]);
}

#[test]
fn start_and_stop() {
    let mut rig = bench();
    start(&mut rig, vec![wire(0, 0x48, 0, None)], 10_000);
    rig.run(1_000_000);
    assert!(rig.logger.is_streaming());
    rig.tell(&[HostMessage::Start, HostMessage::Stop, HostMessage::Stop]);
    rig.run(1_000_000);
    let blocks = rig.blocks();
    let done = Outcome::Done;
    let replies = [(1, done, 0), (2, done, 0), (3, done, 10_000), (4, done, 0)];
    assert_eq!(rig.replies()[..4], replies);
    assert_eq!(rig.replies()[4..], [(4, Outcome::Streaming, 0), (5, done, 0), (5, done, 0)]);
    let marks: Vec<_> = rig
        .events()
        .into_iter()
        .filter(|event| matches!(event, EventKind::Started | EventKind::Stopped))
        .collect();
    assert_eq!(marks, [EventKind::Started, EventKind::Stopped]);
    // Everything that was sampled has come: the rest of the open block too.
    let scans: u32 = blocks.iter().map(|block| u32::from(block.scans)).sum();
    assert!((98..=100).contains(&scans), "{scans}");
    let mut losses = LossCounter::new();
    losses.restart();
    blocks.iter().for_each(|block| assert!(losses.observe(block)));
    assert_eq!((losses.lost_blocks, losses.lost_scans), (0, 0));
    // Started carries the first scan's start.
    let started_us = rig.received.iter().find_map(|message| match message {
        DeviceMessage::Event(Event { time_us, kind: EventKind::Started }) => Some(*time_us),
        _ => None,
    });
    assert_eq!(started_us, Some(blocks[0].first_time_us));
}

#[test]
fn refusals_say_why() {
    let mut rig = bench();
    let good = wire(0, 0x48, 0, None);
    let part = |name: &str| SensorConfig { part: name.try_into().unwrap(), ..good.clone() };
    let port = MuxPort { address: 0x70, channel: 8 };
    for (sensor, refusal) in [
        (part("hall9000"), (Outcome::UnknownPart, 0)),
        (SensorConfig { bus: 1, ..good.clone() }, (Outcome::NoSuchBus, 1)),
        (SensorConfig { index: 1, ..good.clone() }, (Outcome::OutOfOrder, 0)),
        (SensorConfig { input: 4, ..good.clone() }, (Outcome::BadValue, 0)),
        (SensorConfig { address: 0x78, ..good.clone() }, (Outcome::BadValue, 0)),
        (SensorConfig { every: 0, ..good.clone() }, (Outcome::BadValue, 0)),
        (SensorConfig { full_scale_mv: 5000, ..good.clone() }, (Outcome::BadValue, 0)),
        (SensorConfig { full_scale_g: 4, ..good.clone() }, (Outcome::BadValue, 0)),
        (SensorConfig { excitation: Some(0), ..good.clone() }, (Outcome::BadValue, 0)),
        (SensorConfig { mux: Some(port), ..good.clone() }, (Outcome::BadValue, 0)),
    ] {
        rig.received.clear();
        rig.tell(&[HostMessage::SetSensor(sensor.clone())]);
        rig.run(100);
        assert_eq!(rig.replies(), [(2, refusal.0, refusal.1)], "{sensor:?}");
    }
    rig.received.clear();
    rig.tell(&[
        HostMessage::Start,
        HostMessage::SetRate { period_us: 10, scans_per_block: 0 },
        HostMessage::SetSensor(wire(0, 0x48, 0, Some(3))),
        HostMessage::SetSensor(wire(1, 0x48, 0, Some(3))),
        HostMessage::SetSensor(wire(1, 0x48, 3, None)),
        HostMessage::SetSensor(inertial(1, 0x48)),
        HostMessage::ScanBus { bus: 4 },
        HostMessage::FetchStored { first: 0, count: 1 },
        HostMessage::EraseStored,
        HostMessage::SetRate { period_us: 1_200, scans_per_block: 0 },
        HostMessage::Start,
    ]);
    rig.run(100);
    let replies = rig.replies();
    assert_eq!(
        replies[..9],
        [
            (4, Outcome::NoSensors, 0),
            (3, Outcome::BadValue, 1000),
            (2, Outcome::Done, 0),
            (2, Outcome::Conflict, 0),
            (2, Outcome::Conflict, 0),
            (2, Outcome::Conflict, 0),
            (8, Outcome::NoSuchBus, 1),
            (9, Outcome::NotSupported, 0),
            (10, Outcome::NotSupported, 0),
        ]
    );
    // One conversion of 1303 µs and its two transfers of 237 µs, and up to an eighth for the processor.
    let (to, outcome, shortest_us) = replies[10];
    assert_eq!((to, outcome), (4, Outcome::TooFast));
    assert!((1540..1740).contains(&shortest_us), "{shortest_us}");
}

#[test]
fn bus_scan_finds_all() {
    let mut rig = Rig::new(|now| {
        vec![
            Bench::new(now)
                .with(0x48, Model::adc())
                .with(0x76, Model::Other(0x55))
                .behind(0x70, 2, 0x36, Model::angle())
                .behind(0x70, 7, 0x36, Model::angle())
                .behind(0x71, 0, 0x6a, Model::inertial()),
        ]
    });
    rig.buses[0].muxes.insert(0x70, 0x04);
    rig.tell(&[HostMessage::ScanBus { bus: 0 }, HostMessage::ScanBus { bus: 0 }]);
    rig.run(500_000);
    let scans: Vec<BusScan> = rig
        .received
        .iter()
        .filter_map(|message| match message {
            DeviceMessage::BusScan(scan) => Some(*scan),
            _ => None,
        })
        .collect();
    assert_eq!(scans.len(), 17, "the bus and sixteen outputs");
    assert_eq!(scans[0].addresses().collect::<Vec<_>>(), [0x48, 0x70, 0x71, 0x76]);
    for scan in &scans[1..] {
        let port = scan.mux.unwrap();
        let expected: &[u8] = match (port.address, port.channel) {
            (0x70, 2 | 7) => &[0x36],
            (0x71, 0) => &[0x6a],
            _ => &[],
        };
        assert_eq!(scan.addresses().collect::<Vec<_>>(), expected, "{port:?}");
    }
    assert_eq!(rig.replies(), [(8, Outcome::Busy, 0), (8, Outcome::Done, 0)]);
}

#[test]
fn other_major_version_is_told_who_we_are() {
    let mut rig = bench();
    rig.run(1000);
    rig.received.clear();
    let mut frame = [0; 32];
    let mut stuffer = cobs::Stuffer::new(&mut frame);
    let content = [MAJOR + 1, 0];
    for byte in content.into_iter().chain(frame::check(&content).to_le_bytes()) {
        stuffer.push(byte).unwrap();
    }
    let used = stuffer.finish().unwrap();
    rig.logger.feed(1000, &frame[..used]);
    rig.run(1_000_000);
    assert!(matches!(rig.received[0], DeviceMessage::Identity(_)));
    assert_eq!(rig.last_status().refused_frames, 1);
}

/// The host does not read: blocks are dropped and counted, events have their room, and all is said when it reads again.
#[test]
fn overflow_is_counted() {
    let mut rig = bench();
    start(&mut rig, vec![wire(0, 0x48, 0, Some(3)), inertial(1, 0x6a)], 5000);
    rig.run(1_000_000);
    rig.line_bytes_per_s = Some(1);
    rig.run(5_000_000);
    rig.logger.button(rig.now_us(), Press::Short);
    rig.line_bytes_per_s = None;
    rig.run(1_500_000);
    let events = rig.events();
    assert!(events.contains(&EventKind::Button { press: Press::Short }));
    let dropped: u32 = events
        .iter()
        .map(|event| match event {
            EventKind::QueueFull { messages } => *messages,
            _ => 0,
        })
        .sum();
    assert!(dropped > 20);
    assert_eq!(rig.last_status().dropped_messages, dropped);
    let mut losses = LossCounter::new();
    losses.restart();
    rig.blocks().iter().for_each(|block| assert!(losses.observe(block)));
    assert_eq!(
        losses.lost_blocks,
        u64::from(dropped),
        "only blocks were dropped, and the host can count them"
    );
}

/// A slow line: what the logger sends is never torn, whatever is dropped.
#[test]
fn slow_line() {
    let mut rig = bench();
    rig.line_bytes_per_s = Some(960);
    start(&mut rig, vec![wire(0, 0x48, 0, Some(3)), inertial(1, 0x6a)], 5000);
    // The rig asserts that no frame is refused.
    rig.run(20_000_000);
    assert!(rig.events().iter().any(|event| matches!(event, EventKind::QueueFull { .. })));
    assert!(!rig.blocks().is_empty());
}

/// No sign of life without steps, or without scans while streaming.
#[test]
fn watchdog() {
    let mut rig = bench();
    start(&mut rig, vec![wire(0, 0x48, 0, None)], 10_000);
    rig.run(3_000_000);
    assert!(rig.logger.is_alive(rig.now_us()));
    assert!(!rig.logger.is_alive(rig.now_us() + 1_500_000));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever the host sends, the logger goes on, and answers the next ping.
    #[test]
    fn host_garbage(pieces in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..300), 1..5)) {
        let mut rig = bench();
        start(&mut rig, vec![wire(0, 0x48, 0, None)], 10_000);
        for piece in &pieces {
            let now_us = rig.now_us();
            rig.logger.feed(now_us, piece);
            rig.run(20_000);
        }
        let now_us = rig.now_us();
        rig.logger.feed(now_us, &[0]);
        rig.tell(&[HostMessage::Ping { host_us: 99 }]);
        rig.run(1000);
        let pong = rig.received.iter().any(|message| matches!(message, DeviceMessage::Pong(pong) if pong.host_us == 99));
        prop_assert!(pong);
        prop_assert!(rig.logger.is_streaming());
    }

    /// Any messages in any order, sensible or not: nobody panics, every one that asks for a reply has one.
    #[test]
    fn any_conversation(choices in prop::collection::vec((0_u8..9, any::<u8>(), any::<u16>()), 1..40)) {
        let mut rig = bench();
        let mut expected = 0;
        for (choice, small, large) in choices {
            let message = match choice {
                0 => HostMessage::Start,
                1 => HostMessage::Stop,
                2 => HostMessage::ClearSensors,
                3 => HostMessage::SetSensor(wire(small % 8, 0x48 + small % 3, small / 8 % 4, (small > 128).then_some(3))),
                4 => HostMessage::SetSensor(SensorConfig { every: large % 5, ..inertial(small % 8, 0x6a) }),
                5 => HostMessage::SetRate { period_us: u32::from(large), scans_per_block: small },
                6 => HostMessage::Still,
                7 => HostMessage::SetSensor(angle(small % 8, 0x70, small % 8)),
                _ => HostMessage::EraseStored,
            };
            rig.tell(&[message]);
            expected += 1;
            rig.run(u64::from(large));
        }
        prop_assert_eq!(rig.replies().len(), expected);
    }
}
