//! The latest readings and the losses so far, for the person who watches.

use super::trail::Trail;
use crate::rig::Rig;
use crate::run::channels::{ChannelTable, in_unit, saturated, to_si};
use crate::run::wire::Ledger;
use hingeline_protocol::channel::MAX_CHANNELS;
use hingeline_protocol::{Component, DeviceMessage, EventKind, SampleBlock};

/// What a recording shows while it runs. Its size does not grow.
#[derive(Debug, Clone)]
pub struct Live {
    table: ChannelTable,
    ledger: Ledger,
    /// By channel number: the latest excitation, V.
    excitation_v: [Option<f64>; MAX_CHANNELS],
    trail: Trail,
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

    /// The logger restarted: its numbers begin anew.
    pub(super) fn restarted(&mut self) {
        self.trail.restarted();
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
