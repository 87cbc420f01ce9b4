//! Loggers on a line: ports, a session with one, and the recorder.
//!
//! `session`, `recorder`, `inspection`, `wiggle` and `push` are state machines that are fed bytes and time; `line`, `ports` and `memory` do the input and
//! output.

pub mod faults;
pub mod inspection;
pub mod line;
pub mod link;
pub mod memory;
pub mod ports;
pub mod push;
pub mod recorder;
pub mod session;
pub mod setup;
pub mod wiggle;

#[cfg(test)]
pub mod scripted;
