//! Whether the logger is alive, for the watchdog, and its counts.

use hingeline_protocol::Status;

/// Streaming without a single scan for so long is no life, µs.
const STANDSTILL_US: u64 = 2_000_000;

/// Steps further apart than this are no life, µs.
const LONGEST_STEP_US: u64 = 1_000_000;

/// Counts and signs of life.
#[derive(Debug, Clone, Copy, Default)]
pub struct Health {
    stepped_us: u64,
    scanned_us: u64,
    /// Scans left out since boot.
    pub overrun_scans: u32,
    /// Transfers that failed since boot.
    pub bus_errors: u32,
}

impl Health {
    /// Nothing has happened.
    pub const fn new() -> Self {
        Self { stepped_us: 0, scanned_us: 0, overrun_scans: 0, bus_errors: 0 }
    }

    /// The logger made a step.
    pub fn stepped(&mut self, now_us: u64) {
        self.stepped_us = now_us;
    }

    /// A scan was completed, or streaming began.
    pub fn scanned(&mut self, now_us: u64) {
        self.scanned_us = now_us;
    }

    /// Whether the watchdog may be fed.
    pub fn is_alive(&self, now_us: u64, streaming: bool, period_us: u32) -> bool {
        let standstill_us = STANDSTILL_US.max(4 * u64::from(period_us));
        now_us.saturating_sub(self.stepped_us) < LONGEST_STEP_US
            && (!streaming || now_us.saturating_sub(self.scanned_us) < standstill_us)
    }

    /// The counts, as far as they are known here.
    pub fn status(&self, now_us: u64, streaming: bool) -> Status {
        Status {
            uptime_us: now_us,
            streaming,
            sensors_lost: 0,
            overrun_scans: self.overrun_scans,
            dropped_messages: 0,
            bus_errors: self.bus_errors,
            refused_frames: 0,
            unknown_kinds: 0,
        }
    }
}
