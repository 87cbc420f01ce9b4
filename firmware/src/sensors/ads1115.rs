//! ADS1115: four inputs, 16 bits, 860 conversions a second. Data sheet: Texas Instruments SBAS444D.
//!
//! It runs in single-shot mode: in continuous mode the first reading after a change of input is still the old input's.
//! Potentiometers are ratiometric: one input reads their excitation, as a channel of its own, and the host divides.

use embedded_hal::i2c::I2c;
use hingeline_protocol::{Component, Quantity, Unit};

use super::{Conversion, Cost, Counts, Fault, MAX_SCALARS, Scalar, Sensor};

/// Inputs (SBAS444D 5, pin functions AIN0 to AIN3).
pub const INPUTS: u8 = 4;

/// Conversion register (8.6.1, table 5).
const CONVERSION: u8 = 0b00;
/// Config register (8.6.1, table 5).
const CONFIG: u8 = 0b01;
/// OS: written 1 begins a conversion; reads 1 when none is going on (8.6.3, bit 15).
const OS: u16 = 1 << 15;
/// MUX 100: input 0 against ground; the next codes are inputs 1 to 3 (8.6.3, bits 14:12).
const MUX_AIN0: u16 = 0b100 << 12;
/// Bits that choose the input (8.6.3).
const MUX_SHIFT: u32 = 12;
/// PGA (8.6.3, bits 11:9).
const PGA_SHIFT: u32 = 9;
/// MODE 1: single-shot (8.6.3, bit 8).
const SINGLE_SHOT: u16 = 1 << 8;
/// DR 111: 860 conversions a second (8.6.3, bits 7:5).
const RATE_860: u16 = 0b111 << 5;
/// COMP_QUE 11: comparator off (8.6.3, bits 1:0).
const NO_COMPARATOR: u16 = 0b11;

/// One conversion at 860 a second, µs.
const CONVERSION_US: u32 = 1_000_000 / 860;
/// Data rate varies by up to 10 % (6.5, electrical characteristics), and waking takes about 25 µs (8.4.2.1).
const READY_US: u32 = CONVERSION_US + CONVERSION_US / 10 + 25;

/// Begin: address, pointer, two bytes, of which the last begins the conversion. Finish: address, pointer, address, two
/// bytes.
pub const COST: Cost = Cost { begin_bytes: 4, ready_us: READY_US, finish_bytes: 5, latch_bytes: 4 };

/// Every so many conversions the part is asked whether it really was done: it shows a clock out of its limits, which
/// would give the reading of the input before.
const ASK_EVERY: u8 = 250;

/// Full scale of the programmable amplifier (8.6.3, PGA).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gain {
    code: u16,
    full_scale_mv: u16,
}

impl Gain {
    /// ±4.096 V: the smallest that takes a 3.3 V excitation.
    pub const DEFAULT: Self = Self { code: 0b001, full_scale_mv: 4096 };

    /// The gain of that full scale, if there is one; 0 means the default.
    pub const fn of_mv(full_scale_mv: u16) -> Option<Self> {
        let code = match full_scale_mv {
            0 => return Some(Self::DEFAULT),
            6144 => 0b000,
            4096 => 0b001,
            2048 => 0b010,
            1024 => 0b011,
            512 => 0b100,
            256 => 0b101,
            _ => return None,
        };
        Some(Self { code, full_scale_mv })
    }

    /// Volt per count: the full scale is 2¹⁵ counts (8.3.3, table 3).
    fn volt_per_count(self) -> f32 {
        f32::from(self.full_scale_mv) * 1e-3 / 32768.0
    }
}

/// The driver.
#[derive(Debug, Clone, Copy)]
pub struct Ads1115 {
    address: u8,
    gains: [Gain; INPUTS as usize],
    conversions: u8,
}

impl Ads1115 {
    /// At `address` (0x48 to 0x4b, table 4), all inputs at the default full scale.
    pub const fn new(address: u8) -> Self {
        Self { address, gains: [Gain::DEFAULT; INPUTS as usize], conversions: 0 }
    }

    /// Sets an input's full scale; what the part does not have leaves the default.
    pub fn set_gain(&mut self, input: u8, full_scale_mv: u16) {
        if let Some(gain) = self.gains.get_mut(usize::from(input)) {
            *gain = Gain::of_mv(full_scale_mv).unwrap_or(Gain::DEFAULT);
        }
    }

    fn gain(&self, input: u8) -> Gain {
        self.gains.get(usize::from(input)).copied().unwrap_or(Gain::DEFAULT)
    }

    /// The voltage at an input.
    pub fn scalar(&self, input: u8, component: Component) -> Scalar {
        Scalar {
            component,
            quantity: Quantity::Voltage,
            unit: Unit::Volt,
            scale: self.gain(input).volt_per_count(),
            // The codes clip at both ends (8.5.4, table 3).
            raw_min: i16::MIN.into(),
            raw_max: i16::MAX.into(),
        }
    }

    /// The config register for an input, without OS.
    fn settings(&self, input: u8) -> u16 {
        let mux = MUX_AIN0 | u16::from(input & 3) << MUX_SHIFT;
        mux | self.gain(input).code << PGA_SHIFT | SINGLE_SHOT | RATE_860 | NO_COMPARATOR
    }

    fn write_config<B: I2c>(&self, bus: &mut B, value: u16) -> Result<(), Fault> {
        let [high, low] = value.to_be_bytes();
        bus.write(self.address, &[CONFIG, high, low]).map_err(Fault::of)
    }

    fn read<B: I2c>(&self, bus: &mut B, register: u8) -> Result<u16, Fault> {
        let mut bytes = [0; 2];
        bus.write_read(self.address, &[register], &mut bytes).map_err(Fault::of)?;
        Ok(u16::from_be_bytes(bytes))
    }
}

impl Sensor for Ads1115 {
    /// It has no identity register: what is written must read back.
    fn setup<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        let settings = self.settings(0);
        self.conversions = 0;
        self.write_config(bus, settings)?;
        if self.read(bus, CONFIG)? & !OS == settings { Ok(()) } else { Err(Fault::WrongPart) }
    }

    fn begin<B: I2c>(&mut self, bus: &mut B, input: u8) -> Result<Conversion, Fault> {
        self.write_config(bus, OS | self.settings(input))?;
        Ok(Conversion::Timed { middle_us: CONVERSION_US / 2, ready_us: READY_US })
    }

    fn finish<B: I2c>(&mut self, bus: &mut B) -> Result<Counts, Fault> {
        self.conversions = self.conversions.wrapping_add(1) % ASK_EVERY;
        if self.conversions == 1 && self.read(bus, CONFIG)? & OS == 0 {
            return Err(Fault::NotReady);
        }
        let raw = self.read(bus, CONVERSION)?;
        let mut counts = [0; MAX_SCALARS];
        if let Some(first) = counts.first_mut() {
            *first = i32::from(raw as i16);
        }
        Ok(counts)
    }
}
