//! Reads the readings of a block.

use super::{Reading, SampleBlock, TAG_LATE, TAG_MISSING, TAG_SHIFT, slot};
use crate::channel::MAX_CHANNELS;
use crate::varint;

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
