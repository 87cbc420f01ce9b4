//! What the host configured. Plain data with a postcard form, so that a board with a store can keep it.

use heapless::Vec;
use hingeline_protocol::{MAX_SENSORS, Outcome, SensorConfig};
use serde::{Deserialize, Serialize};

use crate::board::Board;
use crate::sensors::Part;

/// First and last 7-bit address that a part may have (NXP UM10204, 3.1.12: the rest is reserved).
pub const ADDRESSES: core::ops::RangeInclusive<u8> = 0x08..=0x77;

/// Shortest and longest period, µs: 1 kHz to one scan in ten seconds.
pub const PERIODS_US: core::ops::RangeInclusive<u32> = 1_000..=10_000_000;

/// 100 Hz.
const DEFAULT_PERIOD_US: u32 = 10_000;

/// Sensors and rate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Configuration {
    /// The sensors; a sensor's index is its place.
    pub sensors: Vec<SensorConfig, MAX_SENSORS>,
    /// Time between scans, µs.
    pub period_us: u32,
    /// Most scans in a block; 0 = so many as come in a tenth of a second.
    pub scans_per_block: u8,
}

impl Default for Configuration {
    fn default() -> Self {
        Self::new()
    }
}

impl Configuration {
    /// No sensors, 100 Hz.
    pub const fn new() -> Self {
        Self { sensors: Vec::new(), period_us: DEFAULT_PERIOD_US, scans_per_block: 0 }
    }

    /// Scans in a block of channels that are read in every `every`-th scan: as asked for, or a tenth of a second.
    pub fn scans_per_block(&self, every: u16) -> u8 {
        match self.scans_per_block {
            0 => (100_000 / self.period_us.saturating_mul(every.into()).max(1)).clamp(1, 50) as u8,
            asked => asked,
        }
    }

    /// Whether `sensor`, on its own, can be on this board.
    ///
    /// # Errors
    /// What is wrong with it, as replied to the host, with the detail.
    pub fn check(sensor: &SensorConfig, board: &Board) -> Result<Part, (Outcome, u32)> {
        let index = u32::from(sensor.index);
        let part = Part::named(&sensor.part).ok_or((Outcome::UnknownPart, index))?;
        if sensor.bus >= board.buses() {
            return Err((Outcome::NoSuchBus, u32::from(board.buses())));
        }
        let mux_is_good = sensor.mux.is_none_or(|port| {
            ADDRESSES.contains(&port.address) && port.channel < crate::sensors::tca9548::OUTPUTS
        });
        let inputs_are_good = sensor.input < part.inputs()
            && sensor.excitation.is_none_or(|input| input < part.inputs() && input != sensor.input);
        if !mux_is_good
            || !inputs_are_good
            || !ADDRESSES.contains(&sensor.address)
            || sensor.every == 0
            || !part.takes(sensor)
        {
            return Err((Outcome::BadValue, index));
        }
        Ok(part)
    }
}
