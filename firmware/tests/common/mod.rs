//! A bench on virtual time: buses whose parts have registers, a logger, and the host's end of the line.
//!
//! The parts return counts that tell when and at which input they were taken, so that a wrong stamp or a mixed-up input
//! shows: `count = time / 20 µs + input · 5000`, wrapped to 15 bits (655 ms).
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a bench for tests; each uses its own part of it"
)]

#[path = "../nor/mod.rs"]
pub mod nor;
mod wired;

pub use wired::*;

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use hingeline_firmware::store::Store;
use hingeline_firmware::{Logger, Recover};
use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::*;

/// One count of the marking is so long, µs.
pub const TICK_US: u64 = 20;
/// Inputs are so many counts apart.
pub const INPUT_COUNTS: u64 = 5000;

/// The count that a part gives for `input` at `time_us`.
pub fn marked(time_us: u64, input: u8) -> i16 {
    ((time_us / TICK_US + u64::from(input) * INPUT_COUNTS) % (1 << 15)) as i16
}

/// The instant nearest to `near_us` at which [`marked`] gives `raw`.
pub fn time_of(raw: i32, input: u8, near_us: u64) -> u64 {
    let ticks = (raw as u64 + (1 << 17) - u64::from(input) * INPUT_COUNTS) % (1 << 15);
    let near = near_us / TICK_US;
    let base = near - near % (1 << 15) + ticks;
    [base.wrapping_sub(1 << 15), base, base + (1 << 15)]
        .into_iter()
        .min_by_key(|&time| time.abs_diff(near))
        .unwrap()
        * TICK_US
}

/// Where a part hangs: address, and the multiplexer's output in between.
pub type Place = (u8, Option<MuxPort>);

/// A part's registers.
#[derive(Debug, Clone)]
pub enum Model {
    /// ADS1115: config, conversion register, when the running conversion began, pointer.
    Adc { config: u16, result: u16, began_us: Option<u64>, pointer: u8, clip: bool },
    /// AS5600: configuration, whether the magnet is there.
    Angle { conf: u16, magnet: bool },
    /// LSM6DSO: CTRL1_XL to CTRL3_C, when it was last read.
    Inertial { controls: [u8; 3], read_us: u64 },
    /// Something that only acknowledges and gives one byte.
    Other(u8),
}

impl Model {
    pub fn adc() -> Self {
        Self::Adc { config: 0x8583, result: 0, began_us: None, pointer: 0, clip: false }
    }

    pub fn angle() -> Self {
        Self::Angle { conf: 0, magnet: true }
    }

    pub fn inertial() -> Self {
        Self::Inertial { controls: [0, 0, 4], read_us: 0 }
    }

    fn write(&mut self, now_us: u64, bytes: &[u8]) {
        match (self, bytes) {
            (Self::Adc { config, began_us, pointer, .. }, [register, value @ ..]) => {
                *pointer = *register;
                if let (1, [high, low]) = (*register, value) {
                    *config = u16::from_be_bytes([*high, *low]) & 0x7fff;
                    // Begins a conversion, unless one goes on.
                    let busy = began_us.is_some_and(|began| now_us < began + 1163);
                    if high & 0x80 != 0 && !busy {
                        *began_us = Some(now_us);
                    }
                }
            }
            (Self::Angle { conf, .. }, [0x07, high, low]) => *conf = u16::from_be_bytes([*high, *low]),
            (Self::Inertial { controls, .. }, [first @ 0x10..=0x12, values @ ..]) => {
                for (register, value) in (*first..=0x12).zip(values) {
                    controls[usize::from(register - 0x10)] = *value;
                }
            }
            _ => {}
        }
    }

