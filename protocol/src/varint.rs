//! Variable-length integers and zig-zag, as in the postcard format: seven bits a byte, lowest first, top bit set on all
//! but the last byte; signed numbers are mapped to unsigned ones so that small magnitudes stay short.

/// Most bytes of a 16-bit integer.
pub const MAX_U16: usize = 3;
/// Most bytes of a 32-bit integer.
pub const MAX_U32: usize = 5;
/// Most bytes of a signed 32-bit integer.
pub const MAX_I32: usize = MAX_U32;
/// Most bytes of a 64-bit integer.
pub const MAX_U64: usize = 10;

/// 0, −1, 1, −2, … → 0, 1, 2, 3, …
pub const fn zigzag(value: i64) -> u64 {
    ((value << 1) ^ (value >> 63)) as u64
}

/// The inverse of [`zigzag`].
pub const fn unzigzag(code: u64) -> i64 {
    (code >> 1) as i64 ^ -((code & 1) as i64)
}

/// Gives the bytes of `value` one after another to `put`, and stops at its first error.
pub fn write<E>(mut value: u64, mut put: impl FnMut(u8) -> Result<(), E>) -> Result<(), E> {
    while value >= 0x80 {
        put(value as u8 | 0x80)?;
        value >>= 7;
    }
    put(value as u8)
}

/// How many bytes [`write`] gives for `value`.
pub const fn length(value: u64) -> usize {
    let mut rest = value >> 7;
    let mut bytes = 1;
    while rest > 0 {
        rest >>= 7;
        bytes += 1;
    }
    bytes
}

/// Reads an integer of at most `bits` bits (16, 32 or 64) from the front of `bytes`; gives it and the rest.
///
/// `None` if the bytes end too early, run on beyond the longest form, or hold a larger number.
pub fn read(bytes: &[u8], bits: u32) -> Option<(u64, &[u8])> {
    let mut value = 0;
    let mut shift = 0;
    let mut rest = bytes;
    while shift < bits {
        let (&byte, after) = rest.split_first()?;
        rest = after;
        let part = u64::from(byte & 0x7f);
        let room = bits - shift;
        if room < 8 && u64::from(byte) >> room != 0 {
            return None;
        }
        value |= part << shift;
        if byte & 0x80 == 0 {
            return Some((value, rest));
        }
        shift += 7;
    }
    None
}
