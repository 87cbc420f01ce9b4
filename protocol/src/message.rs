//! Every message that travels, in both directions.
//!
//! The kind of a message is its place in the enumeration, written first. Append only; never reorder, never add a field
//! to a message that exists (an old reader would not notice the shift): add a new kind.

use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use crate::block::SampleBlock;
use crate::channel::{Channel, MuxPort, SensorConfig};
use crate::code::open_code;
use crate::sizes::MAX_STORED;

/// Logger to host.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(clippy::large_enum_variant, reason = "no allocator on the logger; one message exists at a time")]
pub enum DeviceMessage {
    /// Who the logger is. Answers [`HostMessage::Identify`] and is sent once after boot.
    Identity(Identity),
    /// One row of the channel table. All rows follow an identity and every start. A row may come again while
    /// streaming: it then holds for the blocks that follow.
    Channel(Channel),
    /// Readings.
    Samples(SampleBlock),
    /// Something happened.
    Event(Event),
    /// The answer to a host message.
    Reply(Reply),
    /// The answer to a ping.
    Pong(Pong),
    /// What answered on one bus or one multiplexer output.
    BusScan(BusScan),
    /// One record out of the logger's own store.
    Stored(StoredRecord),
    /// How the logger is doing, once a second.
    Status(Status),
    /// Where its program failed before it last reset. Follows every identity that gives a fault as the cause.
    LastWords(LastWords),
}

/// Host to logger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(clippy::large_enum_variant, reason = "no allocator on the logger; one message exists at a time")]
pub enum HostMessage {
    /// Who are you? Answered by an identity and the channel table, also while streaming.
    Identify,
    /// Forget all configured sensors.
    ClearSensors,
    /// Configure one sensor. Replied to; [`Outcome::Done`] or why not.
    SetSensor(SensorConfig),
    /// Time between scans, µs, and most scans in a block.
    SetRate {
        /// Time between scans, µs.
        period_us: u32,
        /// A block closes after so many scans; 0 = the logger's choice.
        scans_per_block: u8,
    },
    /// Begin to stream.
    Start,
    /// End streaming.
    Stop,
    /// The vehicle stands still from here on: the logger marks the instant by [`EventKind::Still`].
    Still,
    /// Are you there, and what is your time?
    Ping {
        /// The host's own time, µs; given back as it came.
        host_us: u64,
    },
    /// Look for devices on a bus and behind its multiplexers.
    ScanBus {
        /// Which bus.
        bus: u8,
    },
    /// Send what was stored. Ends with a reply whose detail is the number of records sent.
    FetchStored {
        /// First record wanted, from 0.
        first: u32,
        /// How many at most.
        count: u32,
    },
    /// Forget what was stored. Only while idle: erasing stalls the logger.
    EraseStored,
}

/// Who the logger is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    /// Major version of the wire.
    pub major: u8,
    /// Minor version of the wire.
    pub minor: u8,
    /// Version of the firmware.
    pub firmware: String<16>,
    /// The board.
    pub board: String<24>,
    /// The controller's unique number, as many bytes as it has.
    pub unique_id: Vec<u8, 16>,
    /// Which build of the firmware.
    pub build: String<40>,
    /// How often it has booted, this time included.
    pub boot_count: u32,
    /// Device time now: µs since boot.
    pub uptime_us: u64,
    /// Why it last reset.
    pub reset_cause: ResetCause,
    /// How many I²C buses it has.
    pub buses: u8,
    /// Rows in the channel table.
    pub channels: u8,
    /// Whether it streams now.
    pub streaming: bool,
    /// Records waiting in its store.
    pub stored: u32,
}

open_code! {
    /// Why the logger last reset.
    ResetCause {
        /// It does not know.
        Unknown = 0 "unknown",
        /// Power came on.
        PowerOn = 1 "power on",
        /// The reset pin.
        Pin = 2 "reset pin",
        /// The watchdog was not fed.
        Watchdog = 3 "watchdog",
        /// The supply fell too low.
        BrownOut = 4 "brown-out",
        /// Asked for by the firmware.
        Software = 5 "software",
        /// A processor fault or a panic.
        Fault = 6 "fault",
    }
}

/// Something that happened at an instant of device time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Event {
    /// Device time, µs.
    pub time_us: u64,
    /// What.
    pub kind: EventKind,
}

/// What happened. Append only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum EventKind {
    /// A sensor does not answer; the others go on and it is tried again every second.
    SensorLost {
        /// Which, see [`SensorConfig::index`].
        sensor: u8,
        /// Why it is taken for lost.
        reason: LostReason,
    },
    /// A lost sensor answers again.
    SensorFound {
        /// Which.
        sensor: u8,
    },
    /// Readings of a channel sat at the end of its range.
    Saturated {
        /// Which channel.
        channel: u8,
        /// Readings since the last such event.
        count: u32,
    },
    /// Scans were left out because the one before was not finished in time.
    Overrun {
        /// How many.
        scans: u32,
    },
    /// Messages were dropped because the line or the host did not keep up.
    QueueFull {
        /// How many.
        messages: u32,
    },
    /// Sent once after boot.
    Booted {
        /// Why.
        cause: ResetCause,
    },
    /// The supply is about to fail.
    SupplyLow {
        /// What was measured, mV.
        millivolts: u16,
    },
    /// The button on the logger: steps through a test's phases.
    Button {
        /// How it was pressed.
        press: Press,
    },
    /// The host's still mark.
    Still,
    /// A stuck bus was freed by clocking it.
    BusRecovered {
        /// Which bus.
        bus: u8,
    },
    /// A bus stays stuck.
    BusStuck {
        /// Which bus.
        bus: u8,
    },
    /// Streaming began; this is the first scan's start.
    Started,
    /// Streaming ended.
    Stopped,
    /// The store is full; recording without a host has ended.
    StoreFull,
}

