//! The logger on an `embedded-io` line, without ever waiting for it: a host that is gone must not stop the sampling.

use embedded_io::{Read, ReadReady, Write, WriteReady};

use crate::logger::Logger;

/// Bytes moved at a time; a full USB packet.
const PIECE: usize = 64;

/// Moves what has come to the logger and what waits to the line, as far as both go without waiting.
///
/// # Errors
/// Those of the line. What it did not take stays in the queue.
pub fn exchange<L>(logger: &mut Logger, now_us: u64, line: &mut L) -> Result<(), L::Error>
where
    L: Read + ReadReady + Write + WriteReady,
{
    let mut piece = [0; PIECE];
    while line.read_ready()? {
        match line.read(&mut piece)? {
            0 => break,
            count => logger.feed(now_us, piece.get(..count).unwrap_or(&[])),
        }
    }
    while !logger.output().is_empty() && line.write_ready()? {
        let waiting = logger.output();
        match line.write(waiting.get(..PIECE).unwrap_or(waiting))? {
            0 => break,
            count => logger.sent(count),
        }
    }
    Ok(())
}
