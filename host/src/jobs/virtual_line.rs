//! A virtual logger on a line within the program, in virtual time: time passes while somebody waits for bytes.

use crate::device::line::{Clock, Connect, Line};
use crate::virtual_rig::logger::VirtualLogger;
use std::cell::RefCell;
use std::io;
use std::rc::Rc;
use std::time::Duration;

/// Bytes that wait for the reader at the most.
const ROOM: usize = 1 << 20;

/// The line, its port and its clock in one. Copies are ends of the same line.
#[derive(Clone)]
pub struct VirtualLine(Rc<RefCell<Inner>>);

struct Inner {
    logger: VirtualLogger,
    waiting: Vec<u8>,
}

impl VirtualLine {
    /// A line to `logger`.
    pub fn new(logger: VirtualLogger) -> Self {
        Self(Rc::new(RefCell::new(Inner { logger, waiting: Vec::new() })))
    }
}

impl Inner {
    fn pass(&mut self, duration: Duration) {
        let until_us = self.logger.now_us() + duration.as_micros() as u64;
        self.logger.run(until_us, ROOM, &mut self.waiting);
    }
}

impl Line for VirtualLine {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> io::Result<usize> {
        let mut inner = self.0.borrow_mut();
        if inner.waiting.is_empty() {
            inner.pass(timeout);
        }
        let count = inner.waiting.len().min(buffer.len());
        for (to, from) in buffer.iter_mut().zip(inner.waiting.drain(..count)) {
            *to = from;
        }
        Ok(count)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.borrow_mut().logger.feed(bytes);
        Ok(())
    }
}

impl Connect for VirtualLine {
    fn connect(&mut self) -> io::Result<Box<dyn Line>> {
        Ok(Box::new(self.clone()))
    }

    fn name(&self) -> &str {
        "the virtual logger"
    }
}

impl Clock for VirtualLine {
    fn now_us(&self) -> u64 {
        self.0.borrow().logger.now_us()
    }

    fn pause(&self, duration: Duration) {
        self.0.borrow_mut().pass(duration);
    }
}
