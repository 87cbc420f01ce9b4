//! Streaming on the bench: every reading of the right input, stamped in the middle of its conversion, at full rate.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "tests")]

mod common;

use std::collections::BTreeMap;

use common::*;
use hingeline_protocol::*;

/// A stamp may be off by what goes without an exception on the wire (50 µs), one tick of the marking, and what the logger
/// guesses of the time that a transfer takes (10 µs for the processor, which the bench does not spend).
const STAMP_US: u64 = 50 + TICK_US + 10 + 5;

/// An inertial unit's sample is up to 1200 µs old; the stamp takes half of that.
const INERTIAL_STAMP_US: u64 = 600 + STAMP_US;

/// Four ADCs with three wires and an excitation each.
fn four_adcs() -> (Rig, Vec<SensorConfig>) {
    let rig = Rig::new(|now| {
        vec![(0x48..0x4c).fold(Bench::new(now), |bench, address| bench.with(address, Model::adc()))]
    });
    let sensors = (0..12).map(|n| wire(n, 0x48 + n / 3, n % 3, Some(3))).collect();
    (rig, sensors)
}

fn input_of(row: &Channel) -> u8 {
    match row.component {
        Component::Length => row.sensor_index % 3,
        Component::Excitation => 3,
        Component::Ax => 0,
        Component::Ay => 1,
        Component::Az => 2,
        Component::Gx => 3,
        Component::Gy => 4,
        Component::Gz => 5,
        _ => 0,
    }
}

/// Checks every stamp; gives how many readings each channel has.
fn check_stamps(rig: &Rig) -> BTreeMap<u8, usize> {
    let mut counts = BTreeMap::new();
    for (row, reading) in rig.readings() {
        let tolerance_us = if row.quantity == Quantity::Voltage { STAMP_US } else { INERTIAL_STAMP_US };
        let true_us = time_of(reading.raw, input_of(&row), reading.time_us);
        assert!(
            reading.time_us.abs_diff(true_us) <= tolerance_us,
            "{} {:?}: stamped {}, taken {true_us}",
            row.sensor,
            row.component,
            reading.time_us
        );
        *counts.entry(reading.channel).or_default() += 1;
    }
    counts
}

#[test]
fn twelve_wires_at_200_hz_on_four_adcs() {
    let (mut rig, sensors) = four_adcs();
    start(&mut rig, sensors, 5000);
    rig.run(10_000_000);
    let bytes_before = rig.bytes;
    rig.tell(&[HostMessage::Stop]);
    rig.run(100_000);
    let counts = check_stamps(&rig);
    assert_eq!(counts.len(), 16, "twelve wires, four excitations");
    for (channel, count) in counts {
        if channel < 12 {
            // The excitation takes a wire's turn twice a second, one wire after another: 20 turns of three wires.
            assert!((1990..=2000).contains(&count), "channel {channel}: {count}");
        } else {
            assert!((19..=21).contains(&count), "excitation {channel}: {count}");
        }
    }
    assert!(!rig.events().iter().any(|event| matches!(event, EventKind::Overrun { .. })));
    let per_second = bytes_before as f64 / 10.0;
    println!("{per_second} bytes a second");
    assert!(per_second < 5760.0, "half of 115 200 baud: {per_second}");
    assert_eq!(rig.last_status().overrun_scans, 0);
}

/// On a bus that takes no time all goes as well: a simulation may do without modelling it. Stamps are then late by the
/// transfer that the logger assumes.
#[test]
fn buses_without_delay() {
    let (mut rig, sensors) = four_adcs();
    rig.buses[0].byte_us = 0;
    start(&mut rig, sensors, 5000);
    rig.run(3_000_000);
    let transfer_us = 4 * 9 * 1_000_000 / 400_000;
    for (row, reading) in rig.readings() {
        let true_us = time_of(reading.raw, input_of(&row), reading.time_us);
        assert!(reading.time_us.abs_diff(true_us) <= STAMP_US + transfer_us);
    }
    assert_eq!(rig.last_status().overrun_scans, 0);
}

