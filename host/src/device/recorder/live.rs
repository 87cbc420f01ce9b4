//! The latest readings and the losses so far, for the person who watches.

use super::trail::Trail;
use crate::rig::Rig;
use crate::run::channels::{ChannelTable, in_unit, saturated, to_si};
use crate::run::wire::Ledger;
use hingeline_protocol::channel::MAX_CHANNELS;
use hingeline_protocol::{Component, DeviceMessage, EventKind, SampleBlock};

/// A sensor that says nothing for so long is silent, whatever its rate, µs.
const LEAST_PATIENCE_US: f64 = 1.5e6;

/// What a recording shows while it runs. Its size does not grow.
#[derive(Debug, Clone)]
pub struct Live {
    table: ChannelTable,
    ledger: Ledger,
    /// By channel number: the latest excitation, V.
    excitation_v: [Option<f64>; MAX_CHANNELS],
    trail: Trail,
    /// Device time of the latest reading of all, and of each sensor, of the present boot, µs.
    heard_us: (u64, Vec<u64>),
    /// How long each sensor may say nothing, µs.
    patience_us: Vec<u64>,
    /// Latest reading by sensor and channel, SI; none yet, or none that can be right.
    pub latest: Vec<Vec<Option<f64>>>,
    /// Device time of the latest reading, µs.
    pub latest_us: u64,
    /// Readings received.
    pub received: u64,
    /// Readings lost on the line.
    pub lost: u64,
}

impl Live {
    /// Nothing seen yet.
    pub fn new(rig: &Rig) -> Self {
        Self {
            table: ChannelTable::default(),
            ledger: Ledger::default(),
            excitation_v: [None; MAX_CHANNELS],
            trail: Trail::new(rig),
            heard_us: (0, vec![0; rig.sensors.len()]),
            patience_us: rig
                .sensors
                .iter()
                .map(|s| (5e6 / s.rate_hz).max(LEAST_PATIENCE_US) as u64)
                .collect(),
            latest: rig.sensors.iter().map(|s| vec![None; s.channel_suffixes().len()]).collect(),
            latest_us: 0,
            received: 0,
            lost: 0,
        }
    }

    /// The channel table as far as it has arrived.
    pub fn table(&self) -> &ChannelTable {
        &self.table
    }

    /// The latest excitations, V, by channel number.
    pub(in crate::device) fn excitations_v(&self) -> impl Iterator<Item = (u8, f64)> {
        (0_u8..).zip(self.excitation_v).filter_map(|(channel, volts)| Some((channel, volts?)))
    }

    /// What has been read so far, thinned.
    pub fn trail(&self) -> &Trail {
        &self.trail
    }

    /// Sensors that have said nothing yet, or nothing that can be right, or have fallen silent; by place in the rig.
    pub fn silent(&self) -> Vec<usize> {
        let (now_us, heard_us) = &self.heard_us;
        let quiet = |k: usize| {
            let since = heard_us.get(k).map_or(0, |heard| now_us.saturating_sub(*heard));
            self.patience_us.get(k).is_some_and(|most| since > *most)
        };
        let all = self.latest.iter().enumerate();
        all.filter(|(k, channels)| channels.iter().any(Option::is_none) || quiet(*k))
            .map(|(k, _)| k)
            .collect()
    }

    /// The logger restarted: its numbers begin anew.
    pub(in crate::device) fn restarted(&mut self) {
        self.latest_us = 0;
        self.trail.restarted();
        self.heard_us = (0, vec![0; self.heard_us.1.len()]);
        self.ledger.booted();
    }

    /// Takes a message.
    pub(in crate::device) fn take(&mut self, rig: &Rig, message: DeviceMessage) {
        match message {
            DeviceMessage::Channel(row) => self.table.set(rig, row),
            DeviceMessage::Event(event) if event.kind == EventKind::Started => {
                self.ledger.started(event.time_us)
            }
            DeviceMessage::Samples(block) => self.block(rig, &block),
            _ => {}
        }
    }

    fn block(&mut self, rig: &Rig, block: &SampleBlock) {
        let Some(lost_scans) = self.ledger.take(block) else { return };
        self.lost += lost_scans * self.table.targets(block.mask) as u64;
        for reading in block.readings(self.table.slots_us()).map_while(Result::ok) {
            let Some(row) = self.table.row(reading.channel) else { continue };
            let raw = f64::from(reading.raw);
            let index = usize::from(reading.channel);
            if let (Component::Excitation, Some(volts)) =
                (row.channel.component, self.excitation_v.get_mut(index))
            {
                *volts = Some(in_unit(&row.channel, raw));
                continue;
            }
            let Some(target) = row.target else { continue };
            let (Some(sensor), Some(latest)) = (
                rig.sensors.get(target.sensor),
                self.latest.get_mut(target.sensor).and_then(|s| s.get_mut(target.channel)),
            ) else {
                continue;
            };
            self.received += 1;
            self.latest_us = self.latest_us.max(reading.time_us);
            self.heard_us.0 = self.heard_us.0.max(reading.time_us);
            if let Some(heard) = self.heard_us.1.get_mut(target.sensor) {
                *heard = reading.time_us;
            }
            let excitation =
                row.channel.ratio_to.and_then(|c| self.excitation_v.get(usize::from(c)).copied().flatten());
            *latest = if saturated(&row.channel, reading.raw) {
                None
            } else {
                to_si(sensor, &row.channel, raw, excitation)
            };
            if let Some(value) = *latest {
                self.trail.take(target, reading.time_us, value);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::test_rig::two_wires;

    #[test]
    fn a_sensor_that_falls_silent_is_told_until_it_speaks_again() {
        let mut live = Live::new(&two_wires());
        assert_eq!(live.silent(), [0, 1], "neither has said anything yet");
        live.latest = vec![vec![Some(0.5)]; 2];
        live.heard_us = (10_000_000, vec![9_900_000, 8_000_000]);
        assert_eq!(live.silent(), [1]);
        live.heard_us.1[1] = 10_000_000;
        assert_eq!(live.silent(), Vec::<usize>::new());
        live.restarted();
        assert_eq!(live.silent(), Vec::<usize>::new(), "the clock begins anew");
    }
}
