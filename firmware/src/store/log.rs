//! The log: records one after another, none across the end of a sector, until the memory is full. It is erased as a whole.
//!
//! A record is `mark (2) | length of the message (2) | boot count (4) | index (4) | check over these and the message (4) |
//! message`, numbers lowest byte first, filled up to a whole word with FF. After a record that is not sound, because power
//! failed while it was written, the rest of its sector is left alone.
//!
//! Records begin with a sector's first byte and go on without gaps, a piece at a time: a sector whose first piece is empty was
//! never written to. So the log's end is found by one piece of each sector and a look through the last that is used.

use core::num::NonZeroU32;

use embedded_storage::nor_flash::NorFlash;
use heapless::Vec;
use hingeline_protocol::frame::check;
use hingeline_protocol::sizes::MAX_STORED;

use super::{PIECE, StoreError, WORD, holds, padded};

/// Begins a record; erased memory does not.
const MARK: [u8; 2] = *b"R1";
/// Bytes before the message.
const HEAD: usize = WORD;
/// Most bytes of a record.
const MAX_RECORD: usize = padded(HEAD + MAX_STORED);
/// A record that the memory does not give back is tried in so many sectors.
const TRIES: u8 = 3;

/// A record as it was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// The boot during which it was made.
    pub boot_count: u32,
    /// Its place among all records, from 0.
    pub index: u32,
    /// The message.
    pub message: Vec<u8, MAX_STORED>,
}

/// A record that is being written, piece by piece.
#[derive(Debug, Clone)]
struct Open {
    bytes: Vec<u8, MAX_RECORD>,
    written: usize,
    tries: u8,
}

/// The log.
#[derive(Debug, Clone)]
pub struct Log {
    /// Bytes of a sector.
    sector: NonZeroU32,
    /// The first byte, and the first after it.
    start: u32,
    end: u32,
    /// Where the next record goes.
    at: u32,
    /// Records, counted with those that were torn since the last sound one.
    total: u32,
    open: Option<Open>,
}

/// Where a reader is in the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cursor(u32);

impl Log {
    /// In the sectors from `first` to before `sectors`, each of `sector` bytes.
    pub const fn new(sector: u32, first: u32, sectors: u32) -> Self {
        let start = first * sector;
        let size = match NonZeroU32::new(sector) {
            Some(size) => size,
            None => NonZeroU32::MIN,
        };
        Self { sector: size, start, end: sectors * sector, at: start, total: 0, open: None }
    }

    /// Sectors that it has.
    pub fn sectors(&self) -> u32 {
        (self.end - self.start) / self.sector
    }

    /// Sectors up to the last that holds something.
    pub fn used_sectors(&self) -> u32 {
        (self.after_sector(self.at.saturating_sub(1)) - self.start) / self.sector
    }

    /// Records in it.
    pub const fn total(&self) -> u32 {
        self.total
    }

    /// Whether it takes another record of the longest kind.
    pub fn has_room(&self) -> bool {
        self.place(self.at, MAX_RECORD as u32).is_some()
    }

    /// Whether a record is being written.
    pub const fn is_writing(&self) -> bool {
        self.open.is_some()
    }

    /// Where a reader begins.
    pub const fn cursor(&self) -> Cursor {
        Cursor(self.start)
    }

    fn after_sector(&self, at: u32) -> u32 {
        (at / self.sector + 1) * self.sector.get()
    }

    /// Where so many bytes fit, from `at` on.
    fn place(&self, at: u32, length: u32) -> Option<u32> {
        let fits = |at: u32| at + length <= self.after_sector(at) && at + length <= self.end;
        [at, self.after_sector(at)].into_iter().find(|&at| fits(at))
    }

