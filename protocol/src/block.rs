//! Sample blocks: many scans of one group of channels, coded so that a steady channel takes one byte a reading.
//!
//! A block stands alone: its first scan is coded against zero, each further one against the scan before. Readings carry
//! no time of their own unless they leave their slot by more than [`LATE_US`].

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::channel::MAX_CHANNELS;
use crate::sizes::MAX_PAYLOAD;

mod encoder;
mod readings;

pub use encoder::{BlockEncoder, PushError};
pub use readings::{BlockError, Readings};

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

    /// How long after the scan's start a channel was read, µs; `None` if it has no reading.
    pub fn offset_us(&self, channel: u8) -> Option<i32> {
        let read = channel < 64 && self.present >> channel & 1 == 1;
        self.offset_us.get(usize::from(channel)).copied().filter(|_| read)
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
