//! TCA9548A: one I²C bus into eight. Data sheet: Texas Instruments SCPS207.

use embedded_hal::i2c::I2c;

use super::Fault;

/// Outputs.
pub const OUTPUTS: u8 = 8;

/// First of the eight addresses that its pins choose (SCPS207, device address, table of addresses).
pub const FIRST_ADDRESS: u8 = 0x70;
/// Last of them.
pub const LAST_ADDRESS: u8 = 0x77;

/// Address and register: what it costs to connect an output or to disconnect all.
pub const SELECT_BYTES: u32 = 2;

/// Connects one output and disconnects all others: its only register has one bit for each (control register, B0 to B7).
///
/// # Errors
/// [`Fault`] if it does not acknowledge.
pub fn select<B: I2c>(bus: &mut B, address: u8, output: u8) -> Result<(), Fault> {
    bus.write(address, &[1 << (output & 7)]).map_err(Fault::of)
}

/// Disconnects all outputs.
///
/// # Errors
/// [`Fault`] if it does not acknowledge.
pub fn deselect<B: I2c>(bus: &mut B, address: u8) -> Result<(), Fault> {
    bus.write(address, &[0]).map_err(Fault::of)
}

/// Whether the part at `address` is such a multiplexer: it gives back what is written. It is left disconnected.
pub fn is_one<B: I2c>(bus: &mut B, address: u8) -> bool {
    let echoes = |bus: &mut B, value: u8| {
        let mut back = [!value];
        bus.write(address, &[value]).is_ok() && bus.read(address, &mut back).is_ok() && back == [value]
    };
    (FIRST_ADDRESS..=LAST_ADDRESS).contains(&address) && echoes(bus, 1 << 7) && echoes(bus, 0)
}
