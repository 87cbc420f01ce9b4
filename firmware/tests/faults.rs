//! What goes wrong on the buses: the others go on, it is said once, and it mends itself.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "tests")]

mod common;

use common::*;
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use hingeline_protocol::*;

/// Two wires with excitation on one ADC, one wire on another, an inertial unit, an angle sensor behind a multiplexer.
fn mixed() -> (Rig, Vec<SensorConfig>) {
    let rig = Rig::new(|now| {
        vec![
            Bench::new(now)
                .with(0x48, Model::adc())
                .with(0x49, Model::adc())
                .with(0x6a, Model::inertial())
                .behind(0x70, 3, 0x36, Model::angle()),
        ]
    });
    let sensors = vec![
        wire(0, 0x48, 0, Some(3)),
        wire(1, 0x48, 1, Some(3)),
        wire(2, 0x49, 0, None),
        inertial(3, 0x6a),
        angle(4, 0x70, 3),
    ];
    (rig, sensors)
}

/// Events about sensors: lost (with the reason) and found.
fn sensor_events(rig: &Rig) -> Vec<(u8, Option<LostReason>)> {
    rig.events()
        .into_iter()
        .filter_map(|event| match event {
            EventKind::SensorLost { sensor, reason } => Some((sensor, Some(reason))),
            EventKind::SensorFound { sensor } => Some((sensor, None)),
            _ => None,
        })
        .collect()
}

/// Readings of the wires: every one right in input and time.
fn check_wires(rig: &Rig) -> [usize; 3] {
    let mut counts = [0; 3];
    for (row, reading) in rig.readings() {
        if row.component == Component::Length {
            let input = row.sensor_index % 2;
            let true_us = time_of(reading.raw, input, reading.time_us);
            assert!(reading.time_us.abs_diff(true_us) <= 50 + TICK_US + 15, "{row:?} {reading:?}");
            counts[usize::from(row.sensor_index)] += 1;
        }
    }
    counts
}

#[test]
fn lost_and_found() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 10_000);
    rig.run(1_000_000);
    rig.buses[0].hands.borrow_mut().unplugged = vec![(0x48, None), (0x6a, None)];
    rig.run(3_000_000);
    // Each sensor of a part once, with the reason; nothing more in three seconds.
    let mut lost = sensor_events(&rig);
    lost.sort_by_key(|event| event.0);
    let gone = Some(LostReason::NoAnswer);
    assert_eq!(lost, [(0, gone), (1, gone), (3, gone)]);
    assert_eq!(rig.last_status().sensors_lost, 0b1011);
    // The others go on at their rate: four seconds, less the 80 ms of the inertial unit and the open block.
    let [_, _, others] = check_wires(&rig);
    assert!(others >= 380, "{others}");

    rig.buses[0].hands.borrow_mut().unplugged.clear();
    rig.run(2_000_000);
    let mut events = sensor_events(&rig).split_off(3);
    events.sort_by_key(|event| event.0);
    assert_eq!(events, [(0, None), (1, None), (3, None)]);
    assert_eq!(rig.last_status().sensors_lost, 0);
    let [first, second, third] = check_wires(&rig);
    assert!(first > 180 && second > 180, "they stream again: {first} {second}");
    assert!(third > 570);
}

#[test]
fn absent_from_the_start() {
    let (mut rig, sensors) = mixed();
    rig.buses[0].hands.borrow_mut().unplugged = vec![(0x49, None), (0x70, None)];
    start(&mut rig, sensors, 10_000);
    rig.run(2_000_000);
    let gone = Some(LostReason::NoAnswer);
    assert_eq!(sensor_events(&rig), [(2, gone), (4, gone)]);
    rig.buses[0].hands.borrow_mut().unplugged.clear();
    rig.run(2_000_000);
    let mut found = sensor_events(&rig).split_off(2);
    found.sort_by_key(|event| event.0);
    assert_eq!(found, [(2, None), (4, None)]);
    assert!(check_wires(&rig)[2] > 90);
}

#[test]
fn magnet_gone_and_back() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 10_000);
    rig.run(500_000);
    let key = (0x36, Some((0x70, 3)));
    rig.buses[0].parts.insert(key, Model::Angle { conf: 0x0200, magnet: false });
    rig.run(3_500_000);
    assert_eq!(sensor_events(&rig), [(4, Some(LostReason::NoSignal))]);
    rig.buses[0].parts.insert(key, Model::angle());
    rig.run(1_500_000);
    assert_eq!(sensor_events(&rig), [(4, Some(LostReason::NoSignal)), (4, None)]);
}

/// An inertial unit that lost its settings (its supply dipped) acknowledges, but stands still: it is set up again.
#[test]
fn part_that_was_reset() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 10_000);
    rig.run(500_000);
    rig.buses[0].parts.insert((0x6a, None), Model::inertial());
    rig.run(2_500_000);
    assert_eq!(sensor_events(&rig), [(3, Some(LostReason::NotReady)), (3, None)]);
}

