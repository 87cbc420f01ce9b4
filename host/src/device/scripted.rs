//! A line to the scripted logger for tests, on virtual time, with faults put in where a test asks for them.

use super::line::{Clock, Connect, Line};
use crate::run::test_logger::TestLogger;
use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::io::{self, ErrorKind};
use std::rc::Rc;
use std::time::Duration;

/// What the line does to a piece of output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    None,
    Drop,
    Twice,
    Flip(usize),
    /// The cable is pulled for so many ms; the logger goes on and talks to nobody.
    Unplug(u64),
}

/// A logger on a line, shared between a test and the program.
#[derive(Clone)]
pub struct Bench {
    pub logger: Rc<RefCell<TestLogger>>,
    pub now_us: Rc<Cell<u64>>,
    pub faults: Rc<RefCell<VecDeque<Fault>>>,
    /// Bytes on their way that did not fit the reader's buffer.
    pub rest: Rc<RefCell<Vec<u8>>>,
    /// Until when the cable is out, host time, µs.
    pub unplugged_until_us: Rc<Cell<u64>>,
    /// What the logger does by itself at each step: presses, restarts.
    #[allow(clippy::type_complexity, reason = "a test's script")]
    pub script: Rc<RefCell<Box<dyn FnMut(u64, &mut TestLogger)>>>,
}

impl Bench {
    pub fn new(logger: TestLogger, script: impl FnMut(u64, &mut TestLogger) + 'static) -> Self {
        Self {
            logger: Rc::new(RefCell::new(logger)),
            now_us: Rc::new(Cell::new(0)),
            faults: Rc::default(),
            rest: Rc::default(),
            unplugged_until_us: Rc::default(),
            script: Rc::new(RefCell::new(Box::new(script))),
        }
    }

    /// Time passes for both ends; gives what the logger said meanwhile.
    fn pass(&self, duration: Duration) -> Vec<u8> {
        let duration_us = duration.as_micros() as u64;
        self.now_us.set(self.now_us.get() + duration_us);
        assert!(self.now_us.get() < 600_000_000, "every recording of a test ends");
        let mut logger = self.logger.borrow_mut();
        logger.run(duration_us);
        (self.script.borrow_mut())(self.now_us.get(), &mut logger);
        std::mem::take(&mut logger.output)
    }

    fn is_unplugged(&self) -> bool {
        self.now_us.get() < self.unplugged_until_us.get()
    }
}

impl Line for Bench {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> io::Result<usize> {
        let mut bytes = self.pass(timeout);
        if self.is_unplugged() {
            return Err(ErrorKind::BrokenPipe.into());
        }
        if !bytes.is_empty() {
            match self.faults.borrow_mut().pop_front().unwrap_or(Fault::None) {
                Fault::None => {}
                Fault::Drop => bytes.clear(),
                Fault::Twice => bytes.extend_from_within(..),
                Fault::Flip(bit) => {
                    let bit = bit % (bytes.len() * 8);
                    bytes[bit / 8] ^= 1 << (bit % 8);
                }
                Fault::Unplug(ms) => {
                    self.unplugged_until_us.set(self.now_us.get() + ms * 1000);
                    return Err(ErrorKind::BrokenPipe.into());
                }
            }
        }
        let mut rest = self.rest.borrow_mut();
        rest.append(&mut bytes);
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        rest.drain(..count);
        Ok(count)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.is_unplugged() {
            return Err(ErrorKind::BrokenPipe.into());
        }
        self.logger.borrow_mut().receive(bytes);
        Ok(())
    }
}

impl Connect for Bench {
    fn connect(&mut self) -> io::Result<Box<dyn Line>> {
        if self.is_unplugged() { Err(ErrorKind::NotFound.into()) } else { Ok(Box::new(self.clone())) }
    }

    fn name(&self) -> &str {
        "bench"
    }
}

impl Clock for Bench {
    fn now_us(&self) -> u64 {
        self.now_us.get()
    }

    fn pause(&self, duration: Duration) {
        // What the logger says to nobody is lost.
        self.pass(duration);
    }
}
