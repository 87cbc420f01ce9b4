//! Codes scans into blocks.

use heapless::Vec;

use super::{LATE_US, SampleBlock, Scan, TAG_LATE, TAG_MISSING, TAG_SHIFT, bits};
use crate::channel::MAX_CHANNELS;
use crate::varint;

/// Why a scan was not taken; the caller closes the block and pushes the scan again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PushError {
    /// The block has no room for another scan.
    Full,
    /// The scan does not begin one period after the one before.
    Gap,
    /// The scan has a channel that the block has not.
    NewChannel,
}

/// Codes scans into a block; one per group of channels.
#[derive(Debug, Clone)]
pub struct BlockEncoder {
    channels: u64,
    max_scans: u8,
    next_scan: u32,
    previous: [i32; MAX_CHANNELS],
    block: SampleBlock,
}

impl BlockEncoder {
    /// An encoder for the channels of `mask`, which are read every `period_us`. A block closes after `max_scans` scans
    /// (at least one) or when it is full.
    pub const fn new(group: u8, mask: u64, period_us: u32, max_scans: u8) -> Self {
        Self {
            channels: mask,
            max_scans: if max_scans == 0 { 1 } else { max_scans },
            next_scan: 0,
            previous: [0; MAX_CHANNELS],
            block: SampleBlock {
                sequence: 0,
                group,
                first_scan: 0,
                first_time_us: 0,
                period_us,
                mask: 0,
                scans: 0,
                payload: Vec::new(),
            },
        }
    }

    /// The group of channels.
    pub const fn group(&self) -> u8 {
        self.block.group
    }

    /// The channels that this encoder takes out of a scan.
    pub const fn channels(&self) -> u64 {
        self.channels
    }

    /// Scans in the open block.
    pub const fn scans(&self) -> u8 {
        self.block.scans
    }

    /// Whether the open block has all the scans that it shall have.
    pub const fn is_full(&self) -> bool {
        self.block.scans >= self.max_scans
    }

    /// When the open block's first scan began, if it has one.
    pub fn opened_us(&self) -> Option<u64> {
        (self.block.scans > 0).then_some(self.block.first_time_us)
    }

    /// Adds a scan. A scan without any of this group's channels is left out, and so is nothing on the wire.
    ///
    /// # Errors
    /// When the scan does not fit this block: take the block by [`BlockEncoder::finish`] and push again; a fresh block
    /// takes any scan.
    pub fn push(&mut self, scan: &Scan, slots_us: &[u32; MAX_CHANNELS]) -> Result<(), PushError> {
        let present = scan.present & self.channels;
        if present == 0 {
            return Ok(());
        }
        if self.block.scans == 0 {
            self.open(scan.start_us, present);
        } else {
            self.check(scan.start_us, present)?;
        }
        let before = self.block.payload.len();
        if self.code(scan, present, slots_us).is_none() {
            self.block.payload.truncate(before);
            return Err(PushError::Full);
        }
        for channel in bits(present) {
            if let Some(at) = self.previous.get_mut(usize::from(channel)) {
                *at = scan.raw(channel);
            }
        }
        self.block.scans = self.block.scans.saturating_add(1);
        Ok(())
    }

    /// Closes the block and gives it, with `sequence` as its number; `None` if it is empty.
    pub fn finish(&mut self, sequence: u32) -> Option<SampleBlock> {
        if self.block.scans == 0 {
            return None;
        }
        self.block.sequence = sequence;
        self.next_scan = self.next_scan.wrapping_add(u32::from(self.block.scans));
        let block = self.block.clone();
        self.block.scans = 0;
        self.block.payload.clear();
        Some(block)
    }

    fn open(&mut self, start_us: u64, present: u64) {
        self.previous = [0; MAX_CHANNELS];
        self.block.first_scan = self.next_scan;
        self.block.first_time_us = start_us;
        self.block.mask = present;
        self.block.payload.clear();
    }

    fn check(&self, start_us: u64, present: u64) -> Result<(), PushError> {
        let due_us = self
            .block
            .first_time_us
            .wrapping_add(u64::from(self.block.period_us).wrapping_mul(u64::from(self.block.scans)));
        if self.is_full() {
            Err(PushError::Full)
        } else if start_us != due_us {
            Err(PushError::Gap)
        } else if present & !self.block.mask != 0 {
            Err(PushError::NewChannel)
        } else {
            Ok(())
        }
    }

    fn code(&mut self, scan: &Scan, present: u64, slots_us: &[u32; MAX_CHANNELS]) -> Option<()> {
        let shift_us = common_shift_us(scan, present, slots_us);
        let late =
            |channel| (scan.late_us(channel, slots_us).saturating_sub(shift_us)).saturating_abs() > LATE_US;
        let missing = self.block.mask & !present;
        let exceptions = bits(present).filter(|&channel| late(channel)).count()
            + missing.count_ones() as usize
            + usize::from(shift_us != 0);
        self.put(exceptions as u64)?;
        if shift_us != 0 {
            self.put(u64::from(TAG_SHIFT))?;
            self.put(varint::zigzag(i64::from(shift_us)))?;
        }
        for channel in bits(self.block.mask) {
            let code = u32::from(channel) << 2;
            if missing >> channel & 1 == 1 {
                self.put(u64::from(code | TAG_MISSING))?;
            } else if late(channel) {
                self.put(u64::from(code | TAG_LATE))?;
                self.put(varint::zigzag(i64::from(scan.late_us(channel, slots_us))))?;
            }
        }
        for channel in bits(present) {
            let before = self.previous.get(usize::from(channel)).copied().unwrap_or(0);
            self.put(delta(before, scan.raw(channel)))?;
        }
        Some(())
    }

    fn put(&mut self, value: u64) -> Option<()> {
        varint::write(value, |byte| self.block.payload.push(byte)).ok()
    }
}

/// The offset in µs that all channels share when a whole scan came late; 0 where sending it would not pay.
fn common_shift_us(scan: &Scan, present: u64, slots_us: &[u32; MAX_CHANNELS]) -> i32 {
    let first = bits(present).next().map_or(0, |channel| scan.late_us(channel, slots_us));
    let off = |shift: i32| {
        bits(present)
            .filter(|&channel| {
                scan.late_us(channel, slots_us).saturating_sub(shift).saturating_abs() > LATE_US
            })
            .count()
    };
    if first.saturating_abs() > LATE_US && off(first) + 1 < off(0) { first } else { 0 }
}

/// The difference of two counts, wrapped to 32 bits and zig-zag coded, so that no difference takes more than five bytes.
fn delta(before: i32, now: i32) -> u64 {
    varint::zigzag(i64::from(now.wrapping_sub(before)))
}
