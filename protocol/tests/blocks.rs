//! Sample blocks: what goes in comes out, times within 50 µs, and it fits the line.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]

use hingeline_protocol::block::{LATE_US, bits};
use hingeline_protocol::sizes::{MAX_PAYLOAD, MAX_SCAN, MAX_WIRE};
use hingeline_protocol::*;
use proptest::collection::vec;
use proptest::prelude::*;

const PERIOD_US: u32 = 5000;

/// Slots 300 µs apart.
fn slots() -> [u32; MAX_CHANNELS] {
    core::array::from_fn(|channel| 150 + 300 * channel as u32)
}

/// One scan as a test means it: per channel the offset from its slot and the count, or nothing.
type Meant = Vec<Option<(i32, i32)>>;

fn scan_of(start_us: u64, meant: &Meant) -> Scan {
    let mut scan = Scan::new(start_us);
    for (channel, reading) in meant.iter().enumerate() {
        if let Some((offset_us, raw)) = reading {
            let time_us = (start_us + u64::from(slots()[channel])).wrapping_add_signed(i64::from(*offset_us));
            scan.set(channel as u8, time_us, *raw);
        }
    }
    scan
}

/// Runs scans through one encoder and gives the blocks. A scan of `None` was left out by the logger.
fn code(scans: &[Option<Meant>], start_us: u64, max_scans: u8) -> Vec<SampleBlock> {
    let mut encoder = BlockEncoder::new(0, u64::MAX, PERIOD_US, max_scans);
    let mut blocks = Vec::new();
    for (number, meant) in scans.iter().enumerate() {
        let Some(meant) = meant else { continue };
        let scan = scan_of(start_us + number as u64 * u64::from(PERIOD_US), meant);
        if encoder.push(&scan, &slots()).is_err() {
            blocks.extend(encoder.finish(blocks.len() as u32));
            encoder.push(&scan, &slots()).unwrap();
        }
    }
    blocks.extend(encoder.finish(blocks.len() as u32));
    blocks
}

fn reading() -> impl Strategy<Value = Option<(i32, i32)>> {
    let offset = prop_oneof![4 => -LATE_US..=LATE_US, 1 => -140..20_000, 1 => Just(700)];
    let raw = prop_oneof![2 => -3000..3000, 1 => any::<i32>()];
    prop_oneof![9 => (offset, raw).prop_map(Some), 1 => Just(None)]
}

proptest! {
    #[test]
    fn round_trip(
        scans in vec(prop_oneof![9 => vec(reading(), 18).prop_map(Some), 1 => Just(None)], 1..60),
        start_us in 1_u64 << 20..1 << 50,
        max_scans in 1_u8..30,
    ) {
        let blocks = code(&scans, start_us, max_scans);
        let mut received = blocks.iter().flat_map(|block| block.readings(Box::leak(Box::new(slots()))));
        let mut made = 0;
        let mut scan_numbers = Vec::new();
        for (number, meant) in scans.iter().enumerate() {
            let Some(meant) = meant else { continue };
            if meant.iter().all(Option::is_none) { continue }
            for (channel, reading) in meant.iter().enumerate() {
                let Some((offset_us, raw)) = reading else { continue };
                let got = received.next().unwrap().unwrap();
                prop_assert_eq!((usize::from(got.channel), got.raw), (channel, *raw));
                let time_us = (start_us + number as u64 * u64::from(PERIOD_US) + u64::from(slots()[channel]))
                    .wrapping_add_signed(i64::from(*offset_us));
                prop_assert!(got.time_us.abs_diff(time_us) <= LATE_US as u64, "{} for {time_us}", got.time_us);
                scan_numbers.push(got.scan);
            }
            made += 1;
        }
        prop_assert!(received.next().is_none());
        // Scan numbers count the scans made, without a gap, so that a gap on the line shows.
        scan_numbers.dedup();
        prop_assert_eq!(scan_numbers, (0..made).collect::<Vec<u32>>());
        for block in &blocks {
            prop_assert!(block.scans <= max_scans);
        }
    }

    /// Bytes that no encoder wrote give an error or readings, never anything else, and they end.
    #[test]
    fn any_payload_is_read_or_refused(mask: u64, scans: u8, payload in vec(any::<u8>(), 0..MAX_PAYLOAD)) {
        let payload = heapless::Vec::from_slice(&payload).unwrap();
        let block = SampleBlock {
            sequence: 0, group: 0, first_scan: u32::MAX, first_time_us: u64::MAX, period_us: 1, mask, scans, payload,
        };
        let readings: Vec<_> = block.readings(&slots()).collect();
        prop_assert!(readings.len() <= 256 * MAX_CHANNELS);
        prop_assert!(readings.iter().rev().skip(1).all(Result::is_ok));
    }

    /// A block cut short or with a byte too many is refused, not read in part as if it were whole.
    #[test]
    fn wrong_length_is_seen(scans in vec(vec(reading(), 12).prop_map(Some), 1..10), cut in 1_usize..20) {
        for block in code(&scans, 1 << 40, 255) {
            let mut long = block.clone();
            if long.payload.push(0).is_ok() {
                prop_assert_eq!(long.readings(&slots()).last(), Some(Err(BlockError::LeftOver)));
            }
            let mut short = block.clone();
            short.payload.truncate(block.payload.len().saturating_sub(cut));
            prop_assert!(short.readings(&slots()).last().is_none_or(|last| last.is_err()));
        }
    }
}