    fn read(&mut self, now_us: u64, pointer: u8, out: &mut [u8]) {
        let bytes: Vec<u8> = match self {
            Self::Adc { config, result, began_us, pointer, clip } => {
                let done = began_us.is_none_or(|began| now_us >= began + 1163);
                if let (true, Some(began)) = (done, *began_us) {
                    let input = (*config >> 12 & 3) as u8;
                    *result = if *clip { 0x7fff } else { marked(began + 581, input) as u16 };
                    *began_us = None;
                }
                let value = if *pointer == 1 { *config | u16::from(done) << 15 } else { *result };
                value.to_be_bytes().to_vec()
            }
            Self::Angle { conf, magnet } => match pointer {
                0x07 => conf.to_be_bytes().to_vec(),
                _ => {
                    let angle = (marked(now_us, 0) as u16) & 0x0fff;
                    [vec![u8::from(*magnet) << 5], angle.to_be_bytes().to_vec()].concat()
                }
            },
            Self::Inertial { controls, read_us } => match pointer {
                0x0f => vec![0x6c],
                0x10 => controls.to_vec(),
                _ => {
                    let taken_us = now_us - now_us % 1200;
                    let new = controls[0] >> 4 != 0 && controls[1] >> 4 != 0 && taken_us > *read_us;
                    *read_us = taken_us;
                    let mut bytes = vec![if new { 3 } else { 0 }, 0, 0, 0];
                    // Rates are inputs 3 to 5, then come the accelerations, 0 to 2.
                    for axis in [3, 4, 5, 0, 1, 2] {
                        bytes.extend(marked(taken_us, axis).to_le_bytes());
                    }
                    bytes
                }
            },
            Self::Other(value) => vec![*value],
        };
        for (at, byte) in out.iter_mut().zip(bytes) {
            *at = byte;
        }
    }
}

/// What can be done to a bus from outside.
#[derive(Debug, Default)]
pub struct Hands {
    /// Parts that are unplugged.
    pub unplugged: Vec<Place>,
    /// The transfer of that number fails, in that way.
    pub fail: Option<(u64, ErrorKind)>,
    /// The data line is held low until so many recoveries.
    pub stuck: u32,
    /// Transfers made.
    pub transfers: u64,
    /// Recoveries made.
    pub recoveries: u32,
}

/// A bus on virtual time: transfers take as long as their bytes.
pub struct Bench {
    pub now_us: Rc<Cell<u64>>,
    pub byte_us: u64,
    pub parts: BTreeMap<(u8, Option<(u8, u8)>), Model>,
    /// Multiplexers and what they connect.
    pub muxes: BTreeMap<u8, u8>,
    pub hands: Rc<RefCell<Hands>>,
}

impl Bench {
    pub fn new(now_us: &Rc<Cell<u64>>) -> Self {
        Self {
            now_us: now_us.clone(),
            // Nine bits at 400 kHz.
            byte_us: 23,
            parts: BTreeMap::new(),
            muxes: BTreeMap::new(),
            hands: Rc::default(),
        }
    }

    /// A bus with that clock.
    pub fn clocked(now_us: &Rc<Cell<u64>>, clock_hz: u32) -> Self {
        Self { byte_us: 9_000_000 / u64::from(clock_hz) + 1, ..Self::new(now_us) }
    }

    pub fn with(mut self, address: u8, model: Model) -> Self {
        self.parts.insert((address, None), model);
        self
    }

    pub fn behind(mut self, mux: u8, output: u8, address: u8, model: Model) -> Self {
        self.muxes.insert(mux, 0);
        self.parts.insert((address, Some((mux, output))), model);
        self
    }

    fn spend(&self, bytes: usize) {
        self.now_us.set(self.now_us.get() + self.byte_us * bytes as u64);
    }

    /// The parts that hear `address` now.
    fn reached(&self, address: u8) -> Vec<(u8, Option<(u8, u8)>)> {
        let hands = self.hands.borrow();
        let unplugged = |key: &(u8, Option<(u8, u8)>)| {
            let port = key.1.map(|(address, channel)| MuxPort { address, channel });
            hands.unplugged.contains(&(key.0, port))
        };
        let connected =
            |(mux, output): (u8, u8)| self.muxes.get(&mux).is_some_and(|mask| mask >> output & 1 == 1);
        self.parts
            .keys()
            .filter(|key| key.0 == address && key.1.is_none_or(connected) && !unplugged(key))
            .copied()
            .collect()
    }
}

impl ErrorType for Bench {
    type Error = ErrorKind;
}

