//! MB85RC1MT as 64 KiB behind one of its two device addresses. Data sheet: Fujitsu MB85RC1MT (byte write, sequential read).

use super::{Part, Surroundings};

/// Bytes behind one device address.
const BYTES: usize = 1 << 16;

/// Half of the part: FRAM, written at once and as often as one likes. It keeps what it has without power.
#[derive(Debug, Clone)]
pub struct Fram {
    bytes: Vec<u8>,
    pointer: u16,
}

impl Default for Fram {
    fn default() -> Self {
        Self { bytes: vec![0xff; BYTES], pointer: 0 }
    }
}

impl Part for Fram {
    fn write(&mut self, _: u64, bytes: &[u8], _: &mut dyn Surroundings) {
        let Some((pointer, bytes)) = bytes.split_first_chunk() else { return };
        self.pointer = u16::from_be_bytes(*pointer);
        for byte in bytes {
            if let Some(at) = self.bytes.get_mut(usize::from(self.pointer)) {
                *at = *byte;
            }
            self.pointer = self.pointer.wrapping_add(1);
        }
    }

    fn read(&mut self, _: u64, bytes: &mut [u8], _: &mut dyn Surroundings) {
        for byte in bytes {
            *byte = self.bytes.get(usize::from(self.pointer)).copied().unwrap_or(0xff);
            self.pointer = self.pointer.wrapping_add(1);
        }
    }

    fn power_up(&mut self, _: u64) {
        self.pointer = 0;
    }
}