/// The worst scan of a full table fits an empty block.
#[test]
fn worst_scan_fits() {
    let mut meant: Meant =
        (0..MAX_CHANNELS as i32).map(|n| Some((i32::MAX / 2 - 7000 * n, i32::MIN))).collect();
    // The first channel, late like no other, keeps a common shift from paying.
    meant[0] = Some((i32::MIN / 2, i32::MIN));
    let blocks = code(&[Some(meant)], 1 << 40, 10);
    assert!(blocks[0].payload.len() <= MAX_SCAN);
    assert_eq!(blocks[0].readings(&slots()).filter(Result::is_ok).count(), MAX_CHANNELS);
}

/// A whole scan that comes late costs one exception, not one per channel.
#[test]
fn common_lateness_is_sent_once() {
    let on_time: Meant = (0..12).map(|_| Some((0, 0))).collect();
    let late: Meant = (0..12).map(|_| Some((400, 0))).collect();
    let one = code(&[Some(on_time)], 1 << 40, 10)[0].payload.len();
    let two = code(&[Some(late)], 1 << 40, 10)[0].payload.len();
    assert_eq!(two - one, 3, "tag and two bytes of offset");
}

/// xorshift64*: noise that is the same in every run.
struct Noise(u64);

impl Noise {
    /// About normal, standard deviation 1: the sum of twelve uniform numbers less six.
    fn next(&mut self) -> f64 {
        let mut uniform = || {
            self.0 ^= self.0 >> 12;
            self.0 ^= self.0 << 25;
            self.0 ^= self.0 >> 27;
            (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..12).map(|_| uniform()).sum::<f64>() - 6.0
    }
}

/// Bytes on the line for ten seconds of six wires and one six-axis unit at 200 Hz; `travel_m` and `cycle_s` of a
/// sinusoidal bounce.
fn bytes_per_scan(travel_m: f64, cycle_s: f64) -> f64 {
    // A wire of 0.8 m on an ADC of 15 bits over 4.096 V with 3.3 V excitation: 0.8 m over 26 400 counts.
    let wire_counts_per_m = 26_400.0 / 0.8;
    // 0.122 mg per count at ±4 g; 8.75 mdps per count at 250 dps.
    let accel_counts_per_ms2 = 1.0 / (0.122e-3 * 9.80665);
    let gyro_counts_per_rads = 57.29578 / 8.75e-3;
    let mut noise = Noise(1);
    let rate_hz = 200.0;
    let omega = 2.0 * core::f64::consts::PI / cycle_s;
    let scans: Vec<Option<Meant>> = (0..2000)
        .map(|n| {
            let phase = omega * f64::from(n) / rate_hz;
            let wire = travel_m * phase.sin() * wire_counts_per_m;
            let accel = -travel_m * omega * omega * phase.sin() * accel_counts_per_ms2;
            let gyro = 0.5 * omega * phase.cos() * gyro_counts_per_rads;
            let counts = (0..12).map(|channel| match channel {
                0..6 => wire + noise.next() * 0.3e-3 * wire_counts_per_m,
                6..9 => accel + 8000.0 + noise.next() * 0.02 * accel_counts_per_ms2,
                _ => gyro + noise.next() * 0.002 * gyro_counts_per_rads,
            });
            Some(counts.map(|raw| Some((0, raw.round() as i32))).collect())
        })
        .collect();
    let blocks = code(&scans, 3_600_000_000, 20);
    let mut frame = [0; MAX_WIRE];
    let bytes: usize = blocks
        .iter()
        .map(|block| encode_frame(&DeviceMessage::Samples(block.clone()), &mut frame).unwrap())
        .sum();
    bytes as f64 / scans.len() as f64
}

/// 12 channels at 200 Hz leave half of a 115 200 baud line free, framing included, even in a quick spring bounce.
#[test]
fn half_the_line_stays_free() {
    // Ten bits a byte: start, eight, stop.
    const BUDGET: f64 = 115_200.0 / 10.0 / 2.0 / 200.0;
    for (what, travel_m, cycle_s) in
        [("still", 0.0, 8.0), ("slow bounce", 0.1, 8.0), ("obstacle", 0.1, 2.0), ("spring bounce", 0.05, 0.7)]
    {
        let bytes = bytes_per_scan(travel_m, cycle_s);
        println!("{what}: {bytes:.1} bytes a scan of {BUDGET:.1}");
        assert!(bytes <= BUDGET, "{what}: {bytes}");
    }
}

#[test]
fn bits_of_a_mask() {
    assert_eq!(bits(0).next(), None);
    assert_eq!(bits(1 | 1 << 5 | 1 << 63).collect::<Vec<_>>(), [0, 5, 63]);
}

#[test]
fn losses_are_counted_from_numbers() {
    let scans: Vec<Option<Meant>> = (0..100).map(|n| Some(vec![Some((0, n))])).collect();
    let blocks = code(&scans, 0, 10);
    assert_eq!(blocks.len(), 10);
    let mut counter = LossCounter::new();
    // Joined at block 2; 4 and 5 lost; 6 doubled.
    let news = [2, 3, 6, 6, 7].map(|block: usize| counter.observe(&blocks[block]));
    assert_eq!(news, [true, true, true, false, true]);
    assert_eq!((counter.lost_blocks, counter.lost_scans), (2, 20));
    assert_eq!((counter.received_blocks, counter.received_scans, counter.repeated_blocks), (4, 40, 1));
    // A new start: numbers from 0 again are no repetition; the first block is lost, and is known to be.
    counter.restart();
    assert!(counter.observe(&blocks[1]));
    assert_eq!((counter.lost_blocks, counter.lost_scans, counter.repeated_blocks), (3, 30, 1));
}