/// One transfer fails, whichever: at most one reading per sensor of that part is missing, none is wrong, nobody is lost.
#[test]
fn nak_at_any_transfer() {
    let no_answer = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data);
    // From the first transfer after set-up over three scans: each has about 13.
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors.clone(), 10_000);
    rig.run(100_000);
    let first = rig.buses[0].hands.borrow().transfers;
    for number in first + 1..first + 45 {
        let (mut rig, _) = mixed();
        rig.buses[0].hands.borrow_mut().fail = Some((number, no_answer));
        start(&mut rig, sensors.clone(), 10_000);
        rig.run(1_600_000);
        assert_eq!(sensor_events(&rig), [], "transfer {number}");
        let total: usize = check_wires(&rig).iter().sum();
        let expected = 3 * 140;
        assert!(total >= expected, "transfer {number}: {total}");
        assert_eq!(rig.last_status().bus_errors, 1, "transfer {number}");
    }
}

/// One transfer fails while parts are set up: the part is reported, tried again, and found.
#[test]
fn nak_at_any_transfer_of_the_set_up() {
    for number in 1..15 {
        let (mut rig, sensors) = mixed();
        rig.buses[0].hands.borrow_mut().fail =
            Some((number, ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)));
        start(&mut rig, sensors, 10_000);
        rig.run(3_000_000);
        let events = sensor_events(&rig);
        let lost = events.iter().filter(|event| event.1.is_some()).count();
        let found = events.iter().filter(|event| event.1.is_none()).count();
        assert_eq!(lost, found, "transfer {number}: {events:?}");
        assert_eq!(rig.last_status().sensors_lost, 0, "transfer {number}");
    }
}

#[test]
fn stuck_bus_is_freed() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 10_000);
    rig.run(500_000);
    rig.buses[0].hands.borrow_mut().stuck = 1;
    rig.run(1_500_000);
    assert!(rig.events().contains(&EventKind::BusRecovered { bus: 0 }));
    assert!(!rig.events().contains(&EventKind::BusStuck { bus: 0 }));
    // One failed transfer loses nobody, and the multiplexer is connected again.
    assert_eq!(sensor_events(&rig), []);
    assert_eq!(rig.buses[0].hands.borrow().recoveries, 1);
    check_wires(&rig);
}

/// What resets a bus may reset its multiplexer: the output is connected anew, although it is the one connected last.
#[test]
fn multiplexer_is_connected_again() {
    let mut rig = Rig::new(|now| vec![Bench::new(now).behind(0x70, 3, 0x36, Model::angle())]);
    start(&mut rig, vec![angle(0, 0x70, 3)], 10_000);
    rig.run(500_000);
    rig.buses[0].hands.borrow_mut().stuck = 1;
    rig.run(1_500_000);
    assert_eq!(sensor_events(&rig), []);
    assert!(rig.readings().len() > 180);
}

#[test]
fn bus_that_stays_stuck() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 10_000);
    rig.run(500_000);
    rig.buses[0].hands.borrow_mut().stuck = 3;
    rig.run(6_000_000);
    let events = rig.events();
    // Said once, tried once a second, and all come back.
    assert_eq!(events.iter().filter(|event| matches!(event, EventKind::BusStuck { .. })).count(), 1);
    assert_eq!(events.iter().filter(|event| matches!(event, EventKind::BusRecovered { .. })).count(), 1);
    assert_eq!(rig.buses[0].hands.borrow().recoveries, 3);
    assert_eq!(rig.last_status().sensors_lost, 0);
    assert_eq!(sensor_events(&rig).iter().filter(|event| event.1.is_some()).count(), 5);
    assert_eq!(sensor_events(&rig).iter().filter(|event| event.1.is_none()).count(), 5);
}

/// A whole bus dead: the sensors on the other one go on.
#[test]
fn other_bus_goes_on() {
    let mut rig = Rig::new(|now| {
        vec![Bench::new(now).with(0x48, Model::adc()), Bench::new(now).with(0x6a, Model::inertial())]
    });
    let sensors = vec![wire(0, 0x48, 0, None), SensorConfig { bus: 1, ..inertial(1, 0x6a) }];
    start(&mut rig, sensors, 5000);
    rig.run(500_000);
    rig.buses[1].hands.borrow_mut().stuck = u32::MAX;
    rig.run(2_000_000);
    assert_eq!(sensor_events(&rig), [(1, Some(LostReason::BusFault))]);
    assert!(check_wires(&rig)[0] > 475);
}

