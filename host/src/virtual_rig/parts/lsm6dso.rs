//! LSM6DSO as registers: six axes. Data sheet: ST DS12140 (registers and addresses as in its register description,
//! sensitivities from its table of mechanical characteristics).

use super::{Part, Surroundings, Terminal};
use crate::rig::inertial::STANDARD_GRAVITY;

/// WHO_AM_I (0x0F) and its answer.
const WHO_AM_I: u8 = 0x0f;
const IDENTITY: u8 = 0x6c;
/// CTRL1_XL (0x10) to CTRL10_C (0x19).
const CTRL1_XL: u8 = 0x10;
const CTRL3_C: u8 = 0x12;
const CONTROLS: usize = 10;
/// CTRL3_C after a reset: the address runs on (IF_INC, bit 2). SW_RESET is bit 0.
const RUN_ON: u8 = 1 << 2;
const RESET: u8 = 1 << 0;
/// STATUS_REG (0x1E): new temperature, rates, acceleration in bits 2 to 0.
const STATUS: u8 = 0x1e;
/// OUT_TEMP_L; OUTX_L_G; one past OUTZ_H_A.
const OUT_TEMP: u8 = 0x20;
const OUT_G: u8 = 0x22;
const OUT_END: u8 = 0x2e;
/// Data rates by ODR, Hz (CTRL1_XL and CTRL2_G, bits 7:4); 0 = powered down.
const RATES_HZ: [f64; 11] = [0.0, 12.5, 26.0, 52.0, 104.0, 208.0, 416.0, 833.0, 1667.0, 3333.0, 6667.0];
/// Accelerometer, mg per count, by FS_XL (CTRL1_XL, bits 3:2): ±2, ±16, ±4, ±8 g.
const MG_PER_COUNT: [f64; 4] = [0.061, 0.488, 0.122, 0.244];
/// Gyroscope, mdps per count, by FS_G (CTRL2_G, bits 3:2): ±250, ±500, ±1000, ±2000 °/s; and with FS_125 (bit 1).
const MDPS_PER_COUNT: [f64; 4] = [8.75, 17.5, 35.0, 70.0];
const MDPS_PER_COUNT_125: f64 = 4.375;
/// Longest turn-on time of the gyroscope, µs (Ton).
const TURN_ON_US: u64 = 70_000;

/// The part.
#[derive(Debug, Clone)]
pub struct Lsm6dso {
    body: Terminal,
    pointer: u8,
    controls: [u8; CONTROLS],
    /// When both halves were switched on last, µs.
    on_us: Option<u64>,
    /// Number of the sample that was read last.
    read_sample: Option<u64>,
}

impl Lsm6dso {
    /// On this body.
    pub fn new(body: Terminal) -> Self {
        let mut it = Self { body, pointer: 0, controls: [0; CONTROLS], on_us: None, read_sample: None };
        it.set_control(CTRL3_C, RUN_ON);
        it
    }

    fn control(&self, address: u8) -> u8 {
        address.checked_sub(CTRL1_XL).and_then(|k| self.controls.get(usize::from(k))).copied().unwrap_or(0)
    }

    fn set_control(&mut self, address: u8, value: u8) {
        if let Some(k) = address.checked_sub(CTRL1_XL)
            && let Some(control) = self.controls.get_mut(usize::from(k))
        {
            *control = value;
        }
    }

    /// Period of the slower half, µs; `None` while either is powered down.
    fn period_us(&self) -> Option<f64> {
        let rate =
            |address: u8| RATES_HZ.get(usize::from(self.control(address) >> 4)).copied().unwrap_or(0.0);
        let slower = rate(CTRL1_XL).min(rate(CTRL1_XL + 1));
        (slower > 0.0).then(|| 1e6 / slower)
    }

    /// Number and time of the latest sample.
    fn latest(&self, now_us: u64) -> Option<(u64, u64)> {
        let (on_us, period_us) = (self.on_us?, self.period_us()?);
        let since_us = now_us.checked_sub(on_us + TURN_ON_US)?;
        let number = (since_us as f64 / period_us) as u64;
        Some((number, on_us + TURN_ON_US + (number as f64 * period_us) as u64))
    }

    /// From OUT_TEMP_L to the end of OUT_A, low bytes first.
    fn outputs(&self, t_us: u64, around: &mut dyn Surroundings) -> [u8; (OUT_END - OUT_TEMP) as usize] {
        let [force, rate] = around.motion(self.body, t_us);
        let (ctrl1, ctrl2) = (self.control(CTRL1_XL), self.control(CTRL1_XL + 1));
        let by =
            |table: &[f64; 4], bits: u8| table.get(usize::from(bits >> 2 & 0b11)).copied().unwrap_or(1.0);
        let per_count = by(&MG_PER_COUNT, ctrl1) * 1e-3 * STANDARD_GRAVITY;
        let mdps = if ctrl2 & 0b10 != 0 { MDPS_PER_COUNT_125 } else { by(&MDPS_PER_COUNT, ctrl2) };
        let rate_per_count = (mdps * 1e-3).to_radians();
        // Floats beyond the type's range are held at its ends, as the part's counts are.
        let rates = rate.iter().map(|r| (r / rate_per_count).round() as i16);
        let forces = force.iter().map(|f| (f / per_count).round() as i16);
        let mut bytes = [0; (OUT_END - OUT_TEMP) as usize];
        // The temperature stays at 25 °C, which is 0 counts.
        let words = std::iter::once(0_i16).chain(rates).chain(forces);
        for (pair, word) in bytes.chunks_exact_mut(2).zip(words) {
            pair.copy_from_slice(&word.to_le_bytes());
        }
        bytes
    }
}

impl Part for Lsm6dso {
    fn write(&mut self, now_us: u64, bytes: &[u8], _: &mut dyn Surroundings) {
        let Some((&pointer, data)) = bytes.split_first() else { return };
        self.pointer = pointer;
        for value in data {
            let was_on = self.period_us().is_some();
            self.set_control(self.pointer, *value);
            if self.control(CTRL3_C) & RESET != 0 {
                *self = Self::new(self.body);
            }
            match (was_on, self.period_us()) {
                (false, Some(_)) => self.on_us = Some(now_us),
                (true, None) => self.on_us = None,
                _ => {}
            }
            if self.control(CTRL3_C) & RUN_ON != 0 {
                self.pointer = self.pointer.wrapping_add(1);
            }
        }
    }

    fn read(&mut self, now_us: u64, bytes: &mut [u8], around: &mut dyn Surroundings) {
        let latest = self.latest(now_us);
        let asked = self.pointer;
        let reaches_outputs = usize::from(asked) + bytes.len() > usize::from(OUT_TEMP) && asked < OUT_END;
        let outputs = latest.filter(|_| reaches_outputs).map(|(_, t_us)| self.outputs(t_us, around));
        let fresh = latest.is_some_and(|(number, _)| self.read_sample != Some(number));
        for byte in bytes {
            *byte = match self.pointer {
                WHO_AM_I => IDENTITY,
                STATUS if fresh => 0b111,
                STATUS => 0,
                out @ OUT_TEMP..OUT_END => {
                    let at = usize::from(out - OUT_TEMP);
                    if out >= OUT_G {
                        self.read_sample = latest.map(|(number, _)| number);
                    }
                    outputs.and_then(|o| o.get(at).copied()).unwrap_or(0)
                }
                other => self.control(other),
            };
            if self.control(CTRL3_C) & RUN_ON != 0 {
                self.pointer = self.pointer.wrapping_add(1);
            }
        }
    }

    fn power_up(&mut self, _: u64) {
        *self = Self::new(self.body);
    }
}
