//! A line within one process: two ends, bytes both ways, never more than a fixed number of pieces on their way.

use super::line::Line;
use std::io::{self, ErrorKind};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::{Duration, Instant};

/// Pieces that may be on their way; a writer waits for room.
const PIECES: usize = 256;
/// How long a writer waits for room.
const ROOM_WITHIN: Duration = Duration::from_secs(1);

/// One end. When the other end is dropped the line is gone.
#[derive(Debug)]
pub struct MemoryLine {
    out: SyncSender<Vec<u8>>,
    into: Receiver<Vec<u8>>,
    rest: Vec<u8>,
}

/// The two ends of a line.
pub fn pair() -> (MemoryLine, MemoryLine) {
    let (a_out, b_into) = sync_channel(PIECES);
    let (b_out, a_into) = sync_channel(PIECES);
    let end = |out, into| MemoryLine { out, into, rest: Vec::new() };
    (end(a_out, a_into), end(b_out, b_into))
}

impl Line for MemoryLine {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> io::Result<usize> {
        if self.rest.is_empty() {
            match self.into.recv_timeout(timeout) {
                Ok(piece) => self.rest = piece,
                Err(RecvTimeoutError::Timeout) => return Ok(0),
                Err(RecvTimeoutError::Disconnected) => return Err(ErrorKind::BrokenPipe.into()),
            }
        }
        let count = self.rest.len().min(buffer.len());
        for (to, from) in buffer.iter_mut().zip(self.rest.drain(..count)) {
            *to = from;
        }
        Ok(count)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        let until = Instant::now() + ROOM_WITHIN;
        let mut piece = bytes.to_vec();
        loop {
            piece = match self.out.try_send(piece) {
                Ok(()) => return Ok(()),
                Err(TrySendError::Disconnected(_)) => return Err(ErrorKind::BrokenPipe.into()),
                Err(TrySendError::Full(_)) if Instant::now() > until => {
                    return Err(ErrorKind::TimedOut.into());
                }
                Err(TrySendError::Full(piece)) => piece,
            };
            std::thread::sleep(Duration::from_millis(1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHORT: Duration = Duration::from_millis(5);

    #[test]
    fn bytes_arrive_in_order_and_a_dropped_end_is_a_broken_pipe() {
        let (mut a, mut b) = pair();
        a.write(b"hello").unwrap();
        a.write(b"!").unwrap();
        let mut buffer = [0; 3];
        assert_eq!((b.read(&mut buffer, SHORT).unwrap(), &buffer), (3, b"hel"));
        assert_eq!(b.read(&mut buffer, SHORT).unwrap(), 2);
        assert_eq!(b.read(&mut buffer, SHORT).unwrap(), 1);
        assert_eq!(b.read(&mut buffer, SHORT).unwrap(), 0);
        drop(a);
        assert_eq!(b.read(&mut buffer, SHORT).unwrap_err().kind(), ErrorKind::BrokenPipe);
        assert_eq!(b.write(b"x").unwrap_err().kind(), ErrorKind::BrokenPipe);
    }
}
