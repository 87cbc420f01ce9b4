//! I²C buses at the other end of a serial line: how a board without parts of its own reaches parts that live on a PC.
//!
//! The board asks, one transfer at a time, and the peer answers. Both ends are here, so that neither can drift. Frames are
//! short, because an emulated port moves bytes one by one:
//!
//! | question | bytes | | answer | bytes | |
//! |---|---|---|---|---|---|
//! | mark | 1 | A5 | mark | 1 | 5A |
//! | length | 1 | of what is written | length | 1 | of what was read |
//! | number | 1 | counts questions | number | 1 | of the question |
//! | bus and what | 1 | bus · 2, + 1 to clock the bus free | bus and outcome | 1 | bus · 4, + 0 done, 1 no acknowledgement, 2 bus in trouble |
//! | address | 1 | seven bits | took | 2 | how long it takes on a bus, µs |
//! | wanted | 1 | bytes to be read | read | | |
//! | start | 5 | device time, µs | check | 1 | |
//! | written | | before anything is read | | | |
//! | check | 1 | | | | |
//!
//! Numbers stand lowest byte first. The check is SMBus' own (CRC-8, polynomial 0x07, start 0; SMBus specification 3.1, 6.4,
//! packet error checking) over everything between mark and check.
//!
//! A transfer carries its device time and its answer how long it takes, so that parts live in the board's time, and the
//! board can wait as long as a bus would have kept it.

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use heapless::Vec;

use crate::board::MAX_BUSES;
use crate::bus::Recover;

/// The bus that is the board's own, with its memory on it: after those that sensors can be on.
pub const MEMORY_BUS: u8 = MAX_BUSES as u8;

/// Begins a question.
const ASKS: u8 = 0xa5;
/// Begins an answer.
const ANSWERS: u8 = 0x5a;
/// Most bytes that one transfer writes, or reads.
pub const MAX_BYTES: usize = 96;
/// Bytes of a question, or an answer, between length and what is written or read.
const QUESTION_HEAD: usize = 9;
const ANSWER_HEAD: usize = 4;
/// Most bytes of a frame.
pub const MAX_FRAME: usize = 2 + QUESTION_HEAD + MAX_BYTES + 1;

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
    /// Device time at the start, µs; 40 bits of it travel, which last twelve days.
    pub start_us: u64,
    /// What is written.
    pub written: Vec<u8, MAX_BYTES>,
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
    /// How long it takes on a bus, µs, as far as that can be said.
    pub took_us: u16,
    /// What was read.
    pub read: Vec<u8, MAX_BYTES>,
}

/// A question or an answer.
pub trait Body: Sized {
    /// The byte that begins its frame.
    const MARK: u8;
    /// Bytes between length and what is written or read.
    const HEAD: usize;

    /// What is written or read.
    fn bytes(&self) -> &[u8];

    /// The bytes before that.
    fn head(&self) -> Vec<u8, QUESTION_HEAD>;

    /// Reads it back; `None` if it is none.
    fn read(head: &[u8], bytes: &[u8]) -> Option<Self>;

    /// The whole frame.
    fn frame(&self) -> Vec<u8, MAX_FRAME> {
        let mut frame = Vec::new();
        // All of it always fits: the longest content is what the sizes above leave.
        let _ = frame.extend_from_slice(&[Self::MARK, self.bytes().len() as u8]);
        let _ = frame.extend_from_slice(&self.head());
        let _ = frame.extend_from_slice(self.bytes());
        let _ = frame.push(sum(frame.get(1..).unwrap_or(&[])));
        frame
    }
}

fn sum(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, byte| {
        (0..8).fold(sum ^ byte, |sum, _| sum << 1 ^ if sum & 0x80 == 0 { 0 } else { 0x07 })
    })
}

impl Body for Question {
    const MARK: u8 = ASKS;
    const HEAD: usize = QUESTION_HEAD;

    fn bytes(&self) -> &[u8] {
        &self.written
    }

    fn head(&self) -> Vec<u8, QUESTION_HEAD> {
        let what = match self.what {
            What::Transfer => 0,
            What::Recover => 1,
        };
        let [a, b, c, d, e, ..] = self.start_us.to_le_bytes();
        let head = [self.number, self.bus << 1 | what, self.address, self.wanted, a, b, c, d, e];
        Vec::from_slice(&head).unwrap_or_default()
    }

