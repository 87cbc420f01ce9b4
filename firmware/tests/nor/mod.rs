//! A NOR flash that can lose its power at any word that is written and anywhere in an erasure.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a model for tests"
)]

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

/// Bytes of an erase sector, and of a word.
pub const SECTOR: usize = 4096;
pub const WORD: usize = 8;

/// The flash.
#[derive(Debug, Clone)]
pub struct Nor {
    pub bytes: Vec<u8>,
    /// Words that were written since they were erased: a second write is against the data sheet.
    written: Vec<bool>,
    /// Words and erasures until the power fails; none: it does not.
    pub left: Option<u64>,
    pub powered: bool,
    /// Words written and sectors erased so far.
    pub steps: u64,
    /// Bytes read so far.
    pub bytes_read: u64,
    /// Words of this sector take nothing.
    pub dead_sector: Option<usize>,
    random: u64,
}

impl Nor {
    /// As the factory gives it: full of something.
    pub fn new(sectors: usize, seed: u64) -> Self {
        let mut nor = Self {
            bytes: vec![0; sectors * SECTOR],
            written: vec![true; sectors * SECTOR / WORD],
            left: None,
            powered: true,
            steps: 0,
            bytes_read: 0,
            dead_sector: None,
            random: seed | 1,
        };
        for at in 0..nor.bytes.len() {
            nor.bytes[at] = nor.draw() as u8;
        }
        nor
    }

    /// Erased, but for these bytes.
    pub fn empty_but(sectors: usize, places: &[usize]) -> Self {
        let mut nor = Self::new(sectors, 1);
        nor.bytes.fill(0xff);
        nor.written.fill(false);
        for &place in places {
            nor.bytes[place] = 0;
            nor.written[place / WORD] = true;
        }
        nor
    }

    /// Power comes back, and stays for so many words and erasures.
    pub fn power_on(&mut self, left: Option<u64>) {
        (self.powered, self.left, self.steps) = (true, left, 0);
        self.bytes_read = 0;
    }

    /// xorshift64 (Marsaglia 2003).
    fn draw(&mut self) -> u64 {
        self.random ^= self.random << 13;
        self.random ^= self.random >> 7;
        self.random ^= self.random << 17;
        self.random
    }

    /// Whether the power fails in this step.
    fn fails(&mut self) -> bool {
        self.steps += 1;
        match &mut self.left {
            Some(0) => {
                self.powered = false;
                true
            }
            Some(left) => {
                *left -= 1;
                false
            }
            None => false,
        }
    }
}

impl ErrorType for Nor {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Nor {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        if !self.powered {
            return Err(NorFlashErrorKind::Other);
        }
        self.bytes_read += bytes.len() as u64;
        let from = offset as usize;
        bytes
            .copy_from_slice(self.bytes.get(from..from + bytes.len()).ok_or(NorFlashErrorKind::OutOfBounds)?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Nor {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        if !self.powered {
            return Err(NorFlashErrorKind::Other);
        }
        assert!(
            (from as usize).is_multiple_of(SECTOR)
                && (to as usize).is_multiple_of(SECTOR)
                && to as usize <= self.bytes.len()
        );
        for sector in from as usize / SECTOR..to as usize / SECTOR {
            let fails = self.fails();
            for at in sector * SECTOR..(sector + 1) * SECTOR {
                // Half erased: some of the bits have come up.
                self.bytes[at] = if fails { self.bytes[at] | self.draw() as u8 } else { 0xff };
            }
            for word in sector * SECTOR / WORD..(sector + 1) * SECTOR / WORD {
                self.written[word] = fails;
            }
            if fails {
                return Err(NorFlashErrorKind::Other);
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        if !self.powered {
            return Err(NorFlashErrorKind::Other);
        }
        assert!((offset as usize).is_multiple_of(WORD) && bytes.len().is_multiple_of(WORD), "words only");
        for (place, word) in bytes.chunks(WORD).enumerate() {
            let at = offset as usize + place * WORD;
            if at + WORD > self.bytes.len() {
                return Err(NorFlashErrorKind::OutOfBounds);
            }
            let fails = self.fails();
            assert!(fails || !self.written[at / WORD], "word at {at} is written twice");
            self.written[at / WORD] = true;
            if self.dead_sector == Some(at / SECTOR) {
                continue;
            }
            for (k, byte) in word.iter().enumerate() {
                // Torn: some of the bits have gone down.
                let kept = if fails { self.draw() as u8 } else { 0 };
                self.bytes[at + k] &= byte | kept;
            }
            if fails {
                return Err(NorFlashErrorKind::Other);
            }
        }
        Ok(())
    }
}
