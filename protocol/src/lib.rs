//! The wire between a logger and its host: one definition, used by both ends.
//!
//! A message is written in the postcard format, protected by a CRC-32, made free of zeros by COBS and ended by a
//! zero byte. `WIRE.md` beside this crate describes every byte, so that a client can be written from it alone.
//!
//! Nothing here allocates, does input or output, or reads a clock. What runs on the logger (everything except
//! [`DeviceMessage`]'s decoding) has no panic path.
#![no_std]

pub mod block;
pub mod channel;
pub mod cobs;
mod code;
pub mod frame;
pub mod loss;
pub mod message;
mod reader;
pub mod sizes;
pub mod varint;
pub mod version;
mod writer;

pub use block::{BlockEncoder, BlockError, PushError, Reading, SampleBlock, Scan};
pub use channel::{
    Channel, Component, MAX_CHANNELS, MAX_GROUPS, MAX_SENSORS, MuxPort, Quantity, SensorConfig, Unit,
};
pub use frame::{DecodeError, FrameCounts, FrameDecoder, Received, WireMessage, encode_frame};
pub use loss::LossCounter;
pub use message::{
    BusScan, DeviceMessage, Event, EventKind, HostMessage, Identity, LastWords, LostReason, Outcome, Pong,
    Press, Reply, ResetCause, Status, StoredRecord,
};
pub use reader::ReadError;
pub use version::{MAJOR, MINOR};
pub use writer::WriteError;
