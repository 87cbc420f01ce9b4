//! Looks for whatever acknowledges on a bus and behind its multiplexers, one address at a time.

use embedded_hal::i2c::I2c;
use hingeline_protocol::{BusScan, MuxPort};

use crate::bus::BusState;
use crate::config::ADDRESSES;
use crate::sensors::tca9548::{self, FIRST_ADDRESS, LAST_ADDRESS, OUTPUTS};

/// What came of one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// There is more to do.
    Working,
    /// The bus, or one output, is searched.
    Found(BusScan),
    /// All is done.
    Done,
}

/// Where the search is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// The multiplexers are to be found and disconnected.
    Muxes,
    /// The bus, or an output of a multiplexer, is to be connected.
    Connect,
    /// This address is next.
    Address(u8),
    /// Nothing is left.
    End,
}

/// A search of one bus.
#[derive(Debug, Clone)]
pub struct BusScanner {
    /// What is being searched.
    current: BusScan,
    /// What sits on the bus itself: it answers behind every output too.
    root: Option<BusScan>,
    stage: Stage,
    /// Which output of which multiplexer is next, counted through.
    next: u8,
}

impl BusScanner {
    /// Begins with the bus itself.
    pub const fn new(bus: u8) -> Self {
        let current = BusScan { bus, mux: None, low: 0, high: 0 };
        Self { current, root: None, stage: Stage::Muxes, next: 0 }
    }

    /// Which bus it searches.
    pub const fn bus(&self) -> u8 {
        self.current.bus
    }

    /// Tries one address. A part is asked for one byte, which harms none.
    pub fn step<B: I2c>(&mut self, bus: &mut B, state: &mut BusState) -> Progress {
        match self.stage {
            Stage::Muxes => {
                state.forget_selection();
                for address in FIRST_ADDRESS..=LAST_ADDRESS {
                    if tca9548::is_one(bus, address) {
                        state.add_mux(address);
                    }
                }
                self.stage = Stage::Connect;
            }
            Stage::Connect => match state.select(bus, self.current.mux) {
                Ok(()) => self.stage = Stage::Address(*ADDRESSES.start()),
                // A multiplexer that does not answer: nothing is to be found behind it.
                Err(_) => self.turn_to_next(state),
            },
            Stage::Address(address) if ADDRESSES.contains(&address) => {
                let on_root = self.root.is_some_and(|root| root.answered(address));
                if !on_root && bus.read(address, &mut [0]).is_ok() {
                    self.current.set_answered(address);
                }
                self.stage = Stage::Address(address.saturating_add(1));
            }
            Stage::Address(_) => {
                let found = self.current;
                self.turn_to_next(state);
                return Progress::Found(found);
            }
            Stage::End => return Progress::Done,
        }
        Progress::Working
    }

    fn turn_to_next(&mut self, state: &BusState) {
        self.root = self.root.or(Some(self.current));
        let (mux, output) = (self.next / OUTPUTS, self.next % OUTPUTS);
        self.next = self.next.saturating_add(1);
        let port = state.muxes().get(usize::from(mux)).map(|&address| MuxPort { address, channel: output });
        self.current = BusScan { bus: self.current.bus, mux: port, low: 0, high: 0 };
        self.stage = if port.is_some() { Stage::Connect } else { Stage::End };
    }
}