    /// Begins to write a record.
    ///
    /// # Errors
    /// [`StoreError::Full`] if there is no room, [`StoreError::Broken`] if one is being written.
    pub fn begin(&mut self, boot_count: u32, message: &[u8]) -> Result<(), StoreError> {
        if self.open.is_some() {
            return Err(StoreError::Broken);
        }
        let length = padded(HEAD + message.len());
        self.at = self.place(self.at, length as u32).ok_or(StoreError::Full)?;
        let mut bytes = Vec::new();
        let mut fill = || -> Result<(), ()> {
            bytes.extend_from_slice(&MARK).map_err(drop)?;
            bytes.extend_from_slice(&(message.len() as u16).to_le_bytes()).map_err(drop)?;
            bytes.extend_from_slice(&boot_count.to_le_bytes()).map_err(drop)?;
            bytes.extend_from_slice(&self.total.to_le_bytes()).map_err(drop)?;
            let sum = sum(&bytes, message);
            bytes.extend_from_slice(&sum.to_le_bytes()).map_err(drop)?;
            bytes.extend_from_slice(message).map_err(drop)?;
            bytes.resize(length, 0xff).map_err(drop)
        };
        fill().map_err(|()| StoreError::Full)?;
        self.open = Some(Open { bytes, written: 0, tries: 0 });
        Ok(())
    }