#[test]
fn six_wires_and_one_unit_at_200_hz() {
    let mut rig = Rig::new(|now| {
        vec![Bench::new(now).with(0x48, Model::adc()).with(0x49, Model::adc()).with(0x6a, Model::inertial())]
    });
    let mut sensors: Vec<_> = (0..6).map(|n| wire(n, 0x48 + n / 3, n % 3, Some(3))).collect();
    sensors.push(inertial(6, 0x6a));
    start(&mut rig, sensors, 5000);
    rig.run(5_000_000);
    let counts = check_stamps(&rig);
    assert_eq!(counts.len(), 6 + 6 + 2);
    assert!((0..12).all(|channel| counts[&channel] > 950), "{counts:?}");
    assert_eq!(rig.last_status().overrun_scans, 0);
}

#[test]
fn two_units_at_100_hz_beside_wires_at_200_hz() {
    let mut rig = Rig::new(|now| {
        vec![
            Bench::new(now).with(0x48, Model::adc()).with(0x49, Model::adc()),
            Bench::new(now).with(0x6a, Model::inertial()).with(0x6b, Model::inertial()),
        ]
    });
    let mut sensors: Vec<_> = (0..6).map(|n| wire(n, 0x48 + n / 3, n % 3, Some(3))).collect();
    for index in 6..8 {
        sensors.push(SensorConfig { bus: 1, every: 2, ..inertial(index, 0x6a + index - 6) });
    }
    start(&mut rig, sensors, 5000);
    rig.run(5_000_000);
    let counts = check_stamps(&rig);
    assert_eq!(counts.len(), 6 + 12 + 2);
    for (&channel, &count) in &counts {
        let expected = match channel {
            0..6 => 950..=1000,
            6..18 => 480..=500,
            _ => 8..=11,
        };
        assert!(expected.contains(&count), "channel {channel}: {count}");
    }
    let groups: Vec<u8> = rig.readings().iter().map(|(row, _)| row.group).collect();
    assert!([0, 1, 2].iter().all(|group| groups.contains(group)));
    assert_eq!(rig.last_status().overrun_scans, 0);
}

#[test]
fn equal_parts_behind_a_multiplexer() {
    let mut rig = Rig::new(|now| {
        vec![
            Bench::new(now)
                .with(0x48, Model::adc())
                .behind(0x70, 0, 0x36, Model::angle())
                .behind(0x70, 5, 0x36, Model::angle())
                .behind(0x71, 5, 0x36, Model::angle()),
        ]
    });
    let sensors = vec![wire(0, 0x48, 0, None), angle(1, 0x70, 0), angle(2, 0x70, 5), angle(3, 0x71, 5)];
    start(&mut rig, sensors, 10_000);
    rig.run(2_000_000);
    let readings = rig.readings();
    for channel in 0..4 {
        let count = readings.iter().filter(|(_, reading)| reading.channel == channel).count();
        assert!((170..=200).contains(&count), "channel {channel}: {count}");
    }
    assert!(!rig.events().iter().any(|event| matches!(event, EventKind::SensorLost { .. })));
}

/// The channel table says all that is needed: quantity, unit, scale, range, the excitation.
#[test]
fn table_tells_all() {
    let (mut rig, mut sensors) = four_adcs();
    sensors[1].full_scale_mv = 2048;
    sensors.truncate(3);
    rig.tell(&sensors.into_iter().map(HostMessage::SetSensor).collect::<Vec<_>>());
    rig.tell(&[HostMessage::Identify]);
    rig.run(10_000);
    let rows: Vec<Channel> = rig
        .received
        .iter()
        .filter_map(|message| match message {
            DeviceMessage::Channel(row) => Some(row.clone()),
            _ => None,
        })
        .collect();
    assert_eq!(rows.len(), 4);
    assert!(rows.iter().all(|row| row.count == 4 && row.unit == Unit::Volt && row.raw_max == 32767));
    // 125 µV per count at ±4.096 V, 62.5 at ±2.048 V: SBAS444D, table 3.
    assert_eq!(rows[0].scale, 125e-6);
    assert_eq!(rows[1].scale, 62.5e-6);
    assert_eq!(rows[3].component, Component::Excitation);
    assert_eq!(rows.iter().map(|row| row.ratio_to).collect::<Vec<_>>(), [Some(3), Some(3), Some(3), None]);
    assert_eq!(rows[0].sensor.as_str(), "wire 0");
    assert_eq!((rows[0].period_us, rows[3].period_us), (10_000, 500_000));
}
