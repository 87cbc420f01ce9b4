//! The real firmware, on virtual buses, in virtual time: bytes in, time in, bytes out.

use super::error::VirtualRigError;
use super::hands::Hands;
use super::memory::Memory;
use super::readings::Readings;
use super::stage::{Stage, Upset};
use super::wiring::BUS_CLOCKS_HZ;
use crate::rig::Rig;
use crate::run::Phase;
use hingeline_firmware::store::Store;
use hingeline_firmware::{Board, Configuration, Logger};
use hingeline_protocol::{Outcome, Press, ResetCause, SensorConfig};
use std::cell::Cell;

/// What the processor needs for a step, ns.
const STEP_NS: u64 = 5_000;
/// Bytes that are moved to the line at once.
const PIECE: usize = 256;

/// A logger whose sensors sit on a virtual vehicle.
pub struct VirtualLogger {
    logger: Box<Logger>,
    stage: Stage,
    memory: Memory,
    clock_ns: Cell<u64>,
    wake_us: u64,
    was_streaming: bool,
    /// What the line carries, bytes/s, and what it could have carried since the last byte.
    line_bytes_per_s: Option<f64>,
    credit_bytes: f64,
    credited_us: u64,
}

impl VirtualLogger {
    /// A logger that boots now, with the sensors of `rig` on it as they are wired there. The test begins when it begins to
    /// stream; the builder then presses its button whenever a phase gives way to the next, and at the end.
    ///
    /// # Errors
    /// Where a sensor is wired to a part or a bus that the virtual logger has not.
    pub fn new(rig: &Rig, readings: Readings, serial_number: u64) -> Result<Self, VirtualRigError> {
        let mut memory = Memory::default();
        let logger = match Store::open(&mut memory) {
            Ok(store) => Logger::with_store(board(serial_number), store, 0),
            Err(_) => Logger::new(board(serial_number), 0),
        };
        Ok(Self {
            logger: Box::new(logger),
            memory,
            stage: Stage::new(rig, readings)?,
            clock_ns: Cell::new(0),
            wake_us: 0,
            was_streaming: false,
            line_bytes_per_s: None,
            credit_bytes: 0.0,
            credited_us: 0,
        })
    }

    /// Puts a builder's hands on the sensors, and takes parts of sensors away.
    pub fn with_hands(mut self, hands: Hands, missing: &[usize]) -> Self {
        self.stage = self.stage.with_hands(hands, missing);
        self
    }

    /// Lets things go wrong during the test.
    pub fn upset(&mut self, upsets: Vec<Upset>) {
        self.stage.upset(upsets);
    }

    /// Puts a serial line of that speed between the logger and its host; without it the line takes all there is.
    pub fn set_baud(&mut self, baud: u32) {
        // A byte is ten bits on the line.
        self.line_bytes_per_s = Some(f64::from(baud) / 10.0);
    }

    /// Gives the logger sensors and the time between scans, as if it had kept them.
    ///
    /// # Errors
    /// What the logger would have replied.
    pub fn configure(&mut self, sensors: &[SensorConfig], period_us: u32) -> Result<(), Outcome> {
        let sensors = heapless::Vec::from_slice(sensors).map_err(|_| Outcome::TableFull)?;
        self.logger.configure(Configuration { sensors, period_us, ..Configuration::new() })
    }

    /// The builder presses the button.
    pub fn press(&mut self, press: Press) {
        self.logger.button(self.now_us(), press);
        self.wake_us = 0;
        self.notice_streaming();
    }

    /// Device time, µs.
    pub fn now_us(&self) -> u64 {
        self.clock_ns.get() / 1000
    }

    /// Time in the test, s; negative before it begins.
    pub fn test_s(&self) -> f64 {
        self.stage.test_s(self.now_us())
    }

    /// The phase of the test; none before it begins and after its end.
    pub fn phase(&self) -> Option<Phase> {
        self.stage.phase(self.now_us())
    }

    /// Whether somebody has it stream.
    pub fn is_streaming(&self) -> bool {
        self.was_streaming
    }

    /// Whether the test is over.
    pub fn is_over(&self) -> bool {
        self.stage.is_over(self.now_us())
    }

    /// Takes bytes from the host.
    pub fn feed(&mut self, bytes: &[u8]) {
        self.logger.feed(self.now_us(), bytes);
        self.wake_us = 0;
        self.notice_streaming();
    }

    /// Lets time pass until `until_us`; what it says meanwhile goes to `out`, as long as that holds fewer than `room` bytes.
    /// What does not fit waits in the logger's own queue, and is lost there when that is full.
    pub fn run(&mut self, until_us: u64, room: usize, out: &mut Vec<u8>) {
        while self.now_us() < until_us {
            let due_us = self.wake_us.min(self.stage.next_event_us());
            if due_us > self.now_us() {
                self.clock_ns.set(1000 * due_us.min(until_us));
            }
            for _ in 0..self.stage.happen(self.now_us()) {
                self.logger.button(self.now_us(), Press::Short);
            }
            if self.now_us() >= self.wake_us {
                self.step();
            }
            self.notice_streaming();
            self.move_output(room, out);
        }
    }

    fn step(&mut self) {
        self.clock_ns.set(self.clock_ns.get() + STEP_NS);
        let mut wired: Vec<_> = self.stage.wired(&self.clock_ns).collect();
        self.wake_us = self.logger.step(self.clock_ns.get() / 1000, &mut wired);
        drop(wired);
        self.wake_us = self.wake_us.min(self.logger.step_store(self.now_us(), &mut self.memory));
    }

    /// The test begins with the stream.
    fn notice_streaming(&mut self) {
        let streaming = self.logger.is_streaming();
        if streaming && !self.was_streaming {
            self.stage.streaming_began(self.now_us());
        }
        if !streaming && self.was_streaming {
            self.stage.streaming_stopped();
        }
        self.was_streaming = streaming;
    }

    fn move_output(&mut self, room: usize, out: &mut Vec<u8>) {
        let now_us = self.now_us();
        let since_us = now_us - self.credited_us;
        self.credited_us = now_us;
        let mut most = room.saturating_sub(out.len());
        if let Some(bytes_per_s) = self.line_bytes_per_s {
            // A line that had nothing to carry does not make up for it.
            self.credit_bytes = (self.credit_bytes + bytes_per_s * since_us as f64 * 1e-6).min(PIECE as f64);
            most = most.min(self.credit_bytes as usize);
        }
        let mut piece = [0; PIECE];
        while most > 0 {
            let wanted = most.min(PIECE);
            let count = self.logger.take_output(piece.get_mut(..wanted).unwrap_or_default());
            if count == 0 {
                break;
            }
            out.extend(piece.iter().take(count));
            most -= count;
            self.credit_bytes -= count as f64;
        }
    }
}

pub(super) fn board(serial_number: u64) -> Board {
    let mut unique_id = [0; 16];
    for (byte, value) in unique_id.iter_mut().zip(serial_number.to_be_bytes()) {
        *byte = value;
    }
    Board {
        name: "virtual",
        firmware: env!("CARGO_PKG_VERSION"),
        build: "native",
        unique_id,
        unique_id_length: 8,
        boot_count: 1,
        reset_cause: ResetCause::PowerOn,
        last_words: "",
        bus_clock_hz: BUS_CLOCKS_HZ,
    }
}
