//! What the bytes of a line say, by the wire's own crate.

use hingeline_protocol::channel::MAX_CHANNELS;
use hingeline_protocol::{
    Channel, DeviceMessage, Event, EventKind, FrameDecoder, Identity, LossCounter, Received, Status,
};

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Read {
    /// Its channel.
    pub channel: u8,
    /// When, device time, µs.
    pub time_us: u64,
    /// Counts.
    pub raw: i32,
}

/// Everything that was heard.
#[derive(Default)]
pub struct Heard {
    /// Who the logger is, as often as it said so.
    pub identities: Vec<Identity>,
    /// The channel table as it was last.
    pub channels: Vec<Option<Channel>>,
    /// Readings in the order of arrival.
    pub readings: Vec<Read>,
    /// What was lost on the way.
    pub loss: LossCounter,
    /// Frames that were refused.
    pub refused: u32,
    /// Scans that the logger left out.
    pub overrun_scans: u32,
    /// Events in order.
    pub events: Vec<Event>,
    /// The last status.
    pub status: Option<Status>,
    /// Bytes since streaming began.
    pub bytes: usize,
}

impl Heard {
    /// What `bytes` say.
    pub fn of(bytes: &[u8]) -> Self {
        let mut heard = Self { channels: vec![None; MAX_CHANNELS], ..Self::default() };
        let mut decoder = FrameDecoder::<DeviceMessage>::new();
        let (mut slots_us, mut streaming) = ([0; MAX_CHANNELS], false);
        for byte in bytes {
            heard.bytes += usize::from(streaming);
            match decoder.push(*byte) {
                Some(Received::Message(message)) => heard.take(message, &mut slots_us, &mut streaming),
                other => assert_eq!(other, None),
            }
        }
        heard.refused = decoder.counts().refused();
        heard
    }

    fn take(&mut self, message: DeviceMessage, slots_us: &mut [u32; MAX_CHANNELS], streaming: &mut bool) {
        match message {
            DeviceMessage::Identity(identity) => self.identities.push(identity),
            DeviceMessage::Channel(row) => {
                let index = usize::from(row.index);
                slots_us[index] = row.slot_us;
                self.channels[index] = Some(row);
            }
            DeviceMessage::Samples(block) => {
                assert!(self.loss.observe(&block));
                self.readings.extend(block.readings(slots_us).map(Result::unwrap).map(|reading| Read {
                    channel: reading.channel,
                    time_us: reading.time_us,
                    raw: reading.raw,
                }));
            }
            DeviceMessage::Event(event) => {
                match event.kind {
                    EventKind::Started => {
                        self.loss.restart();
                        *streaming = true;
                    }
                    EventKind::Overrun { scans } => self.overrun_scans += scans,
                    _ => {}
                }
                self.events.push(event);
            }
            DeviceMessage::Status(status) => self.status = Some(status),
            _ => {}
        }
    }

    /// Times of the readings of each channel that has some, µs.
    pub fn times_us(&self) -> Vec<Vec<u64>> {
        let mut times_us = vec![Vec::new(); MAX_CHANNELS];
        self.readings.iter().for_each(|r| times_us[usize::from(r.channel)].push(r.time_us));
        times_us.retain(|times| !times.is_empty());
        times_us
    }
}
