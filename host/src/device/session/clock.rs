//! The logger's clock against the host's, from pings and arrivals.

use hingeline_protocol::Pong;
use std::collections::VecDeque;

/// Pings that are remembered: over half a minute a 50 ppm clock goes 1.5 ms wrong.
const REMEMBERED: usize = 30;
/// Pings after which the offset is good.
const ENOUGH: usize = 4;

/// Offset between the clocks during one boot of the logger.
#[derive(Debug, Clone, Default)]
pub struct DeviceClock {
    /// Round trip, and device time less host time at its middle, µs; latest last.
    pings: VecDeque<(u64, i64)>,
    /// Greatest device time less host time of anything that arrived, µs: too small by the way of the message.
    arrival_us: Option<i64>,
    latest_device_us: u64,
}

impl DeviceClock {
    /// The answer to a ping arrived.
    pub fn ponged(&mut self, pong: Pong, now_us: u64) {
        let Some(trip_us) = now_us.checked_sub(pong.host_us) else { return };
        let offset_us = difference(pong.device_us, pong.host_us + trip_us / 2);
        if self.pings.len() == REMEMBERED {
            self.pings.pop_front();
        }
        self.pings.push_back((trip_us, offset_us));
        self.heard(pong.device_us, now_us);
    }

    /// Something that was made at this device time arrived.
    pub fn heard(&mut self, device_us: u64, now_us: u64) {
        let offset_us = difference(device_us, now_us);
        self.arrival_us = Some(self.arrival_us.map_or(offset_us, |most| most.max(offset_us)));
        self.latest_device_us = self.latest_device_us.max(device_us);
    }

    /// Whether there were enough pings.
    pub fn is_settled(&self) -> bool {
        self.pings.len() >= ENOUGH
    }

    /// Whether a device time lies before what was heard: the logger has booted in between.
    pub fn is_before(&self, device_us: u64) -> bool {
        device_us < self.latest_device_us
    }

    /// Device time at a host time, by the quickest ping, or by arrivals while there is none.
    pub fn device_us(&self, now_us: u64) -> Option<u64> {
        let by_ping = self.pings.iter().min_by_key(|(trip_us, _)| *trip_us).map(|(_, offset_us)| *offset_us);
        let offset_us = by_ping.or(self.arrival_us)?;
        now_us.checked_add_signed(offset_us)
    }
}

fn difference(a: u64, b: u64) -> i64 {
    a.wrapping_sub(b) as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quickest_ping_tells_the_offset() {
        let mut clock = DeviceClock::default();
        clock.heard(5_000_000, 1_030_000);
        assert_eq!(clock.device_us(1_030_000), Some(5_000_000));
        // Sent at 2.0 s, answered at device time 6.001 s, back after 40 ms; then one of 2 ms.
        clock.ponged(Pong { host_us: 2_000_000, device_us: 6_001_000 }, 2_040_000);
        clock.ponged(Pong { host_us: 3_000_000, device_us: 7_001_000 }, 3_002_000);
        assert_eq!(clock.device_us(3_001_000), Some(7_001_000));
        assert!(clock.is_before(6_000_000) && !clock.is_before(8_000_000));
    }
}
