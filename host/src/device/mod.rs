//! Loggers on a line: ports, a session with one, and the recorder.
//!
//! `session` and `recorder` are state machines that are fed bytes and time; `line`, `ports` and `memory` do the input and
//! output.

pub mod line;
pub mod link;
pub mod memory;
pub mod ports;
pub mod recorder;
pub mod session;
pub mod setup;

#[cfg(test)]
pub mod scripted;
