//! What a logger finds around itself, whether it runs natively or as a machine image: buses with parts, a vehicle in a test,
//! a builder who presses its button, and what goes wrong.

use super::error::VirtualRigError;
use super::hands::Hands;
use super::parts::bus::{Bus, Seat, Trouble, Wired};
use super::parts::{Fram, Panel, Pcf8574};
use super::readings::Readings;
use super::wiring::{Bench, buses, seat};
use crate::rig::{Input, Rig};
use crate::run::Phase;
use hingeline_protocol::Press;
use std::cell::{Cell, RefCell};
use std::sync::Arc;

/// Clock of the memory's bus, Hz: the part's fastest (MB85RC1MT, high-speed mode), and its device addresses.
const MEMORY_CLOCK_HZ: u32 = 3_400_000;
const MEMORY_ADDRESSES: [u8; 2] = [0x50, 0x51];

/// Address of the expander with the button and the light.
const EXPANDER_ADDRESS: u8 = 0x20;
/// How long a builder holds the button, µs.
const SHORT_US: u64 = 150_000;
const LONG_US: u64 = 1_500_000;

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

/// A rig's parts on their buses, and the test that they are in.
#[derive(Debug)]
pub struct Stage {
    buses: Vec<Bus>,
    inputs: Vec<Option<Input>>,
    bench: RefCell<Bench>,
    /// Times of the test at which the builder presses the button, s, and how many are done.
    presses_s: Vec<f64>,
    pressed: usize,
    upsets: Vec<Upset>,
    upset: usize,
    /// Whether the logger was told to stop since the test began.
    stopped: bool,
    panel: Arc<Panel>,
}

impl Stage {
    /// The sensors of `rig`, wired as its file says. The builder presses the button whenever a phase gives way to the next,
    /// and at the end.
    ///
    /// # Errors
    /// Where a sensor is wired to a part or a bus that the virtual logger has not.
    pub fn new(rig: &Rig, readings: Readings) -> Result<Self, VirtualRigError> {
        Ok(Self {
            buses: buses(rig)?,
            inputs: rig.sensors.iter().map(|s| s.input.clone()).collect(),
            presses_s: readings.vehicle().phases().map(|p| p.to_s).collect(),
            bench: RefCell::new(Bench::new(rig, readings)),
            pressed: 0,
            upsets: Vec::new(),
            upset: 0,
            stopped: false,
            panel: Arc::default(),
        })
    }

    /// With the board's own memory and panel, on a bus after the others.
    pub fn with_board(mut self) -> Self {
        let mut bus = Bus::new(MEMORY_CLOCK_HZ);
        for address in MEMORY_ADDRESSES {
            bus.seat(Seat { mux: None, address }, Box::new(Fram::default()));
        }
        let expander = Pcf8574::new(self.panel.clone());
        bus.seat(Seat { mux: None, address: EXPANDER_ADDRESS }, Box::new(expander));
        self.buses.push(bus);
        self
    }

    /// The builder presses the board's button.
    pub fn press(&mut self, now_us: u64, press: Press) {
        self.panel.press(now_us, if press == Press::Long { LONG_US } else { SHORT_US });
    }

    /// The board's button and light.
    pub fn panel(&self) -> &Panel {
        &self.panel
    }

    /// With a builder's hands on the sensors before the test, and parts of sensors that are not there.
    pub fn with_hands(mut self, hands: Hands, missing: &[usize]) -> Self {
        for sensor in missing {
            self.apply(What::Part(*sensor, Trouble::Unplugged), 0);
        }
        self.bench.get_mut().hands = hands;
        self
    }

    /// Lets things go wrong during the test.
    pub fn upset(&mut self, mut upsets: Vec<Upset>) {
        upsets.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        (self.upsets, self.upset) = (upsets, 0);
    }

    /// The logger began to stream at `now_us`: the test begins with its first stream; a stream after the test's end, or after
    /// the logger was told to stop, begins it anew. Movements by hand come before the first.
    pub fn streaming_began(&mut self, now_us: u64) {
        if self.bench.borrow().begun_us.is_none() || self.is_over(now_us) || self.stopped {
            let mut bench = self.bench.borrow_mut();
            let hands_s = if bench.begun_us.is_none() { bench.hands.seconds() } else { 0.0 };
            bench.begun_us = Some(now_us + (1e6 * hands_s) as u64);
            (self.pressed, self.upset, self.stopped) = (0, 0, false);
        }
    }

    /// The logger was told to stop: nobody goes on with this test.
    pub fn streaming_stopped(&mut self) {
        self.stopped = true;
    }

    /// Time in the test, s; negative before it begins.
    pub fn test_s(&self, now_us: u64) -> f64 {
        self.bench.borrow().test_s(now_us)
    }

    /// The phase of the test; none before it begins and after its end.
    pub fn phase(&self, now_us: u64) -> Option<Phase> {
        let t_s = self.test_s(now_us);
        let bench = self.bench.borrow();
        bench.readings().vehicle().phases().find(|p| (p.from_s..p.to_s).contains(&t_s)).map(|p| p.phase)
    }

    /// Whether the test is over.
    pub fn is_over(&self, now_us: u64) -> bool {
        let bench = self.bench.borrow();
        bench.begun_us.is_some() && bench.test_s(now_us) > bench.readings().vehicle().end_s()
    }

    /// When the next press or upset is due, µs.
    pub fn next_event_us(&self) -> u64 {
        let press = self.presses_s.get(self.pressed).copied();
        let upset = self.upsets.get(self.upset).map(|u| u.at_s);
        press.into_iter().chain(upset).map(|at_s| self.device_us(at_s)).min().unwrap_or(u64::MAX)
    }

    /// Lets happen what is due; gives how often the builder presses the button.
    pub fn happen(&mut self, now_us: u64) -> usize {
        while let Some(upset) = self.upsets.get(self.upset).copied()
            && self.device_us(upset.at_s) <= now_us
        {
            self.apply(upset.what, now_us);
            self.upset += 1;
        }
        let before = self.pressed;
        while let Some(at_s) = self.presses_s.get(self.pressed)
            && self.device_us(*at_s) <= now_us
        {
            self.pressed += 1;
        }
        self.pressed - before
    }

    /// The buses as drivers see them, at the time of `clock_ns`, which their transfers take.
    pub fn wired<'a>(&'a mut self, clock_ns: &'a Cell<u64>) -> impl Iterator<Item = Wired<'a, Bench>> {
        let around = &self.bench;
        self.buses.iter_mut().map(move |bus| Wired { bus, around, clock_ns })
    }

    /// Device time at a time of the test, µs.
    fn device_us(&self, test_s: f64) -> u64 {
        self.bench.borrow().begun_us.map_or(u64::MAX, |begun| begun + (test_s * 1e6) as u64)
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
}
