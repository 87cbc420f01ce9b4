//! The real firmware, on virtual buses, in virtual time: bytes in, time in, bytes out.

use super::error::VirtualRigError;
use super::parts::bus::{Bus, Trouble, Wired};
use super::readings::Readings;
use super::wiring::{BUS_CLOCKS_HZ, Bench, buses, seat};
use crate::rig::{Input, Rig};
use crate::run::Phase;
use hingeline_firmware::{Board, Configuration, Logger};
use hingeline_protocol::{Outcome, Press, ResetCause, SensorConfig};
use std::cell::{Cell, RefCell};

/// What the processor needs for a step, ns.
const STEP_NS: u64 = 5_000;
/// Bytes that are moved to the line at once.
const PIECE: usize = 256;

/// Something that goes wrong, or right again, at a time of the test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Upset {
    /// When, s of the test.
    pub at_s: f64,
    /// What.
    pub what: What,
}

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum What {
    /// The part that serves a sensor of the rig, by the sensor's place.
    Part(usize, Trouble),
    /// A bus is held by a part until it was cleared so many times.
    Stuck {
        /// Which bus.
        bus: u8,
        /// Clears that it takes.
        clears: u32,
    },
}

/// A logger whose sensors sit on a virtual vehicle.
pub struct VirtualLogger {
    logger: Box<Logger>,
    buses: Vec<Bus>,
    inputs: Vec<Option<Input>>,
    bench: RefCell<Bench>,
    clock_ns: Cell<u64>,
    wake_us: u64,
    was_streaming: bool,
    /// Times of the test at which the builder presses the button, s, and how many are done.
    presses_s: Vec<f64>,
    pressed: usize,
    upsets: Vec<Upset>,
    upset: usize,
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
        let presses_s = readings.vehicle().phases().map(|p| p.to_s).collect();
        Ok(Self {
            logger: Box::new(Logger::new(board(serial_number), 0)),
            buses: buses(rig)?,
            inputs: rig.sensors.iter().map(|s| s.input.clone()).collect(),
            bench: RefCell::new(Bench::new(rig, readings)),
            clock_ns: Cell::new(0),
            wake_us: 0,
            was_streaming: false,
            presses_s,
            pressed: 0,
            upsets: Vec::new(),
            upset: 0,
            line_bytes_per_s: None,
            credit_bytes: 0.0,
            credited_us: 0,
        })
    }

    /// Lets things go wrong during the test.
    pub fn upset(&mut self, mut upsets: Vec<Upset>) {
        upsets.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        (self.upsets, self.upset) = (upsets, 0);
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

    /// Device time, µs.
    pub fn now_us(&self) -> u64 {
        self.clock_ns.get() / 1000
    }

    /// Time in the test, s; negative before it begins.
    pub fn test_s(&self) -> f64 {
        self.bench.borrow().test_s(self.now_us())
    }

    /// The phase of the test; none before it begins and after its end.
    pub fn phase(&self) -> Option<Phase> {
        let t_s = self.test_s();
        let bench = self.bench.borrow();
        bench.readings().vehicle().phases().find(|p| (p.from_s..p.to_s).contains(&t_s)).map(|p| p.phase)
    }

    /// Whether the test is over.
    pub fn is_over(&self) -> bool {
        let bench = self.bench.borrow();
        bench.begun_us.is_some() && bench.test_s(self.now_us()) > bench.readings().vehicle().end_s()
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
            let due_us = self.wake_us.min(self.next_event_us());
            if due_us > self.now_us() {
                self.clock_ns.set(1000 * due_us.min(until_us));
            }
            self.happen();
            if self.now_us() >= self.wake_us {
                self.step();
            }
            self.notice_streaming();
            self.move_output(room, out);
        }
    }

    fn step(&mut self) {
        self.clock_ns.set(self.clock_ns.get() + STEP_NS);
        let (around, clock_ns) = (&self.bench, &self.clock_ns);
        let mut wired: Vec<_> = self.buses.iter_mut().map(|bus| Wired { bus, around, clock_ns }).collect();
        self.wake_us = self.logger.step(clock_ns.get() / 1000, &mut wired);
    }

    /// The test begins with the stream; a stream after its end begins it anew.
    fn notice_streaming(&mut self) {
        let streaming = self.logger.is_streaming();
        if streaming && !self.was_streaming && (self.bench.borrow().begun_us.is_none() || self.is_over()) {
            self.bench.borrow_mut().begun_us = Some(self.now_us());
            (self.pressed, self.upset) = (0, 0);
        }
        self.was_streaming = streaming;
    }

    /// Device time at a time of the test, µs.
    fn device_us(&self, test_s: f64) -> u64 {
        self.bench.borrow().begun_us.map_or(u64::MAX, |begun| begun + (test_s * 1e6) as u64)
    }

    /// When the next press or upset is due, µs.
    fn next_event_us(&self) -> u64 {
        let press = self.presses_s.get(self.pressed).copied();
        let upset = self.upsets.get(self.upset).map(|u| u.at_s);
        press.into_iter().chain(upset).map(|at_s| self.device_us(at_s)).min().unwrap_or(u64::MAX)
    }

    /// Presses and upsets that are due.
    fn happen(&mut self) {
        let now_us = self.now_us();
        while let Some(at_s) = self.presses_s.get(self.pressed)
            && self.device_us(*at_s) <= now_us
        {
            self.logger.button(now_us, Press::Short);
            self.pressed += 1;
        }
        while let Some(upset) = self.upsets.get(self.upset).copied()
            && self.device_us(upset.at_s) <= now_us
        {
            self.apply(upset.what, now_us);
            self.upset += 1;
        }
    }

    fn apply(&mut self, what: What, now_us: u64) {
        match what {
            What::Part(sensor, trouble) => {
                let Some(input) = self.inputs.get(sensor).and_then(Option::as_ref) else { return };
                if let Some(bus) = self.buses.get_mut(usize::from(input.bus)) {
                    bus.trouble(seat(input), trouble, now_us);
                }
            }
            What::Stuck { bus, clears } => {
                if let Some(bus) = self.buses.get_mut(usize::from(bus)) {
                    bus.stick(clears);
                }
            }
        }
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

fn board(serial_number: u64) -> Board {
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
        bus_clock_hz: BUS_CLOCKS_HZ,
    }
}
