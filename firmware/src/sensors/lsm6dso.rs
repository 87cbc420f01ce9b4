//! LSM6DSO: three axes of specific force, three of angular rate. Data sheet: ST DS12140 (register names and addresses as
//! in its register description; sensitivities from its table of mechanical characteristics).
//!
//! It converts by itself at 833 Hz; one burst reads status, temperature and all six axes, which belong together because
//! the part holds them while they are read.

use embedded_hal::i2c::I2c;
use hingeline_protocol::{Component, Quantity, Unit};

use super::{Conversion, Cost, Counts, Fault, MAX_SCALARS, Scalar, Sensor};

/// Three axes of each kind.
pub const AXES: u8 = 6;

/// WHO_AM_I (0x0F).
const WHO_AM_I: u8 = 0x0f;
/// What it answers (WHO_AM_I, fixed value).
const IDENTITY: u8 = 0x6c;
/// CTRL1_XL (0x10): accelerometer rate and range. CTRL2_G (0x11) and CTRL3_C (0x12) follow it.
const CTRL1_XL: u8 = 0x10;
/// CTRL3_C (0x12).
const CTRL3_C: u8 = 0x12;
/// ODR 0111: 833 Hz (CTRL1_XL and CTRL2_G, bits 7:4).
const RATE_833: u8 = 0b0111 << 4;
/// BDU: registers hold still while they are read (CTRL3_C, bit 6).
const HOLD: u8 = 1 << 6;
/// IF_INC: the address runs on in a burst (CTRL3_C, bit 2).
const RUN_ON: u8 = 1 << 2;
/// SW_RESET (CTRL3_C, bit 0).
const RESET: u8 = 1 << 0;
/// STATUS_REG (0x1E). 0x1F is reserved, OUT_TEMP 0x20, OUT_G 0x22 to 0x27, OUT_A 0x28 to 0x2D.
const STATUS: u8 = 0x1e;
/// GDA and XLDA: new rate and acceleration since the last reading (STATUS_REG, bits 1 and 0).
const NEW_BOTH: u8 = 0b11;
/// From STATUS_REG to the end of OUT_A.
const BURST: usize = 16;
/// Where the axes begin in the burst.
const AXES_AT: usize = 4;

/// Period at 833 Hz, µs: a reading is between nothing and this old, half of it on average.
const PERIOD_US: u32 = 1200;
/// Turn-on of both parts, µs: gyroscope 70 ms at most (table of mechanical characteristics, Ton), and some periods.
pub const SETTLE_US: u64 = 80_000;

/// Nothing to begin. Finish: address, register, address, burst; held from when it is addressed to be read.
pub const COST: Cost = Cost { begin_bytes: 0, ready_us: 0, finish_bytes: 3 + BURST as u32, latch_bytes: 3 };

/// Standard gravity, m/s² (exact by definition).
const STANDARD_GRAVITY: f32 = 9.80665;

/// Accelerometer range: bits for CTRL1_XL (FS_XL, bits 3:2) and mg per count (LA_So); 0 means ±4 g.
pub const fn accel_range(full_scale_g: u16) -> Option<(u8, f32)> {
    match full_scale_g {
        2 => Some((0b00 << 2, 0.061)),
        0 | 4 => Some((0b10 << 2, 0.122)),
        8 => Some((0b11 << 2, 0.244)),
        16 => Some((0b01 << 2, 0.488)),
        _ => None,
    }
}

/// Gyroscope range: bits for CTRL2_G (FS_G, bits 3:2, and FS_125, bit 1) and mdps per count (G_So); 0 means ±250 °/s.
pub const fn gyro_range(full_scale_dps: u16) -> Option<(u8, f32)> {
    match full_scale_dps {
        125 => Some((1 << 1, 4.375)),
        0 | 250 => Some((0b00 << 2, 8.75)),
        500 => Some((0b01 << 2, 17.5)),
        1000 => Some((0b10 << 2, 35.0)),
        2000 => Some((0b11 << 2, 70.0)),
        _ => None,
    }
}

