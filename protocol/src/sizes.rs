//! Size budgets, asserted when the crate is compiled.

use core::mem::size_of;

use crate::block::BlockEncoder;
use crate::channel::MAX_CHANNELS;
use crate::frame::FrameDecoder;
use crate::message::{DeviceMessage, HostMessage};
use crate::varint::{MAX_I32, MAX_U16, MAX_U32, MAX_U64};

/// Most bytes of coded readings in a block.
///
/// 512 bytes hold 17 scans of 12 channels at 29 bytes: at 200 Hz a block leaves every 85 ms at the latest, and a bit error
/// costs no more than that.
pub const MAX_PAYLOAD: usize = 512;

/// Most bytes of a message in the postcard format, either direction.
pub const MAX_MESSAGE: usize = 576;

/// Most bytes of a message that can be kept in a [`crate::StoredRecord`].
pub const MAX_STORED: usize = 556;

/// Most bytes of a frame before COBS: major version, message, CRC.
pub const MAX_FRAME: usize = 1 + MAX_MESSAGE + 4;

/// Most bytes of a frame on the line: COBS adds one byte per 254 begun, and the delimiter one.
pub const MAX_WIRE: usize = MAX_FRAME + MAX_FRAME / 254 + 1 + 1;

/// Most bytes of a frame from the host before COBS: a short buffer serves the logger.
pub const MAX_HOST_FRAME: usize = 128;

/// A sensor's configuration: kind, index, name, part, bus, multiplexer, address, input, excitation, component, every and
/// three full scales.
const SENSOR_CONFIG: usize = 1 + 1 + (1 + 32) + (1 + 16) + 1 + 3 + 1 + 1 + 2 + 1 + 4 * MAX_U16;

/// Bytes of an exception's code, channel · 4 + tag.
const EXCEPTION_CODE: usize = 2;

/// Most bytes of one scan: the count of exceptions, one exception per channel and one for the whole, one value each.
pub const MAX_SCAN: usize = 1 + (MAX_CHANNELS + 1) * (EXCEPTION_CODE + MAX_I32) + MAX_CHANNELS * MAX_I32;

/// A block's content besides its readings: kind, sequence, group, first scan, time, period, mask, scans, length.
const BLOCK_HEAD: usize = 1 + MAX_U32 + 1 + MAX_U32 + MAX_U64 + MAX_U32 + MAX_U64 + 1 + MAX_U16;

/// A stored record's content besides its message: kind, index, total, boot count, length.
const RECORD_HEAD: usize = 1 + 3 * MAX_U32 + MAX_U16;

// Any single scan fits an empty block, so pushing into a fresh block cannot fail.
const _: () = assert!(MAX_SCAN <= MAX_PAYLOAD);
// Every block, and so every message worth keeping, can be stored.
const _: () = assert!(BLOCK_HEAD + MAX_PAYLOAD <= MAX_STORED);
// A stored record is the longest message; it still fits a frame.
const _: () = assert!(RECORD_HEAD + MAX_STORED <= MAX_MESSAGE);
// Masks are 64 bits wide; the count of exceptions fits one byte and an exception's code two.
const _: () = assert!(MAX_CHANNELS < 64 && MAX_CHANNELS * 4 < 1 << (7 * EXCEPTION_CODE));
// The logger keeps one message, one decoder and a block per group in RAM that also holds its stack: 64 KiB boards.
const _: () = assert!(size_of::<DeviceMessage>() <= 640);
const _: () = assert!(size_of::<HostMessage>() <= 96);
const _: () = assert!(size_of::<BlockEncoder>() <= 768);
const _: () = assert!(size_of::<FrameDecoder<HostMessage, { MAX_HOST_FRAME }>>() <= 224);
// The longest host message: a sensor's configuration with a full name and part.
const _: () = assert!(SENSOR_CONFIG <= MAX_HOST_FRAME - 1 - 4);
