//! A raw wire log becomes a recording: every reading at its own device time, losses counted, nothing filled in.

mod clock;
mod convert;
mod events;
mod ledger;

#[cfg(test)]
mod tests;

pub use events::gap_remarks;
pub use ledger::Ledger;

use super::channels::{ChannelTable, Target};
use super::marks::{self, Mark};
use super::phases;
use super::plan::Test;
use super::{Counts, Phase, PhaseSpan, Recording, gap_limit_s};
use crate::geometry::Vector3;
use crate::rig::Rig;
use clock::EpochClock;
use events::EventLog;
use hingeline_protocol::channel::MAX_GROUPS;
use hingeline_protocol::{
    Channel, Component, DeviceMessage, Event, EventKind, FrameDecoder, Identity, Press, Received, ResetCause,
    SampleBlock, StoredRecord,
};
use std::collections::BTreeMap;

/// Most records of a logger's own store that are taken: 64 MiB of them, far more than any board keeps.
const MOST_STORED: usize = 120_000;

/// Counts over time of one channel, times on the log's time base, µs.
#[derive(Debug, Clone, Default)]
struct RawSeries {
    /// The row under which they arrived.
    row: Option<Channel>,
    t_us: Vec<i64>,
    raw: Vec<i32>,
}

impl RawSeries {
    /// Takes a reading; `false` if it does not come after the one before, or its count means something else now.
    fn push(&mut self, row: &Channel, t_us: i64, raw: i32) -> bool {
        let same = match &self.row {
            None => {
                self.row = Some(row.clone());
                true
            }
            Some(first) => super::channels::means_the_same(first, row),
        };
        let fits = same && self.t_us.last().is_none_or(|last| t_us > *last);
        if fits {
            self.t_us.push(t_us);
            self.raw.push(raw);
        }
        fits
    }
}

/// Reads a wire log piece by piece. Memory grows with the readings only.
pub struct WireReader<'a> {
    rig: &'a Rig,
    decoder: FrameDecoder<DeviceMessage>,
    table: ChannelTable,
    clock: EpochClock,
    ledger: Ledger,
    events: EventLog,
    /// By sensor of the rig and channel of the sensor.
    raw: Vec<Vec<RawSeries>>,
    /// By channel number on the wire.
    excitations: BTreeMap<u8, RawSeries>,
    counts: Counts,
    /// Readings before the row that says what they are.
    unplaced: u64,
    /// Readings that did not come after the one before, or after their row had changed.
    misplaced: u64,
    broken_blocks: u64,
    other_major: Option<u8>,
    identity: Option<Identity>,
    /// When the last reading of each group was made, µs.
    group_end_us: [Option<i64>; MAX_GROUPS],
    gaps_us: Vec<[i64; 2]>,
    started_us: Vec<i64>,
    presses_us: Vec<(i64, Press)>,
    stored: BTreeMap<u32, StoredRecord>,
}

/// What the run folder knows beside the bytes.
#[derive(Debug, Clone, Default)]
pub struct Context<'a> {
    /// Marks, in order.
    pub marks: &'a [Mark],
    /// The phases that were planned.
    pub plan: &'a [Phase],
    /// The test.
    pub test: Option<Test>,
    /// Axle centres at ride height, m, by axle of the vehicle.
    pub centres: &'a [Vector3<f64>],
}

impl<'a> WireReader<'a> {
    /// A reader that has seen nothing.
    pub fn new(rig: &'a Rig) -> Self {
        let raw =
            rig.sensors.iter().map(|s| vec![RawSeries::default(); s.channel_suffixes().len()]).collect();
        Self {
            rig,
            decoder: FrameDecoder::new(),
            table: ChannelTable::default(),
            clock: EpochClock::default(),
            ledger: Ledger::default(),
            events: EventLog::default(),
            raw,
            excitations: BTreeMap::new(),
            counts: Counts::default(),
            unplaced: 0,
            misplaced: 0,
            broken_blocks: 0,
            other_major: None,
            identity: None,
            group_end_us: [None; MAX_GROUPS],
            gaps_us: Vec::new(),
            started_us: Vec::new(),
            presses_us: Vec::new(),
            stored: BTreeMap::new(),
        }
    }

    /// Takes bytes that arrived at `host_us` (µs since the recording began; `None` if that is not known).
    pub fn feed(&mut self, bytes: &[u8], host_us: Option<u64>) {
        for &byte in bytes {
            match self.decoder.push(byte) {
                Some(Received::Message(message)) => self.message(message, host_us),
                Some(Received::OtherMajor(major)) => self.other_major = Some(major),
                None => {}
            }
        }
    }

