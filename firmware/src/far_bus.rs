//! I²C buses at the other end of a serial line: how a board without parts of its own reaches parts that live on a PC.
//!
//! The board asks, one transfer at a time, and the peer answers. Both ends are here, so that neither can drift. A frame is
//!
//! ```text
//! mark (1 byte: A5 asks, 5A answers) | length of the body (1) | body | check (2)
//! ```
//!
//! The check is the lower half of the wire's own ([`hingeline_protocol::frame::check`]) over length and body, lowest byte
//! first. Bodies, numbers lowest byte first:
//!
//! | question | bytes | | answer | bytes | |
//! |---|---|---|---|---|---|
//! | number | 1 | counts questions | number | 1 | of the question |
//! | bus | 1 | which bus | bus | 1 | of the question |
//! | what | 1 | 0 transfer, 1 clock the bus free | outcome | 1 | 0 done, 1 no acknowledgement, 2 bus in trouble |
//! | address | 1 | seven bits | took | 4 | how long it takes on a bus, µs |
//! | wanted | 1 | bytes to be read | read | rest | what was read |
//! | start | 8 | device time, µs | | | |
//! | written | rest | before anything is read | | | |
//!
//! A transfer carries its device time and its answer how long it takes, so that parts live in the board's time, and the
//! board can wait as long as a bus would have kept it.

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use heapless::Vec;
use hingeline_protocol::frame::check;

use crate::bus::Recover;

/// Begins a question.
const ASKS: u8 = 0xa5;
/// Begins an answer.
const ANSWERS: u8 = 0x5a;
/// Most bytes of a body.
const MAX_BODY: usize = 255;
/// Most bytes of a frame.
pub const MAX_FRAME: usize = 2 + MAX_BODY + 2;
/// Bytes of a question before what is written.
const QUESTION_HEAD: usize = 13;
/// Bytes of an answer before what was read.
const ANSWER_HEAD: usize = 7;
/// Most bytes that one transfer writes.
pub const MAX_WRITTEN: usize = MAX_BODY - QUESTION_HEAD;
/// Most bytes that one transfer reads.
pub const MAX_READ: usize = MAX_BODY - ANSWER_HEAD;

/// What is asked of a bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// A transfer.
    Transfer,
    /// Nine clocks and a stop.
    Recover,
}

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Became {
    /// Done.
    Done,
    /// Nobody acknowledged.
    NoAcknowledge,
    /// The bus is held, or the transfer broke off.
    BusTrouble,
}

/// One question of the board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// Counts questions.
    pub number: u8,
    /// Which bus.
    pub bus: u8,
    /// What is asked.
    pub what: What,
    /// Seven bits.
    pub address: u8,
    /// Bytes to be read after what is written.
    pub wanted: u8,
    /// Device time at the start, µs.
    pub start_us: u64,
    /// What is written.
    pub written: Vec<u8, MAX_WRITTEN>,
}

/// One answer of the peer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// Of the question.
    pub number: u8,
    /// Of the question.
    pub bus: u8,
    /// What became of it.
    pub became: Became,
    /// How long it takes on a bus, µs.
    pub took_us: u32,
    /// What was read.
    pub read: Vec<u8, MAX_READ>,
}

/// A question or an answer.
pub trait Body: Sized {
    /// The byte that begins its frame.
    const MARK: u8;

    /// Writes the body; `None` if it has no room.
    fn write(&self, body: &mut Vec<u8, MAX_BODY>) -> Option<()>;

    /// Reads a body; `None` if it is none.
    fn read(body: &[u8]) -> Option<Self>;

    /// The whole frame.
    fn frame(&self) -> Vec<u8, MAX_FRAME> {
        let (mut body, mut frame) = (Vec::new(), Vec::new());
        // Both always fit: the longest content is what the sizes above leave.
        let _ = self.write(&mut body);
        let _ = frame.extend_from_slice(&[Self::MARK, body.len() as u8]);
        let _ = frame.extend_from_slice(&body);
        let checked = frame.get(1..).unwrap_or(&[]);
        let [low, high, ..] = check(checked).to_le_bytes();
        let _ = frame.extend_from_slice(&[low, high]);
        frame
    }
}

impl Body for Question {
    const MARK: u8 = ASKS;

    fn write(&self, body: &mut Vec<u8, MAX_BODY>) -> Option<()> {
        let what = match self.what {
            What::Transfer => 0,
            What::Recover => 1,
        };
        body.extend_from_slice(&[self.number, self.bus, what, self.address, self.wanted]).ok()?;
        body.extend_from_slice(&self.start_us.to_le_bytes()).ok()?;
        body.extend_from_slice(&self.written).ok()
    }

    fn read(body: &[u8]) -> Option<Self> {
        let ([number, bus, what, address, wanted], rest) = body.split_first_chunk()?;
        let (start, written) = rest.split_first_chunk()?;
        Some(Self {
            number: *number,
            bus: *bus,
            what: match what {
                0 => What::Transfer,
                1 => What::Recover,
                _ => return None,
            },
            address: *address,
            wanted: *wanted,
            start_us: u64::from_le_bytes(*start),
            written: Vec::from_slice(written).ok()?,
        })
    }
}

impl Body for Answer {
    const MARK: u8 = ANSWERS;

