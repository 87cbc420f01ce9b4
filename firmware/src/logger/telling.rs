//! What the logger says of itself: who it is, and how it fares.

use super::{Logger, Mode};
use heapless::{String, Vec};
use hingeline_protocol::{DeviceMessage, Identity, LastWords, MAJOR, MINOR};

impl Logger {
    pub(super) fn send_identity(&mut self, now_us: u64) {
        let id_length = usize::from(self.board.unique_id_length);
        let unique_id = self.board.unique_id.get(..id_length).unwrap_or(&self.board.unique_id);
        let identity = Identity {
            major: MAJOR,
            minor: MINOR,
            firmware: text(self.board.firmware),
            board: text(self.board.name),
            unique_id: Vec::from_slice(unique_id).unwrap_or_default(),
            build: text(self.board.build),
            boot_count: self.board.boot_count,
            uptime_us: now_us,
            reset_cause: self.board.reset_cause,
            buses: self.board.buses(),
            channels: self.table.channels(),
            streaming: self.is_streaming(),
            stored: self.keeper.as_ref().map_or(0, |keeper| keeper.store().log.total()),
        };
        self.outbox.send(&DeviceMessage::Identity(identity));
        if !self.board.last_words.is_empty() {
            self.outbox.send(&DeviceMessage::LastWords(LastWords { place: text(self.board.last_words) }));
        }
    }

    pub(super) fn send_status(&mut self, now_us: u64) {
        let counts = self.decoder.counts();
        let mut status = self.health.status(now_us, matches!(self.mode, Mode::Streaming));
        if status.streaming {
            status.sensors_lost = self.sampler.lost_sensors(&self.table);
        }
        status.dropped_messages = self.outbox.dropped();
        status.refused_frames = counts.refused();
        status.unknown_kinds = counts.unknown_kinds;
        self.outbox.send(&DeviceMessage::Status(status));
    }
}

/// As much of `text` as fits.
fn text<const N: usize>(text: &str) -> String<N> {
    let mut out = String::new();
    for letter in text.chars() {
        if out.push(letter).is_err() {
            break;
        }
    }
    out
}
