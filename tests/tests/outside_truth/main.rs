//! Published truth: numbers that others computed and printed, held against the host's public functions.
//!
//! `regression` runs a problem and counts the digits that agree, `bounds` says how many are asked for and why, the other
//! files are the cases, each with its source beside it.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

mod bounds;
mod jcgm;
mod nist;
mod regression;
