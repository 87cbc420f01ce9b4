//! An I²C bus with parts on it, directly or behind multiplexers, and the troubles that buses have.

use super::{Part, Surroundings, Tca9548};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use hingeline_firmware::Recover;
use std::cell::{Cell, RefCell};

/// Where a part sits on its bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seat {
    /// Behind which multiplexer's output.
    pub mux: Option<(u8, u8)>,
    /// 7-bit address.
    pub address: u8,
}

/// What can be wrong with a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Trouble {
    /// Nothing.
    #[default]
    None,
    /// It is not there.
    Unplugged,
    /// It acknowledges, and every byte that it gives is wrong.
    Garbled,
    /// It does not acknowledge so many transfers, then is well again.
    Refuses(u32),
}

#[derive(Debug)]
struct Seated {
    seat: Seat,
    part: Box<dyn Part>,
    trouble: Trouble,
}

/// A bus.
#[derive(Debug)]
pub struct Bus {
    clock_hz: u32,
    seated: Vec<Seated>,
    muxes: Vec<(u8, Tca9548)>,
    /// Bus clears that it takes until a part lets go of the data line; 0 = the bus is free.
    stuck: u32,
    /// State of the garbled bytes.
    garbage: u32,
}

impl Bus {
    /// An empty bus.
    pub fn new(clock_hz: u32) -> Self {
        Self { clock_hz, seated: Vec::new(), muxes: Vec::new(), stuck: 0, garbage: 1 }
    }

    /// Puts a part on the bus; the multiplexer that it needs comes with it.
    pub fn seat(&mut self, seat: Seat, part: Box<dyn Part>) {
        if let Some((mux, _)) = seat.mux
            && !self.muxes.iter().any(|(address, _)| *address == mux)
        {
            self.muxes.push((mux, Tca9548::default()));
        }
        self.seated.push(Seated { seat, part, trouble: Trouble::None });
    }

    /// Gives a part some trouble, or ends it; a part that is plugged in again has lost what was written to it.
    pub fn trouble(&mut self, seat: Seat, trouble: Trouble, now_us: u64) {
        for it in self.seated.iter_mut().filter(|s| s.seat == seat) {
            if it.trouble == Trouble::Unplugged && trouble != Trouble::Unplugged {
                it.part.power_up(now_us);
            }
            it.trouble = trouble;
        }
    }

    /// A part holds the data line until the bus was cleared so many times.
    pub fn stick(&mut self, clears: u32) {
        self.stuck = clears;
    }

    /// Time of bytes on the bus, ns: nine bits a byte.
    fn bytes_ns(&self, bytes: usize) -> u64 {
        bytes as u64 * 9 * 1_000_000_000 / u64::from(self.clock_hz.max(1))
    }

    /// Places of the parts that hear an address.
    fn hearing(&self, address: u8) -> Vec<usize> {
        let connected = |seat: &Seat| {
            seat.mux
                .is_none_or(|(mux, output)| self.muxes.iter().any(|(at, m)| *at == mux && m.connects(output)))
        };
        let hears =
            |s: &Seated| s.seat.address == address && s.trouble != Trouble::Unplugged && connected(&s.seat);
        self.seated.iter().enumerate().filter(|(_, s)| hears(s)).map(|(k, _)| k).collect()
    }

    /// Whether parts that hear it acknowledge; one that refuses counts down.
    fn acknowledged(&mut self, hearing: &[usize]) -> bool {
        let mut any = false;
        for k in hearing {
            let Some(it) = self.seated.get_mut(*k) else { continue };
            match &mut it.trouble {
                Trouble::Refuses(left) if *left > 1 => *left -= 1,
                Trouble::Refuses(_) => it.trouble = Trouble::None,
                _ => any = true,
            }
        }
        any
    }

