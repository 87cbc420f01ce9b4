//! VL53L4CD: time of flight, up to 1.2 m. Data sheet: ST DS13812 rev 3. Its registers are described only by the source of ST's own
//! driver (STSW-IMG026, "ULD", 2.2.3, BSD-3-Clause; user manual UM2931): names and values are those of its `VL53L4CD_api.h` and
//! `VL53L4CD_api.c`, in brackets.
//!
//! It ranges again and again, and holds between two until its reading is fetched and cleared (DS13812 2.9, handshake): clearing
//! begins a conversion. Registers have 16 bits of address and run on in a burst (DS13812 3).

use embedded_hal::i2c::I2c;
use hingeline_protocol::{Component, Quantity, Unit};

use super::{Conversion, Cost, Counts, Fault, MAX_SCALARS, Scalar, Sensor};

/// VHV_CONFIG__TIMEOUT_MACROP_LOOP_BOUND, and what it is set to once the part has calibrated itself (`SensorInit`).
const LOOP_BOUND: u16 = 0x0008;
const LOOP_BOUND_RANGING: u8 = 0x09;
/// Two registers without a name, and what they are set to then (`SensorInit`).
const UNNAMED_0B: u16 = 0x000b;
const UNNAMED_24: u16 = 0x0024;
const UNNAMED_24_VALUE: [u8; 2] = [0x05, 0x00];
/// The oscillator's frequency, MHz with 12 fractional bits (`SetRangeTiming`).
const OSCILLATOR: u16 = 0x0006;
/// First register of the default configuration.
const SETTINGS_AT: u16 = 0x002d;
/// GPIO__TIO_HV_STATUS: with the interrupt active low, as below, bit 0 is 0 when a reading is ready (`CheckForDataReady`).
const INTERRUPT_LINE: u16 = 0x0031;
/// RANGE_CONFIG_A and RANGE_CONFIG_B: the two timeouts, with the factors of the macro period that each counts in
/// (`SetRangeTiming`).
const TIMEOUTS: [(u16, u64); 2] = [(0x005e, 16), (0x0061, 12)];
/// INTERMEASUREMENT_MS: 0 = one measurement after the other (`SetRangeTiming`).
const PAUSE: u16 = 0x006c;
/// SYSTEM__INTERRUPT_CLEAR, written 1 (`ClearInterrupt`).
const CLEAR: u16 = 0x0086;
/// SYSTEM_START: stop, range without a pause, range once to calibrate (`StopRanging`, `StartRanging`, `SensorInit`).
const START: u16 = 0x0087;
const STOP: u8 = 0x80;
const RANGE: u8 = 0x21;
const CALIBRATE: u8 = 0x40;
/// RESULT__RANGE_STATUS, bits 4:0; 9 is a sound reading (`GetResult`, status 0).
const RESULT: u16 = 0x0089;
const STATUS: u8 = 0x1f;
const SOUND: u8 = 9;
/// From there to the end of RESULT__DISTANCE (0x0096), and where in it the distance is, mm.
const RESULT_BYTES: usize = 15;
const DISTANCE_AT: usize = 13;
/// FIRMWARE__SYSTEM_STATUS, 3 once the part has booted (`SensorInit`).
const SYSTEM_STATUS: u16 = 0x00e5;
const BOOTED: u8 = 3;
/// IDENTIFICATION__MODEL_ID and its value (`GetSensorId`).
const MODEL: u16 = 0x010f;
const IDENTITY: [u8; 2] = [0xeb, 0xaa];

/// What is written before ranging, from `SETTINGS_AT` to SYSTEM_START (`VL53L4CD_DEFAULT_CONFIGURATION`): bus at 1.8 V or the
/// supply as the board has it, interrupt active low on a new reading.
const SETTINGS: [u8; 91] = [
    0x00, 0x00, 0x00, 0x11, 0x02, 0x00, 0x02, 0x08, 0x00, 0x08, 0x10, 0x01, 0x01, 0x00, 0x00, 0x00, 0x00,
    0xff, 0x00, 0x0f, 0x00, 0x00, 0x00, 0x00, 0x00, 0x20, 0x0b, 0x00, 0x00, 0x02, 0x14, 0x21, 0x00, 0x00,
    0x05, 0x00, 0x00, 0x00, 0x00, 0xc8, 0x00, 0x00, 0x38, 0xff, 0x01, 0x00, 0x08, 0x00, 0x00, 0x01, 0xcc,
    0x07, 0x01, 0xf1, 0x05, 0x00, 0xa0, 0x00, 0x80, 0x08, 0x38, 0x00, 0x00, 0x00, 0x00, 0x0f, 0x89, 0x00,
    0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x01, 0x07, 0x05, 0x06, 0x06, 0x00, 0x00, 0x02, 0xc7, 0xff, 0x9b,
    0x00, 0x00, 0x00, 0x01, 0x00, 0x00,
];
/// Most bytes of a write: a register's address, and all settings.
const LONGEST: usize = 2 + SETTINGS.len();

/// Time for one measurement, µs: the shortest that the part takes (`SetRangeTiming`, 10 to 200 ms).
const BUDGET_US: u32 = 10_000;
/// Of that, what the part needs beside the measuring itself, µs (`SetRangeTiming`).
const BESIDE_US: u64 = 2_500;
/// When the reading is fetched, µs: a fourth later, for the part's oscillator and what it does between two measurements.
const READY_US: u32 = BUDGET_US + BUDGET_US / 4;
/// The part's own calibration takes one measurement with its default timing, 50 ms (`SensorInit`): four times that, µs.
pub const SETTLE_US: u64 = 200_000;

