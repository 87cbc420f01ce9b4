//! What the logger keeps without power: its configuration, how often it has booted, and what it measured while nobody
//! listened.
//!
//! The memory is a NOR flash behind `embedded-storage`, or anything that can be written like one. Its first two erase sectors
//! are the settings' two slots (`settings`); all others are one log that grows until it is full and is erased as a whole
//! (`log`). Nothing is written twice between erasures, everything carries a CRC and is read back, and a word that was being
//! written when power failed is never written on: two torn writes cannot lose a whole item.

use embedded_storage::nor_flash::NorFlash;

pub mod log;
pub mod pending;
pub mod settings;

use crate::config::Configuration;
use log::Log;
use settings::{Kept, Settings};

/// Everything is written in words of so many bytes: a multiple of what any flash asks for.
pub const WORD: usize = 16;

/// Bytes that are read or written at once: short beside the time between two scans.
pub const PIECE: usize = 64;

/// What can be wrong with the memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StoreError {
    /// Its sectors or words do not suit this store.
    Unsuitable,
    /// It refuses to be read, written or erased, or does not give back what was written.
    Broken,
    /// The log has no room.
    Full,
}

/// The store.
#[derive(Debug, Clone)]
pub struct Store {
    /// The settings' slots.
    settings: Settings,
    /// What is kept in them.
    kept: Kept,
    /// The log of records.
    pub log: Log,
}

impl Store {
    /// Opens the memory at boot: counts the boot, and ends an erasure that a power cut broke off. A memory that was never used
    /// is erased where it is not empty, so that this may take seconds, once.
    ///
    /// # Errors
    /// [`StoreError`] if it cannot be used; the logger then works without a store.
    // Never inlined: as the settings' buffers.
    #[inline(never)]
    pub fn open<F: NorFlash>(flash: &mut F) -> Result<Self, StoreError> {
        let sectors = (flash.capacity() / F::ERASE_SIZE.max(1)) as u32;
        let suits = F::ERASE_SIZE >= settings::SLOT_BYTES
            && F::ERASE_SIZE.is_multiple_of(PIECE)
            && WORD.is_multiple_of(F::WRITE_SIZE.max(1))
            && WORD.is_multiple_of(F::READ_SIZE.max(1))
            && sectors > settings::SLOTS;
        if !suits {
            return Err(StoreError::Unsuitable);
        }
        let (mut settings, kept) = settings::load(flash)?;
        let mut log = Log::new(F::ERASE_SIZE as u32, settings::SLOTS, sectors);
        // A memory without settings holds whatever it was made with, which is mostly nothing.
        let mut kept = match kept {
            Some(kept) => kept,
            None => Kept::new(log.sectors_to_erase(flash)?),
        };
        kept.boot_count = kept.boot_count.saturating_add(1);
        settings.save(flash, &kept)?;
        if kept.erase_sectors > 0 {
            for sector in (0..kept.erase_sectors.min(log.sectors())).rev() {
                log.erase_sector(flash, sector)?;
            }
            kept.erase_sectors = 0;
            settings.save(flash, &kept)?;
        }
        log.find_end(flash)?;
        Ok(Self { settings, kept, log })
    }

    /// How often it has booted, this time included.
    pub const fn boot_count(&self) -> u32 {
        self.kept.boot_count
    }

    /// The configuration that is kept.
    pub const fn configuration(&self) -> &Configuration {
        &self.kept.configuration
    }

    /// Keeps a configuration, if it is not kept. Erases a sector: not while sampling.
    ///
    /// # Errors
    /// [`StoreError`]; what was kept before still is.
    pub fn keep_configuration<F: NorFlash>(
        &mut self,
        flash: &mut F,
        configuration: &Configuration,
    ) -> Result<(), StoreError> {
        if self.kept.configuration == *configuration {
            return Ok(());
        }
        let kept = Kept { configuration: configuration.clone(), ..self.kept.clone() };
        self.settings.save(flash, &kept)?;
        self.kept = kept;
        Ok(())
    }

    /// Begins to forget all records; from then on a power cut does not bring any back. Gives how many sectors
    /// [`Store::erase_next`] has to erase.
    ///
    /// # Errors
    /// [`StoreError`]; nothing is erased then.
    pub fn begin_erasing<F: NorFlash>(&mut self, flash: &mut F) -> Result<u32, StoreError> {
        let kept = Kept { erase_sectors: self.log.used_sectors(), ..self.kept.clone() };
        self.settings.save(flash, &kept)?;
        self.kept = kept;
        Ok(self.kept.erase_sectors)
    }

    /// Erases the sector before `sector`, counted from the log's first; after the last, at 0, all is done.
    ///
    /// # Errors
    /// [`StoreError`]; the next boot tries again.
    pub fn erase_next<F: NorFlash>(&mut self, flash: &mut F, sector: u32) -> Result<(), StoreError> {
        if let Some(sector) = sector.checked_sub(1) {
            return self.log.erase_sector(flash, sector);
        }
        let kept = Kept { erase_sectors: 0, ..self.kept.clone() };
        self.settings.save(flash, &kept)?;
        self.kept = kept;
        self.log.find_end(flash)
    }
}

/// Whether a flash holds `bytes` at `at`.
fn holds<F: NorFlash>(flash: &mut F, at: u32, bytes: &[u8]) -> Result<bool, StoreError> {
    let mut back = [0; PIECE];
    let mut place = at;
    for piece in bytes.chunks(PIECE) {
        let back = back.get_mut(..piece.len()).ok_or(StoreError::Broken)?;
        flash.read(place, back).map_err(|_| StoreError::Broken)?;
        if back != piece {
            return Ok(false);
        }
        place = place.saturating_add(piece.len() as u32);
    }
    Ok(true)
}

/// `bytes` up to the next whole word.
const fn padded(bytes: usize) -> usize {
    bytes.div_ceil(WORD) * WORD
}
