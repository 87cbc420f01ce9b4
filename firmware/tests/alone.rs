//! Without a host: the button, the light, what is kept while nobody listens, and how it is handed over.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "tests")]

mod common;

use common::*;
use hingeline_firmware::logger::{ALONE_PERIOD_US, HOST_SILENT_US};
use hingeline_firmware::panel::Light;
use hingeline_protocol::*;
use std::collections::BTreeMap;

/// Sectors of the memory: two for the settings, 62 for records.
const SECTORS: usize = 64;
const SECOND_US: u64 = 1_000_000;

/// Two wires with their excitation and a unit, configured by a host at 200 Hz, on a board that was switched off since.
fn configured(sectors: usize) -> Rig {
    let mut rig =
        Rig::new(|now| vec![Bench::new(now).with(0x48, Model::adc()).with(0x6a, Model::inertial())])
            .with_flash(sectors);
    start(&mut rig, vec![wire(0, 0x48, 0, Some(3)), wire(1, 0x48, 1, Some(3)), inertial(2, 0x6a)], 5000);
    rig.run(SECOND_US);
    rig.tell(&[HostMessage::Stop]);
    rig.run(SECOND_US);
    rig.power_cycle();
    rig.received.clear();
    rig
}

fn press(rig: &mut Rig, press: Press) {
    let now_us = rig.now_us();
    rig.logger.button(now_us, press);
}

/// The messages of records, which must be whole and in order from `first`.
fn messages(records: &[StoredRecord], first: u32) -> Vec<DeviceMessage> {
    assert!(records.iter().map(|r| r.index).eq(first..first + records.len() as u32));
    records.iter().map(|record| record.decode().unwrap()).collect()
}

fn kinds(messages: &[DeviceMessage]) -> Vec<EventKind> {
    messages
        .iter()
        .filter_map(|m| if let DeviceMessage::Event(e) = m { Some(e.kind) } else { None })
        .collect()
}

fn blocks(messages: &[DeviceMessage]) -> Vec<SampleBlock> {
    messages
        .iter()
        .filter_map(|m| if let DeviceMessage::Samples(block) = m { Some(block.clone()) } else { None })
        .collect()
}

#[test]
fn one_person_records_a_test_and_the_host_gets_it_later() {
    let mut rig = configured(SECTORS);
    rig.deaf = true;
    rig.run(SECOND_US);
    assert_eq!(rig.logger.light(), Light::Ready);
    press(&mut rig, Press::Long);
    rig.run(3 * SECOND_US);
    assert_eq!(rig.logger.light(), Light::Recording);
    press(&mut rig, Press::Short);
    assert_eq!(rig.logger.light(), Light::Still);
    rig.run(3 * SECOND_US);
    press(&mut rig, Press::Short);
    rig.run(20 * SECOND_US);
    assert_eq!(rig.logger.light(), Light::Recording);
    press(&mut rig, Press::Long);
    rig.run(SECOND_US);
    assert!(!rig.logger.is_streaming());
    // What the host configured is not changed by that.
    assert_eq!(rig.logger.configuration().period_us, 5000);

    rig.power_cycle();
    rig.deaf = false;
    rig.tell(&[HostMessage::Identify]);
    rig.run(SECOND_US);
    let hello = rig.received[0].clone();
    let DeviceMessage::Identity(identity) = hello else { panic!("{hello:?}") };
    let records = rig.fetch(0, u32::MAX);
    assert_eq!(identity.stored as usize, records.len());
    assert_eq!(*rig.replies().last().unwrap(), (9, Outcome::Done, identity.stored));
    assert!(records.iter().all(|r| r.total == identity.stored && r.boot_count + 1 == identity.boot_count));
    let messages = messages(&records, 0);
    assert!(matches!(&messages[0], DeviceMessage::Identity(i) if i.streaming && i.boot_count == 2));
    let short = EventKind::Button { press: Press::Short };
    let long = EventKind::Button { press: Press::Long };
    assert_eq!(kinds(&messages), [EventKind::Started, EventKind::Still, short, long, EventKind::Stopped]);
    // Every scan of 26 s at 50 Hz and two a second of the excitation, every reading stamped right.
    let mut loss = LossCounter::new();
    loss.restart();
    assert!(
        blocks(&messages).iter().all(|block| loss.observe(block) && block.period_us % ALONE_PERIOD_US == 0)
    );
    assert_eq!((loss.lost_blocks, loss.lost_scans), (0, 0));
    assert!((1330..=1370).contains(&loss.received_scans), "{}", loss.received_scans);
    rig.received = messages;
    for (row, reading) in rig.readings().iter().filter(|(row, _)| row.component == Component::Length) {
        let true_us = time_of(reading.raw, row.sensor_index, reading.time_us);
        assert!(reading.time_us.abs_diff(true_us) <= 50 + TICK_US + 15, "{row:?} {reading:?}");
    }
}

