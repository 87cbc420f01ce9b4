//! The parts that the logger can read, one file each, behind one trait in two phases: begin a conversion, and finish it
//! later, so that several converters work at the same time. Nobody waits in between, and nobody polls.

mod ads1115;
mod as5600;
mod lsm6dso;
pub mod tca9548;
mod vl53l4cd;

use embedded_hal::i2c::{Error, ErrorKind, I2c};
use hingeline_protocol::{Component, LostReason, Quantity, SensorConfig, Unit};

pub use ads1115::Ads1115;
pub use as5600::As5600;
pub use lsm6dso::Lsm6dso;
pub use vl53l4cd::Vl53l4cd;

/// Most scalars that one conversion gives: three axes of acceleration and three of rate.
pub const MAX_SCALARS: usize = 6;

/// Counts of one conversion; a part with fewer scalars leaves the rest 0.
pub type Counts = [i32; MAX_SCALARS];

/// Why a part could not be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// It does not acknowledge.
    NoAnswer,
    /// The bus itself is in trouble.
    Bus,
    /// Something else sits at the address, or it does not keep what is written.
    WrongPart,
    /// Its conversion is not done when it must be.
    NotReady,
    /// It has nothing to measure (no magnet).
    NoSignal,
}

impl Fault {
    /// The fault behind a bus error.
    pub fn of<E: Error>(error: E) -> Self {
        match error.kind() {
            ErrorKind::NoAcknowledge(_) => Self::NoAnswer,
            _ => Self::Bus,
        }
    }
}

impl From<Fault> for LostReason {
    fn from(fault: Fault) -> Self {
        match fault {
            Fault::NoAnswer => Self::NoAnswer,
            Fault::Bus => Self::BusFault,
            Fault::WrongPart => Self::WrongPart,
            Fault::NotReady => Self::NotReady,
            Fault::NoSignal => Self::NoSignal,
        }
    }
}

/// When a conversion that was begun happens; the time on the bus comes on top, see [`Cost::latch_bytes`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Conversion {
    /// It takes its time: its middle and the earliest instant to read it, µs from now.
    Timed {
        /// To its middle.
        middle_us: u32,
        /// To its end, at the slowest clock that the part may have.
        ready_us: u32,
    },
    /// The part converts by itself; what is read is this old, µs.
    OnRead {
        /// Age of the reading.
        age_us: u32,
    },
}

/// What one scalar of a part means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scalar {
    /// Which scalar.
    pub component: Component,
    /// Its quantity.
    pub quantity: Quantity,
    /// Its unit.
    pub unit: Unit,
    /// Unit per count.
    pub scale: f32,
    /// A reading here or below is saturated.
    pub raw_min: i32,
    /// A reading here or above is saturated.
    pub raw_max: i32,
}

/// What a conversion costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cost {
    /// Bytes on the bus to begin it, addresses included.
    pub begin_bytes: u32,
    /// Time from its beginning to ready, µs.
    pub ready_us: u32,
    /// Bytes on the bus to finish it, addresses included.
    pub finish_bytes: u32,
    /// Bytes that have passed when a conversion really begins, or a reading is latched.
    pub latch_bytes: u32,
}

/// A part on an I²C bus.
pub trait Sensor {
    /// Checks that it is there and is what it should be, and sets it up.
    ///
    /// # Errors
    /// [`Fault`]: it is not, or the bus fails.
    fn setup<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault>;

    /// Begins a conversion of an input.
    ///
    /// # Errors
    /// [`Fault`] if the part does not take the command.
    fn begin<B: I2c>(&mut self, bus: &mut B, input: u8) -> Result<Conversion, Fault>;

    /// Reads the conversion begun last.
    ///
    /// # Errors
    /// [`Fault`] if it cannot be read, or is not done.
    fn finish<B: I2c>(&mut self, bus: &mut B) -> Result<Counts, Fault>;
}

/// The parts, by the names that a rig file gives them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Four-channel 16-bit ADC.
    Ads1115,
    /// Magnetic angle sensor.
    As5600,
    /// Six-axis inertial unit.
    Lsm6dso,
    /// Range finder.
    Vl53l4cd,
}