    /// Writes the next piece of the record that was begun, and after the last reads it back. A record that does not come back
    /// goes into the next sector.
    ///
    /// # Errors
    /// [`StoreError`] if it cannot be kept.
    pub fn write_piece<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        let Some(open) = &mut self.open else { return Ok(()) };
        let rest = open.bytes.get(open.written..).unwrap_or(&[]);
        if let Some(piece) = rest.get(..PIECE.min(rest.len())).filter(|piece| !piece.is_empty()) {
            let at = self.at + open.written as u32;
            // What is wrong here shows when it is read back.
            let _ = flash.write(at, piece);
            open.written += piece.len();
            return Ok(());
        }
        let length = open.bytes.len() as u32;
        if holds(flash, self.at, &open.bytes).unwrap_or(false) {
            self.at += length;
            self.total = self.total.saturating_add(1);
            self.open = None;
            return Ok(());
        }
        (open.written, open.tries) = (0, open.tries + 1);
        let spent = open.tries >= TRIES;
        let next = self.place(self.after_sector(self.at), length);
        if let (Some(at), false) = (next, spent) {
            self.at = at;
            return Ok(());
        }
        self.open = None;
        self.at = next.unwrap_or(self.end);
        Err(if next.is_none() { StoreError::Full } else { StoreError::Broken })
    }

    /// Writes a whole record.
    ///
    /// # Errors
    /// [`StoreError`] if it cannot be kept.
    pub fn append<F: NorFlash>(
        &mut self,
        flash: &mut F,
        boot_count: u32,
        message: &[u8],
    ) -> Result<(), StoreError> {
        self.begin(boot_count, message)?;
        while self.open.is_some() {
            self.write_piece(flash)?;
        }
        Ok(())
    }

    /// The next sound record from `cursor` on, which moves behind it; none at the end.
    ///
    /// # Errors
    /// [`StoreError::Broken`] if the memory cannot be read.
    pub fn next<F: NorFlash>(
        &self,
        flash: &mut F,
        cursor: &mut Cursor,
    ) -> Result<Option<Record>, StoreError> {
        while cursor.0 < self.at {
            let room = self.after_sector(cursor.0) - cursor.0;
            match self.read(flash, cursor.0, room)? {
                Some(record) => {
                    cursor.0 += padded(HEAD + record.message.len()) as u32;
                    return Ok(Some(record));
                }
                None => cursor.0 = self.after_sector(cursor.0),
            }
        }
        Ok(None)
    }

    /// The record at `at`, if one is there that ends within `room` bytes.
    fn read<F: NorFlash>(&self, flash: &mut F, at: u32, room: u32) -> Result<Option<Record>, StoreError> {
        if (room as usize) < HEAD {
            return Ok(None);
        }
        let mut head = [0; HEAD];
        flash.read(at, &mut head).map_err(|_| StoreError::Broken)?;
        let [m0, m1, l0, l1, b0, b1, b2, b3, i0, i1, i2, i3, c0, c1, c2, c3] = head;
        let length = usize::from(u16::from_le_bytes([l0, l1]));
        if [m0, m1] != MARK || length > MAX_STORED || padded(HEAD + length) > room as usize {
            return Ok(None);
        }
        let mut body = [0; padded(MAX_STORED)];
        let body = body.get_mut(..padded(length)).ok_or(StoreError::Broken)?;
        flash.read(at + HEAD as u32, body).map_err(|_| StoreError::Broken)?;
        let message = body.get(..length).unwrap_or(&[]);
        let head = head.get(..HEAD - 4).unwrap_or(&[]);
        let sound = u32::from_le_bytes([c0, c1, c2, c3]) == sum(head, message);
        Ok(sound.then(|| Record {
            boot_count: u32::from_le_bytes([b0, b1, b2, b3]),
            index: u32::from_le_bytes([i0, i1, i2, i3]),
            message: Vec::from_slice(message).unwrap_or_default(),
        }))
    }

    /// Erases a sector, counted from the log's first.
    ///
    /// # Errors
    /// [`StoreError::Broken`] if the memory refuses, or is not empty then.
    pub fn erase_sector<F: NorFlash>(&mut self, flash: &mut F, sector: u32) -> Result<(), StoreError> {
        let from = self.start + sector * self.sector.get();
        flash.erase(from, from + self.sector.get()).map_err(|_| StoreError::Broken)?;
        if self.is_blank(flash, from, from + self.sector.get())? { Ok(()) } else { Err(StoreError::Broken) }
    }

    /// Pieces that it has.
    pub fn pieces(&self) -> u32 {
        (self.end - self.start) / PIECE as u32
    }

    /// The sector of a piece, both counted from the log's first, if that piece is not empty.
    ///
    /// # Errors
    /// [`StoreError::Broken`] if the memory cannot be read.
    pub fn sector_in_use<F: NorFlash>(&self, flash: &mut F, piece: u32) -> Result<Option<u32>, StoreError> {
        let at = self.start + piece * PIECE as u32;
        let blank = self.is_blank(flash, at, at + PIECE as u32)?;
        Ok((!blank).then_some((at - self.start) / self.sector))
    }

    fn is_blank<F: NorFlash>(&self, flash: &mut F, from: u32, to: u32) -> Result<bool, StoreError> {
        let mut piece = [0; PIECE];
        let mut at = from;
        while at < to {
            let length = PIECE.min((to - at) as usize);
            let piece = piece.get_mut(..length).ok_or(StoreError::Broken)?;
            flash.read(at, piece).map_err(|_| StoreError::Broken)?;
            if piece.iter().any(|&byte| byte != 0xff) {
                return Ok(false);
            }
            at += length as u32;
        }
        Ok(true)
    }

    /// Finds where the log ends, and how many records there are.
    ///
    /// # Errors
    /// [`StoreError::Broken`] if the memory cannot be read.
    pub fn find_end<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        let (mut used, mut blank) = (None, 0);
        // A record that did not come back leaves at most so many sectors empty before one that did.
        let mut sector = self.start;
        while sector < self.end {
            if self.is_blank(flash, sector, sector + PIECE as u32)? {
                blank += 1;
                if blank > u32::from(TRIES) {
                    break;
                }
            } else {
                (used, blank) = (Some(sector), 0);
            }
            sector += self.sector.get();
        }
        (self.at, self.total, self.open) = (self.start, 0, None);
        let Some(last) = used else { return Ok(()) };
        // The end of the sound records in the last sector that is used; what follows them must be empty.
        let after = last + self.sector.get();
        let mut at = last;
        while let Some(record) = self.read(flash, at, after - at)? {
            at += padded(HEAD + record.message.len()) as u32;
        }
        self.at = if self.is_blank(flash, at, after)? { at } else { after };
        self.total = self.count(flash, last)?;
        Ok(())
    }

    /// One more than the index of the last sound record, which is in `last` or a sector before it.
    fn count<F: NorFlash>(&self, flash: &mut F, last: u32) -> Result<u32, StoreError> {
        let mut sector = last;
        loop {
            let (mut at, mut total) = (sector, None);
            let after = sector + self.sector.get();
            while let Some(record) = self.read(flash, at, after - at)? {
                at += padded(HEAD + record.message.len()) as u32;
                total = Some(record.index.saturating_add(1));
            }
            match total {
                Some(total) => return Ok(total),
                None if sector <= self.start => return Ok(0),
                None => sector = sector.saturating_sub(self.sector.get()),
            }
        }
    }
}

fn sum(head: &[u8], message: &[u8]) -> u32 {
    let [h, m] = [check(head), check(message)].map(u32::to_le_bytes);
    let mut both = [0; 8];
    both.iter_mut().zip(h.iter().chain(&m)).for_each(|(at, byte)| *at = *byte);
    check(&both)
}
