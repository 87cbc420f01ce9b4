//! VL53L4CD as registers: time of flight, up to 1.3 m. Data sheet: ST DS13812 rev 3; registers as the source of ST's own driver
//! uses them (STSW-IMG026, 2.2.3), its functions in brackets.

use super::{Part, Surroundings, Terminal};

/// Registers that there are: up to the second byte of IDENTIFICATION__MODEL_ID.
const REGISTERS: usize = 0x0111;
/// The oscillator's frequency (`SetRangeTiming`), as a part may have it: 11.8 MHz with 12 fractional bits.
const OSCILLATOR: usize = 0x0006;
const OSCILLATOR_HZ_12: [u8; 2] = [0xbc, 0xcc];
/// GPIO_HV_MUX__CTRL: bit 4 makes the interrupt active low. GPIO__TIO_HV_STATUS: bit 0 is the line (`CheckForDataReady`).
const POLARITY: usize = 0x0030;
const ACTIVE_LOW: u8 = 1 << 4;
const LINE: usize = 0x0031;
/// RANGE_CONFIG_A, the timeout that the first half of the sequence has (`SetRangeTiming`).
const TIMEOUT: usize = 0x005e;
/// SYSTEM__INTERRUPT_CLEAR and SYSTEM_START with its values (`ClearInterrupt`, `StartRanging`, `StopRanging`, `SensorInit`).
const CLEAR: usize = 0x0086;
const START: usize = 0x0087;
const RANGE: u8 = 0x21;
const CALIBRATE: u8 = 0x40;
/// RESULT__RANGE_STATUS and RESULT__DISTANCE (`GetResult`): a sound reading, and one whose signal is too weak.
const STATUS: usize = 0x0089;
const DISTANCE: usize = 0x0096;
const SOUND: u8 = 9;
const WEAK: u8 = 4;
/// FIRMWARE__SYSTEM_STATUS of a part that has booted; IDENTIFICATION__MODEL_ID (`SensorInit`, `GetSensorId`).
const SYSTEM: usize = 0x00e5;
const BOOTED: u8 = 3;
const MODEL: usize = 0x010f;
const IDENTITY: [u8; 2] = [0xeb, 0xaa];
/// Boot takes so long at most, µs (DS13812 2.6, t_BOOT).
const BOOT_US: u64 = 1_200;
/// What calibrating takes, µs: one measurement with the timing after a reset (`SensorInit`, 50 ms).
const CALIBRATION_US: u64 = 50_000;
/// What a measurement needs beside its timeout, µs (`SetRangeTiming`, without a pause between measurements).
const BESIDE_US: u64 = 2_500;
/// The distances that it sees, m (DS13812 4).
const REACH_M: std::ops::RangeInclusive<f64> = 0.001..=1.3;

/// A measurement.
#[derive(Debug, Clone, Copy)]
struct Measurement {
    begun_us: u64,
    ready_us: u64,
    /// Status and distance, mm, once they were asked for.
    result: Option<(u8, u16)>,
}

/// The part.
#[derive(Debug, Clone)]
pub struct Vl53l4cd {
    target: Terminal,
    pointer: u16,
    registers: [u8; REGISTERS],
    booted_us: u64,
    measurement: Option<Measurement>,
}

impl Vl53l4cd {
    /// Before this target.
    pub fn new(target: Terminal) -> Self {
        let mut registers = [0; REGISTERS];
        let fixed = [(OSCILLATOR, OSCILLATOR_HZ_12), (MODEL, IDENTITY)];
        for (at, value) in fixed.iter().flat_map(|(at, pair)| (*at..).zip(pair)) {
            if let Some(register) = registers.get_mut(at) {
                *register = *value;
            }
        }
        Self { target, pointer: 0, registers, booted_us: BOOT_US, measurement: None }
    }

    fn register(&self, at: usize) -> u8 {
        self.registers.get(at).copied().unwrap_or(0)
    }

    /// How long a measurement takes with the timeout that was written, µs.
    fn budget_us(&self) -> u64 {
        let word = |at: usize| u64::from(self.register(at)) << 8 | u64::from(self.register(at + 1));
        let macro_period = (2304 * (0x4000_0000 / word(OSCILLATOR).max(1))) >> 6;
        let timeout = word(TIMEOUT);
        let steps = ((timeout & 0xff) + 1) << (timeout >> 8).min(16);
        ((steps * ((16 * macro_period) >> 6)) >> 12) + BESIDE_US
    }

    fn measure(&mut self, now_us: u64, takes_us: u64) {
        self.measurement = Some(Measurement { begun_us: now_us, ready_us: now_us + takes_us, result: None });
    }

    fn is_ready(&self, now_us: u64) -> bool {
        self.measurement.is_some_and(|m| now_us >= m.ready_us)
    }

    fn written(&mut self, at: usize, value: u8, now_us: u64) {
        match (at, value) {
            // It holds until the reading is cleared; before that there is nothing to clear (DS13812 2.9).
            (CLEAR, 1) if self.is_ready(now_us) && self.register(START) == RANGE => {
                self.measure(now_us, self.budget_us());
            }
            (CLEAR, 1) if self.is_ready(now_us) => self.measurement = None,
            (START, RANGE) => self.measure(now_us, self.budget_us()),
            (START, CALIBRATE) => self.measure(now_us, CALIBRATION_US),
            (START, _) => self.measurement = None,
            _ => {}
        }
    }

    /// Status and distance of the latest measurement, at its middle.
    fn result(&mut self, now_us: u64, around: &mut dyn Surroundings) -> (u8, u16) {
        let target = self.target;
        let Some(m) = self.measurement.as_mut().filter(|m| now_us >= m.ready_us) else { return (0, 0) };
        *m.result.get_or_insert_with(|| {
            let distance_m = around.metres(target, m.begun_us.midpoint(m.ready_us));
            match distance_m.filter(|d| REACH_M.contains(d)) {
                Some(distance_m) => (SOUND, (distance_m * 1e3).round() as u16),
                None => (WEAK, 0),
            }
        })
    }
}

impl Part for Vl53l4cd {
    fn write(&mut self, now_us: u64, bytes: &[u8], _: &mut dyn Surroundings) {
        let Some((pointer, data)) = bytes.split_first_chunk() else { return };
        self.pointer = u16::from_be_bytes(*pointer);
        for value in data {
            let at = usize::from(self.pointer);
            if let Some(register) = self.registers.get_mut(at) {
                *register = *value;
            }
            self.written(at, *value, now_us);
            self.pointer = self.pointer.wrapping_add(1);
        }
    }

    fn read(&mut self, now_us: u64, bytes: &mut [u8], around: &mut dyn Surroundings) {
        let asked = usize::from(self.pointer);
        let results = STATUS..DISTANCE + 2;
        let touched = asked < results.end && asked + bytes.len() > results.start;
        let (status, distance_mm) = if touched { self.result(now_us, around) } else { (0, 0) };
        let [high, low] = distance_mm.to_be_bytes();
        for byte in bytes {
            *byte = match usize::from(self.pointer) {
                LINE => u8::from(self.is_ready(now_us) != (self.register(POLARITY) & ACTIVE_LOW != 0)),
                STATUS => status,
                DISTANCE => high,
                at if at == DISTANCE + 1 => low,
                SYSTEM if now_us >= self.booted_us => BOOTED,
                at => self.register(at),
            };
            self.pointer = self.pointer.wrapping_add(1);
        }
    }

    fn power_up(&mut self, now_us: u64) {
        *self = Self { booted_us: now_us + BOOT_US, ..Self::new(self.target) };
    }
}