impl I2c for Bench {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        {
            let mut hands = self.hands.borrow_mut();
            hands.transfers += 1;
            if hands.stuck > 0 {
                return Err(ErrorKind::Bus);
            }
            if let Some((_, kind)) = hands.fail.filter(|(number, _)| *number == hands.transfers) {
                return Err(kind);
            }
        }
        let no_answer = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
        let is_mux =
            self.muxes.contains_key(&address) && !self.hands.borrow().unplugged.contains(&(address, None));
        let reached = self.reached(address);
        if reached.is_empty() && !is_mux {
            self.spend(1);
            return Err(no_answer);
        }
        assert!(reached.len() + usize::from(is_mux) == 1, "two parts answer at {address:#x}");
        let mut pointer = 0;
        for operation in operations {
            match operation {
                Operation::Write(bytes) => {
                    self.spend(1 + bytes.len());
                    pointer = bytes.first().copied().unwrap_or(0);
                    if is_mux {
                        self.muxes.insert(address, *bytes.last().unwrap());
                    } else {
                        self.parts.get_mut(&reached[0]).unwrap().write(self.now_us.get(), bytes);
                    }
                }
                Operation::Read(out) => {
                    // The part latches when it is addressed.
                    let now_us = self.now_us.get();
                    self.spend(1 + out.len());
                    if is_mux {
                        out.fill(self.muxes[&address]);
                    } else {
                        self.parts.get_mut(&reached[0]).unwrap().read(now_us, pointer, out);
                    }
                }
            }
        }
        Ok(())
    }
}

impl Recover for Bench {
    fn recover(&mut self) -> bool {
        let mut hands = self.hands.borrow_mut();
        hands.recoveries += 1;
        hands.stuck = hands.stuck.saturating_sub(1);
        // Whatever resets a bus may reset what hangs on it.
        self.muxes.values_mut().for_each(|mask| *mask = 0);
        hands.stuck == 0
    }
}

/// A logger on a bench, and the host's end of the line.
pub struct Rig {
    pub now_us: Rc<Cell<u64>>,
    pub buses: Vec<Bench>,
    pub logger: Logger,
    decoder: FrameDecoder<DeviceMessage>,
    pub received: Vec<DeviceMessage>,
    /// Bytes that the line carries a second; none = the host reads all at once.
    pub line_bytes_per_s: Option<u64>,
    line_us: u64,
    pub bytes: u64,
    /// The board's memory, if it has one.
    pub flash: Option<nor::Nor>,
    /// Nobody takes bytes off the line.
    pub deaf: bool,
}

impl Rig {
    pub fn new(make: impl FnOnce(&Rc<Cell<u64>>) -> Vec<Bench>) -> Self {
        let now_us = Rc::new(Cell::new(1_000_000));
        let buses = make(&now_us);
        let logger = Logger::new(board(buses.len()), now_us.get());
        Self {
            line_us: now_us.get(),
            now_us,
            buses,
            logger,
            decoder: FrameDecoder::new(),
            received: Vec::new(),
            line_bytes_per_s: None,
            bytes: 0,
            flash: None,
            deaf: false,
        }
    }

    /// The board drives its buses with these clocks.
    pub fn with_clocks(mut self, clocks_hz: &[u32]) -> Self {
        let mut board = board(self.buses.len());
        board.bus_clock_hz[..clocks_hz.len()].copy_from_slice(clocks_hz);
        self.logger = Logger::new(board, self.now_us.get());
        self
    }

    /// The board has a memory of so many sectors.
    pub fn with_flash(mut self, sectors: usize) -> Self {
        self.flash = Some(nor::Nor::new(sectors, 17));
        self.power_cycle();
        self
    }

    /// Power goes and comes back: the time begins anew, and what was in the line is gone.
    pub fn power_cycle(&mut self) {
        let flash = self.flash.as_mut().unwrap();
        flash.power_on(None);
        let store = Store::open(flash).unwrap();
        self.now_us.set(1_000_000);
        self.line_us = self.now_us.get();
        self.logger = Logger::with_store(board(self.buses.len()), store, self.now_us.get());
        self.decoder = FrameDecoder::new();
    }

    /// Records as the host fetches them.
    pub fn fetch(&mut self, first: u32, count: u32) -> Vec<StoredRecord> {
        let before = self.received.len();
        self.tell(&[HostMessage::FetchStored { first, count }]);
        self.run(30_000_000);
        let stored = self.received[before..].iter().filter_map(|message| match message {
            DeviceMessage::Stored(record) => Some(record.clone()),
            _ => None,
        });
        stored.collect()
    }

    pub fn now_us(&self) -> u64 {
        self.now_us.get()
    }

