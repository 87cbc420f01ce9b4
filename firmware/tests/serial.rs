//! The logger on an `embedded-io` line: both directions, short writes, and a host that does not listen.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "tests")]

mod common;

use std::collections::VecDeque;
use std::convert::Infallible;

use common::{board, wire};
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use hingeline_firmware::{Logger, serial};
use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::*;

/// A line that takes a few bytes at a time, and none when it is full. Waiting for it fails the test.
#[derive(Default)]
struct Line {
    to_logger: VecDeque<u8>,
    to_host: Vec<u8>,
    room: usize,
}

impl ErrorType for Line {
    type Error = Infallible;
}

impl Read for Line {
    fn read(&mut self, out: &mut [u8]) -> Result<usize, Infallible> {
        assert!(!self.to_logger.is_empty(), "would wait");
        let count = out.len().min(self.to_logger.len()).min(7);
        for (at, byte) in out.iter_mut().zip(self.to_logger.drain(..count)) {
            *at = byte;
        }
        Ok(count)
    }
}

impl ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.to_logger.is_empty())
    }
}

impl Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        assert!(self.room > 0, "would wait");
        let count = bytes.len().min(self.room).min(5);
        self.to_host.extend(&bytes[..count]);
        self.room -= count;
        Ok(count)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        panic!("would wait")
    }
}

impl WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.room > 0)
    }
}

#[test]
fn nothing_is_lost_and_nobody_waits() {
    let mut logger = Logger::new(board(1), 0);
    let mut line = Line::default();
    let sensors = (0..3).map(|n| HostMessage::SetSensor(wire(n, 0x48, n, Some(3))));
    let messages: Vec<HostMessage> = sensors.chain([HostMessage::Identify]).collect();
    for message in &messages {
        let mut frame = [0; MAX_WIRE];
        let used = encode_frame(message, &mut frame).unwrap();
        line.to_logger.extend(&frame[..used]);
    }
    // The line is full: everything is taken in, nothing goes out.
    serial::exchange(&mut logger, 10, &mut line).unwrap();
    assert!(line.to_logger.is_empty() && line.to_host.is_empty());
    let no_buses: &mut [common::Bench] = &mut [];
    logger.step(20, no_buses);
    while !logger.output().is_empty() {
        line.room = 33;
        serial::exchange(&mut logger, 30, &mut line).unwrap();
    }
    let mut received = Vec::new();
    let mut decoder = FrameDecoder::<DeviceMessage>::new();
    decoder.feed(&line.to_host, |what| received.push(what));
    // Identity and boot, three replies, identity, four rows.
    assert_eq!(received.len(), 2 + 3 + 1 + 4);
    assert_eq!(*decoder.counts(), FrameCounts { frames: 10, ..FrameCounts::default() });
}
