//! ADS1115 as registers: four inputs, 16 bits. Data sheet: Texas Instruments SBAS444D.

use super::{Part, Surroundings, Terminal};

/// Config register after a reset (8.6.3).
const RESET_CONFIG: u16 = 0x8583;
/// Threshold registers after a reset (8.6.4).
const RESET_THRESHOLDS: [u16; 2] = [0x8000, 0x7fff];
/// OS: written 1 begins a conversion; reads 1 when none is going on (8.6.3, bit 15).
const OS: u16 = 1 << 15;
/// MODE: 1 single-shot, 0 continuous (8.6.3, bit 8).
const SINGLE_SHOT: u16 = 1 << 8;
/// Conversions per second by DR (8.6.3, bits 7:5).
const RATES: [u32; 8] = [8, 16, 32, 64, 128, 250, 475, 860];
/// Full scale by PGA, mV (8.6.3, bits 11:9).
const FULL_SCALES_MV: [u16; 8] = [6144, 4096, 2048, 1024, 512, 256, 256, 256];
/// Inputs against each other by MUX (8.6.3, bits 14:12): plus and minus, none = ground.
const MUX: [(usize, Option<usize>); 8] =
    [(0, Some(1)), (0, Some(3)), (1, Some(3)), (2, Some(3)), (0, None), (1, None), (2, None), (3, None)];
/// Wake-up before a single conversion, µs (8.4.2.1).
const WAKE_US: u64 = 25;

/// A conversion: when it is done, and what it gives.
#[derive(Debug, Clone, Copy)]
struct Conversion {
    done_us: u64,
    code: i16,
}

/// The part.
#[derive(Debug, Clone)]
pub struct Ads1115 {
    inputs: [Option<Terminal>; 4],
    /// How long its conversions take against the nominal time; the data sheet allows 0.9 to 1.1 (6.5).
    slowness: f64,
    pointer: u8,
    config: u16,
    thresholds: [u16; 2],
    conversion: i16,
    going_on: Option<Conversion>,
    /// Since when it converts continuously, µs.
    continuous_us: Option<u64>,
}

impl Ads1115 {
    /// With these inputs (an input that nothing is tied to reads 0 V) and a clock that is slow by this factor.
    pub fn new(inputs: [Option<Terminal>; 4], slowness: f64) -> Self {
        Self {
            inputs,
            slowness,
            pointer: 0,
            config: RESET_CONFIG,
            thresholds: RESET_THRESHOLDS,
            conversion: 0,
            going_on: None,
            continuous_us: None,
        }
    }

    fn field(&self, lowest_bit: u32) -> usize {
        usize::from(self.config >> lowest_bit & 0b111)
    }

    fn conversion_us(&self) -> u64 {
        let rate = RATES.get(self.field(5)).copied().unwrap_or(860);
        (1e6 / f64::from(rate) * self.slowness) as u64
    }

    /// The code of the voltage in the middle of a conversion; it clips at both ends (8.5.4, table 3).
    fn code(&self, middle_us: u64, around: &mut dyn Surroundings) -> i16 {
        let (plus, minus) = MUX.get(self.field(12)).copied().unwrap_or((0, None));
        let mut volts = |input: usize| {
            let terminal = self.inputs.get(input).copied().flatten();
            terminal.map_or(0.0, |t| around.volts(t, middle_us))
        };
        let difference = volts(plus) - minus.map_or(0.0, volts);
        let full_scale_v = f64::from(FULL_SCALES_MV.get(self.field(9)).copied().unwrap_or(2048)) * 1e-3;
        // A float beyond the type's range is held at its ends.
        (difference / full_scale_v * 32768.0).round() as i16
    }

    fn configure(&mut self, now_us: u64, value: u16, around: &mut dyn Surroundings) {
        self.catch_up(now_us, around);
        self.config = value & !OS;
        if value & SINGLE_SHOT == 0 {
            self.continuous_us = Some(now_us);
            return;
        }
        self.continuous_us = None;
        // A part that is busy takes no new start (8.6.3, OS).
        if value & OS != 0 && self.going_on.is_none() {
            let length_us = self.conversion_us();
            let code = self.code(now_us + WAKE_US + length_us / 2, around);
            self.going_on = Some(Conversion { done_us: now_us + WAKE_US + length_us, code });
        }
    }

    /// Puts what is done by now into the conversion register.
    fn catch_up(&mut self, now_us: u64, around: &mut dyn Surroundings) {
        if let Some(done) = self.going_on.take_if(|c| c.done_us <= now_us) {
            self.conversion = done.code;
        }
        if let Some(since_us) = self.continuous_us {
            let length_us = self.conversion_us().max(1);
            if let Some(whole) = ((now_us - since_us) / length_us).checked_sub(1) {
                self.conversion = self.code(since_us + whole * length_us + length_us / 2, around);
            }
        }
    }

    fn register(&self) -> u16 {
        match self.pointer & 0b11 {
            0b00 => self.conversion as u16,
            0b01 if self.going_on.is_none() && self.continuous_us.is_none() => self.config | OS,
            0b01 => self.config,
            0b10 => self.thresholds[0],
            _ => self.thresholds[1],
        }
    }
}

impl Part for Ads1115 {
    fn write(&mut self, now_us: u64, bytes: &[u8], around: &mut dyn Surroundings) {
        let Some((&pointer, data)) = bytes.split_first() else { return };
        self.pointer = pointer;
        if let [high, low, ..] = *data {
            let value = u16::from_be_bytes([high, low]);
            match pointer & 0b11 {
                0b01 => self.configure(now_us, value, around),
                0b10 => self.thresholds[0] = value,
                0b11 => self.thresholds[1] = value,
                _ => {}
            }
        }
    }

    fn read(&mut self, now_us: u64, bytes: &mut [u8], around: &mut dyn Surroundings) {
        self.catch_up(now_us, around);
        let register = self.register().to_be_bytes();
        for (byte, value) in bytes.iter_mut().zip(register.into_iter().cycle()) {
            *byte = value;
        }
    }

    fn power_up(&mut self, _: u64) {
        *self = Self::new(self.inputs, self.slowness);
    }
}
