//! A line that is opened again when it was gone.

use super::line::{Clock, Connect, Line};
use crate::explain::{Explain, Status};
use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::{HostMessage, encode_frame};
use std::io::{self, ErrorKind};
use std::time::Duration;

/// How often a line that is gone is tried.
const TRY_EVERY: Duration = Duration::from_millis(250);

/// Why there is no line.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// It cannot be opened.
    #[error("{name} cannot be opened: {source}")]
    CannotOpen {
        /// The port.
        name: String,
        /// What the system says.
        source: io::Error,
    },
    /// It was gone and did not come back.
    #[error("{name} was unplugged and did not come back within {within_s} s")]
    Gone {
        /// The port.
        name: String,
        /// How long it was waited for, s.
        within_s: f64,
    },
}

impl Explain for LinkError {
    fn status(&self) -> Status {
        Status::Device
    }

    fn hint(&self) -> Option<String> {
        Some(match self {
            Self::CannotOpen { source, .. } if source.kind() == ErrorKind::PermissionDenied => {
                "Your account may not use serial ports; on most Linux systems: sudo usermod -aG dialout $USER, then log in again."
                    .to_owned()
            }
            Self::CannotOpen { source, .. } if source.kind() == ErrorKind::NotFound => {
                "`hingeline ports` lists the ports that there are.".to_owned()
            }
            Self::CannotOpen { name, .. } if !is_device(name) => {
                "That is no serial port: `hingeline ports` lists the ports that there are.".to_owned()
            }
            // ENOTTY: a device, but none with a line.
            Self::CannotOpen { source, .. } if source.to_string().contains("Not a typewriter") => {
                "That is no serial port: `hingeline ports` lists the ports that there are.".to_owned()
            }
            Self::CannotOpen { .. } => "Close any other program that has the port open.".to_owned(),
            Self::Gone { .. } => "Check the cable; what was recorded before is kept.".to_owned(),
        })
    }
}

/// Whether a name is that of a device: a folder or a file is none. Names that are no path, such as COM3, may be.
fn is_device(name: &str) -> bool {
    std::fs::metadata(name).map_or(true, |found| !found.is_dir() && !found.is_file())
}

/// What a read gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heard {
    /// So many bytes.
    Bytes(usize),
    /// Nothing in time.
    Nothing,
    /// The line was gone since this host time, µs, and is back.
    Back {
        /// Since when.
        from_us: u64,
    },
}

/// The line, there or not.
pub struct Link<'a> {
    connect: &'a mut dyn Connect,
    line: Option<Box<dyn Line>>,
    lost_us: u64,
    patience_us: u64,
}

impl<'a> Link<'a> {
    /// Opens the line. When it is gone later, it is waited for up to `patience_s`.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn open(connect: &'a mut dyn Connect, patience_s: f64) -> Result<Self, LinkError> {
        let line = connect
            .connect()
            .map_err(|source| LinkError::CannotOpen { name: connect.name().to_owned(), source })?;
        Ok(Self { connect, line: Some(line), lost_us: 0, patience_us: (patience_s * 1e6) as u64 })
    }

    /// Whether the line is there.
    pub fn is_up(&self) -> bool {
        self.line.is_some()
    }

    /// Reads, or tries to get the line back.
    ///
    /// # Errors
    /// When it did not come back in time.
    pub fn read(
        &mut self,
        buffer: &mut [u8],
        timeout: Duration,
        clock: &dyn Clock,
        now_us: u64,
    ) -> Result<Heard, LinkError> {
        if let Some(line) = &mut self.line {
            return Ok(match line.read(buffer, timeout) {
                Ok(0) => Heard::Nothing,
                Ok(count) => Heard::Bytes(count),
                Err(_) => {
                    self.lost(now_us);
                    Heard::Nothing
                }
            });
        }
        if now_us.saturating_sub(self.lost_us) > self.patience_us {
            let within_s = self.patience_us as f64 * 1e-6;
            return Err(LinkError::Gone { name: self.connect.name().to_owned(), within_s });
        }
        clock.pause(TRY_EVERY);
        match self.connect.connect() {
            Ok(line) => {
                self.line = Some(line);
                Ok(Heard::Back { from_us: self.lost_us })
            }
            Err(_) => Ok(Heard::Nothing),
        }
    }

    /// Puts a message on the line. While the line is gone it is lost, as on a line that is cut.
    pub fn send(&mut self, message: &HostMessage, now_us: u64) {
        let mut frame = [0; MAX_WIRE];
        let Ok(used) = encode_frame(message, &mut frame) else { return };
        if let Some(line) = &mut self.line
            && line.write(frame.get(..used).unwrap_or_default()).is_err()
        {
            self.lost(now_us);
        }
    }

    fn lost(&mut self, now_us: u64) {
        self.line = None;
        self.lost_us = now_us;
    }
}
