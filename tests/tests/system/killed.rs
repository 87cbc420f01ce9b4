//! A simulation with a machine image that is killed takes its emulator with it.

use crate::bench::{simulate, workshop};
use crate::image;
use hingeline::virtual_rig::scenario;
use std::fs;
use std::time::{Duration, Instant};

/// How long an emulator may take to be gone.
const GONE_WITHIN: Duration = Duration::from_secs(10);

/// Processes with their parents: number, parent, letter of the state (proc(5), /proc/pid/stat).
fn processes() -> Vec<(u32, u32, char)> {
    let process = |entry: fs::DirEntry| -> Option<(u32, u32, char)> {
        let number = entry.file_name().to_str()?.parse().ok()?;
        let stat = fs::read_to_string(entry.path().join("stat")).ok()?;
        // The name between brackets may hold anything; what follows it are words.
        let mut words = stat.rsplit_once(')')?.1.split_whitespace();
        let state = words.next()?.chars().next()?;
        Some((number, words.next()?.parse().ok()?, state))
    };
    fs::read_dir("/proc").unwrap().flatten().filter_map(process).collect()
}

/// Whether a process still runs: one that nobody has asked about its end does not.
fn runs(number: u32) -> bool {
    processes().iter().any(|(n, _, state)| *n == number && *state != 'Z')
}

#[test]
fn a_simulation_that_is_killed_takes_its_emulator_with_it() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    let dir = tempfile::tempdir().unwrap();
    workshop(dir.path(), scenario::RIG);
    let (mut simulation, _) = simulate(dir.path(), &["--image", image.to_str().unwrap()]);
    let number = simulation.number();
    let emulators: Vec<u32> =
        processes().iter().filter(|(_, parent, _)| *parent == number).map(|(n, _, _)| *n).collect();
    assert_eq!(emulators.len(), 1, "one emulator");
    assert!(runs(emulators[0]));
    simulation.kill();
    let killed = Instant::now();
    while runs(emulators[0]) {
        assert!(killed.elapsed() < GONE_WITHIN, "the emulator goes on");
        std::thread::sleep(Duration::from_millis(20));
    }
}
