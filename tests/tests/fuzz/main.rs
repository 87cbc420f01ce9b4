//! The short, deterministic pass of the fuzz targets: every kept input and seeded mutations of it, through the same entries.
//!
//! `tests/fuzz/README.md` says how a fuzzer runs them for longer.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "../../fuzz/entries.rs"]
mod entries;

use hingeline::files::starters::Layout;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fs;
use std::path::Path;

/// Mutations of each input; `HINGELINE_LONG=1` tries a hundred times as many.
const MUTATIONS: usize = 60;
/// Pieces that a mutation may put in: what formats are made of, and what breaks them.
const PIECES: [&[u8]; 16] = [
    b"\0",
    b"\xff\xff\xff\xff",
    b"\n",
    b"\"",
    b",",
    b";",
    b"[[axle]]\n",
    b"= nan\n",
    b"1e308",
    b"-0",
    b"\xef\xbb\xbf",
    b"{\"mark\":",
    b"t_s",
    b"[mm]",
    b"= []\n",
    b"18446744073709551615",
];

/// Kept inputs of an entry, and the files that the program itself carries.
fn inputs(name: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(name);
    let mut paths: Vec<_> = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    assert!(!paths.is_empty(), "{name} has no kept input");
    let mut all: Vec<Vec<u8>> = paths.iter().map(|path| fs::read(path).unwrap()).collect();
    for (_, layout) in Layout::WORDS {
        match name {
            "vehicle" => all.push(layout.vehicle_text("Bramble").into_bytes()),
            "rig" => all.push(layout.rig_text().as_bytes().to_vec()),
            _ => {}
        }
    }
    all
}

fn mutated(input: &[u8], others: &[Vec<u8>], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut bytes = input.to_vec();
    for _ in 0..random.random_range(1..5) {
        let at = random.random_range(0..=bytes.len());
        match random.random_range(0..7) {
            0 if at < bytes.len() => bytes[at] ^= 1 << random.random_range(0..8),
            1 if at < bytes.len() => bytes[at] = random.random(),
            2 => bytes.truncate(at),
            3 => {
                let piece = PIECES[random.random_range(0..PIECES.len())];
                bytes.splice(at..at, piece.iter().copied());
            }
            4 => {
                let end = (at + random.random_range(0..64)).min(bytes.len());
                bytes.drain(at..end);
            }
            5 => {
                let end = (at + random.random_range(0..200)).min(bytes.len());
                let again = bytes[at..end].to_vec();
                bytes.splice(at..at, again);
            }
            _ => {
                let other = &others[random.random_range(0..others.len())];
                let from = random.random_range(0..=other.len());
                bytes.truncate(at);
                bytes.extend_from_slice(&other[from..]);
            }
        }
    }
    bytes
}

#[test]
fn kept_inputs_and_their_mutations_harm_nothing() {
    let times = if std::env::var("HINGELINE_LONG").is_ok() { 100 * MUTATIONS } else { MUTATIONS };
    for (name, entry) in entries::ENTRIES {
        let inputs = inputs(name);
        let mut random = ChaCha8Rng::seed_from_u64(23);
        for input in &inputs {
            entry(input);
            for _ in 0..times {
                entry(&mutated(input, &inputs, &mut random));
            }
        }
    }
}
