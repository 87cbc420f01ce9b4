//! What several test targets need: the built program, started beside a test. The tests themselves live in `tests/`, one target
//! per question.

#![allow(clippy::expect_used, reason = "tests")]

mod running;

pub use running::{Running, program};
