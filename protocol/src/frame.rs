//! Frames: `COBS(major version, message, CRC-32) 00`, both directions.
//!
//! The CRC is CRC-32/ISO-HDLC over version and message, sent lowest byte first.

use core::marker::PhantomData;

use crc::{CRC_32_ISO_HDLC, Crc, Digest};
use serde::{Deserialize, Serialize};

use crate::cobs::{Stuffer, Unstuffer};
use crate::message::{DeviceMessage, HostMessage, StoredRecord};
use crate::reader::{ReadError, Reader};
use crate::sizes::{MAX_FRAME, MAX_STORED};
use crate::version::MAJOR;
use crate::writer::{Sink, SliceSink, WriteError, Writer};

/// The check over every frame.
static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Bytes of the check.
const CRC_BYTES: usize = 4;

/// The check over `bytes`: CRC-32/ISO-HDLC.
pub fn check(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}

/// Writes any value in the postcard format, without frame or check, and gives how many bytes it took.
///
/// # Errors
/// [`WriteError::Full`] if `out` is too short, [`WriteError::NotOnTheWire`] for what has no form there.
pub fn write_value<T: Serialize>(value: &T, out: &mut [u8]) -> Result<usize, WriteError> {
    let mut sink = SliceSink::new(out);
    value.serialize(Writer(&mut sink))?;
    Ok(sink.used)
}

/// Reads a value that [`write_value`] wrote; bytes after it are left alone.
///
/// # Errors
/// [`ReadError`] if it is none.
pub fn read_value<'de, T: Deserialize<'de>>(bytes: &'de [u8]) -> Result<T, ReadError> {
    T::deserialize(&mut Reader(bytes))
}

/// A message of either direction.
pub trait WireMessage: Serialize + Sized {
    /// Kinds that this version knows; a kind number is below it.
    const KINDS: u32;

    /// Reads a message's bytes (no version, no CRC).
    ///
    /// # Errors
    /// [`DecodeError`] if the bytes are not one known message exactly.
    fn decode(bytes: &[u8]) -> Result<Self, DecodeError>;

    /// Writes a message's bytes (no version, no CRC) and gives how many.
    ///
    /// # Errors
    /// [`WriteError::Full`] if `out` is too short.
    fn encode(&self, out: &mut [u8]) -> Result<usize, WriteError> {
        write_value(self, out)
    }
}

/// A frame's CRC holds but its message cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecodeError {
    /// A message kind, event kind or length that a newer sender has and this reader has not.
    Unknown,
    /// The content ends too early or is no valid content.
    Malformed,
    /// Bytes follow the message.
    LeftOver,
}

impl core::fmt::Display for DecodeError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Unknown => "the message is of a kind that this version does not know",
            Self::Malformed => "the message is malformed",
            Self::LeftOver => "bytes follow the message",
        })
    }
}

impl core::error::Error for DecodeError {}

impl WireMessage for HostMessage {
    const KINDS: u32 = 11;

    fn decode(bytes: &[u8]) -> Result<Self, DecodeError> {
        let mut reader = Reader(bytes);
        let message = Self::deserialize(&mut reader).map_err(|error| match error {
            ReadError::Unknown => DecodeError::Unknown,
            ReadError::CutShort | ReadError::Malformed => DecodeError::Malformed,
        })?;
        if reader.0.is_empty() { Ok(message) } else { Err(DecodeError::LeftOver) }
    }
}

impl WireMessage for DeviceMessage {
    const KINDS: u32 = 10;

    fn decode(bytes: &[u8]) -> Result<Self, DecodeError> {
        let (message, rest) = postcard::take_from_bytes(bytes).map_err(|error| match error {
            // What serde itself refuses: a variant's number or a length beyond the type.
            postcard::Error::SerdeDeCustom => DecodeError::Unknown,
            _ => DecodeError::Malformed,
        })?;
        if rest.is_empty() { Ok(message) } else { Err(DecodeError::LeftOver) }
    }
}

impl StoredRecord {
    /// The message that was stored.
    ///
    /// # Errors
    /// [`DecodeError`] if the record is not one known message exactly.
    pub fn decode(&self) -> Result<DeviceMessage, DecodeError> {
        DeviceMessage::decode(&self.message)
    }

