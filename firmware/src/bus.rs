//! What the logger knows of an I²C bus: which multiplexer output is connected, and how to free it when it is stuck.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::i2c::I2c;
use heapless::Vec;
use hingeline_protocol::{EventKind, MuxPort};

use crate::sensors::{Fault, tca9548};

/// Most multiplexers on one bus: they have eight addresses.
pub const MAX_MUXES: usize = 8;

/// A bus is freed at most once in this time, µs, so that a bus that stays stuck does not stop the others.
const RECOVER_EVERY_US: u64 = 1_000_000;

/// A bus that can be freed. A board implements it beside `I2c`; [`nine_clocks`] does the work on pins.
pub trait Recover {
    /// Clocks the bus free; gives whether it is.
    fn recover(&mut self) -> bool;
}

/// Frees a bus on which a part holds the data line: up to nine clocks until it lets go, then a stop (NXP UM10204, 3.1.16,
/// bus clear). Pins are open-drain. Gives whether the data line is high in the end.
///
/// # Errors
/// Those of the pins.
pub fn nine_clocks<C, D, E>(scl: &mut C, sda: &mut D, delay: &mut impl DelayNs) -> Result<bool, E>
where
    C: OutputPin<Error = E>,
    D: OutputPin<Error = E> + InputPin<Error = E>,
{
    /// Half a clock at 100 kHz, which every part follows.
    const HALF_NS: u32 = 5_000;
    sda.set_high()?;
    for _ in 0..9 {
        if sda.is_high()? {
            break;
        }
        scl.set_low()?;
        delay.delay_ns(HALF_NS);
        scl.set_high()?;
        delay.delay_ns(HALF_NS);
    }
    scl.set_low()?;
    sda.set_low()?;
    delay.delay_ns(HALF_NS);
    scl.set_high()?;
    delay.delay_ns(HALF_NS);
    sda.set_high()?;
    delay.delay_ns(HALF_NS);
    sda.is_high()
}

/// Which multiplexer output is connected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Selection {
    /// After a reset of whatever kind: any may be.
    Unknown,
    /// None.
    Nothing,
    /// This one.
    Port(MuxPort),
}

/// The state of one bus.
#[derive(Debug, Clone)]
pub struct BusState {
    index: u8,
    muxes: Vec<u8, MAX_MUXES>,
    selection: Selection,
    recovered_us: Option<u64>,
    stuck: bool,
}

impl BusState {
    /// The bus of that number, of which nothing is known.
    pub const fn new(index: u8) -> Self {
        Self { index, muxes: Vec::new(), selection: Selection::Unknown, recovered_us: None, stuck: false }
    }

    /// Forgets the multiplexers.
    pub fn clear(&mut self) {
        self.muxes.clear();
        self.selection = Selection::Unknown;
    }

    /// Takes note of a multiplexer; more than there are addresses cannot be.
    pub fn add_mux(&mut self, address: u8) {
        if !self.muxes.contains(&address) && self.muxes.push(address).is_ok() {
            self.selection = Selection::Unknown;
        }
    }

    /// The multiplexers it knows.
    pub fn muxes(&self) -> &[u8] {
        &self.muxes
    }

    /// Nothing is known of the multiplexers any more: one may have been reset.
    pub fn forget_selection(&mut self) {
        self.selection = Selection::Unknown;
    }

    /// Connects `wanted`, or nothing, and takes care that no other multiplexer stays connected, behind which the same
    /// address may sit.
    ///
    /// # Errors
    /// [`Fault`] if the multiplexer that is wanted does not answer.
    pub fn select<B: I2c>(&mut self, bus: &mut B, wanted: Option<MuxPort>) -> Result<(), Fault> {
        let target = wanted.map_or(Selection::Nothing, Selection::Port);
        if self.selection == target {
            return Ok(());
        }
        let keep = wanted.map(|port| port.address);
        match core::mem::replace(&mut self.selection, Selection::Unknown) {
            Selection::Unknown => {
                for &address in self.muxes.iter().filter(|&&address| Some(address) != keep) {
                    // One that is gone cannot be connected either.
                    let _ = tca9548::deselect(bus, address);
                }
            }
            Selection::Port(old) if Some(old.address) != keep => tca9548::deselect(bus, old.address)?,
            Selection::Port(_) | Selection::Nothing => {}
        }
        if let Some(port) = wanted {
            tca9548::select(bus, port.address, port.channel)?;
        }
        self.selection = target;
        Ok(())
    }

    /// After a failed transfer: forgets the selection and, if the bus itself is in trouble, frees it. Gives what to report,
    /// each state once.
    pub fn after_fault<B: Recover>(&mut self, bus: &mut B, fault: Fault, now_us: u64) -> Option<EventKind> {
        self.forget_selection();
        if fault != Fault::Bus || self.recovered_us.is_some_and(|then| now_us < then + RECOVER_EVERY_US) {
            return None;
        }
        self.recovered_us = Some(now_us);
        let was_stuck = core::mem::replace(&mut self.stuck, !bus.recover());
        match (was_stuck, self.stuck) {
            (_, false) => Some(EventKind::BusRecovered { bus: self.index }),
            (false, true) => Some(EventKind::BusStuck { bus: self.index }),
            (true, true) => None,
        }
    }
}
