//! TCA9548A as its one register. Data sheet: Texas Instruments SCPS207.

/// The part: eight outputs, each connected to the bus or not; none after a reset.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tca9548 {
    control: u8,
}

impl Tca9548 {
    /// The last byte written counts (control register).
    pub fn write(&mut self, bytes: &[u8]) {
        if let Some(last) = bytes.last() {
            self.control = *last;
        }
    }

    /// Every byte read is the control register.
    pub fn read(&self, bytes: &mut [u8]) {
        bytes.fill(self.control);
    }

    /// Whether an output is connected.
    pub fn connects(&self, output: u8) -> bool {
        output < 8 && self.control >> output & 1 == 1
    }
}
