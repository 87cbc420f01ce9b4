//! Parts as registers: what the logger's drivers talk to, bit by bit as the data sheets say.
//!
//! A part knows its registers and its timing; what it measures it asks of its surroundings. `bus` puts parts on a bus.

mod ads1115;
mod as5600;
pub mod bus;
mod fram;
mod lsm6dso;
mod pcf8574;
mod tca9548;
mod vl53l4cd;

#[cfg(test)]
mod tests;

pub use ads1115::Ads1115;
pub use as5600::As5600;
pub use fram::Fram;
pub use lsm6dso::Lsm6dso;
pub use pcf8574::{Panel, Pcf8574};
pub use tca9548::Tca9548;
pub use vl53l4cd::Vl53l4cd;

use crate::geometry::Vector3;
use std::fmt::Debug;

/// What is tied to an input of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Terminal {
    /// A sensor of the rig, by its place.
    Sensor(usize),
    /// The supply of ratiometric sensors.
    Excitation,
}

/// What parts measure. Times are device times, µs; those of one terminal never fall.
pub trait Surroundings {
    /// Voltage at a terminal, V.
    fn volts(&mut self, terminal: Terminal, t_us: u64) -> f64;

    /// Angle of the magnet over a terminal, in turns; `None` without a magnet.
    fn turns(&mut self, terminal: Terminal, t_us: u64) -> Option<f64>;

    /// Distance to what is before a terminal, m; `None` where nothing is.
    fn metres(&mut self, terminal: Terminal, t_us: u64) -> Option<f64>;

    /// Specific force (m/s²) and angular rate (rad/s) at a terminal, in the part's axes.
    fn motion(&mut self, terminal: Terminal, t_us: u64) -> [Vector3<f64>; 2];
}

/// A part on an I²C bus, addressed already.
pub trait Part: Debug + Send {
    /// Takes the bytes of one write.
    fn write(&mut self, now_us: u64, bytes: &[u8], around: &mut dyn Surroundings);

    /// Fills the bytes of one read.
    fn read(&mut self, now_us: u64, bytes: &mut [u8], around: &mut dyn Surroundings);

    /// Power came on: registers are as the data sheet says after a reset.
    fn power_up(&mut self, now_us: u64);
}
