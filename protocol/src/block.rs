//! Sample blocks: many scans of one group of channels, coded so that a steady channel takes one byte a reading.
//!
//! A block stands alone: its first scan is coded against zero, each further one against the scan before. Readings carry
//! no time of their own unless they leave their slot by more than [`LATE_US`].

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::channel::MAX_CHANNELS;
use crate::sizes::MAX_PAYLOAD;
use crate::varint;

/// A reading whose time is off its slot by more than this, in µs, carries its time.
pub const LATE_US: i32 = 50;

/// Tag of an exception: this channel's own offset from its slot.
const TAG_LATE: u32 = 0;
/// Tag of an exception: this channel has no reading in this scan.
const TAG_MISSING: u32 = 1;
/// Tag of an exception: offset of all channels of this scan that have none of their own.
const TAG_SHIFT: u32 = 2;

/// Readings of one group of channels over some scans.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SampleBlock {
    /// Counts the blocks of all groups since streaming began, from 0.
    pub sequence: u32,
    /// The group of channels.
    pub group: u8,
    /// Which scan of this group since streaming began the first one is, from 0. Scans that were never made (overrun) do
    /// not count, so a gap here is what the line lost.
    pub first_scan: u32,
    /// Device time at which the first scan began, µs.
    pub first_time_us: u64,
    /// Time between two scans of this block, µs.
    pub period_us: u32,
    /// The channels in this block, bit i = channel i.
    pub mask: u64,
    /// How many scans.
    pub scans: u8,
    /// The coded readings; [`SampleBlock::readings`] reads them.
    pub payload: Vec<u8, MAX_PAYLOAD>,
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// Which scan of its group, counted since streaming began.
    pub scan: u32,
    /// Which channel.
    pub channel: u8,
    /// Device time at the middle of its conversion, µs.
    pub time_us: u64,
    /// The count.
    pub raw: i32,
}

/// The readings of one scan on their way into a block.
#[derive(Debug, Clone)]
pub struct Scan {
    start_us: u64,
    present: u64,
    raw: [i32; MAX_CHANNELS],
    offset_us: [i32; MAX_CHANNELS],
}

impl Scan {
    /// An empty scan that began at `start_us`.
    pub const fn new(start_us: u64) -> Self {
        Self { start_us, present: 0, raw: [0; MAX_CHANNELS], offset_us: [0; MAX_CHANNELS] }
    }

    /// When the scan began, µs.
    pub const fn start_us(&self) -> u64 {
        self.start_us
    }

    /// The channels that have a reading, one bit each.
    pub const fn present(&self) -> u64 {
        self.present
    }

    /// Enters a reading taken at `time_us`. A channel beyond the table is ignored.
    pub fn set(&mut self, channel: u8, time_us: u64, raw: i32) {
        let offset = clamp_to_i32(time_us.wrapping_sub(self.start_us) as i64);
        if let (Some(raw_at), Some(offset_at)) =
            (self.raw.get_mut(usize::from(channel)), self.offset_us.get_mut(usize::from(channel)))
        {
            *raw_at = raw;
            *offset_at = offset;
            self.present |= 1 << channel;
        }
    }

    fn raw(&self, channel: u8) -> i32 {
        self.raw.get(usize::from(channel)).copied().unwrap_or(0)
    }

    /// How far a reading is off its slot, µs.
    fn late_us(&self, channel: u8, slots_us: &[u32; MAX_CHANNELS]) -> i32 {
        let offset = self.offset_us.get(usize::from(channel)).copied().unwrap_or(0);
        clamp_to_i32(i64::from(offset) - i64::from(slot(slots_us, channel)))
    }
}

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
    ///
    /// The reference is good until the next push.
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
        if self.block.scans >= self.max_scans {
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

fn slot(slots_us: &[u32; MAX_CHANNELS], channel: u8) -> u32 {
    slots_us.get(usize::from(channel)).copied().unwrap_or(0)
}

fn clamp_to_i32(value: i64) -> i32 {
    value.clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32
}

/// The numbers of the bits that are set, rising.
pub fn bits(mask: u64) -> impl Iterator<Item = u8> + Clone {
    let mut rest = mask;
    core::iter::from_fn(move || {
        let lowest = rest.trailing_zeros();
        rest &= rest.wrapping_sub(1);
        (lowest < 64).then_some(lowest as u8)
    })
}

/// The coded readings of a block make no sense.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BlockError {
    /// They end in the middle of a scan.
    CutShort,
    /// There are bytes after the last scan.
    LeftOver,
    /// An exception has an unknown tag, or names a channel that the block has not.
    BadException,
    /// The mask names a channel beyond the table.
    BadMask,
}

