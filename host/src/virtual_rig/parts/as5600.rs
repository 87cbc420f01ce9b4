//! AS5600 as registers: magnetic angle, 12 bits a turn. Data sheet: ams AS5600 v1-06.

use super::{Part, Surroundings, Terminal};

/// CONF, high byte (register description, 0x07 and 0x08).
const CONF: u8 = 0x07;
/// STATUS (0x0B), RAW ANGLE (0x0C, 0x0D), ANGLE (0x0E, 0x0F).
const STATUS: u8 = 0x0b;
const RAW_ANGLE: u8 = 0x0c;
const ANGLE: u8 = 0x0e;
/// MD: a magnet is there (STATUS, bit 5). ML: it is too weak (bit 4).
const MAGNET: u8 = 1 << 5;
const TOO_WEAK: u8 = 1 << 4;
/// Settling time of the slow filter by SF, µs (CONF bits 9:8; slow filter, step response).
const FILTERS_US: [u64; 4] = [2200, 1100, 550, 286];
/// Counts per turn (12 bits).
const COUNTS_PER_TURN: f64 = 4096.0;

/// The part.
#[derive(Debug, Clone)]
pub struct As5600 {
    magnet: Terminal,
    pointer: u8,
    /// Everything that can be written: 0x00 to 0x08.
    settings: [u8; 9],
}

impl As5600 {
    /// Under this magnet.
    pub fn new(magnet: Terminal) -> Self {
        Self { magnet, pointer: 0, settings: [0; 9] }
    }

    fn filter_us(&self) -> u64 {
        let slow = self.settings.get(usize::from(CONF)).copied().unwrap_or(0) & 0b11;
        FILTERS_US.get(usize::from(slow)).copied().unwrap_or(2200)
    }

    fn register(&self, address: u8, turns: Option<f64>) -> u8 {
        let count = turns.map_or(0, |t| (t.rem_euclid(1.0) * COUNTS_PER_TURN).round() as u16 % 4096);
        let [high, low] = count.to_be_bytes();
        match address {
            STATUS if turns.is_some() => MAGNET,
            STATUS => TOO_WEAK,
            // Without a programmed range ANGLE is the raw angle.
            RAW_ANGLE | ANGLE => high,
            0x0d | 0x0f => low,
            setting => self.settings.get(usize::from(setting)).copied().unwrap_or(0),
        }
    }
}

impl Part for As5600 {
    fn write(&mut self, _: u64, bytes: &[u8], _: &mut dyn Surroundings) {
        let Some((&pointer, data)) = bytes.split_first() else { return };
        self.pointer = pointer;
        for (place, value) in (usize::from(pointer)..).zip(data) {
            if let Some(setting) = self.settings.get_mut(place) {
                *setting = *value;
            }
        }
    }

    /// The address runs on from byte to byte (I²C interface, automatic increment of the address pointer).
    fn read(&mut self, now_us: u64, bytes: &mut [u8], around: &mut dyn Surroundings) {
        let turns = around.turns(self.magnet, now_us.saturating_sub(self.filter_us() / 2));
        for byte in bytes {
            *byte = self.register(self.pointer, turns);
            self.pointer = self.pointer.wrapping_add(1);
        }
    }

    fn power_up(&mut self, _: u64) {
        *self = Self::new(self.magnet);
    }
}
