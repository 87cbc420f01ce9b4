//! A pseudo-terminal, which a program opens like a serial port. The one file that only Unix has.

use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::io;
use std::os::fd::OwnedFd;

/// Bytes written at once: a terminal takes 4 kB, and a large write may ignore any time limit.
const PIECE: usize = 512;

/// The end of a pseudo-terminal that the virtual logger holds.
#[derive(Debug)]
pub struct Pty {
    ours: OwnedFd,
    path: String,
}

/// What a read found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heard {
    /// Nobody has the port open.
    Nobody,
    /// Nothing has come.
    Nothing,
    /// So many bytes.
    Bytes(usize),
}

impl Pty {
    /// A new pseudo-terminal, raw: every byte passes as it is.
    ///
    /// # Errors
    /// When the system gives none.
    pub fn open() -> io::Result<Self> {
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        grantpt(&ours)?;
        unlockpt(&ours)?;
        let name = ptsname(&ours, Vec::new())?;
        let path = name.into_string().map_err(|_| io::ErrorKind::InvalidData)?;
        // Set up and dropped at once: whoever opens the port may lock it.
        let theirs = open(path.as_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty())?;
        let mut settings = tcgetattr(&theirs)?;
        settings.make_raw();
        tcsetattr(&theirs, OptionalActions::Now, &settings)?;
        fcntl_setfl(&ours, fcntl_getfl(&ours)? | OFlags::NONBLOCK)?;
        Ok(Self { ours, path })
    }

    /// The path that a program opens.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Reads what has come, without waiting.
    ///
    /// # Errors
    /// When the pseudo-terminal is broken.
    pub fn read(&mut self, buffer: &mut [u8]) -> io::Result<Heard> {
        match rustix::io::read(&self.ours, buffer) {
            // The other end is closed.
            Ok(0) | Err(Errno::IO) => Ok(Heard::Nobody),
            Ok(count) => Ok(Heard::Bytes(count)),
            Err(Errno::AGAIN | Errno::INTR) => Ok(Heard::Nothing),
            Err(error) => Err(error.into()),
        }
    }

    /// Writes as much of `bytes` as goes without waiting; gives how much.
    ///
    /// # Errors
    /// When the pseudo-terminal is broken.
    pub fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut written = 0;
        for piece in bytes.chunks(PIECE) {
            match rustix::io::write(&self.ours, piece) {
                Ok(count) => {
                    written += count;
                    if count < piece.len() {
                        break;
                    }
                }
                Err(Errno::AGAIN | Errno::INTR | Errno::IO) => break,
                Err(error) => return Err(error.into()),
            }
        }
        Ok(written)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs::File;
    use std::io::{Read, Write};

    #[test]
    fn every_byte_passes_both_ways_and_an_empty_chair_is_noticed() {
        let mut pty = Pty::open().unwrap();
        let mut buffer = [0; 1024];
        assert_eq!(pty.read(&mut buffer).unwrap(), Heard::Nobody);
        let mut port = File::options().read(true).write(true).open(pty.path()).unwrap();
        assert_eq!(pty.read(&mut buffer).unwrap(), Heard::Nothing);
        let all: Vec<u8> = (0..=255).collect();
        port.write_all(&all).unwrap();
        assert_eq!(pty.read(&mut buffer).unwrap(), Heard::Bytes(256));
        assert_eq!(buffer[..256], all);
        assert_eq!(pty.write(&all).unwrap(), 256);
        let mut back = vec![0; 256];
        port.read_exact(&mut back).unwrap();
        assert_eq!(back, all);
        drop(port);
        assert_eq!(pty.read(&mut buffer).unwrap(), Heard::Nobody);
    }

    #[test]
    fn a_port_that_nobody_reads_takes_no_more_and_does_not_wait() {
        let mut pty = Pty::open().unwrap();
        let port = File::options().read(true).write(true).open(pty.path()).unwrap();
        let much = vec![7; 1 << 20];
        let taken = pty.write(&much).unwrap();
        assert!(taken < much.len() && pty.write(&much).unwrap() < much.len());
        drop(port);
    }
}
