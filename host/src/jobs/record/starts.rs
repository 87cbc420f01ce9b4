//! What a board kept by itself, parted by its starts: each time that it began to stream is a recording of its own.
//!
//! A block carries how many scans of its group came before it, so that every block tells when its stream began. What is no block
//! (who the board is, its channel table, events) comes before the blocks that it is for, or after those that it follows.

use hingeline_protocol::{DeviceMessage, SampleBlock, StoredRecord};

/// Two starts of one boot lie further apart than this, µs: a person holds the button for a second to end one and to begin another.
/// Scans that were left out, and groups of channels that are read in every so-many-th scan, move what a block tells by less, apart
/// from one period of such a group.
const APART_US: u64 = 1_000_000;

/// Records of one start, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    /// The boot during which it began.
    pub boot: u32,
    /// Device time of its beginning, µs since that boot.
    pub begun_us: u64,
    /// Device time of the end of its last block, µs.
    pub ended_us: u64,
    /// Scans of its first group of channels.
    pub scans: u64,
    /// Its records.
    pub records: Vec<StoredRecord>,
    /// What its latest block told of the beginning, µs.
    told_us: u64,
}

impl Start {
    /// How long it lasted, s.
    pub fn seconds(&self) -> f64 {
        self.ended_us.saturating_sub(self.begun_us) as f64 * 1e-6
    }

    /// Takes a block whose record was put in.
    fn take(&mut self, block: &SampleBlock) {
        self.told_us = beginning_us(block);
        let lasted_us = u64::from(block.scans) * u64::from(block.period_us);
        self.ended_us = self.ended_us.max(block.first_time_us.saturating_add(lasted_us));
        if block.group == 0 {
            self.scans += u64::from(block.scans);
        }
    }

    fn goes_on_with(&self, boot: u32, block: &SampleBlock) -> bool {
        let apart_us = APART_US.saturating_add(u64::from(block.period_us));
        self.boot == boot && self.told_us.abs_diff(beginning_us(block)) < apart_us
    }
}

/// When the stream of a block began, as far as the block tells, µs.
fn beginning_us(block: &SampleBlock) -> u64 {
    let before_us = u64::from(block.first_scan) * u64::from(block.period_us);
    block.first_time_us.saturating_sub(before_us)
}

/// Parts records, in their order, by start. Records of a boot that kept no reading are no recording: they are counted.
pub fn part(records: impl IntoIterator<Item = StoredRecord>) -> (Vec<Start>, usize) {
    let (mut starts, mut waiting, mut left_out) = (Vec::<Start>::new(), Vec::<StoredRecord>::new(), 0);
    for record in records {
        if waiting.last().is_some_and(|before| before.boot_count != record.boot_count) {
            left_out += follow(&mut starts, &mut waiting);
        }
        match record.decode() {
            Ok(DeviceMessage::Samples(block)) => {
                let boot = record.boot_count;
                if !starts.last().is_some_and(|start| start.goes_on_with(boot, &block)) {
                    left_out += before(&mut starts, &mut waiting, boot);
                    let begun_us = beginning_us(&block);
                    let (ended_us, told_us) = (begun_us, begun_us);
                    starts.push(Start { boot, begun_us, ended_us, scans: 0, records: Vec::new(), told_us });
                }
                if let Some(start) = starts.last_mut() {
                    start.records.append(&mut waiting);
                    start.records.push(record);
                    start.take(&block);
                }
            }
            _ => waiting.push(record),
        }
    }
    left_out += follow(&mut starts, &mut waiting);
    (starts, left_out)
}

/// Of the records that wait for a new start's first block, gives those to the start before that came before the board introduced
/// itself anew.
fn before(starts: &mut [Start], waiting: &mut Vec<StoredRecord>, boot: u32) -> usize {
    let introduced = |record: &StoredRecord| matches!(record.decode(), Ok(DeviceMessage::Identity(_)));
    let Some(at) =
        waiting.iter().rposition(introduced).filter(|_| starts.last().is_some_and(|s| s.boot == boot))
    else {
        return 0;
    };
    let rest = waiting.split_off(at);
    let left_out = follow(starts, waiting);
    *waiting = rest;
    left_out
}