impl core::fmt::Display for BlockError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::CutShort => "the block's readings end in the middle of a scan",
            Self::LeftOver => "the block has bytes after its last scan",
            Self::BadException => "the block has an exception that makes no sense",
            Self::BadMask => "the block names a channel beyond the table",
        })
    }
}

impl core::error::Error for BlockError {}

impl SampleBlock {
    /// All readings, scan by scan, channels rising within a scan.
    ///
    /// `slots_us` are the slots of the channel table, see [`crate::Channel::slot_us`]. Ends after the first error.
    pub fn readings<'a>(&'a self, slots_us: &'a [u32; MAX_CHANNELS]) -> Readings<'a> {
        Readings {
            block: self,
            slots_us,
            rest: &self.payload,
            scan: 0,
            present: 0,
            shift_us: 0,
            own: 0,
            own_us: [0; MAX_CHANNELS],
            previous: [0; MAX_CHANNELS],
            ended: false,
        }
    }
}

/// Iterator over a block's readings, see [`SampleBlock::readings`].
#[derive(Debug, Clone)]
pub struct Readings<'a> {
    block: &'a SampleBlock,
    slots_us: &'a [u32; MAX_CHANNELS],
    rest: &'a [u8],
    /// Scans begun.
    scan: u8,
    /// Channels of the current scan that are still to be given.
    present: u64,
    shift_us: i32,
    /// Channels of the current scan that carry their own offset.
    own: u64,
    own_us: [i32; MAX_CHANNELS],
    previous: [i32; MAX_CHANNELS],
    ended: bool,
}

impl Readings<'_> {
    fn varint(&mut self) -> Result<u32, BlockError> {
        let (value, rest) = varint::read(self.rest, 32).ok_or(BlockError::CutShort)?;
        self.rest = rest;
        Ok(value as u32)
    }

    fn signed(&mut self) -> Result<i32, BlockError> {
        Ok(varint::unzigzag(u64::from(self.varint()?)) as i32)
    }

    fn begin_scan(&mut self) -> Result<(), BlockError> {
        self.present = self.block.mask;
        self.shift_us = 0;
        self.own = 0;
        for _ in 0..self.varint()? {
            let code = self.varint()?;
            let channel = code >> 2;
            let bit = 1_u64.checked_shl(channel).unwrap_or(0);
            match code & 3 {
                TAG_SHIFT if channel == 0 => self.shift_us = self.signed()?,
                TAG_LATE if self.block.mask & bit != 0 => {
                    let offset = self.signed()?;
                    if let Some(at) = self.own_us.get_mut(channel as usize) {
                        *at = offset;
                        self.own |= bit;
                    }
                }
                TAG_MISSING if self.block.mask & bit != 0 => self.present &= !bit,
                _ => return Err(BlockError::BadException),
            }
        }
        Ok(())
    }

    fn advance(&mut self) -> Result<Option<Reading>, BlockError> {
        if self.block.mask >> MAX_CHANNELS != 0 {
            return Err(BlockError::BadMask);
        }
        while self.present == 0 {
            if self.scan == self.block.scans {
                return if self.rest.is_empty() { Ok(None) } else { Err(BlockError::LeftOver) };
            }
            self.begin_scan()?;
            self.scan = self.scan.wrapping_add(1);
        }
        let channel = self.present.trailing_zeros() as u8;
        self.present &= self.present.wrapping_sub(1);
        let difference = self.signed()?;
        let raw = match self.previous.get_mut(usize::from(channel)) {
            Some(before) => {
                *before = before.wrapping_add(difference);
                *before
            }
            None => difference,
        };
        Ok(Some(Reading {
            scan: self.block.first_scan.wrapping_add(u32::from(self.scan.wrapping_sub(1))),
            channel,
            time_us: self.time_us(channel),
            raw,
        }))
    }

    fn time_us(&self, channel: u8) -> u64 {
        let own = self.own >> channel & 1 == 1;
        let offset_us = match self.own_us.get(usize::from(channel)) {
            Some(&offset) if own => offset,
            _ => self.shift_us,
        };
        let scans = u64::from(self.scan.wrapping_sub(1));
        self.block
            .first_time_us
            .wrapping_add(scans.wrapping_mul(u64::from(self.block.period_us)))
            .wrapping_add(u64::from(slot(self.slots_us, channel)))
            .wrapping_add_signed(i64::from(offset_us))
    }
}

impl Iterator for Readings<'_> {
    type Item = Result<Reading, BlockError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ended {
            return None;
        }
        let item = self.advance().transpose();
        self.ended = !matches!(item, Some(Ok(_)));
        item
    }
}
