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

/// Pieces of a memory that was never used which are looked at in one go: a millisecond or two.
const LOOKED_AT_ONCE: u32 = 8;

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
    /// The log of records. It takes and gives none before the store is settled.
    pub log: Log,
    /// What is left to do before that.
    unsettled: Option<Unsettled>,
}

/// What is to be done with the log before it may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unsettled {
    /// The memory was never used and holds whatever it was made with. It is looked through backwards; this piece is next.
    Looking(u32),
    /// So many sectors are to be erased, the last of them first.
    Erasing(u32),
}

impl Store {
    /// Opens the memory at boot and counts the boot. That reads some bytes of each sector and writes the settings, so that it is
    /// soon done; what takes longer is left to [`Store::settle`]: to end an erasure that a power cut broke off, and to erase a
    /// memory that was never used where it is not empty.
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
        let mut kept = kept.unwrap_or_else(Kept::unused);
        kept.boot_count = kept.boot_count.saturating_add(1);
        settings.save(flash, &kept)?;
        let unsettled = match kept.erase_sectors {
            0 => {
                log.find_end(flash)?;
                None
            }
            settings::UNKNOWN => Some(Unsettled::Looking(log.pieces())),
            sectors => Some(Unsettled::Erasing(sectors.min(log.sectors()))),
        };
        Ok(Self { settings, kept, log, unsettled })
    }

    /// Whether the log may be used.
    pub const fn is_settled(&self) -> bool {
        self.unsettled.is_none()
    }

    /// Does a piece of what is left to do before the log may be used: looks at some pieces of the memory, or erases a sector. Not
    /// while sampling.
    ///
    /// # Errors
    /// [`StoreError`]; the next boot tries again.
    pub fn settle<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        match self.unsettled {
            None => Ok(()),
            Some(Unsettled::Looking(_)) => {
                for _ in 0..LOOKED_AT_ONCE {
                    if let Some(Unsettled::Looking(pieces)) = self.unsettled {
                        self.look(flash, pieces)?;
                    }
                }
                Ok(())
            }
            Some(Unsettled::Erasing(sectors)) => {
                self.erase_next(flash, sectors)?;
                self.unsettled = sectors.checked_sub(1).map(Unsettled::Erasing);
                Ok(())
            }
        }
    }

    /// Looks at the last of so many pieces.
    fn look<F: NorFlash>(&mut self, flash: &mut F, pieces: u32) -> Result<(), StoreError> {
        let Some(last) = pieces.checked_sub(1) else {
            return self.begin_settling_by_erasure(flash, 0);
        };
        match self.log.sector_in_use(flash, last)? {
            // All below is erased, looked at or not: a power cut in an erasure leaves what looks empty and is not.
            Some(sector) => self.begin_settling_by_erasure(flash, sector + 1),
            None => {
                self.unsettled = Some(Unsettled::Looking(last));
                Ok(())
            }
        }
    }

    fn begin_settling_by_erasure<F: NorFlash>(
        &mut self,
        flash: &mut F,
        sectors: u32,
    ) -> Result<(), StoreError> {
        if sectors > 0 {
            self.keep_erasure(flash, sectors)?;
        }
        self.unsettled = Some(Unsettled::Erasing(sectors));
        Ok(())
    }

    /// Keeps how many sectors are to be erased.
    fn keep_erasure<F: NorFlash>(&mut self, flash: &mut F, sectors: u32) -> Result<(), StoreError> {
        let kept = Kept { erase_sectors: sectors, ..self.kept.clone() };
        self.settings.save(flash, &kept)?;
        self.kept = kept;
        Ok(())
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
        let sectors = self.log.used_sectors();
        self.keep_erasure(flash, sectors)?;
        Ok(sectors)
    }

    /// Erases the sector before `sector`, counted from the log's first; after the last, at 0, all is done.
    ///
    /// # Errors
    /// [`StoreError`]; the next boot tries again.
    pub fn erase_next<F: NorFlash>(&mut self, flash: &mut F, sector: u32) -> Result<(), StoreError> {
        if let Some(sector) = sector.checked_sub(1) {
            return self.log.erase_sector(flash, sector);
        }
        self.keep_erasure(flash, 0)?;
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