    /// A record that holds `message`.
    ///
    /// # Errors
    /// [`WriteError::Full`] for a message longer than a record, which only another record is.
    pub fn new(index: u32, total: u32, boot_count: u32, message: &DeviceMessage) -> Result<Self, WriteError> {
        let mut bytes = [0; MAX_STORED];
        let used = message.encode(&mut bytes)?;
        let written = bytes.get(..used).ok_or(WriteError::Full)?;
        let message = heapless::Vec::from_slice(written).map_err(|_| WriteError::Full)?;
        Ok(Self { index, total, boot_count, message })
    }
}

/// Writes `message` as a whole frame, delimiter included, and gives how many bytes it took.
///
/// # Errors
/// [`WriteError::Full`] if `out` is shorter than the frame; [`crate::sizes::MAX_WIRE`] always suffices.
pub fn encode_frame<M: WireMessage>(message: &M, out: &mut [u8]) -> Result<usize, WriteError> {
    let mut sink = FrameSink { stuffer: Stuffer::new(out), digest: CRC.digest() };
    sink.push(MAJOR)?;
    message.serialize(Writer(&mut sink))?;
    sink.finish()
}

/// Bytes into a slice, checked and stuffed on the way.
struct FrameSink<'a> {
    stuffer: Stuffer<'a>,
    digest: Digest<'static, u32>,
}

impl FrameSink<'_> {
    fn finish(mut self) -> Result<usize, WriteError> {
        for byte in self.digest.finalize().to_le_bytes() {
            self.stuffer.push(byte)?;
        }
        self.stuffer.finish()
    }
}

impl Sink for FrameSink<'_> {
    fn push(&mut self, byte: u8) -> Result<(), WriteError> {
        self.digest.update(&[byte]);
        self.stuffer.push(byte)
    }
}

/// What a decoder has seen. Every byte belongs to a frame that was delivered, or is a delimiter that ends nothing, or is
/// counted in `dropped_bytes`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct FrameCounts {
    /// Frames delivered as messages.
    pub frames: u32,
    /// Bytes, delimiters included, that did not become a message.
    pub dropped_bytes: u64,
    /// 1 if what came before the first delimiter was no frame: the receiver joined in the middle of one.
    pub joined_inside: u32,
    /// Frames whose check failed, or too short to have one.
    pub bad_crc: u32,
    /// Frames that were no COBS.
    pub bad_cobs: u32,
    /// Frames longer than any message.
    pub oversize: u32,
    /// Frames of another major version.
    pub other_major: u32,
    /// Sound frames of a kind that this version does not know.
    pub unknown_kinds: u32,
    /// Sound frames whose message made no sense.
    pub malformed: u32,
    /// Sound frames with bytes after the message.
    pub left_over: u32,
}

impl FrameCounts {
    /// Frames that were not delivered, for whatever reason other than an unknown kind.
    pub fn refused(&self) -> u32 {
        [self.bad_crc, self.bad_cobs, self.oversize, self.other_major, self.malformed, self.left_over]
            .into_iter()
            .fold(0, u32::saturating_add)
    }
}

/// What a frame turned out to be.
#[derive(Debug, Clone, PartialEq)]
pub enum Received<M> {
    /// A message.
    Message(M),
    /// The other end speaks another major version; say so and stop.
    OtherMajor(u8),
}

/// Takes bytes in pieces of any size and gives messages.
///
/// It may begin in the middle of a frame. After anything wrong it goes on at the next delimiter; the frame that follows
/// is not lost. It delivers nothing whose CRC does not hold.
#[derive(Debug, Clone)]
pub struct FrameDecoder<M, const N: usize = MAX_FRAME> {
    buffer: [u8; N],
    used: usize,
    /// Bytes since the last delimiter.
    raw_bytes: u64,
    unstuffer: Unstuffer,
    overflowed: bool,
    synchronised: bool,
    counts: FrameCounts,
    message: PhantomData<M>,
}

