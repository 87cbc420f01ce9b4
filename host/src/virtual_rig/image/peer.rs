//! Answers what a machine image asks of its buses, in the image's own time.
//!
//! The image's clock begins anew when its watchdog resets it; the parts and the vehicle know nothing of that: their time goes on.

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
    /// The image's own time at the latest question, µs, and the parts' time when the image's was 0.
    asked_us: u64,
    begun_us: u64,
}

impl Peer {
    /// Before the first question.
    pub fn new(stage: Stage) -> Self {
        Self { stage, reader: Reader::new(), asked_us: 0, begun_us: 0 }
    }

    /// The parts' time at the latest question, µs: the image's own, over all its boots.
    pub fn now_us(&self) -> u64 {
        self.at(self.asked_us)
    }

    /// The parts' time at a time of the image's present boot, µs.
    pub fn at(&self, image_us: u64) -> u64 {
        self.begun_us.saturating_add(image_us)
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
                if question.start_us < self.asked_us {
                    self.begun_us = self.now_us();
                }
                self.asked_us = question.start_us;
                let now_us = self.now_us();
                if self.stage.happen(now_us) > 0 {
                    self.stage.press(now_us, Press::Short);
                }
                answers.extend_from_slice(&self.answer(&question).frame());
            }
        }
        answers
    }

    fn answer(&mut self, question: &Question) -> Answer {
        let start_us = self.now_us();
        let clock_ns = Cell::new(start_us.saturating_mul(1000));
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
        let took_us = clock_ns.get() / 1000 - start_us;
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
