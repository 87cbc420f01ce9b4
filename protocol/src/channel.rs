//! The channel table: what every scalar on the wire means, so that the host knows no part numbers; and the
//! configuration of a sensor as the host sends it.

use heapless::String;
use serde::{Deserialize, Serialize};

use crate::code::open_code;

/// Most channels in a table: two axles with six wires and two six-axis units each, 36, and the excitations.
pub const MAX_CHANNELS: usize = 40;

/// Most sensors that can be configured; each has one channel or more.
pub const MAX_SENSORS: usize = 32;

/// Most groups of channels that share a rate.
pub const MAX_GROUPS: usize = 4;

/// A sensor's name as the builder gave it, at most 32 bytes of UTF-8.
pub type SensorName = String<32>;

/// A part's name as in the rig file, for example `ads1115`. Only the logger knows what it means.
pub type PartName = String<16>;

open_code! {
    /// Which scalar of a sensor a channel carries.
    Component {
        /// Length of a draw-wire.
        Length = 0 "length",
        /// Angle of a link.
        Angle = 1 "angle",
        /// Specific force along the sensor's x.
        Ax = 2 "ax",
        /// Specific force along the sensor's y.
        Ay = 3 "ay",
        /// Specific force along the sensor's z.
        Az = 4 "az",
        /// Angular rate about the sensor's x.
        Gx = 5 "gx",
        /// Angular rate about the sensor's y.
        Gy = 6 "gy",
        /// Angular rate about the sensor's z.
        Gz = 7 "gz",
        /// Distance along a ray.
        Range = 8 "range",
        /// Force in a link or at a contact.
        Force = 9 "force",
        /// Excitation of ratiometric sensors: the host divides by it.
        Excitation = 10 "excitation",
        /// Temperature of a part.
        Temperature = 11 "temperature",
    }
}

open_code! {
    /// The physical quantity of `raw · scale + offset`.
    Quantity {
        /// A voltage, as an ADC reads a potentiometer or a bridge.
        Voltage = 0 "voltage",
        /// A length.
        Length = 1 "length",
        /// An angle.
        Angle = 2 "angle",
        /// Specific force: acceleration less gravity, +g along up at rest.
        SpecificForce = 3 "specific force",
        /// Angular rate.
        AngularRate = 4 "angular rate",
        /// A force.
        Force = 5 "force",
        /// A temperature.
        Temperature = 6 "temperature",
        /// A bare count.
        Count = 7 "count",
    }
}

open_code! {
    /// The unit of `raw · scale + offset`.
    Unit {
        /// Volt.
        Volt = 0 "V",
        /// Metre.
        Metre = 1 "m",
        /// Radian.
        Radian = 2 "rad",
        /// Metre per second squared.
        MetrePerSecondSquared = 3 "m/s^2",
        /// Radian per second.
        RadianPerSecond = 4 "rad/s",
        /// Newton.
        Newton = 5 "N",
        /// Degree Celsius.
        Celsius = 6 "degC",
        /// Bare count.
        Count = 7 "count",
    }
}

/// One row of the channel table; one message each.
///
/// `value = raw · scale + offset`, in `unit`. A reading at `raw_min` or below, or at `raw_max` or above, is saturated.
/// Where `ratio_to` is given the value means nothing alone: divide it by the latest value of that channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Channel {
    /// This row's place in the table, from 0. It is the bit in a block's mask.
    pub index: u8,
    /// Rows in the table.
    pub count: u8,
    /// Which sensor (see [`SensorConfig::index`]) it belongs to.
    pub sensor_index: u8,
    /// The sensor's name, as configured.
    pub sensor: SensorName,
    /// Which of the sensor's scalars it is.
    pub component: Component,
    /// Physical quantity of the value.
    pub quantity: Quantity,
    /// Unit of the value.
    pub unit: Unit,
    /// Unit per count.
    pub scale: f32,
    /// Unit, at raw 0.
    pub offset: f32,
    /// Lowest count; a reading there is saturated.
    pub raw_min: i32,
    /// Highest count; a reading there is saturated.
    pub raw_max: i32,
    /// The channel by whose value this one is divided, of a ratiometric sensor.
    pub ratio_to: Option<u8>,
    /// Group of channels that share a rate and hence blocks.
    pub group: u8,
    /// When in a scan the middle of its conversion falls, in µs from the scan's start.
    pub slot_us: u32,
    /// Time between two readings, µs.
    pub period_us: u32,
}

/// One output of an I²C multiplexer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct MuxPort {
    /// The multiplexer's 7-bit address.
    pub address: u8,
    /// Its output, 0 to 7.
    pub channel: u8,
}

/// One sensor as wired, sent by the host. Full scales of 0 mean the part's default.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SensorConfig {
    /// Place in the logger's list; sensors are sent in order from 0.
    pub index: u8,
    /// The builder's name for it.
    pub name: SensorName,
    /// The part, by the name that the rig file gives it.
    pub part: PartName,
    /// Which of the logger's buses.
    pub bus: u8,
    /// The multiplexer's output it hangs on, if any.
    pub mux: Option<MuxPort>,
    /// 7-bit address.
    pub address: u8,
    /// Input of a part that has several (an ADC's 0 to 3).
    pub input: u8,
    /// The input that reads the excitation, of a ratiometric sensor.
    pub excitation: Option<u8>,
    /// What a part with one scalar measures here.
    pub component: Component,
    /// It is read in every `every`-th scan; 1 = in each.
    pub every: u16,
    /// Full scale of an ADC, mV.
    pub full_scale_mv: u16,
    /// Full scale of an accelerometer, standard gravities.
    pub full_scale_g: u16,
    /// Full scale of a gyroscope, degrees per second.
    pub full_scale_dps: u16,
}