impl<M: WireMessage, const N: usize> Default for FrameDecoder<M, N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<M: WireMessage, const N: usize> FrameDecoder<M, N> {
    /// A decoder that has seen nothing.
    pub const fn new() -> Self {
        Self {
            buffer: [0; N],
            used: 0,
            raw_bytes: 0,
            unstuffer: Unstuffer::new(),
            overflowed: false,
            synchronised: false,
            counts: FrameCounts {
                frames: 0,
                dropped_bytes: 0,
                joined_inside: 0,
                bad_crc: 0,
                bad_cobs: 0,
                oversize: 0,
                other_major: 0,
                unknown_kinds: 0,
                malformed: 0,
                left_over: 0,
            },
            message: PhantomData,
        }
    }

    /// What was delivered and dropped so far.
    pub const fn counts(&self) -> &FrameCounts {
        &self.counts
    }

    /// Takes `bytes` and calls `deliver` with each message that they complete.
    pub fn feed(&mut self, bytes: &[u8], mut deliver: impl FnMut(Received<M>)) {
        for &byte in bytes {
            if let Some(received) = self.push(byte) {
                deliver(received);
            }
        }
    }

    /// Takes one byte and gives the message that it completes, if it does.
    pub fn push(&mut self, byte: u8) -> Option<Received<M>> {
        self.raw_bytes = self.raw_bytes.saturating_add(1);
        if byte != 0 {
            if let Some(original) = self.unstuffer.push(byte) {
                self.keep(original);
            }
            return None;
        }
        let received = self.end_of_frame();
        let lone_delimiter = self.unstuffer.is_empty();
        if !lone_delimiter && !matches!(received, Some(Received::Message(_))) {
            self.counts.dropped_bytes = self.counts.dropped_bytes.saturating_add(self.raw_bytes);
        }
        self.used = 0;
        self.raw_bytes = 0;
        self.unstuffer = Unstuffer::new();
        self.overflowed = false;
        self.synchronised = true;
        received
    }

    fn keep(&mut self, byte: u8) {
        match self.buffer.get_mut(self.used) {
            Some(at) => {
                *at = byte;
                self.used = self.used.saturating_add(1);
            }
            None => self.overflowed = true,
        }
    }

    fn end_of_frame(&mut self) -> Option<Received<M>> {
        if self.unstuffer.is_empty() {
            return None;
        }
        match self.open_frame() {
            Ok(received) => Some(received),
            Err(refusal) => {
                let count = match refusal {
                    // The tail of a frame whose head went by before the receiver listened is not the line's fault.
                    Refusal::Oversize | Refusal::BadCobs | Refusal::BadCrc if !self.synchronised => {
                        &mut self.counts.joined_inside
                    }
                    Refusal::Oversize => &mut self.counts.oversize,
                    Refusal::BadCobs => &mut self.counts.bad_cobs,
                    Refusal::BadCrc => &mut self.counts.bad_crc,
                    Refusal::Content(DecodeError::Unknown) => &mut self.counts.unknown_kinds,
                    Refusal::Content(DecodeError::Malformed) => &mut self.counts.malformed,
                    Refusal::Content(DecodeError::LeftOver) => &mut self.counts.left_over,
                };
                *count = count.saturating_add(1);
                None
            }
        }
    }

    fn open_frame(&mut self) -> Result<Received<M>, Refusal> {
        if self.overflowed {
            return Err(Refusal::Oversize);
        }
        if !self.unstuffer.is_whole() {
            return Err(Refusal::BadCobs);
        }
        let frame = self.buffer.get(..self.used).ok_or(Refusal::Oversize)?;
        let (content, check) = frame
            .len()
            .checked_sub(CRC_BYTES)
            .and_then(|at| frame.split_at_checked(at))
            .ok_or(Refusal::BadCrc)?;
        if self::check(content).to_le_bytes() != check {
            return Err(Refusal::BadCrc);
        }
        let (&major, message) = content.split_first().ok_or(Refusal::BadCrc)?;
        if major != MAJOR {
            self.counts.other_major = self.counts.other_major.saturating_add(1);
            return Ok(Received::OtherMajor(major));
        }
        let message = M::decode(message).map_err(Refusal::Content)?;
        self.counts.frames = self.counts.frames.saturating_add(1);
        Ok(Received::Message(message))
    }
}

/// Why a frame was not delivered.
enum Refusal {
    Oversize,
    BadCobs,
    BadCrc,
    Content(DecodeError),
}
