//! Answers what a machine image asks of its buses, in the image's own time.

use crate::virtual_rig::stage::Stage;
use embedded_hal::i2c::{ErrorKind, I2c, Operation};
use hingeline_firmware::Recover;
use hingeline_firmware::far_bus::{Answer, Became, Body, MAX_BYTES, Question, Reader, What};
use hingeline_protocol::Press;
use std::cell::Cell;

/// The parts, their vehicle and the image's time.
#[derive(Debug)]
pub struct Peer {
    stage: Stage,
    reader: Reader,
    now_us: u64,
}

impl Peer {
    /// Before the first question.
    pub fn new(stage: Stage) -> Self {
        Self { stage, reader: Reader::new(), now_us: 0 }
    }

    /// The image's time at the latest question, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// The parts and their vehicle.
    pub fn stage(&self) -> &Stage {
        &self.stage
    }

    /// The parts and their vehicle.
    pub fn stage_mut(&mut self) -> &mut Stage {
        &mut self.stage
    }

    /// Takes bytes from the image; gives the bytes of the answers. The builder presses the button when that is due.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut answers = Vec::new();
        for byte in bytes {
            if let Some(question) = self.reader.push::<Question>(*byte) {
                self.now_us = question.start_us;
                if self.stage.happen(self.now_us) > 0 {
                    self.stage.press(self.now_us, Press::Short);
                }
                answers.extend_from_slice(&self.answer(&question).frame());
            }
        }
        answers
    }

    fn answer(&mut self, question: &Question) -> Answer {
        let clock_ns = Cell::new(question.start_us.saturating_mul(1000));
        let mut read = [0; MAX_BYTES];
        let read = read.get_mut(..usize::from(question.wanted)).unwrap_or_default();
        let mut wired = self.stage.wired(&clock_ns);
        let became = match (wired.nth(usize::from(question.bus)), question.what) {
            (None, _) => Became::NoAcknowledge,
            (Some(mut bus), What::Recover) => {
                if bus.recover() {
                    Became::Done
                } else {
                    Became::BusTrouble
                }
            }
            (Some(mut bus), What::Transfer) => {
                let result = match (question.written.is_empty(), read.is_empty()) {
                    (true, false) => bus.read(question.address, read),
                    (false, true) => bus.write(question.address, &question.written),
                    _ => bus.transaction(
                        question.address,
                        &mut [Operation::Write(&question.written), Operation::Read(read)],
                    ),
                };
                match result {
                    Ok(()) => Became::Done,
                    Err(ErrorKind::NoAcknowledge(_)) => Became::NoAcknowledge,
                    Err(_) => Became::BusTrouble,
                }
            }
        };
        drop(wired);
        let took_us = clock_ns.get() / 1000 - question.start_us;
        let read = if became == Became::Done { &*read } else { &[] };
        Answer {
            number: question.number,
            bus: question.bus,
            became,
            took_us: u16::try_from(took_us).unwrap_or(u16::MAX),
            read: heapless::Vec::from_slice(read).unwrap_or_default(),
        }
    }
}
