//! Measured runs whose truth is known, made by the oracle in `tests/oracle` with maths of its own: what the program measures
//! must be true within the uncertainty that it states, that uncertainty must be small enough to be of use, and what it finds
//! must be what was planted.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

mod bounds;
mod findings;
mod made;
mod numbers;
