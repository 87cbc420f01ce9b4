//! From scans to blocks: one encoder per group of channels, and the slots that both ends assume.
//!
//! Slots are learned: a channel's first reading shows where in a scan it falls on this board, and its row of the table is
//! sent again before the first block that counts on it. A channel that is off its slot for long is learned anew.

use heapless::Vec;
use hingeline_protocol::block::{LATE_US, bits};
use hingeline_protocol::{BlockEncoder, DeviceMessage, MAX_CHANNELS, MAX_GROUPS, Scan};

use crate::config::Configuration;
use crate::outbox::Outbox;
use crate::table::Table;

/// So many readings in a row off their slot, and the channel gets a new one.
const RELEARN_AFTER: u8 = 20;

/// A block leaves after this at the latest, µs, full or not.
const OLDEST_US: u64 = 250_000;

/// The sample blocks of a streaming logger.
#[derive(Debug, Clone)]
pub struct Stream {
    encoders: Vec<BlockEncoder, MAX_GROUPS>,
    slots_us: [u32; MAX_CHANNELS],
    /// Channels whose slot is learned, one bit each.
    learned: u64,
    /// Readings in a row off their slot.
    late: [u8; MAX_CHANNELS],
    /// Rows of the table still to be sent, one bit each.
    rows_due: u64,
    sequence: u32,
}

impl Default for Stream {
    fn default() -> Self {
        Self::new()
    }
}

impl Stream {
    /// Nothing to stream.
    pub const fn new() -> Self {
        Self {
            encoders: Vec::new(),
            slots_us: [0; MAX_CHANNELS],
            learned: 0,
            late: [0; MAX_CHANNELS],
            rows_due: 0,
            sequence: 0,
        }
    }

    /// Forgets slots and blocks, for a new table.
    pub fn reset(&mut self, table: &Table) {
        *self = Self::new();
        for (channel, slot) in (0..table.channels()).zip(&mut self.slots_us) {
            *slot = table.expected_slot_us(channel);
        }
    }

    /// Begins: blocks and scans count from 0, all rows are sent.
    pub fn start(&mut self, table: &Table, config: &Configuration) {
        self.reset(table);
        self.request_rows(table);
        for (number, group) in table.groups.iter().enumerate() {
            let period_us = config.period_us.saturating_mul(u32::from(group.every));
            let scans = config.scans_per_block(group.every);
            let encoder = BlockEncoder::new(number as u8, group.channels, period_us, scans);
            if self.encoders.push(encoder).is_err() {
                break;
            }
        }
    }

    /// All rows of the table are to be sent.
    pub fn request_rows(&mut self, table: &Table) {
        self.rows_due = (1_u64 << table.channels()) - 1;
    }

    /// Sends rows that are due, as far as there is room.
    pub fn send_rows(&mut self, table: &Table, config: &Configuration, outbox: &mut Outbox) {
        /// More than any row takes on the line.
        const ROW: usize = 128;
        for channel in bits(self.rows_due) {
            if outbox.room() < ROW {
                return;
            }
            let slot_us = self.slots_us.get(usize::from(channel)).copied().unwrap_or(0);
            if let Some(row) = table.row(channel, config, slot_us) {
                outbox.send(&DeviceMessage::Channel(row));
            }
            self.rows_due &= !(1 << channel);
        }
    }

    /// Whether rows wait for room.
    pub const fn has_rows_due(&self) -> bool {
        self.rows_due != 0
    }

    /// Takes a scan that is complete, or as complete as it will be.
    pub fn take(&mut self, scan: &Scan, table: &Table, config: &Configuration, outbox: &mut Outbox) {
        self.learn(scan, outbox);
        self.send_rows(table, config, outbox);
        for place in 0..self.encoders.len() {
            let Some(encoder) = self.encoders.get_mut(place) else { continue };
            if encoder.push(scan, &self.slots_us).is_err() {
                self.flush(place, outbox);
                if let Some(encoder) = self.encoders.get_mut(place) {
                    // An empty block takes any scan: asserted where the sizes are.
                    let _ = encoder.push(scan, &self.slots_us);
                }
            }
        }
        self.flush_old(scan.start_us(), outbox);
    }

    /// Ends: sends what is left.
    pub fn finish(&mut self, outbox: &mut Outbox) {
        for place in 0..self.encoders.len() {
            self.flush(place, outbox);
        }
    }

    /// Sends blocks that are full, or old.
    fn flush_old(&mut self, now_us: u64, outbox: &mut Outbox) {
        for place in 0..self.encoders.len() {
            let full = self.encoders.get(place).is_some_and(|encoder| {
                encoder.is_full()
                    || encoder
                        .opened_us()
                        .is_some_and(|opened_us| now_us.saturating_sub(opened_us) >= OLDEST_US)
            });
            if full {
                self.flush(place, outbox);
            }
        }
    }

    fn flush(&mut self, place: usize, outbox: &mut Outbox) {
        let Some(block) = self.encoders.get_mut(place).and_then(|encoder| encoder.finish(self.sequence))
        else {
            return;
        };
        self.sequence = self.sequence.wrapping_add(1);
        if self.rows_due != 0 {
            // Its slots are not known at the other end: better lost and counted than misdated.
            outbox.lose();
        } else {
            outbox.send(&DeviceMessage::Samples(block));
        }
    }

    fn learn(&mut self, scan: &Scan, outbox: &mut Outbox) {
        let new = scan.present() & !self.learned;
        if new != 0 {
            // What is in the open blocks was coded against the old slots.
            self.finish(outbox);
            self.rows_due |= new;
            self.learned |= new;
        }
        for channel in bits(scan.present()) {
            let offset_us = scan.offset_us(channel).unwrap_or(0).max(0) as u32;
            let (Some(slot_us), Some(late)) =
                (self.slots_us.get_mut(usize::from(channel)), self.late.get_mut(usize::from(channel)))
            else {
                continue;
            };
            if new >> channel & 1 == 1 {
                *slot_us = offset_us;
            }
            let is_late = offset_us.abs_diff(*slot_us) > LATE_US as u32;
            *late = if is_late { late.saturating_add(1) } else { 0 };
            if *late >= RELEARN_AFTER {
                *late = 0;
                self.learned &= !(1 << channel);
            }
        }
    }
}
