//! Counts what the line lost, from the numbers that blocks carry.

use crate::block::SampleBlock;
use crate::channel::MAX_GROUPS;

/// Counts lost blocks and scans. Feed it every block received, in order.
///
/// Before the first block nothing is known to be lost: a receiver may have joined later.
#[derive(Debug, Clone, Default)]
pub struct LossCounter {
    next_sequence: Option<u32>,
    next_scan: [Option<u32>; MAX_GROUPS],
    /// Blocks that never arrived.
    pub lost_blocks: u64,
    /// Scans that never arrived; known only when the next block of the same group does.
    pub lost_scans: u64,
    /// Blocks that arrived.
    pub received_blocks: u64,
    /// Scans that arrived.
    pub received_scans: u64,
    /// Blocks that arrived twice or out of order: to be left out.
    pub repeated_blocks: u64,
}

impl LossCounter {
    /// A counter that has seen nothing.
    pub fn new() -> Self {
        Self::default()
    }

    /// Streaming began anew (the logger said so, or it booted): numbers start from 0 again; the counts go on.
    pub fn restart(&mut self) {
        self.next_sequence = Some(0);
        self.next_scan = [Some(0); MAX_GROUPS];
    }

    /// Takes note of a block; gives whether it is news (`false`: it came before and is to be left out).
    pub fn observe(&mut self, block: &SampleBlock) -> bool {
        let lost_blocks = match self.next_sequence {
            Some(next) => block.sequence.wrapping_sub(next),
            None => 0,
        };
        if lost_blocks > u32::MAX / 2 {
            self.repeated_blocks += 1;
            return false;
        }
        self.lost_blocks += u64::from(lost_blocks);
        self.next_sequence = Some(block.sequence.wrapping_add(1));
        if let Some(next_scan) = self.next_scan.get_mut(usize::from(block.group)) {
            let lost_scans = next_scan.map_or(0, |next| block.first_scan.wrapping_sub(next));
            if lost_scans <= u32::MAX / 2 {
                self.lost_scans += u64::from(lost_scans);
            }
            *next_scan = Some(block.first_scan.wrapping_add(u32::from(block.scans)));
        }
        self.received_blocks += 1;
        self.received_scans += u64::from(block.scans);
        true
    }
}