impl Part {
    /// The part of that name.
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "ads1115" => Some(Self::Ads1115),
            "as5600" => Some(Self::As5600),
            "lsm6dso" => Some(Self::Lsm6dso),
            "vl53l4cd" => Some(Self::Vl53l4cd),
            _ => None,
        }
    }

    /// How many inputs it has.
    pub const fn inputs(self) -> u8 {
        match self {
            Self::Ads1115 => ads1115::INPUTS,
            Self::As5600 | Self::Lsm6dso | Self::Vl53l4cd => 1,
        }
    }

    /// How many scalars one conversion gives.
    pub const fn scalars(self) -> u8 {
        match self {
            Self::Ads1115 | Self::As5600 | Self::Vl53l4cd => 1,
            Self::Lsm6dso => lsm6dso::AXES,
        }
    }

    /// Whether it has the full scales that are asked for (0 = its own default).
    pub fn takes(self, config: &SensorConfig) -> bool {
        let adc = config.full_scale_mv == 0
            || self == Self::Ads1115 && ads1115::Gain::of_mv(config.full_scale_mv).is_some();
        let inertial = self == Self::Lsm6dso;
        let accel =
            config.full_scale_g == 0 || inertial && lsm6dso::accel_range(config.full_scale_g).is_some();
        let gyro =
            config.full_scale_dps == 0 || inertial && lsm6dso::gyro_range(config.full_scale_dps).is_some();
        adc && accel && gyro
    }

    /// What a conversion costs.
    pub const fn cost(self) -> Cost {
        match self {
            Self::Ads1115 => ads1115::COST,
            Self::As5600 => as5600::COST,
            Self::Lsm6dso => lsm6dso::COST,
            Self::Vl53l4cd => vl53l4cd::COST,
        }
    }

    /// How long after set-up its readings are good, µs.
    pub const fn settle_us(self) -> u64 {
        match self {
            Self::Ads1115 => 0,
            Self::As5600 => as5600::SETTLE_US,
            Self::Lsm6dso => lsm6dso::SETTLE_US,
            Self::Vl53l4cd => vl53l4cd::SETTLE_US,
        }
    }
}

/// A part's driver.
#[derive(Debug, Clone, Copy)]
pub enum Driver {
    /// ADC.
    Ads1115(Ads1115),
    /// Angle.
    As5600(As5600),
    /// Inertial.
    Lsm6dso(Lsm6dso),
    /// Range.
    Vl53l4cd(Vl53l4cd),
}

impl Driver {
    /// A driver for `part` at the address of `config`.
    pub fn new(part: Part, config: &SensorConfig) -> Self {
        match part {
            Part::Ads1115 => Self::Ads1115(Ads1115::new(config.address)),
            Part::As5600 => Self::As5600(As5600::new(config.address)),
            Part::Lsm6dso => {
                Self::Lsm6dso(Lsm6dso::new(config.address, config.full_scale_g, config.full_scale_dps))
            }
            Part::Vl53l4cd => Self::Vl53l4cd(Vl53l4cd::new(config.address)),
        }
    }

    /// Which part it drives.
    pub const fn part(&self) -> Part {
        match self {
            Self::Ads1115(_) => Part::Ads1115,
            Self::As5600(_) => Part::As5600,
            Self::Lsm6dso(_) => Part::Lsm6dso,
            Self::Vl53l4cd(_) => Part::Vl53l4cd,
        }
    }

    /// Sets an input's full scale, mV; parts without that setting ignore it.
    pub fn set_input(&mut self, input: u8, full_scale_mv: u16) {
        if let Self::Ads1115(adc) = self {
            adc.set_gain(input, full_scale_mv);
        }
    }

    /// What scalar `index` of `input` means. A part with one scalar measures `component`.
    pub fn scalar(&self, input: u8, index: u8, component: Component) -> Scalar {
        match self {
            Self::Ads1115(adc) => adc.scalar(input, component),
            Self::As5600(_) => as5600::scalar(component),
            Self::Lsm6dso(unit) => unit.scalar(index),
            Self::Vl53l4cd(_) => vl53l4cd::scalar(component),
        }
    }
}

impl Sensor for Driver {
    fn setup<B: I2c>(&mut self, bus: &mut B) -> Result<(), Fault> {
        match self {
            Self::Ads1115(part) => part.setup(bus),
            Self::As5600(part) => part.setup(bus),
            Self::Lsm6dso(part) => part.setup(bus),
            Self::Vl53l4cd(part) => part.setup(bus),
        }
    }

    fn begin<B: I2c>(&mut self, bus: &mut B, input: u8) -> Result<Conversion, Fault> {
        match self {
            Self::Ads1115(part) => part.begin(bus, input),
            Self::As5600(part) => part.begin(bus, input),
            Self::Lsm6dso(part) => part.begin(bus, input),
            Self::Vl53l4cd(part) => part.begin(bus, input),
        }
    }

    fn finish<B: I2c>(&mut self, bus: &mut B) -> Result<Counts, Fault> {
        match self {
            Self::Ads1115(part) => part.finish(bus),
            Self::As5600(part) => part.finish(bus),
            Self::Lsm6dso(part) => part.finish(bus),
            Self::Vl53l4cd(part) => part.finish(bus),
        }
    }
}
