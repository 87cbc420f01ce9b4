//! A fuzz target: bytes into `entries::wire_log`.

#![no_main]

#[path = "../entries.rs"]
#[allow(dead_code, reason = "each target calls one entry of several")]
mod entries;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| entries::wire_log(bytes));