#[test]
fn records_can_be_asked_for_in_any_stretch_and_be_forgotten() {
    let mut rig = configured(SECTORS);
    for _ in 0..2 {
        press(&mut rig, Press::Long);
        rig.run(10 * SECOND_US);
        press(&mut rig, Press::Long);
        rig.run(HOST_SILENT_US);
    }
    let all = rig.fetch(0, u32::MAX);
    assert_eq!(kinds(&messages(&all, 0)).iter().filter(|k| **k == EventKind::Started).count(), 2);
    for (first, count) in [(3, 5), (8, 1), (0, 2), (all.len() as u32 - 1, 9), (all.len() as u32, 4), (1, 0)] {
        let part = rig.fetch(first, count);
        let expected = all.iter().skip(first as usize).take(count as usize);
        assert!(part.iter().eq(expected), "{first} {count}");
        assert_eq!(*rig.replies().last().unwrap(), (9, Outcome::Done, part.len() as u32));
    }
    rig.tell(&[HostMessage::EraseStored, HostMessage::Start, HostMessage::EraseStored]);
    rig.run(SECOND_US);
    let end: Vec<_> = rig.replies().into_iter().rev().take(3).collect();
    assert_eq!(end, [(10, Outcome::Done, 0), (10, Outcome::Busy, 0), (4, Outcome::Busy, 0)]);
    assert!(rig.fetch(0, u32::MAX).is_empty());
    rig.power_cycle();
    assert!(rig.fetch(0, u32::MAX).is_empty());
}

#[test]
fn a_host_that_is_gone_and_back_loses_nothing_uncounted() {
    let mut rig = configured(SECTORS);
    rig.tell(&[HostMessage::Identify, HostMessage::Start]);
    for _ in 0..5 {
        rig.tell(&[HostMessage::Ping { host_us: 1 }]);
        rig.run(SECOND_US);
    }
    rig.deaf = true;
    rig.run(30 * SECOND_US);
    rig.deaf = false;
    rig.tell(&[HostMessage::Identify]);
    rig.run(5 * SECOND_US);
    assert_eq!(rig.tell_and_reply(HostMessage::FetchStored { first: 0, count: 1 }), Outcome::Streaming);
    assert_eq!(rig.tell_and_reply(HostMessage::EraseStored), Outcome::Streaming);
    rig.tell(&[HostMessage::Stop]);
    rig.run(2 * SECOND_US);
    let dropped = rig.last_status().dropped_messages as usize;
    let heard: BTreeMap<u32, SampleBlock> = rig.blocks().into_iter().map(|b| (b.sequence, b)).collect();
    let records = rig.fetch(0, u32::MAX);
    let stored = messages(&records, 0);
    let kept: BTreeMap<u32, SampleBlock> = blocks(&stored).into_iter().map(|b| (b.sequence, b)).collect();
    // Twenty seconds of 200 Hz were kept, and can be read without anything else.
    assert!(kept.len() > 180, "{}", kept.len());
    assert!(matches!(stored[0], DeviceMessage::Identity(_)));
    assert!(stored.iter().any(|m| matches!(m, DeviceMessage::Channel(_))));
    let last = *heard.keys().last().unwrap();
    let missing = (0..=last).filter(|k| !heard.contains_key(k) && !kept.contains_key(k)).count();
    assert!(missing <= dropped, "{missing} blocks are missing, {dropped} messages were counted as lost");
    assert!(
        (1..HOST_SILENT_US as usize / 100_000).contains(&missing),
        "{missing}: until silence was noticed"
    );
}

