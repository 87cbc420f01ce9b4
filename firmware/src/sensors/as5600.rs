//! AS5600: magnetic angle, 12 bits a turn. Data sheet: ams AS5600 v1-06.
//!
//! Its address is fixed: one per multiplexer output. It has a register that burns settings for ever; this driver knows
//! no such register.

use embedded_hal::i2c::I2c;
use hingeline_protocol::{Component, Quantity, Unit};

use super::{Conversion, Cost, Counts, Fault, MAX_SCALARS, Scalar, Sensor};

/// CONF, high byte first (register description, CONF 0x07 and 0x08).
const CONF: u8 = 0x07;
/// STATUS, directly before the raw angle (register description, STATUS 0x0B).
const STATUS: u8 = 0x0b;
/// MD: a magnet is there (register description, STATUS bit 5).
const MAGNET: u8 = 1 << 5;
/// SF 10: slow filter 4×, settled in 0.55 ms (register description, CONF bits 9:8; slow filter, step response). Fast
/// filter, watchdog, hysteresis and power saving off.
const FILTER_4: u16 = 0b10 << 8;

/// Settling time of that filter, µs (slow filter, step response).
const FILTER_US: u32 = 550;
/// Start-up time of the part, µs (system electrical characteristics and timing, t_PU).
pub const SETTLE_US: u64 = 10_000;
/// Counts per turn (raw angle, 12 bits).
const COUNTS_PER_TURN: i32 = 4096;

/// Nothing to begin. Finish: address, pointer, address, status and angle; latched when it is addressed to be read.
pub const COST: Cost = Cost { begin_bytes: 0, ready_us: 0, finish_bytes: 6, latch_bytes: 3 };

/// The driver.
#[derive(Debug, Clone, Copy)]
pub struct As5600 {
    address: u8,
}

/// The angle. It wraps and cannot saturate.
pub fn scalar(component: Component) -> Scalar {
    Scalar {
        component,
        quantity: Quantity::Angle,
        unit: Unit::Radian,
        scale: core::f32::consts::TAU / COUNTS_PER_TURN as f32,
        raw_min: -1,
        raw_max: COUNTS_PER_TURN,
    }
}

impl As5600 {
    /// At `address` (0x36 always, I²C interface).
    pub const fn new(address: u8) -> Self {
        Self { address }
    }

    /// Status and raw angle in one burst: the pointer runs on from STATUS into RAW ANGLE.
    fn read<B: I2c>(&self, bus: &mut B) -> Result<i32, Fault> {
        let mut bytes = [0; 3];
        bus.write_read(self.address, &[STATUS], &mut bytes).map_err(Fault::of)?;
        let [status, high, low] = bytes;
        if status & MAGNET == 0 {
            return Err(Fault::NoSignal);
        }
        Ok(i32::from(u16::from_be_bytes([high & 0x0f, low])))
    }
}

impl Sensor for As5600 {
    fn setup<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        let [high, low] = FILTER_4.to_be_bytes();
        bus.write(self.address, &[CONF, high, low]).map_err(Fault::of)?;
        let mut back = [0; 2];
        bus.write_read(self.address, &[CONF], &mut back).map_err(Fault::of)?;
        // The two top bits are reserved.
        if u16::from_be_bytes(back) & 0x3fff != FILTER_4 {
            return Err(Fault::WrongPart);
        }
        self.read(bus).map(|_| ())
    }

    fn begin<B: I2c>(&mut self, _: &mut B, _: u8) -> Result<Conversion, Fault> {
        Ok(Conversion::OnRead { age_us: FILTER_US / 2 })
    }

    fn finish<B: I2c>(&mut self, bus: &mut B) -> Result<Counts, Fault> {
        let mut counts = [0; MAX_SCALARS];
        if let Some(first) = counts.first_mut() {
            *first = self.read(bus)?;
        }
        Ok(counts)
    }
}
