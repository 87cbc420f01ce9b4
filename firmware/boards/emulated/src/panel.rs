//! The button and the light on a port expander. Data sheet: NXP PCF8574 (quasi-bidirectional port; a pin that is written high
//! can be pulled low from outside and read).

use embedded_hal::i2c::I2c;

/// Its address with its three address pins low.
const ADDRESS: u8 = 0x20;
/// Pins: both are low while something is on.
const BUTTON: u8 = 1 << 0;
const LIGHT: u8 = 1 << 1;

/// The expander.
pub struct Expander<B> {
    bus: B,
    written: Option<u8>,
}

impl<B: I2c> Expander<B> {
    /// On this bus.
    pub const fn new(bus: B) -> Self {
        Self { bus, written: None }
    }

    /// Whether the button is down. One that cannot be read is up.
    pub fn is_down(&mut self) -> bool {
        let mut pins = [0xff];
        self.bus.read(ADDRESS, &mut pins).is_ok() && pins[0] & BUTTON == 0
    }

    /// Switches the light.
    pub fn light(&mut self, on: bool) {
        let pins = if on { !LIGHT } else { !0 };
        if self.written != Some(pins) && self.bus.write(ADDRESS, &[pins]).is_ok() {
            self.written = Some(pins);
        }
    }
}
