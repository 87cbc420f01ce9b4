//! A line to a logger, real or not: bytes both ways, with a time limit.

use std::io;
use std::time::{Duration, Instant};

/// Bytes both ways.
pub trait Line {
    /// Reads what has come, waiting at most `timeout`; 0 bytes when nothing came.
    ///
    /// # Errors
    /// When the line is gone.
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> io::Result<usize>;

    /// Writes all of `bytes`.
    ///
    /// # Errors
    /// When the line is gone or takes nothing for a second.
    fn write(&mut self, bytes: &[u8]) -> io::Result<()>;
}

/// Opens a line, and opens it again after it was gone.
pub trait Connect {
    /// The line.
    ///
    /// # Errors
    /// When it cannot be opened now.
    fn connect(&mut self) -> io::Result<Box<dyn Line>>;

    /// What people call it: a port's path.
    fn name(&self) -> &str;
}

/// A clock that never steps.
pub trait Clock {
    /// µs since some instant before the first call.
    fn now_us(&self) -> u64;

    /// Lets some time pass.
    fn pause(&self, duration: Duration);
}

/// The system's monotonic clock.
#[derive(Debug, Clone, Copy)]
pub struct SystemClock(Instant);

impl SystemClock {
    /// A clock that begins now.
    pub fn start() -> Self {
        Self(Instant::now())
    }
}

impl Clock for SystemClock {
    fn now_us(&self) -> u64 {
        u64::try_from(self.0.elapsed().as_micros()).unwrap_or(u64::MAX)
    }

    fn pause(&self, duration: Duration) {
        std::thread::sleep(duration);
    }
}
