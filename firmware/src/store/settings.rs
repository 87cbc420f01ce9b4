//! Two slots, each with everything that is kept: the newer sound one holds, and only the other is ever erased or written. So
//! whatever power cut leaves in one, the other still says what was kept before.
//!
//! A slot is `mark (4) | length of the content (4) | generation (4) | CRC-32 over length, generation and content (4) | content`,
//! numbers lowest byte first, the content in the postcard format.

use embedded_storage::nor_flash::NorFlash;
use hingeline_protocol::frame::{check, read_value, write_value};
use serde::{Deserialize, Serialize};

use super::{StoreError, WORD, holds, padded};
use crate::config::Configuration;

/// Slots, each one erase sector, from the memory's start.
pub const SLOTS: u32 = 2;
/// Most bytes of a slot: 32 sensors with long names.
pub const SLOT_BYTES: usize = 3072;
/// Begins a slot. The last digit is the format's version.
const MARK: u32 = u32::from_le_bytes(*b"hln1");

/// In place of a number of sectors: which of them hold something is not known.
pub const UNKNOWN: u32 = u32::MAX;

/// What is kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    /// How often the logger has booted.
    pub boot_count: u32,
    /// Sectors of the log, from its first, whose erasure was begun and not ended; 0 = none; [`UNKNOWN`] = to be looked at.
    pub erase_sectors: u32,
    /// What the host configured.
    pub configuration: Configuration,
}

impl Kept {
    /// Of a memory that was never used: nobody knows what its log holds.
    pub const fn unused() -> Self {
        Self { boot_count: 0, erase_sectors: UNKNOWN, configuration: Configuration::new() }
    }
}

/// Where the settings are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// The slot that holds.
    slot: u32,
    /// It counts what was saved.
    generation: u32,
}

/// Reads the settings that hold; none if neither slot is sound.
///
/// # Errors
/// [`StoreError::Broken`] if the memory cannot be read.
pub fn load<F: NorFlash>(flash: &mut F) -> Result<(Settings, Option<Kept>), StoreError> {
    // Without any, the first to be written is slot 0.
    let mut best = (Settings { slot: 1, generation: 0 }, None);
    for slot in 0..SLOTS {
        if let Some((generation, kept)) = read(flash, slot)?
            && (best.1.is_none() || generation > best.0.generation)
        {
            best = (Settings { slot, generation }, Some(kept));
        }
    }
    Ok(best)
}

fn read<F: NorFlash>(flash: &mut F, slot: u32) -> Result<Option<(u32, Kept)>, StoreError> {
    let mut bytes = [0; SLOT_BYTES];
    let start = slot * F::ERASE_SIZE as u32;
    let (head, rest) = bytes.split_at_mut(WORD);
    flash.read(start, head).map_err(|_| StoreError::Broken)?;
    // No more than there is: some memories are slow to read.
    if let Some(content) = length_of_content(head).and_then(|length| rest.get_mut(..length)) {
        flash.read(start + WORD as u32, content).map_err(|_| StoreError::Broken)?;
    }
    Ok(parse(&bytes))
}

/// Bytes of a slot's content, padded, as its head says; none if that is no head.
fn length_of_content(head: &[u8]) -> Option<usize> {
    let [mark, length] = [0, 4].map(|at| head.get(at..)?.first_chunk().copied().map(u32::from_le_bytes));
    (mark? == MARK).then_some(padded(usize::try_from(length?).ok()?.min(SLOT_BYTES)))
}

fn parse(bytes: &[u8]) -> Option<(u32, Kept)> {
    let word = |at: usize| bytes.get(at..)?.first_chunk().copied().map(u32::from_le_bytes);
    let (length, generation) = (word(4)?, word(8)?);
    let content = bytes.get(WORD..)?.get(..length as usize)?;
    if word(0)? != MARK || word(12)? != sum(length, generation, content) {
        return None;
    }
    Some((generation, read_value(content).ok()?))
}

fn sum(length: u32, generation: u32, content: &[u8]) -> u32 {
    // The wire's check over each part, and over those.
    let mut parts = [0; 12];
    let words = [length, generation, check(content)];
    parts.iter_mut().zip(words.iter().flat_map(|word| word.to_le_bytes())).for_each(|(at, byte)| *at = byte);
    check(&parts)
}

impl Settings {
    /// Keeps `kept` in the slot that does not hold now, and reads it back before it holds.
    ///
    /// # Errors
    /// [`StoreError::Broken`] if the memory refuses or gives back something else: what was kept before still holds.
    pub fn save<F: NorFlash>(&mut self, flash: &mut F, kept: &Kept) -> Result<(), StoreError> {
        let next = Self { slot: (self.slot + 1) % SLOTS, generation: self.generation.saturating_add(1) };
        let mut bytes = [0; SLOT_BYTES];
        let content = bytes.get_mut(WORD..).ok_or(StoreError::Broken)?;
        let length = write_value(kept, content).map_err(|_| StoreError::Broken)?;
        let check = sum(length as u32, next.generation, content.get(..length).unwrap_or(&[]));
        let head = [MARK, length as u32, next.generation, check];
        bytes
            .iter_mut()
            .zip(head.iter().flat_map(|word| word.to_le_bytes()))
            .for_each(|(at, byte)| *at = byte);
        let bytes = bytes.get(..padded(WORD + length)).ok_or(StoreError::Broken)?;
        let start = next.slot * F::ERASE_SIZE as u32;
        flash.erase(start, start + F::ERASE_SIZE as u32).map_err(|_| StoreError::Broken)?;
        flash.write(start, bytes).map_err(|_| StoreError::Broken)?;
        if !holds(flash, start, bytes)? {
            return Err(StoreError::Broken);
        }
        *self = next;
        Ok(())
    }
}