/// Gives the records that wait to the start that they follow; where their boot has none, they are counted and left out.
fn follow(starts: &mut [Start], waiting: &mut Vec<StoredRecord>) -> usize {
    let boot = waiting.first().map(|record| record.boot_count);
    match starts.last_mut().filter(|start| Some(start.boot) == boot) {
        Some(start) => {
            start.records.append(waiting);
            0
        }
        None => std::mem::take(waiting).len(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::test_logger::TestLogger;
    use hingeline_protocol::{EventKind, FrameDecoder, Received};

    /// What a logger says in a recording of so many seconds from `now_us` of its clock on: who it is, its rows, blocks, events.
    fn recording(now_us: u64, seconds: u64) -> Vec<DeviceMessage> {
        let mut logger = TestLogger::whole();
        logger.now_us = now_us;
        logger.start();
        logger.run(seconds * 1_000_000);
        logger.stop();
        let mut messages = Vec::new();
        FrameDecoder::<DeviceMessage>::new().feed(&logger.output, |received| match received {
            Received::Message(message) => messages.push(message),
            Received::OtherMajor(major) => panic!("version {major}"),
        });
        messages
    }

    fn records(recordings: &[(u32, Vec<DeviceMessage>)]) -> Vec<StoredRecord> {
        let all = recordings.iter().flat_map(|(boot, messages)| messages.iter().map(move |m| (*boot, m)));
        (0..).zip(all).map(|(k, (boot, m))| StoredRecord::new(k, 0, boot, m).unwrap()).collect()
    }

    fn told(starts: &[Start]) -> Vec<(u32, u64, u64)> {
        starts
            .iter()
            .map(|s| (s.boot, (s.begun_us as f64 * 1e-6).round() as u64, s.seconds().round() as u64))
            .collect()
    }

    #[test]
    fn each_start_is_a_recording_of_its_own_with_all_that_makes_it_legible() {
        let kept = records(&[
            (3, recording(5_000_000, 4)),
            (3, recording(20_000_000, 6)),
            (4, recording(5_000_000, 4)),
        ]);
        let (starts, left_out) = part(kept.clone());
        assert_eq!(told(&starts), [(3, 5, 4), (3, 20, 6), (4, 5, 4)]);
        assert_eq!(left_out, 0);
        let again: Vec<_> = starts.iter().flat_map(|s| s.records.clone()).collect();
        assert_eq!(again, kept, "nothing is lost and nothing changes places");
        for start in &starts {
            let messages: Vec<_> = start.records.iter().map(|r| r.decode().unwrap()).collect();
            assert!(matches!(messages.first(), Some(DeviceMessage::Identity(_))));
            let ends =
                |m: &DeviceMessage| matches!(m, DeviceMessage::Event(e) if e.kind == EventKind::Stopped);
            assert!(messages.last().is_some_and(ends), "{:?}", messages.last());
            assert!(start.scans >= 390, "{}", start.scans);
        }
    }

    #[test]
    fn a_host_that_came_and_went_parts_no_recording() {
        let mut whole = recording(5_000_000, 9);
        let blocks: Vec<usize> =
            (0..whole.len()).filter(|k| matches!(whole[*k], DeviceMessage::Samples(_))).collect();
        // The middle was heard, and is not kept; then the board introduces itself anew.
        let (from, to) = (blocks[blocks.len() / 3], blocks[2 * blocks.len() / 3]);
        let introduction: Vec<_> =
            whole.iter().take_while(|m| !matches!(m, DeviceMessage::Event(_))).cloned().collect();
        whole.splice(from..to, introduction);
        let (starts, left_out) = part(records(&[(1, whole)]));
        assert_eq!((told(&starts), left_out), (vec![(1, 5, 9)], 0));
    }

    #[test]
    fn a_boot_that_read_nothing_is_no_recording() {
        let only_words = |messages: Vec<DeviceMessage>| -> Vec<DeviceMessage> {
            messages.into_iter().filter(|m| !matches!(m, DeviceMessage::Samples(_))).collect()
        };
        let idle = only_words(recording(5_000_000, 1));
        let count = idle.len();
        let (starts, left_out) = part(records(&[(1, idle.clone()), (2, recording(5_000_000, 3)), (3, idle)]));
        assert_eq!((told(&starts), left_out), (vec![(2, 5, 3)], 2 * count));
        assert_eq!(part(Vec::new()), (Vec::new(), 0));
    }
}
