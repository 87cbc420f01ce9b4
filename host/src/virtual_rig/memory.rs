//! The memory of the native virtual logger: a flash in name, without its troubles (those are the firmware's own tests').

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

/// 1.5 MiB, as a small board's flash leaves them: some twenty minutes of twelve channels.
const BYTES: usize = 3 << 19;

/// The memory.
#[derive(Debug, Clone)]
pub struct Memory(Vec<u8>);

impl Default for Memory {
    fn default() -> Self {
        Self(vec![0xff; BYTES])
    }
}

impl Memory {
    fn range(&mut self, offset: u32, length: usize) -> Result<&mut [u8], NorFlashErrorKind> {
        let from = offset as usize;
        self.0.get_mut(from..from + length).ok_or(NorFlashErrorKind::OutOfBounds)
    }
}

impl ErrorType for Memory {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Memory {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        bytes.copy_from_slice(self.range(offset, bytes.len())?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Memory {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        self.range(from, (to - from) as usize)?.fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        // Bits only go down.
        self.range(offset, bytes.len())?.iter_mut().zip(bytes).for_each(|(at, byte)| *at &= byte);
        Ok(())
    }
}
