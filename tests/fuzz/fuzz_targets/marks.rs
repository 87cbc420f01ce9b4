//! A fuzz target: bytes into `entries::marks_of_a_run`.

#![no_main]

#[path = "../entries.rs"]
#[allow(dead_code, reason = "each target calls one entry of several")]
mod entries;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| entries::marks_of_a_run(bytes));