#[test]
fn saturation_is_counted() {
    let (mut rig, sensors) = mixed();
    rig.buses[0].parts.insert(
        (0x49, None),
        Model::Adc { config: 0x8583, result: 0, began_us: None, pointer: 0, clip: true },
    );
    start(&mut rig, sensors, 10_000);
    rig.run(5_000_000);
    let counts: Vec<(u8, u32)> = rig
        .events()
        .into_iter()
        .filter_map(|event| match event {
            EventKind::Saturated { channel, count } => Some((channel, count)),
            _ => None,
        })
        .collect();
    // At once, then once a second, and no reading is left uncounted.
    assert!((4..=6).contains(&counts.len()), "{counts:?}");
    assert_eq!(counts[0].1, 1);
    assert!(counts.iter().all(|count| count.0 == 2));
    let readings = rig.readings().iter().filter(|(_, reading)| reading.channel == 2).count() as u32;
    let counted: u32 = counts.iter().map(|count| count.1).sum();
    assert!(counted <= readings + 20 && counted + 120 >= readings, "{counted} of {readings}");
}

/// The board was busy elsewhere: what was left out is counted, and sampling goes on in step.
#[test]
fn overruns_are_counted() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 10_000);
    rig.run(1_000_000);
    let now = rig.now_us();
    rig.now_us.set(now + 500_000);
    rig.run(1_200_000);
    let missed: u32 = rig
        .events()
        .iter()
        .map(|event| match event {
            EventKind::Overrun { scans } => *scans,
            _ => 0,
        })
        .sum();
    assert!((48..=51).contains(&missed), "{missed}");
    assert_eq!(rig.last_status().overrun_scans, missed);
    let [first, _, _] = check_wires(&rig);
    // 80 ms until the inertial unit is ready, then 2.62 s without half a second.
    assert!((205..=215).contains(&first), "{first}");
}

#[test]
fn garbage_from_a_part_stays_with_that_part() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 10_000);
    rig.run(1_000_000);
    // Something else answers at the unit's and the angle sensor's addresses, for a while.
    let good =
        (rig.buses[0].parts[&(0x6a, None)].clone(), rig.buses[0].parts[&(0x36, Some((0x70, 3)))].clone());
    rig.buses[0].parts.insert((0x6a, None), Model::Other(0x55));
    rig.buses[0].parts.insert((0x36, Some((0x70, 3))), Model::Other(0));
    rig.run(5_000_000);
    rig.buses[0].parts.insert((0x6a, None), good.0);
    rig.buses[0].parts.insert((0x36, Some((0x70, 3))), good.1);
    let before = rig.readings().len();
    rig.run(5_000_000);
    let events = sensor_events(&rig);
    for sensor in [3, 4] {
        let its: Vec<_> = events.iter().filter(|(s, _)| *s == sensor).map(|(_, why)| *why).collect();
        assert!(its.len() == 2 && its[0].is_some() && its[1].is_none(), "sensor {sensor}: {its:?}");
    }
    assert!(events.iter().all(|(sensor, _)| *sensor >= 3), "{events:?}");
    let [a, b, c] = check_wires(&rig);
    assert!(a > 1080 && b > 1080 && c > 1080, "{a} {b} {c}: the wires go on");
    let found = rig.readings().split_off(before);
    assert!(found.iter().filter(|(row, _)| row.component == Component::Ax).count() > 350);
}

#[test]
fn an_hour_of_random_bytes_from_the_host_harms_nothing() {
    let (mut rig, sensors) = mixed();
    start(&mut rig, sensors, 100_000);
    rig.run(1_000_000);
    // xorshift64 (Marsaglia 2003). One bit in sixteen bytes is a delimiter more than chance, so that many frames end.
    let mut random = 0x2545_f491_4f6c_dd1d_u64;
    let mut draw = move || {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        random
    };
    for _ in 0..3600 {
        for _ in 0..10 {
            let noise: Vec<u8> =
                (0..100).map(|_| draw()).map(|r| if r >> 60 == 0 { 0 } else { r as u8 }).collect();
            rig.logger.feed(rig.now_us(), &noise);
            rig.run(100_000);
        }
        assert!(rig.logger.is_alive(rig.now_us()));
    }
    let status = rig.last_status();
    assert!(status.streaming && status.uptime_us > 3600 * 1_000_000);
    assert!(status.refused_frames > 100_000, "{}", status.refused_frames);
    let counts = (status.sensors_lost, status.overrun_scans, status.dropped_messages, status.bus_errors);
    assert_eq!(counts, (0, 0, 0, 0));
    let mut loss = LossCounter::new();
    loss.restart();
    assert!(rig.blocks().iter().all(|block| loss.observe(block)));
    assert!(loss.lost_blocks == 0 && loss.lost_scans == 0 && loss.received_scans > 36_000);
    // And it hears the host as before.
    rig.logger.feed(rig.now_us(), &[0]);
    let now_us = rig.now_us();
    rig.tell(&[HostMessage::Ping { host_us: 5 }]);
    rig.run(1000);
    assert!(rig.received.contains(&DeviceMessage::Pong(Pong { host_us: 5, device_us: now_us })));
}