open_code! {
    /// Why a sensor is taken for lost.
    LostReason {
        /// It does not acknowledge its address.
        NoAnswer = 0 "does not answer",
        /// Something else answers at its address.
        WrongPart = 1 "is another part",
        /// Its conversion did not finish in time.
        NotReady = 2 "does not get ready",
        /// Bus error, or arbitration lost.
        BusFault = 3 "bus fault",
        /// The part says that it cannot measure (an angle sensor without its magnet).
        NoSignal = 4 "has no signal",
    }
}

open_code! {
    /// How a button was pressed.
    Press {
        /// Shortly.
        Short = 0 "short",
        /// Held down.
        Long = 1 "long",
    }
}

/// The answer to a host message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reply {
    /// The kind number of the message answered.
    pub to: u8,
    /// What became of it.
    pub outcome: Outcome,
    /// Depends on the outcome; see there. 0 if it says nothing.
    pub detail: u32,
}

open_code! {
    /// What became of a host message.
    Outcome {
        /// Done. Detail: the sensor's index, or the number of records sent.
        Done = 0 "done",
        /// Only while idle: stop first.
        Streaming = 1 "not while streaming",
        /// The logger does not know the part. Detail: the sensor's index.
        UnknownPart = 2 "unknown part",
        /// No room for more sensors or channels. Detail: how many fit.
        TableFull = 3 "table full",
        /// A value is out of range. Detail: the sensor's index.
        BadValue = 4 "value out of range",
        /// No such bus. Detail: how many there are.
        NoSuchBus = 5 "no such bus",
        /// The scan does not fit the period. Detail: the shortest period, µs.
        TooFast = 6 "too fast",
        /// Nothing to stream: no sensor is configured.
        NoSensors = 7 "no sensors",
        /// This logger cannot do that.
        NotSupported = 8 "not supported",
        /// Sensors were not sent in order. Detail: the index expected.
        OutOfOrder = 9 "out of order",
        /// Two sensors use one input, or one device in two ways. Detail: the index of the other.
        Conflict = 10 "conflict",
        /// A bus is being searched.
        Busy = 11 "busy",
    }
}

/// Where a logger's program failed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastWords {
    /// The place in its source, as far as it is known.
    pub place: String<48>,
}

/// The answer to a ping.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pong {
    /// The host's time as it came.
    pub host_us: u64,
    /// Device time when the ping was handled, µs.
    pub device_us: u64,
}

/// What answered on a bus, or on one output of a multiplexer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct BusScan {
    /// Which bus.
    pub bus: u8,
    /// Behind which multiplexer's output; none = on the bus itself.
    pub mux: Option<MuxPort>,
    /// Addresses 0 to 63 that acknowledged, one bit each.
    pub low: u64,
    /// Addresses 64 to 127 that acknowledged, one bit each.
    pub high: u64,
}

impl BusScan {
    /// Whether `address` (7 bits) acknowledged.
    pub fn answered(&self, address: u8) -> bool {
        let half = if address < 64 { self.low } else { self.high };
        address < 128 && half >> (address & 63) & 1 == 1
    }

    /// Notes that `address` (7 bits) acknowledged.
    pub fn set_answered(&mut self, address: u8) {
        match address {
            0..64 => self.low |= 1 << address,
            64..128 => self.high |= 1 << (address & 63),
            _ => {}
        }
    }

    /// All addresses that acknowledged, rising.
    pub fn addresses(&self) -> impl Iterator<Item = u8> + '_ {
        (0..128).filter(|&address| self.answered(address))
    }
}

/// One record of what the logger kept by itself: a [`DeviceMessage`] as it would have been sent (an identity, the
/// channel table, then blocks and events), in the postcard format without version and CRC.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StoredRecord {
    /// Its place in the store, from 0.
    pub index: u32,
    /// Records in the store.
    pub total: u32,
    /// The boot during which it was made; device times restart with each.
    pub boot_count: u32,
    /// The message's bytes; read them with [`StoredRecord::decode`].
    pub message: Vec<u8, MAX_STORED>,
}

/// How the logger is doing. Counts are since boot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Device time, µs.
    pub uptime_us: u64,
    /// Whether it streams.
    pub streaming: bool,
    /// Sensors that do not answer now, one bit each.
    pub sensors_lost: u32,
    /// Scans left out.
    pub overrun_scans: u32,
    /// Messages dropped because the output queue was full.
    pub dropped_messages: u32,
    /// Transfers on a bus that failed.
    pub bus_errors: u32,
    /// Frames from the host that were refused, for whatever reason.
    pub refused_frames: u32,
    /// Frames from the host of a kind it does not know.
    pub unknown_kinds: u32,
}