    fn write(&mut self, hearing: &[usize], now_us: u64, bytes: &[u8], around: &mut dyn Surroundings) {
        for k in hearing {
            if let Some(it) = self.seated.get_mut(*k) {
                it.part.write(now_us, bytes, around);
            }
        }
    }

    /// Parts that answer at once pull the line low together.
    fn read(&mut self, hearing: &[usize], now_us: u64, bytes: &mut [u8], around: &mut dyn Surroundings) {
        bytes.fill(0xff);
        let mut own = vec![0; bytes.len()];
        for k in hearing {
            let Some(it) = self.seated.get_mut(*k) else { continue };
            it.part.read(now_us, &mut own, around);
            for (byte, pulled) in bytes.iter_mut().zip(&own) {
                // A linear congruential generator's middle bits are garbage enough (constants of ISO C's example).
                self.garbage = self.garbage.wrapping_mul(1_103_515_245).wrapping_add(12_345);
                let wrong = if it.trouble == Trouble::Garbled { (self.garbage >> 16) as u8 | 1 } else { 0 };
                *byte &= pulled ^ wrong;
            }
        }
    }
}

/// A bus as a driver sees it: in some surroundings, at some time, which its transfers take.
#[derive(Debug)]
pub struct Wired<'a, W> {
    /// The bus.
    pub bus: &'a mut Bus,
    /// What its parts measure.
    pub around: &'a RefCell<W>,
    /// Device time, ns.
    pub clock_ns: &'a Cell<u64>,
}

impl<W> Wired<'_, W> {
    fn spend(&self, bytes: usize) -> u64 {
        let ns = self.clock_ns.get() + self.bus.bytes_ns(bytes);
        self.clock_ns.set(ns);
        ns / 1000
    }
}

impl<W> ErrorType for Wired<'_, W> {
    type Error = ErrorKind;
}

impl<W: Surroundings> I2c for Wired<'_, W> {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        self.spend(1);
        if self.bus.stuck > 0 {
            return Err(ErrorKind::ArbitrationLoss);
        }
        let mux = self.bus.muxes.iter().position(|(at, _)| *at == address);
        let hearing = self.bus.hearing(address);
        if mux.is_none() && (hearing.is_empty() || !self.bus.acknowledged(&hearing)) {
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        }
        let mut around = self.around.borrow_mut();
        let same = |a: &Operation<'_>, b: &Operation<'_>| {
            matches!(a, Operation::Read(_)) == matches!(b, Operation::Read(_))
        };
        for (place, group) in operations.chunk_by_mut(same).enumerate() {
            // A change of direction repeats the address; operations of one direction are one stream of bytes.
            let repeated = usize::from(place > 0);
            let sent: Vec<u8> = group
                .iter()
                .flat_map(|o| if let Operation::Write(b) = o { *b } else { &[] })
                .copied()
                .collect();
            let wanted: usize =
                group.iter().map(|o| if let Operation::Read(b) = o { b.len() } else { 0 }).sum();
            let mut got = vec![0; wanted];
            let now_us = self.spend(repeated + sent.len());
            match mux.and_then(|k| self.bus.muxes.get_mut(k)) {
                Some((_, mux)) if wanted == 0 => mux.write(&sent),
                Some((_, mux)) => mux.read(&mut got),
                None if wanted == 0 => self.bus.write(&hearing, now_us, &sent, &mut *around),
                None => self.bus.read(&hearing, now_us, &mut got, &mut *around),
            }
            self.spend(wanted);
            let mut got = got.into_iter();
            for operation in group {
                if let Operation::Read(bytes) = operation {
                    bytes.iter_mut().zip(&mut got).for_each(|(byte, value)| *byte = value);
                }
            }
        }
        Ok(())
    }
}

impl<W> Recover for Wired<'_, W> {
    fn recover(&mut self) -> bool {
        // Nine clocks and a stop.
        self.spend(1);
        self.bus.stuck = self.bus.stuck.saturating_sub(1);
        self.bus.stuck == 0
    }
}
