//! The logger's clock against the host's, from pings and arrivals.

use hingeline_protocol::Pong;
use std::collections::VecDeque;

/// Pings that are remembered: over half a minute a 50 ppm clock goes 1.5 ms wrong.
const REMEMBERED: usize = 30;
/// Pings after which the offset is good.
const ENOUGH: usize = 4;

/// How fast the logger's clock runs against the host's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Parts per million; positive: the logger's clock is fast.
    pub ppm: f64,
    /// Standard uncertainty of that.
    pub u_ppm: f64,
}

/// Offset between the clocks during one boot of the logger.
#[derive(Debug, Clone, Default)]
pub struct DeviceClock {
    /// Host time at the middle of its way, round trip, and device time less host time then, µs; latest last.
    pings: VecDeque<(u64, u64, i64)>,
    /// Greatest device time less host time of anything that arrived, µs: too small by the way of the message.
    arrival_us: Option<i64>,
    latest_device_us: u64,
}

impl DeviceClock {
    /// The answer to a ping arrived.
    pub fn ponged(&mut self, pong: Pong, now_us: u64) {
        let Some(trip_us) = now_us.checked_sub(pong.host_us) else { return };
        let middle_us = pong.host_us + trip_us / 2;
        let offset_us = difference(pong.device_us, middle_us);
        if self.pings.len() == REMEMBERED {
            self.pings.pop_front();
        }
        self.pings.push_back((middle_us, trip_us, offset_us));
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

    /// How fast it runs: a straight line through the offsets of the pings (least squares, u from what it leaves over). Pings
    /// over less than a second say nothing.
    pub fn drift(&self) -> Option<Drift> {
        /// Pings over less than this say nothing, µs.
        const SPAN_US: f64 = 1e6;
        let count = self.pings.len() as f64;
        let (first, last) = (self.pings.front()?, self.pings.back()?);
        let at = |ping: &(u64, u64, i64)| (ping.0.abs_diff(first.0) as f64, (ping.2 - first.2) as f64);
        if count < 3.0 || at(last).0 < SPAN_US {
            return None;
        }
        let mean = |of: fn((f64, f64)) -> f64| self.pings.iter().map(|p| of(at(p))).sum::<f64>() / count;
        let (mean_t, mean_d) = (mean(|p| p.0), mean(|p| p.1));
        let (mut tt, mut td, mut dd) = (0.0, 0.0, 0.0);
        for (t, d) in self.pings.iter().map(at) {
            tt += (t - mean_t).powi(2);
            td += (t - mean_t) * (d - mean_d);
            dd += (d - mean_d).powi(2);
        }
        let slope = td / tt;
        // Half a microsecond of rounding is left even where all lie on the line.
        let left_over = (dd - slope * td).max(0.25 * count) / (count - 2.0);
        Some(Drift { ppm: 1e6 * slope, u_ppm: 1e6 * (left_over / tt).sqrt() })
    }

    /// Whether a device time lies before what was heard: the logger has booted in between.
    pub fn is_before(&self, device_us: u64) -> bool {
        device_us < self.latest_device_us
    }

    /// Device time at a host time, by the quickest ping, or by arrivals while there is none.
    pub fn device_us(&self, now_us: u64) -> Option<u64> {
        let by_ping =
            self.pings.iter().min_by_key(|(_, trip_us, _)| *trip_us).map(|(_, _, offset_us)| *offset_us);
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

    #[test]
    fn a_fast_clock_is_told_within_its_uncertainty() {
        const FAST_PPM: f64 = 80.0;
        let mut clock = DeviceClock::default();
        for k in 0..20_u64 {
            assert_eq!(clock.drift().is_some(), k >= 3 && k * 400_000 > 1_400_000);
            // Ways of 1 to 3 ms, not the same there and back.
            let (host_us, there_us, back_us) = (k * 400_000, 500 + 97 * (k % 7), 600 + 211 * (k % 5));
            let device_us = ((host_us + there_us) as f64 * (1.0 + FAST_PPM * 1e-6)) as u64 + 5_000_000;
            clock.ponged(Pong { host_us, device_us }, host_us + there_us + back_us);
        }
        let drift = clock.drift().unwrap();
        assert!((drift.ppm - FAST_PPM).abs() < 3.0 * drift.u_ppm && drift.u_ppm < 40.0, "{drift:?}");
    }
}