#[test]
fn a_full_store_ends_the_recording_and_says_so() {
    let mut rig = configured(8);
    press(&mut rig, Press::Long);
    rig.run(120 * SECOND_US);
    assert!(!rig.logger.is_streaming());
    assert_eq!(rig.logger.light(), Light::Full);
    assert_eq!(rig.events().last(), Some(&EventKind::StoreFull));
    press(&mut rig, Press::Long);
    rig.run(SECOND_US);
    assert!(!rig.logger.is_streaming(), "there is no room");
    let records = rig.fetch(0, u32::MAX);
    let kept = messages(&records, 0);
    // Six sectors of 4 kB, seven tenths of them messages: heads and filling take the rest.
    assert!(records.iter().map(|r| r.message.len()).sum::<usize>() > 6 * 4096 * 7 / 10);
    assert!(blocks(&kept).windows(2).all(|pair| pair[1].sequence == pair[0].sequence + 1));
    assert_eq!(rig.tell_and_reply(HostMessage::EraseStored), Outcome::Done);
    rig.run(2 * HOST_SILENT_US);
    assert_eq!(rig.logger.light(), Light::Ready);
}

#[test]
fn power_may_fail_at_any_write_of_a_recording() {
    let rested = configured(SECTORS);
    let flash = rested.flash.clone().unwrap();
    for cut in (0..560).step_by(13) {
        let mut rig = configured(SECTORS);
        let mut memory = flash.clone();
        memory.power_on(Some(cut));
        rig.flash = Some(memory);
        press(&mut rig, Press::Long);
        rig.run(6 * SECOND_US);
        assert!(!rig.flash.as_ref().unwrap().powered, "{cut}: more is written than that");
        rig.power_cycle();
        assert_eq!(rig.logger.configuration().sensors.len(), 3);
        let records = rig.fetch(0, u32::MAX);
        let kept = messages(&records, 0);
        // 8 bytes a step: all that was written but for the record that was torn; a torn word of filling harms none.
        let whole: usize = records.iter().map(|r| (16 + r.message.len()).next_multiple_of(16)).sum();
        assert!((whole as u64) <= 8 * (cut + 1) && 8 * cut < whole as u64 + 576 + 4096, "{cut}: {whole}");
        assert!(blocks(&kept).iter().zip(0..).all(|(block, k)| block.sequence == k), "{cut}");
        // And it records again.
        rig.run(HOST_SILENT_US);
        press(&mut rig, Press::Long);
        rig.run(2 * SECOND_US);
        press(&mut rig, Press::Long);
        rig.run(SECOND_US);
        assert!(rig.fetch(0, u32::MAX).len() > records.len() + 15);
    }
}

#[test]
fn without_configuration_or_store_the_light_says_so() {
    let make = |now: &_| vec![Bench::new(now).with(0x48, Model::adc())];
    let mut rig = Rig::new(make).with_flash(SECTORS);
    assert_eq!(rig.logger.light(), Light::Unable);
    press(&mut rig, Press::Long);
    rig.run(SECOND_US);
    assert!(!rig.logger.is_streaming());
    let mut rig = Rig::new(make);
    assert_eq!(rig.logger.light(), Light::Unable);
    assert_eq!(rig.tell_and_reply(HostMessage::FetchStored { first: 0, count: 1 }), Outcome::NotSupported);
    // A sensor that does not answer shows while it records.
    let mut rig = configured(SECTORS);
    rig.buses[0].hands.borrow_mut().unplugged.push((0x6a, None));
    press(&mut rig, Press::Long);
    rig.run(2 * SECOND_US);
    assert_eq!(rig.logger.light(), Light::SensorMissing);
}

#[test]
fn a_host_that_listens_decides_what_the_button_means() {
    let mut rig = configured(SECTORS);
    rig.tell(&[HostMessage::Identify]);
    press(&mut rig, Press::Long);
    rig.run(SECOND_US);
    assert!(!rig.logger.is_streaming());
    assert_eq!(rig.events().last(), Some(&EventKind::Button { press: Press::Long }));
}
