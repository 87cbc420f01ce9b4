//! Where messages go: into the queue of bytes for the host, which is bounded, and, while nobody listens, towards the store.
//! What does not get where it should is counted and reported.

use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::{DeviceMessage, Event, EventKind, encode_frame};

use crate::store::pending::Pending;

/// Bytes in the queue: a third of a second of a 115 200 baud line.
pub const QUEUE: usize = 4096;

/// Room that sample blocks leave for everything else: events, replies, the channel table's rows.
const RESERVED: usize = 1024;

/// The queue.
#[derive(Debug, Clone)]
pub struct Outbox {
    ring: [u8; QUEUE],
    /// Where the oldest byte is.
    head: usize,
    used: usize,
    dropped: u32,
    unreported: u32,
    keeping: bool,
    /// Messages on their way into the store.
    pub kept: Pending,
}

impl Default for Outbox {
    fn default() -> Self {
        Self::new()
    }
}

impl Outbox {
    /// Empty but for one delimiter, which ends whatever the line carried before.
    pub const fn new() -> Self {
        Self {
            ring: [0; QUEUE],
            head: 0,
            used: 1,
            dropped: 0,
            unreported: 0,
            keeping: false,
            kept: Pending::new(),
        }
    }

    /// Free bytes where messages go now.
    pub const fn room(&self) -> usize {
        if self.keeping { self.kept.room() } else { self.line_room() }
    }

    /// Free bytes in the queue for the host.
    pub const fn line_room(&self) -> usize {
        QUEUE - self.used
    }

    /// Whether messages are kept.
    pub const fn is_keeping(&self) -> bool {
        self.keeping
    }

    /// Keeps messages from here on, or no longer: a line on which nobody listens may lose them.
    pub fn keep(&mut self, keeping: bool) {
        self.keeping = keeping;
    }

    /// Messages dropped since boot.
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Queues a message; gives whether it fitted. One that does not is counted.
    pub fn send(&mut self, message: &DeviceMessage) -> bool {
        let keep_free = if matches!(message, DeviceMessage::Samples(_)) { RESERVED } else { 0 };
        let mut frame = [0; MAX_WIRE];
        let queued = encode_frame(message, &mut frame)
            .ok()
            .and_then(|length| frame.get(..length))
            .is_some_and(|frame| self.push(frame, keep_free));
        let arrived =
            if self.keeping && is_worth_keeping(message) { self.keep_message(message) } else { queued };
        if !arrived && (!self.keeping || is_worth_keeping(message)) {
            self.lose();
        }
        arrived
    }

    fn keep_message(&mut self, message: &DeviceMessage) -> bool {
        let keep_free = if matches!(message, DeviceMessage::Samples(_)) { RESERVED } else { 0 };
        self.kept.room() >= MAX_WIRE.saturating_add(keep_free) && self.kept.push(message)
    }

    /// Queues an event.
    pub fn event(&mut self, time_us: u64, kind: EventKind) {
        self.send(&DeviceMessage::Event(Event { time_us, kind }));
    }

    /// Counts a message that was not even tried.
    pub fn lose(&mut self) {
        self.dropped = self.dropped.saturating_add(1);
        self.unreported = self.unreported.saturating_add(1);
    }

    /// Reports what was dropped since the last time, if there is room to do so.
    pub fn report_losses(&mut self, now_us: u64) {
        if self.unreported > 0 && self.room() >= RESERVED / 4 {
            let messages = core::mem::take(&mut self.unreported);
            self.event(now_us, EventKind::QueueFull { messages });
        }
    }

    /// The oldest bytes, as many as lie together; empty if there are none.
    pub fn oldest(&self) -> &[u8] {
        let end = (self.head + self.used).min(QUEUE);
        self.ring.get(self.head..end).unwrap_or(&[])
    }

    /// So many of the oldest bytes are sent.
    pub fn sent(&mut self, count: usize) {
        let count = count.min(self.used);
        self.head = (self.head + count) % QUEUE;
        self.used -= count;
    }

    /// Moves bytes out for the line; gives how many.
    pub fn take(&mut self, out: &mut [u8]) -> usize {
        let mut taken = 0;
        for place in out.iter_mut() {
            let Some(&byte) = self.oldest().first() else { break };
            *place = byte;
            self.sent(1);
            taken += 1;
        }
        taken
    }

    fn push(&mut self, frame: &[u8], keep_free: usize) -> bool {
        if self.line_room() < frame.len() + keep_free {
            return false;
        }
        let tail = self.head + self.used;
        for (place, &byte) in frame.iter().enumerate() {
            if let Some(at) = self.ring.get_mut((tail + place) % QUEUE) {
                *at = byte;
            }
        }
        self.used += frame.len();
        true
    }
}

/// What a run is made of.
const fn is_worth_keeping(message: &DeviceMessage) -> bool {
    matches!(
        message,
        DeviceMessage::Identity(_)
            | DeviceMessage::Channel(_)
            | DeviceMessage::Samples(_)
            | DeviceMessage::Event(_)
    )
}
