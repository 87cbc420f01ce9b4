//! The logger, without an operating system, an allocator or a panic path.
//!
//! It is a state machine: bytes from the host, the time and the I²C buses go in; bytes for the host come out. A board's
//! program owns the pins, the clock and the line, and does no more than
//!
//! ```text
//! logger.feed(now_us, bytes from the host);
//! wake_us = logger.step(now_us, &mut buses);   // at wake_us, or at once if that is past
//! n = logger.take_output(&mut buffer);         // and send, or serial::exchange for both directions
//! if logger.is_alive(now_us) { feed the watchdog }
//! wake_us = logger.step_store(now_us, &mut flash);   // on a board with a memory, see Logger::with_store
//! ```
//!
//! `embedded-hal` 1.0 is all it knows of the hardware, so that it runs on a PC as it does on a board.
#![no_std]

pub mod board;
pub mod bus;
pub mod bus_scan;
pub mod config;
pub mod far_bus;
pub mod health;
pub mod keeper;
pub mod logger;
pub mod outbox;
pub mod panel;
pub mod rehearsal;
pub mod sampler;
pub mod schedule;
pub mod sensors;
pub mod serial;
pub mod store;
pub mod stream;
pub mod table;

pub use board::{Board, MAX_BUSES};
pub use bus::{Recover, nine_clocks};
pub use config::Configuration;
pub use logger::Logger;