    fn write(&self, body: &mut Vec<u8, MAX_BODY>) -> Option<()> {
        let became = match self.became {
            Became::Done => 0,
            Became::NoAcknowledge => 1,
            Became::BusTrouble => 2,
        };
        body.extend_from_slice(&[self.number, self.bus, became]).ok()?;
        body.extend_from_slice(&self.took_us.to_le_bytes()).ok()?;
        body.extend_from_slice(&self.read).ok()
    }

    fn read(body: &[u8]) -> Option<Self> {
        let ([number, bus, became], rest) = body.split_first_chunk()?;
        let (took, read) = rest.split_first_chunk()?;
        Some(Self {
            number: *number,
            bus: *bus,
            became: match became {
                0 => Became::Done,
                1 => Became::NoAcknowledge,
                2 => Became::BusTrouble,
                _ => return None,
            },
            took_us: u32::from_le_bytes(*took),
            read: Vec::from_slice(read).ok()?,
        })
    }
}

/// Takes bytes one by one and gives questions, or answers. What is no frame is skipped.
#[derive(Debug, Clone, Default)]
pub struct Reader {
    /// Length, body and check as they come; empty while a mark is looked for.
    taken: Vec<u8, MAX_FRAME>,
    marked: bool,
}

impl Reader {
    /// It has seen nothing.
    pub const fn new() -> Self {
        Self { taken: Vec::new(), marked: false }
    }

    /// Takes the next byte.
    pub fn push<B: Body>(&mut self, byte: u8) -> Option<B> {
        if !self.marked {
            self.marked = byte == B::MARK;
            return None;
        }
        let _ = self.taken.push(byte);
        let length = usize::from(*self.taken.first()?) + 1;
        if self.taken.len() < length + 2 {
            return None;
        }
        self.marked = false;
        let taken = core::mem::take(&mut self.taken);
        let (checked, sum) = taken.split_at_checked(length)?;
        let [low, high, ..] = check(checked).to_le_bytes();
        if sum != [low, high] {
            return None;
        }
        B::read(checked.get(1..)?)
    }
}

/// The board's end of the line and its clock.
pub trait Line {
    /// Device time, µs.
    fn now_us(&mut self) -> u64;

    /// Sends a byte, waiting for room if there is none.
    fn put(&mut self, byte: u8);

    /// The next byte, if one has come.
    fn get(&mut self) -> Option<u8>;

    /// Lets time pass until `until_us`.
    fn wait_until(&mut self, until_us: u64);
}

/// No answer after this, µs, is trouble.
pub const ANSWER_WITHIN_US: u64 = 250_000;

/// One bus behind the line, as a driver sees it.
#[derive(Debug, Clone)]
pub struct FarBus<L> {
    line: L,
    bus: u8,
    number: u8,
}

impl<L: Line> FarBus<L> {
    /// The bus of that number.
    pub const fn new(line: L, bus: u8) -> Self {
        Self { line, bus, number: 0 }
    }

    fn ask(
        &mut self,
        what: What,
        address: u8,
        written: Vec<u8, MAX_WRITTEN>,
        wanted: u8,
    ) -> Result<Answer, ErrorKind> {
        self.number = self.number.wrapping_add(1);
        let start_us = self.line.now_us();
        let question = Question { number: self.number, bus: self.bus, what, address, wanted, start_us, written };
        question.frame().iter().for_each(|&byte| self.line.put(byte));
        let mut reader = Reader::new();
        loop {
            // The clock is looked at when the line is silent only.
            match self.line.get() {
                Some(byte) => match reader.push::<Answer>(byte) {
                    // The answer to an earlier question came too late.
                    Some(answer) if (answer.number, answer.bus) != (self.number, self.bus) => {}
                    Some(answer) => {
                        self.line.wait_until(start_us.saturating_add(u64::from(answer.took_us)));
                        return Ok(answer);
                    }
                    None => {}
                },
                None if self.line.now_us().saturating_sub(start_us) >= ANSWER_WITHIN_US => {
                    return Err(ErrorKind::Bus);
                }
                None => {}
            }
        }
    }
}

impl<L> ErrorType for FarBus<L> {
    type Error = ErrorKind;
}

impl<L: Line> I2c for FarBus<L> {
    /// Writes first, then reads: no part asks for more than one change of direction.
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let (mut written, mut wanted) = (Vec::new(), 0_usize);
        for operation in operations.iter() {
            match operation {
                Operation::Write(_) if wanted > 0 => return Err(ErrorKind::Other),
                Operation::Write(bytes) => written.extend_from_slice(bytes).map_err(|_| ErrorKind::Other)?,
                Operation::Read(bytes) => wanted = wanted.saturating_add(bytes.len()),
            }
        }
        if wanted > MAX_READ {
            return Err(ErrorKind::Other);
        }
        let answer = self.ask(What::Transfer, address, written, wanted as u8)?;
        match answer.became {
            Became::Done if answer.read.len() == wanted => {}
            Became::NoAcknowledge => return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown)),
            Became::Done | Became::BusTrouble => return Err(ErrorKind::Bus),
        }
        let mut read = answer.read.iter();
        for operation in operations {
            if let Operation::Read(bytes) = operation {
                bytes.iter_mut().zip(&mut read).for_each(|(at, byte)| *at = *byte);
            }
        }
        Ok(())
    }
}

impl<L: Line> Recover for FarBus<L> {
    fn recover(&mut self) -> bool {
        self.ask(What::Recover, 0, Vec::new(), 0).is_ok_and(|answer| answer.became == Became::Done)
    }
}
