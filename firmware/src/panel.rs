//! One button and one light, for one person without a laptop.
//!
//! | press | while idle | while recording alone |
//! |---|---|---|
//! | short | is reported | the first: the vehicle stands still from here on; each further one: the next phase |
//! | long | recording alone begins | recording alone ends |
//!
//! | light | says |
//! |---|---|
//! | a flash every three seconds | ready |
//! | half a second on, half a second off | recording |
//! | on | recording, the vehicle stands still: touch nothing |
//! | two flashes every second | recording, but a sensor does not answer |
//! | fast | the store is full |
//! | three flashes every two seconds | cannot record: nothing is configured, or there is no store |

use hingeline_protocol::Press;

/// A contact bounces for less than this, µs.
const BOUNCE_US: u64 = 20_000;
/// Held down for so long, a press is a long one, µs.
pub const LONG_US: u64 = 1_000_000;

/// The button: levels in, presses out.
#[derive(Debug, Clone, Copy)]
pub struct Button {
    /// The level that holds, and the level that was seen last.
    down: bool,
    seen: bool,
    /// When the seen level came.
    since_us: u64,
    /// When it went down, until the press is reported.
    pressed_us: Option<u64>,
}

impl Default for Button {
    fn default() -> Self {
        Self::new()
    }
}

impl Button {
    /// At boot. One that is down then, or that hangs, is no press: it counts once it was up.
    pub const fn new() -> Self {
        Self { down: true, seen: true, since_us: 0, pressed_us: None }
    }

    /// Takes the pin's level, `down` while it is pressed; gives a press: a long one while it is still held, a short one when
    /// it is let go.
    pub fn step(&mut self, now_us: u64, down: bool) -> Option<Press> {
        if down != self.seen {
            (self.seen, self.since_us) = (down, now_us);
        }
        if self.seen != self.down && now_us.saturating_sub(self.since_us) >= BOUNCE_US {
            self.down = self.seen;
            if self.down {
                self.pressed_us = Some(self.since_us);
            } else if self.pressed_us.take().is_some() {
                return Some(Press::Short);
            }
        }
        let held = self.down && self.pressed_us.is_some_and(|then| now_us.saturating_sub(then) >= LONG_US);
        if held {
            self.pressed_us = None;
        }
        held.then_some(Press::Long)
    }

    /// When to look again, µs, if the level does not change before.
    pub fn wake_us(&self) -> u64 {
        let settled_us =
            if self.seen == self.down { u64::MAX } else { self.since_us.saturating_add(BOUNCE_US) };
        settled_us.min(self.pressed_us.map_or(u64::MAX, |then| then.saturating_add(LONG_US)))
    }
}

/// What the light says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Light {
    /// Ready.
    Ready,
    /// It cannot record.
    Unable,
    /// It records.
    Recording,
    /// It records a still.
    Still,
    /// It records, and a sensor does not answer.
    SensorMissing,
    /// The store is full.
    Full,
}

/// Length of a flash, µs.
const FLASH_US: u64 = 100_000;

impl Light {
    /// Whether the light is on at that time.
    pub const fn is_on(self, now_us: u64) -> bool {
        const fn flashes(now_us: u64, count: u64, every_us: u64) -> bool {
            let at = now_us % every_us / FLASH_US;
            at.is_multiple_of(2) && at < 2 * count
        }
        match self {
            Light::Ready => flashes(now_us, 1, 3_000_000),
            Light::Unable => flashes(now_us, 3, 2_000_000),
            Light::Recording => now_us % 1_000_000 < 500_000,
            Light::Still => true,
            Light::SensorMissing => flashes(now_us, 2, 1_000_000),
            Light::Full => flashes(now_us, 1, 2 * FLASH_US),
        }
    }

    /// When it may change, µs.
    pub const fn wake_us(self, now_us: u64) -> u64 {
        (now_us / FLASH_US + 1) * FLASH_US
    }
}
