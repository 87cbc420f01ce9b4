//! PCF8574 as its eight pins, with a button and a light on them. Data sheet: NXP PCF8574 (quasi-bidirectional port).

use super::{Part, Surroundings};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// The button's pin, low while it is pressed, and the light's, low while it is lit.
const BUTTON: u8 = 1 << 0;
const LIGHT: u8 = 1 << 1;

/// The builder's finger and eye: when the button goes down and up, device time in µs, and how often the light went on.
#[derive(Debug, Default)]
pub struct Panel {
    down_us: AtomicU64,
    up_us: AtomicU64,
    flashes: AtomicU64,
}

impl Panel {
    /// Presses the button at a time, for a time, µs.
    pub fn press(&self, at_us: u64, for_us: u64) {
        self.down_us.store(at_us, Ordering::Relaxed);
        self.up_us.store(at_us.saturating_add(for_us), Ordering::Relaxed);
    }

    /// How often the light went on.
    pub fn flashes(&self) -> u64 {
        self.flashes.load(Ordering::Relaxed)
    }

    fn is_down(&self, now_us: u64) -> bool {
        (self.down_us.load(Ordering::Relaxed)..self.up_us.load(Ordering::Relaxed)).contains(&now_us)
    }
}

/// The part.
#[derive(Debug, Clone)]
pub struct Pcf8574 {
    panel: Arc<Panel>,
    written: u8,
}

impl Pcf8574 {
    /// With a panel on its pins.
    pub fn new(panel: Arc<Panel>) -> Self {
        Self { panel, written: !0 }
    }
}

impl Part for Pcf8574 {
    fn write(&mut self, _: u64, bytes: &[u8], _: &mut dyn Surroundings) {
        for byte in bytes {
            if self.written & LIGHT != 0 && byte & LIGHT == 0 {
                self.panel.flashes.fetch_add(1, Ordering::Relaxed);
            }
            self.written = *byte;
        }
    }

    fn read(&mut self, now_us: u64, bytes: &mut [u8], _: &mut dyn Surroundings) {
        let pulled = if self.panel.is_down(now_us) { BUTTON } else { 0 };
        bytes.fill(self.written & !pulled);
    }

    fn power_up(&mut self, _: u64) {
        self.written = !0;
    }
}