    fn message(&mut self, message: DeviceMessage, host_us: Option<u64>) {
        match message {
            DeviceMessage::Identity(identity) => {
                self.boot(Some(identity.boot_count), identity.uptime_us, identity.reset_cause, host_us);
                if !identity.streaming {
                    self.ledger.idle();
                }
                self.identity = Some(identity);
            }
            DeviceMessage::Channel(row) => self.table.set(self.rig, row),
            DeviceMessage::Samples(block) => self.block(&block, host_us),
            DeviceMessage::Event(event) => self.event(event, host_us),
            DeviceMessage::Status(status) => self.clock.heard(status.uptime_us, host_us),
            DeviceMessage::Pong(pong) => self.clock.heard(pong.device_us, host_us),
            DeviceMessage::Stored(record) => {
                if self.stored.len() < MOST_STORED {
                    self.stored.entry(record.index).or_insert(record);
                }
            }
            DeviceMessage::Reply(_) | DeviceMessage::BusScan(_) | DeviceMessage::LastWords(_) => {}
        }
    }

    fn boot(&mut self, boot: Option<u32>, device_us: u64, cause: ResetCause, host_us: Option<u64>) {
        let new = self.clock.boot(boot, device_us, host_us);
        if new {
            self.ledger.booted();
        }
        if new && self.counts.received > 0 {
            self.events.restarted(self.clock.place(device_us), cause);
        }
    }

    fn event(&mut self, event: Event, host_us: Option<u64>) {
        if let EventKind::Booted { cause } = event.kind {
            self.boot(None, event.time_us, cause, host_us);
        } else {
            self.clock.heard(event.time_us, host_us);
        }
        let placed_us = self.clock.place(event.time_us);
        match event.kind {
            EventKind::Started => {
                self.ledger.started(event.time_us);
                self.started_us.push(placed_us);
            }
            EventKind::Button { press } if self.presses_us.last() != Some(&(placed_us, press)) => {
                self.presses_us.push((placed_us, press));
            }
            _ => {}
        }
        self.events.take(event, placed_us, &self.table);
    }

    fn block(&mut self, block: &SampleBlock, host_us: Option<u64>) {
        let Some(lost_scans) = self.ledger.take(block) else { return };
        self.counts.lost += lost_scans * self.table.targets(block.mask) as u64;
        let slots_us = *self.table.slots_us();
        let (mut first_us, mut last_us) = (None, 0);
        for reading in block.readings(&slots_us) {
            let Ok(reading) = reading else {
                self.broken_blocks += 1;
                break;
            };
            last_us = reading.time_us;
            first_us.get_or_insert(last_us);
            self.reading(reading.channel, self.clock.place(reading.time_us), reading.raw);
        }
        if let Some(first_us) = first_us {
            self.clock.heard(last_us, host_us);
            self.note_gap(block, self.clock.place(first_us), self.clock.place(last_us));
        }
    }

    fn reading(&mut self, channel: u8, t_us: i64, raw: i32) {
        let Some(row) = self.table.row(channel) else {
            self.unplaced += 1;
            return;
        };
        match row.target {
            Some(Target { sensor, channel }) => {
                self.counts.received += 1;
                let series = self.raw.get_mut(sensor).and_then(|s| s.get_mut(channel));
                if !series.is_some_and(|s| s.push(&row.channel, t_us, raw)) {
                    self.misplaced += 1;
                    self.counts.excluded += 1;
                }
            }
            None if row.channel.component == Component::Excitation => {
                self.excitations.entry(channel).or_default().push(&row.channel, t_us, raw);
            }
            None => {}
        }
    }

    fn note_gap(&mut self, block: &SampleBlock, first_us: i64, last_us: i64) {
        let Some(end_us) = self.group_end_us.get_mut(usize::from(block.group)) else { return };
        let limit_us = (gap_limit_s(f64::from(block.period_us) * 1e-6) * 1e6) as i64;
        if let Some(before_us) = *end_us
            && first_us - before_us > limit_us
        {
            // One silence is seen by every group of channels.
            match self.gaps_us.last_mut() {
                Some([from, to]) if before_us < *to && first_us > *from => {
                    (*from, *to) = ((*from).min(before_us), (*to).max(first_us));
                }
                _ => self.gaps_us.push([before_us, first_us]),
            }
        }
        *end_us = Some(last_us);
    }

    /// What a board kept by itself, in the order in which it was kept.
    fn replay_stored(&mut self) {
        let stored = std::mem::take(&mut self.stored);
        let mut boot = None;
        for (_, record) in stored {
            if boot.replace(record.boot_count) != Some(record.boot_count) {
                // Records without an identity of their own begin at an unknown time of that boot.
                self.boot(Some(record.boot_count), 0, ResetCause::Unknown, None);
            }
            match record.decode() {
                Ok(DeviceMessage::Stored(_)) | Err(_) => self.broken_blocks += 1,
                Ok(message) => self.message(message, None),
            }
        }
    }

