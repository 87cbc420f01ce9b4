//! The tests of the whole project live in `tests/`, one target per question; this crate has no code of its own.
