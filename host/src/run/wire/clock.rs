//! One time base for a log in which the logger may have restarted: device times of each boot, placed one after another.

use super::super::marks::Instant;

/// Time that is put between two boots where nothing says how long it was, µs.
const UNKNOWN_PAUSE_US: i64 = 1_000_000;

/// One boot of the logger.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Epoch {
    /// Its number, once an identity gave it.
    boot: Option<u32>,
    /// Added to device times, µs.
    offset_us: i64,
}

/// Places device times on the log's time base, which is the device time of the first boot heard.
#[derive(Debug, Clone)]
pub struct EpochClock {
    epochs: Vec<Epoch>,
    /// Latest placed time, µs.
    latest_us: i64,
    /// Latest device time of this boot, µs.
    latest_device_us: u64,
    /// Least host time less placed time seen: the quickest way of a message.
    host_lead_us: Option<i64>,
}

impl Default for EpochClock {
    fn default() -> Self {
        let first = Epoch { boot: None, offset_us: 0 };
        Self { epochs: vec![first], latest_us: 0, latest_device_us: 0, host_lead_us: None }
    }
}

impl EpochClock {
    fn current(&self) -> Epoch {
        self.epochs.last().copied().unwrap_or(Epoch { boot: None, offset_us: 0 })
    }

    /// A device time of the present boot on the log's time base, µs.
    pub fn place(&self, device_us: u64) -> i64 {
        signed(device_us).saturating_add(self.current().offset_us)
    }

    /// An instant of a mark on the log's time base, µs.
    pub fn place_instant(&self, at: Instant) -> i64 {
        let epoch = self.epochs.iter().find(|e| e.boot == Some(at.boot)).copied();
        signed(at.device_us).saturating_add(epoch.unwrap_or_else(|| self.current()).offset_us)
    }

    /// Something made at this device time arrived at this host time.
    pub fn heard(&mut self, device_us: u64, host_us: Option<u64>) {
        let placed_us = self.place(device_us);
        self.latest_us = self.latest_us.max(placed_us);
        self.latest_device_us = self.latest_device_us.max(device_us);
        if let Some(host_us) = host_us {
            let lead_us = signed(host_us).saturating_sub(placed_us);
            self.host_lead_us = Some(self.host_lead_us.map_or(lead_us, |least| least.min(lead_us)));
        }
    }

    /// The logger says which boot this is (`None`: only that it has just booted). Gives whether it is a new one.
    pub fn boot(&mut self, boot: Option<u32>, device_us: u64, host_us: Option<u64>) -> bool {
        let first = self.latest_device_us == 0 && self.epochs.len() == 1;
        let known = self.current().boot;
        let same = match (known, boot) {
            (Some(known), Some(boot)) => known == boot,
            // Only an announcement, or the first identity: a device time that went back tells a new boot.
            _ => device_us >= self.latest_device_us,
        };
        if same || first {
            if let (Some(epoch), Some(_)) = (self.epochs.last_mut(), boot) {
                epoch.boot = boot;
            }
            self.heard(device_us, host_us);
            return false;
        }
        let by_host_us = host_us.zip(self.host_lead_us).map(|(host, lead)| signed(host).saturating_sub(lead));
        let now_us = match by_host_us {
            Some(now_us) if now_us > self.latest_us => now_us,
            _ => self.latest_us.saturating_add(UNKNOWN_PAUSE_US),
        };
        self.epochs.push(Epoch { boot, offset_us: now_us.saturating_sub(signed(device_us)) });
        self.latest_us = now_us;
        self.latest_device_us = device_us;
        true
    }
}

fn signed(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_boot_is_placed_by_the_hosts_clock() {
        let mut clock = EpochClock::default();
        assert!(!clock.boot(Some(4), 90_000_000, Some(1_000)));
        clock.heard(95_000_000, Some(5_003_000));
        // 2 s later on the host's clock the logger is up again, 0.3 s after its boot.
        assert!(clock.boot(Some(5), 300_000, Some(7_001_000)));
        assert_eq!(clock.place(300_000), 97_000_000);
        assert_eq!(clock.place_instant(Instant { boot: 4, device_us: 94_000_000, host_us: 0 }), 94_000_000);
        assert_eq!(clock.place_instant(Instant { boot: 5, device_us: 400_000, host_us: 0 }), 97_100_000);
        assert!(!clock.boot(Some(5), 500_000, Some(7_201_000)), "the same boot says so again");
    }

    #[test]
    fn without_a_host_clock_boots_follow_each_other() {
        let mut clock = EpochClock::default();
        clock.boot(Some(1), 0, None);
        clock.heard(10_000_000, None);
        assert!(clock.boot(Some(2), 0, None));
        assert_eq!(clock.place(5), 11_000_005);
    }

    #[test]
    fn an_announced_boot_is_taken_up_by_the_identity_that_follows() {
        let mut clock = EpochClock::default();
        clock.boot(Some(1), 1_000, Some(0));
        clock.heard(10_000_000, Some(9_999_000));
        assert!(clock.boot(None, 50, Some(12_000_000)));
        assert!(!clock.boot(Some(2), 90, Some(12_000_040)));
        assert!(!clock.boot(None, 90, Some(12_000_050)), "its repetition is no third boot");
    }
}
