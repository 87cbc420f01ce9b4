//! Consistent overhead byte stuffing: makes a frame free of zeros, so that a zero can end it.
//!
//! A frame is cut into groups. Each begins with a code byte, its length counting that byte; a zero follows each group in
//! the original, except after the last one and after a group of the full length 255. (S. Cheshire and M. Baker, 1999.)

use crate::writer::WriteError;

/// The code of a group that has no zero behind it.
const FULL: u8 = 0xff;

/// Stuffs bytes into a slice.
#[derive(Debug)]
pub struct Stuffer<'a> {
    out: &'a mut [u8],
    /// Where the open group's code stands.
    code_at: usize,
    /// The open group's code so far.
    code: u8,
    used: usize,
}

impl<'a> Stuffer<'a> {
    /// Begins a frame at the start of `out`.
    pub fn new(out: &'a mut [u8]) -> Self {
        Self { out, code_at: 0, code: 1, used: 1 }
    }

    /// Adds one byte.
    ///
    /// # Errors
    /// [`WriteError::Full`] if it does not fit.
    pub fn push(&mut self, byte: u8) -> Result<(), WriteError> {
        if self.code == FULL {
            self.close_group()?;
        }
        if byte == 0 {
            return self.close_group();
        }
        self.put(self.used, byte)?;
        self.used = self.used.saturating_add(1);
        self.code = self.code.saturating_add(1);
        Ok(())
    }

    /// Ends the frame with its delimiter and gives its length, the delimiter included.
    ///
    /// # Errors
    /// [`WriteError::Full`] if it does not fit.
    pub fn finish(mut self) -> Result<usize, WriteError> {
        self.put(self.code_at, self.code)?;
        self.put(self.used, 0)?;
        Ok(self.used.saturating_add(1))
    }

    fn put(&mut self, at: usize, byte: u8) -> Result<(), WriteError> {
        *self.out.get_mut(at).ok_or(WriteError::Full)? = byte;
        Ok(())
    }

    fn close_group(&mut self) -> Result<(), WriteError> {
        self.put(self.code_at, self.code)?;
        self.code_at = self.used;
        self.code = 1;
        self.used = self.used.saturating_add(1);
        Ok(())
    }
}

/// Takes the bytes of a frame one by one, the delimiter excepted, and gives the original ones.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unstuffer {
    /// The open group's code; 0 before the first.
    code: u8,
    /// Bytes of the open group still to come.
    left: u8,
}

impl Unstuffer {
    /// At the start of a frame.
    pub const fn new() -> Self {
        Self { code: 0, left: 0 }
    }

    /// Takes a byte other than zero; gives an original byte if this completes one.
    pub fn push(&mut self, byte: u8) -> Option<u8> {
        if let Some(left) = self.left.checked_sub(1) {
            self.left = left;
            return Some(byte);
        }
        let zero_before = self.code != 0 && self.code != FULL;
        self.code = byte;
        self.left = byte.saturating_sub(1);
        zero_before.then_some(0)
    }

    /// Whether nothing has come yet.
    pub const fn is_empty(&self) -> bool {
        self.code == 0
    }

    /// Whether the frame may end here: its last group is whole.
    pub const fn is_whole(&self) -> bool {
        self.left == 0
    }
}