    /// The recording of everything that was fed.
    pub fn finish(mut self, context: &Context) -> Recording {
        self.replay_stored();
        let mut recording = Recording::empty(self.rig);
        let origin_us =
            self.raw.iter().flatten().filter_map(|s| s.t_us.first().copied()).min().unwrap_or_default();
        let seconds = |placed_us: i64| (placed_us - origin_us) as f64 * 1e-6;
        let conversion = convert::Conversion { excitations: &self.excitations, origin_us };
        let mut excluded = convert::Excluded::default();
        for ((sensor, all), out) in self.rig.sensors.iter().zip(&self.raw).zip(&mut recording.series) {
            for ((suffix, raw), series) in sensor.channel_suffixes().iter().zip(all).zip(out) {
                *series = conversion.convert(sensor, suffix, raw, &mut excluded);
            }
        }
        recording.counts = self.counts;
        recording.counts.excluded += excluded.total;
        recording.provenance.firmware =
            self.identity.as_ref().map(|i| format!("{} build {}", i.firmware, i.build));
        let end_s =
            recording.series.iter().flatten().filter_map(|s| s.t_s.last().copied()).fold(0.0, f64::max);
        recording.remarks = self.remarks(context, excluded, seconds);
        recording.lifts_s = context
            .marks
            .iter()
            .filter_map(|m| if let Mark::Lift { at } = m { Some(*at) } else { None })
            .map(|at| seconds(self.clock.place_instant(at)))
            .collect();
        let remarked = |m: &Mark| match m {
            Mark::Note { at, text } => {
                Some(format!("at {:.0} s: {text}", seconds(self.clock.place_instant(*at)).max(0.0)))
            }
            _ => None,
        };
        recording.facts.notes = context.marks.iter().filter_map(remarked).collect::<Vec<_>>().join("\n");
        recording.phases = self.phases(context, end_s, seconds);
        self.tell_phases(&mut recording, context);
        recording
    }

    /// Phases as marked by the recorder, or by the logger's button along the plan.
    fn phases(&self, context: &Context, end_s: f64, seconds: impl Fn(i64) -> f64) -> Vec<PhaseSpan> {
        let marked = marks::spans(context.marks, end_s, |at| seconds(self.clock.place_instant(at)));
        if marked.len() > 1 || context.plan.len() <= 1 || self.presses_us.is_empty() {
            return marked;
        }
        let start_us = self.started_us.first().copied();
        let mut begins = start_us.into_iter().chain(
            self.presses_us.iter().filter(|(_, press)| *press == Press::Short).map(|(at_us, _)| *at_us),
        );
        let mut spans: Vec<PhaseSpan> = Vec::new();
        for (phase, from_us) in context.plan.iter().zip(&mut begins) {
            let from_s = seconds(from_us);
            if let Some(before) = spans.last_mut() {
                before.to_s = from_s;
            }
            spans.push(PhaseSpan { phase: *phase, from_s, to_s: end_s });
        }
        if let (Some(last), Some(end_us)) = (spans.last_mut(), begins.next()) {
            last.to_s = seconds(end_us);
        }
        spans.retain(|s| s.to_s > s.from_s);
        spans
    }

    /// Where nobody marked more than the first phase of several, the readings may still say what was done.
    fn tell_phases(&self, recording: &mut Recording, context: &Context) {
        let marked_enough =
            recording.phases.len() > 1 || (context.plan.len() == 1 && !recording.phases.is_empty());
        if marked_enough || recording.counts.received == 0 {
            return;
        }
        match phases::tell(self.rig, context.centres, &recording.series, context.test) {
            Ok(spans) => {
                recording.remarks.push(phases::remark(&spans));
                recording.phases = spans;
            }
            Err(phases::Untold::NoStill(why) | phases::Untold::Unclear(why)) => {
                recording.remarks.push(format!(
                    "The phases of the test were not marked and cannot be told from the readings: {why}."
                ))
            }
        }
    }

    fn remarks(
        &self,
        context: &Context,
        excluded: convert::Excluded,
        seconds: impl Fn(i64) -> f64,
    ) -> Vec<String> {
        let mut remarks = Vec::new();
        if let Some(major) = self.other_major {
            remarks.push(format!(
                "Some frames speak version {major} of the wire; this program speaks {} and left them out.",
                hingeline_protocol::MAJOR
            ));
        }
        if self.table.rows().next().is_some() {
            remarks.extend(self.table.remarks(self.rig));
        }
        let mut count = |number: u64, text: &str| {
            if number > 0 {
                remarks.push(format!("{text}: {number}."));
            }
        };
        let frames = self.decoder.counts();
        count(frames.refused().into(), "Damaged frames on the line, left out");
        count(frames.unknown_kinds.into(), "Messages of a kind that this program does not know, left out");
        count(self.ledger.lost_blocks(), "Blocks of readings lost on the line");
        count(self.broken_blocks, "Blocks that end in the middle of a scan");
        count(self.unplaced, "Readings before the channel table arrived, left out");
        count(
            self.misplaced,
            "Readings out of order, or whose channel came to mean something else, set aside",
        );
        let gaps: Vec<_> = self.gaps_us.iter().map(|g| g.map(&seconds)).collect();
        remarks.extend(gap_remarks(&gaps));
        remarks.extend(excluded.remarks);
        remarks.extend(self.events.remarks(self.rig, &seconds));
        let ended = context.marks.iter().any(|m| matches!(m, Mark::End { .. }));
        if !ended {
            remarks.push("The recording was cut off: it has no end mark.".into());
        }
        remarks
    }
}
