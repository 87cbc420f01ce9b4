//! What the board's program tells the logger about itself when it starts.

use hingeline_protocol::ResetCause;

/// Most I²C buses of a board.
pub const MAX_BUSES: usize = 4;

/// The board, as it starts.
#[derive(Debug, Clone, Copy)]
pub struct Board {
    /// The board's name, at most 24 bytes.
    pub name: &'static str,
    /// Version of the firmware, at most 16 bytes.
    pub firmware: &'static str,
    /// Which build, at most 40 bytes.
    pub build: &'static str,
    /// The controller's unique number, 16 bytes at most are used.
    pub unique_id: [u8; 16],
    /// How many bytes of it there are.
    pub unique_id_length: u8,
    /// Counted by the board over resets, this boot included.
    pub boot_count: u32,
    /// Why it last reset.
    pub reset_cause: ResetCause,
    /// Where its program failed before that, at most 48 bytes; empty where it did not.
    pub last_words: &'static str,
    /// Clock of each bus, Hz; 0 = there is no such bus.
    pub bus_clock_hz: [u32; MAX_BUSES],
}

impl Board {
    /// No board.
    pub const BLANK: Self = Self {
        name: "",
        firmware: "",
        build: "",
        unique_id: [0; 16],
        unique_id_length: 0,
        boot_count: 0,
        reset_cause: ResetCause::Unknown,
        last_words: "",
        bus_clock_hz: [0; MAX_BUSES],
    };

    /// How many buses there are.
    pub fn buses(&self) -> u8 {
        self.bus_clock_hz.iter().take_while(|&&clock| clock > 0).count() as u8
    }

    /// Clock of a bus, Hz; 0 if there is no such bus.
    pub fn clock_hz(&self, bus: u8) -> u32 {
        self.bus_clock_hz.get(usize::from(bus)).copied().unwrap_or(0)
    }
}
