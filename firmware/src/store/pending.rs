//! Messages on their way into the store: a bounded queue, because the memory takes them only between scans.

use hingeline_protocol::DeviceMessage;
use hingeline_protocol::WireMessage;
use hingeline_protocol::sizes::MAX_STORED;

/// Bytes in the queue: a second of twelve channels at 50 Hz, and a channel table before them.
pub const QUEUE: usize = 4096;
/// Bytes before each message: its length.
const LENGTH: usize = 2;

/// The queue.
#[derive(Debug, Clone)]
pub struct Pending {
    ring: [u8; QUEUE],
    head: usize,
    used: usize,
}

impl Default for Pending {
    fn default() -> Self {
        Self::new()
    }
}

impl Pending {
    /// Empty.
    pub const fn new() -> Self {
        Self { ring: [0; QUEUE], head: 0, used: 0 }
    }

    /// Free bytes.
    pub const fn room(&self) -> usize {
        QUEUE - self.used
    }

    /// Whether nothing waits.
    pub const fn is_empty(&self) -> bool {
        self.used == 0
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.used = 0;
    }

    /// Queues a message; gives whether it fitted.
    pub fn push(&mut self, message: &DeviceMessage) -> bool {
        let mut bytes = [0; MAX_STORED];
        let Some(bytes) = message.encode(&mut bytes).ok().and_then(|length| bytes.get(..length)) else {
            return false;
        };
        if self.room() < LENGTH + bytes.len() {
            return false;
        }
        (bytes.len() as u16).to_le_bytes().iter().chain(bytes).for_each(|&byte| self.put(byte));
        true
    }

    /// Takes the oldest message out into `out`; gives its bytes.
    pub fn pop<'a>(&mut self, out: &'a mut [u8; MAX_STORED]) -> Option<&'a [u8]> {
        if self.used < LENGTH {
            return None;
        }
        let length = usize::from(u16::from_le_bytes([self.get(), self.get()]));
        let out = out.get_mut(..length)?;
        out.iter_mut().for_each(|at| *at = self.get());
        Some(out)
    }

    fn put(&mut self, byte: u8) {
        if let Some(at) = self.ring.get_mut((self.head + self.used) % QUEUE) {
            *at = byte;
            self.used += 1;
        }
    }

    fn get(&mut self) -> u8 {
        let byte = self.ring.get(self.head).copied().unwrap_or(0);
        self.head = (self.head + 1) % QUEUE;
        self.used = self.used.saturating_sub(1);
        byte
    }
}