/// Begin: address, two of the register, one byte. Finish: the interrupt's line, one byte, and the result's burst; each begins with
/// address, two of the register, address.
pub const COST: Cost = Cost {
    begin_bytes: 4,
    ready_us: READY_US,
    finish_bytes: 2 * 4 + 1 + RESULT_BYTES as u32,
    latch_bytes: 4,
};

/// Stands for a reading where nothing sound came back: no target within reach, too little light, or too much.
const NO_TARGET: i32 = u16::MAX as i32;

/// The distance, in counts of a millimetre (`GetResult`).
pub fn scalar(component: Component) -> Scalar {
    Scalar {
        component,
        quantity: Quantity::Length,
        unit: Unit::Metre,
        scale: 1e-3,
        raw_min: 0,
        raw_max: NO_TARGET,
    }
}

/// The driver.
#[derive(Debug, Clone, Copy)]
pub struct Vl53l4cd {
    address: u8,
    /// Whether it has calibrated itself and ranges.
    ranges: bool,
}

impl Vl53l4cd {
    /// At `address` (0x29 always after power-up, DS13812 3: 0x52 with the direction bit).
    pub const fn new(address: u8) -> Self {
        Self { address, ranges: false }
    }

    fn write<B: I2c>(&self, bus: &mut B, register: u16, values: &[u8]) -> Result<(), Fault> {
        let mut bytes = [0; LONGEST];
        let all = register.to_be_bytes();
        bytes.iter_mut().zip(all.iter().chain(values)).for_each(|(at, byte)| *at = *byte);
        bus.write(self.address, bytes.get(..2 + values.len()).unwrap_or(&bytes)).map_err(Fault::of)
    }

    fn read<B: I2c, const N: usize>(&self, bus: &mut B, register: u16) -> Result<[u8; N], Fault> {
        let mut bytes = [0; N];
        bus.write_read(self.address, &register.to_be_bytes(), &mut bytes).map_err(Fault::of)?;
        Ok(bytes)
    }

    fn is_ready<B: I2c>(&self, bus: &mut B) -> Result<bool, Fault> {
        let [line] = self.read(bus, INTERRUPT_LINE)?;
        Ok(line & 1 == 0)
    }

    /// The part has calibrated itself: it is given its timing and ranges from now on.
    fn begin_to_range<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        if !self.is_ready(bus)? {
            return Err(Fault::NotReady);
        }
        self.write(bus, CLEAR, &[1])?;
        self.write(bus, START, &[STOP])?;
        self.write(bus, LOOP_BOUND, &[LOOP_BOUND_RANGING])?;
        self.write(bus, UNNAMED_0B, &[0])?;
        self.write(bus, UNNAMED_24, &UNNAMED_24_VALUE)?;
        self.write(bus, PAUSE, &[0; 4])?;
        let oscillator = u16::from_be_bytes(self.read(bus, OSCILLATOR)?);
        for (register, factor) in TIMEOUTS {
            let timeout = timeout(oscillator, factor).ok_or(Fault::NotReady)?;
            self.write(bus, register, &timeout.to_be_bytes())?;
        }
        self.write(bus, START, &[RANGE])?;
        self.ranges = true;
        Ok(())
    }
}

/// A timeout as the part takes it, eight bits and a power of two, for this oscillator; none if that cannot run (`SetRangeTiming`;
/// integers as there).
fn timeout(oscillator: u16, factor: u64) -> Option<u16> {
    let macro_period = (2304 * 0x4000_0000_u64.checked_div(u64::from(oscillator))?) >> 6;
    let step = (macro_period * factor) >> 6;
    let budget = (u64::from(BUDGET_US) - BESIDE_US) << 12;
    let mut mantissa = (budget + step / 2).checked_div(step)?.saturating_sub(1);
    let mut exponent = 0;
    while mantissa > 0xff {
        mantissa >>= 1;
        exponent += 1;
    }
    Some(exponent << 8 | mantissa as u16)
}

impl Sensor for Vl53l4cd {
    /// The settings, and the start of the part's own calibration, which takes its time.
    fn setup<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        self.ranges = false;
        if self.read(bus, MODEL)? != IDENTITY {
            return Err(Fault::WrongPart);
        }
        if self.read(bus, SYSTEM_STATUS)? != [BOOTED] {
            return Err(Fault::NotReady);
        }
        self.write(bus, START, &[STOP])?;
        self.write(bus, SETTINGS_AT, &SETTINGS)?;
        self.write(bus, START, &[CALIBRATE])
    }

    fn begin<B: I2c>(&mut self, bus: &mut B, _: u8) -> Result<Conversion, Fault> {
        if self.ranges {
            self.write(bus, CLEAR, &[1])?;
        } else {
            self.begin_to_range(bus)?;
        }
        Ok(Conversion::Timed { middle_us: BUDGET_US / 2, ready_us: READY_US })
    }

    fn finish<B: I2c>(&mut self, bus: &mut B) -> Result<Counts, Fault> {
        if !self.is_ready(bus)? {
            return Err(Fault::NotReady);
        }
        let result: [u8; RESULT_BYTES] = self.read(bus, RESULT)?;
        let sound = result.first().is_some_and(|status| status & STATUS == SOUND);
        let distance = result.get(DISTANCE_AT..).and_then(|bytes| bytes.first_chunk()).copied();
        let mut counts = [0; MAX_SCALARS];
        if let Some(first) = counts.first_mut() {
            *first = distance.filter(|_| sound).map_or(NO_TARGET, |mm| u16::from_be_bytes(mm).into());
        }
        Ok(counts)
    }
}