    fn read(head: &[u8], bytes: &[u8]) -> Option<Self> {
        let &[number, what, address, wanted, a, b, c, d, e] = head.first_chunk()?;
        Some(Self {
            number,
            bus: what >> 1,
            what: if what & 1 == 0 { What::Transfer } else { What::Recover },
            address,
            wanted,
            start_us: u64::from_le_bytes([a, b, c, d, e, 0, 0, 0]),
            written: Vec::from_slice(bytes).ok()?,
        })
    }
}

impl Body for Answer {
    const MARK: u8 = ANSWERS;
    const HEAD: usize = ANSWER_HEAD;

    fn bytes(&self) -> &[u8] {
        &self.read
    }

    fn head(&self) -> Vec<u8, QUESTION_HEAD> {
        let became = match self.became {
            Became::Done => 0,
            Became::NoAcknowledge => 1,
            Became::BusTrouble => 2,
        };
        let [low, high] = self.took_us.to_le_bytes();
        Vec::from_slice(&[self.number, self.bus << 2 | became, low, high]).unwrap_or_default()
    }

    fn read(head: &[u8], bytes: &[u8]) -> Option<Self> {
        let &[number, became, low, high] = head.first_chunk()?;
        Some(Self {
            number,
            bus: became >> 2,
            became: match became & 3 {
                0 => Became::Done,
                1 => Became::NoAcknowledge,
                2 => Became::BusTrouble,
                _ => return None,
            },
            took_us: u16::from_le_bytes([low, high]),
            read: Vec::from_slice(bytes).ok()?,
        })
    }
}

/// Takes bytes one by one and gives questions, or answers. What is no frame is skipped.
#[derive(Debug, Clone, Default)]
pub struct Reader {
    /// Everything after the mark, as it comes.
    taken: Vec<u8, MAX_FRAME>,
    marked: bool,
}

impl Reader {
    /// It has seen nothing.
    pub const fn new() -> Self {
        Self { taken: Vec::new(), marked: false }
    }

    /// Takes the next byte. What began like a frame and was none is looked through for another beginning.
    pub fn push<B: Body>(&mut self, byte: u8) -> Option<B> {
        if !self.marked {
            self.marked = byte == B::MARK;
            return None;
        }
        let _ = self.taken.push(byte);
        while self.marked {
            let length = usize::from(*self.taken.first()?);
            let whole = 1 + B::HEAD + length + 1;
            if length <= MAX_BYTES && self.taken.len() < whole {
                return None;
            }
            let frame = if length <= MAX_BYTES { self.taken.get(..whole) } else { None };
            let body = frame.and_then(|frame| {
                let (&given, checked) = frame.split_last()?;
                let (head, bytes) = checked.get(1..)?.split_at_checked(B::HEAD)?;
                if sum(checked) == given { B::read(head, bytes) } else { None }
            });
            self.begin_again::<B>(if body.is_some() { whole } else { 0 });
            if body.is_some() {
                return body;
            }
        }
        None
    }

    /// Goes on after the next mark at `from` or later.
    fn begin_again<B: Body>(&mut self, from: usize) {
        let rest = self.taken.get(from..).unwrap_or(&[]);
        let mark = rest.iter().position(|&byte| byte == B::MARK);
        let after = mark.and_then(|at| rest.get(at + 1..)).unwrap_or(&[]);
        self.taken = Vec::from_slice(after).unwrap_or_default();
        self.marked = mark.is_some();
    }
}

/// The board's end of the line and its clock.
pub trait Line {
    /// Device time, µs.
    fn now_us(&mut self) -> u64;

    /// Sends a byte, waiting for room if there is none.
    fn put(&mut self, byte: u8);

    /// The next byte, if one comes within some tens of microseconds.
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
        written: Vec<u8, MAX_BYTES>,
        wanted: u8,
    ) -> Result<Answer, ErrorKind> {
        self.number = self.number.wrapping_add(1);
        let start_us = self.line.now_us();
        let question =
            Question { number: self.number, bus: self.bus, what, address, wanted, start_us, written };
        question.frame().iter().for_each(|&byte| self.line.put(byte));
        let mut reader = Reader::new();
        while self.line.now_us().saturating_sub(start_us) < ANSWER_WITHIN_US {
            // The clock is looked at when the line was silent for a while only.
            while let Some(byte) = self.line.get() {
                // One of another number answers an earlier question, too late.
                if let Some(answer) = reader.push::<Answer>(byte)
                    && (answer.number, answer.bus) == (self.number, self.bus)
                {
                    self.line.wait_until(start_us.saturating_add(u64::from(answer.took_us)));
                    return Ok(answer);
                }
            }
        }
        Err(ErrorKind::Bus)
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
        if wanted > MAX_BYTES {
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
