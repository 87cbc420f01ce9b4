//! A fuzz target: bytes into `entries::vehicle`.

#![no_main]

#[path = "../entries.rs"]
#[allow(dead_code, reason = "each target calls one entry of several")]
mod entries;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| entries::vehicle(bytes));