    /// Sends messages to the logger.
    pub fn tell(&mut self, messages: &[HostMessage]) {
        for message in messages {
            let mut frame = [0; MAX_WIRE];
            let used = encode_frame(message, &mut frame).unwrap();
            self.logger.feed(self.now_us.get(), &frame[..used]);
        }
    }

    /// Steps until `duration_us` has passed.
    pub fn run(&mut self, duration_us: u64) {
        let end_us = self.now_us.get() + duration_us;
        let mut idle_steps = 0;
        while self.now_us.get() < end_us {
            let before_us = self.now_us.get();
            let mut wake_us = self.logger.step(before_us, &mut self.buses);
            if let Some(flash) = &mut self.flash {
                let steps = flash.steps;
                wake_us = wake_us.min(self.logger.step_store(self.now_us.get(), flash));
                // A word takes 20 µs to be written, so that nothing is free.
                self.now_us.set(self.now_us.get() + 20 * (flash.steps - steps).min(50));
            }
            if !self.deaf {
                self.read_line();
            }
            self.now_us.set(wake_us.clamp(self.now_us.get(), end_us.max(self.now_us.get())));
            // Work that takes no time must come to an end.
            idle_steps = if self.now_us.get() == before_us { idle_steps + 1 } else { 0 };
            assert!(idle_steps < 2000, "the logger never sleeps");
        }
    }

    fn read_line(&mut self) {
        let mut room = match self.line_bytes_per_s {
            Some(rate) => {
                let bytes = (self.now_us.get() - self.line_us) * rate / 1_000_000;
                self.line_us += bytes * 1_000_000 / rate;
                bytes as usize
            }
            None => usize::MAX,
        };
        let mut buffer = [0; 64];
        while room > 0 {
            let most = room.min(buffer.len());
            let taken = self.logger.take_output(&mut buffer[..most]);
            if taken == 0 {
                break;
            }
            room -= taken;
            self.bytes += taken as u64;
            let received = &mut self.received;
            self.decoder.feed(&buffer[..taken], |what| match what {
                Received::Message(message) => received.push(message),
                Received::OtherMajor(major) => panic!("major {major}"),
            });
        }
        assert_eq!(self.decoder.counts().refused(), 0);
    }

    /// Sends a message; gives what became of it.
    pub fn tell_and_reply(&mut self, message: HostMessage) -> Outcome {
        self.tell(&[message]);
        self.run(1_000_000);
        self.replies().last().unwrap().1
    }

    /// Replies, taken out of what was received.
    pub fn replies(&self) -> Vec<(u8, Outcome, u32)> {
        self.received
            .iter()
            .filter_map(|message| match message {
                DeviceMessage::Reply(reply) => Some((reply.to, reply.outcome, reply.detail)),
                _ => None,
            })
            .collect()
    }

    pub fn events(&self) -> Vec<EventKind> {
        self.received
            .iter()
            .filter_map(|message| match message {
                DeviceMessage::Event(event) => Some(event.kind),
                _ => None,
            })
            .collect()
    }

    pub fn last_status(&self) -> Status {
        self.received
            .iter()
            .rev()
            .find_map(|message| match message {
                DeviceMessage::Status(status) => Some(*status),
                _ => None,
            })
            .unwrap()
    }

    /// All readings with the row that held when their block came.
    pub fn readings(&self) -> Vec<(Channel, Reading)> {
        let mut rows: BTreeMap<u8, Channel> = BTreeMap::new();
        let mut slots_us = [0; MAX_CHANNELS];
        let mut readings = Vec::new();
        for message in &self.received {
            match message {
                DeviceMessage::Channel(row) => {
                    slots_us[usize::from(row.index)] = row.slot_us;
                    rows.insert(row.index, row.clone());
                }
                DeviceMessage::Samples(block) => {
                    readings.extend(
                        block.readings(&slots_us).map(|r| r.unwrap()).map(|r| (rows[&r.channel].clone(), r)),
                    );
                }
                _ => {}
            }
        }
        readings
    }

    pub fn blocks(&self) -> Vec<SampleBlock> {
        self.received
            .iter()
            .filter_map(|message| match message {
                DeviceMessage::Samples(block) => Some(block.clone()),
                _ => None,
            })
            .collect()
    }
}
