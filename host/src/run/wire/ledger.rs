//! Which blocks are news, and how many scans the line lost before each.

use hingeline_protocol::{LossCounter, SampleBlock};

/// Counts losses over restarts of streaming, also where the message that announced one was lost.
#[derive(Debug, Clone, Default)]
pub struct Ledger {
    loss: LossCounter,
    last_sequence: Option<u32>,
    last_time_us: u64,
    started_us: Option<u64>,
}

impl Ledger {
    /// Streaming began at this device time: block numbers count from 0 again.
    pub fn started(&mut self, time_us: u64) {
        if self.started_us.is_none_or(|before| time_us > before) {
            self.started_us = Some(time_us);
            self.loss.restart();
        }
    }

    /// The logger says that it does not stream: before the first block this means that none is lost yet.
    pub fn idle(&mut self) {
        if self.last_sequence.is_none() {
            self.loss.restart();
        }
    }

    /// The logger booted: so do its times and numbers.
    pub fn booted(&mut self) {
        self.loss.restart();
        (self.last_sequence, self.last_time_us, self.started_us) = (None, 0, None);
    }

    /// Takes note of a block. Gives how many scans of its group were lost before it; `None` if it came before.
    pub fn take(&mut self, block: &SampleBlock) -> Option<u64> {
        let expected = self.last_sequence.map_or(0, |last| last.wrapping_add(1));
        let back = self.last_sequence.is_some() && block.sequence.wrapping_sub(expected) > u32::MAX / 2;
        if back && block.first_time_us > self.last_time_us {
            self.loss.restart();
        }
        let before = self.loss.lost_scans;
        if !self.loss.observe(block) {
            return None;
        }
        self.last_sequence = Some(block.sequence);
        self.last_time_us = self.last_time_us.max(block.first_time_us);
        Some(self.loss.lost_scans - before)
    }

    /// Blocks lost so far.
    pub fn lost_blocks(&self) -> u64 {
        self.loss.lost_blocks
    }

    /// Scans received and lost so far.
    pub fn scans(&self) -> (u64, u64) {
        (self.loss.received_scans, self.loss.lost_scans)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(sequence: u32, time_us: u64) -> SampleBlock {
        SampleBlock {
            sequence,
            group: 0,
            first_scan: sequence * 4,
            first_time_us: time_us,
            period_us: 10_000,
            mask: 1,
            scans: 4,
            payload: heapless::Vec::new(),
        }
    }

    #[test]
    fn losses_are_counted_and_repetitions_left_out() {
        let mut ledger = Ledger::default();
        ledger.started(5);
        assert_eq!(ledger.take(&block(1, 40_005)), Some(4));
        assert_eq!(ledger.take(&block(1, 40_005)), None);
        assert_eq!(ledger.take(&block(4, 160_005)), Some(8));
        ledger.started(5);
        assert_eq!(ledger.take(&block(5, 200_005)), Some(0), "a repeated start is no start");
        assert_eq!((ledger.lost_blocks(), ledger.scans()), (3, (12, 12)));
    }

    #[test]
    fn a_restart_that_was_not_announced_is_seen_by_its_times() {
        let mut ledger = Ledger::default();
        ledger.take(&block(100, 4_000_000));
        assert_eq!(ledger.take(&block(1, 5_000_000)), Some(4));
        assert_eq!(ledger.take(&block(0, 4_960_000)), None);
    }
}
