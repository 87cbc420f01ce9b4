//! The board's memory: an FRAM of 128 KiB on a bus of its own, written like a flash. Data sheet: Fujitsu MB85RC1MT (two device
//! addresses of 64 KiB each; byte write and sequential read).

use embedded_hal::i2c::{I2c, Operation};
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use hingeline_firmware::store::PIECE;

/// First of its device addresses; each holds so many bytes.
const ADDRESS: u8 = 0x50;
const HALF: u32 = 1 << 16;
/// Bytes of both.
const CAPACITY: usize = 2 * HALF as usize;

/// The memory.
pub struct Fram<B>(pub B);

impl<B: I2c> Fram<B> {
    /// Device address and pointer of a byte. Pieces start on their own multiples, so that none crosses to the other half.
    fn place(offset: u32) -> (u8, [u8; 2]) {
        (ADDRESS + (offset / HALF) as u8, ((offset % HALF) as u16).to_be_bytes())
    }

    fn put(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let mut at = offset;
        for piece in bytes.chunks(PIECE) {
            let (address, pointer) = Self::place(at);
            let written =
                self.0.transaction(address, &mut [Operation::Write(&pointer), Operation::Write(piece)]);
            written.map_err(|_| NorFlashErrorKind::Other)?;
            at += piece.len() as u32;
        }
        Ok(())
    }
}

impl<B> ErrorType for Fram<B> {
    type Error = NorFlashErrorKind;
}

impl<B: I2c> ReadNorFlash for Fram<B> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        let mut at = offset;
        for piece in bytes.chunks_mut(PIECE) {
            let (address, pointer) = Self::place(at);
            self.0.write_read(address, &pointer, piece).map_err(|_| NorFlashErrorKind::Other)?;
            at += piece.len() as u32;
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        CAPACITY
    }
}

impl<B: I2c> NorFlash for Fram<B> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        (from..to).step_by(PIECE).try_for_each(|at| self.put(at, &[0xff; PIECE]))
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        self.put(offset, bytes)
    }
}