/// The driver.
#[derive(Debug, Clone, Copy)]
pub struct Lsm6dso {
    address: u8,
    accel: (u8, f32),
    gyro: (u8, f32),
}

impl Lsm6dso {
    /// At `address` (0x6a or 0x6b, I²C operation) with these ranges; one that the part has not means its default.
    pub fn new(address: u8, full_scale_g: u16, full_scale_dps: u16) -> Self {
        Self {
            address,
            accel: accel_range(full_scale_g).unwrap_or((0b10 << 2, 0.122)),
            gyro: gyro_range(full_scale_dps).unwrap_or((0, 8.75)),
        }
    }

    /// Axis `index`: ax, ay, az, gx, gy, gz.
    pub fn scalar(&self, index: u8) -> Scalar {
        let component = match index {
            0 => Component::Ax,
            1 => Component::Ay,
            2 => Component::Az,
            3 => Component::Gx,
            4 => Component::Gy,
            _ => Component::Gz,
        };
        let (quantity, unit, scale) = if index < 3 {
            (Quantity::SpecificForce, Unit::MetrePerSecondSquared, self.accel.1 * 1e-3 * STANDARD_GRAVITY)
        } else {
            (Quantity::AngularRate, Unit::RadianPerSecond, (self.gyro.1 * 1e-3).to_radians())
        };
        Scalar { component, quantity, unit, scale, raw_min: i16::MIN.into(), raw_max: i16::MAX.into() }
    }

    /// CTRL1_XL, CTRL2_G, CTRL3_C.
    fn controls(&self) -> [u8; 3] {
        [RATE_833 | self.accel.0, RATE_833 | self.gyro.0, HOLD | RUN_ON]
    }
}

impl Sensor for Lsm6dso {
    fn setup<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        let mut identity = [0];
        bus.write_read(self.address, &[WHO_AM_I], &mut identity).map_err(Fault::of)?;
        if identity != [IDENTITY] {
            return Err(Fault::WrongPart);
        }
        let [accel, gyro, common] = self.controls();
        // First of all that the address runs on, which a part may have lost.
        bus.write(self.address, &[CTRL3_C, common]).map_err(Fault::of)?;
        bus.write(self.address, &[CTRL1_XL, accel, gyro]).map_err(Fault::of)?;
        let mut back = [0; 3];
        bus.write_read(self.address, &[CTRL1_XL], &mut back).map_err(Fault::of)?;
        let [_, _, common_back] = back;
        if common_back & RESET != 0 {
            return Err(Fault::NotReady);
        }
        if back == self.controls() { Ok(()) } else { Err(Fault::WrongPart) }
    }

    fn begin<B: I2c>(&mut self, _: &mut B, _: u8) -> Result<Conversion, Fault> {
        Ok(Conversion::OnRead { age_us: PERIOD_US / 2 })
    }

    fn finish<B: I2c>(&mut self, bus: &mut B) -> Result<Counts, Fault> {
        let mut burst = [0; BURST];
        bus.write_read(self.address, &[STATUS], &mut burst).map_err(Fault::of)?;
        // A part that was reset stands still and has nothing new.
        if burst.first().is_none_or(|status| status & NEW_BOTH != NEW_BOTH) {
            return Err(Fault::NotReady);
        }
        let mut axes = [0; MAX_SCALARS];
        let pairs = burst.get(AXES_AT..).unwrap_or(&[]).as_chunks::<2>().0;
        for (axis, pair) in axes.iter_mut().zip(pairs) {
            *axis = i32::from(i16::from_le_bytes(*pair));
        }
        // The part gives rates first.
        let [gx, gy, gz, ax, ay, az] = axes;
        Ok([ax, ay, az, gx, gy, gz])
    }
}
