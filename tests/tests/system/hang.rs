//! A logger that hangs in the middle of a recording: its watchdog resets it, it says so, and the host goes on recording.
//!
//! The hang comes from outside: the emulator's debugger port puts the processor into an endless loop.

use crate::heard::Heard;
use crate::image;
use crate::line::{Bench, texts};
use hingeline_protocol::{EventKind, ResetCause};
use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};

/// How long the whole may take on a loaded PC.
const PATIENCE: Duration = Duration::from_secs(240);

/// One packet of the debugger's remote serial protocol (GDB manual, appendix E): `$data#checksum`, acknowledged by `+`.
fn ask(debugger: &mut UnixStream, data: &str) -> String {
    let sum = data.bytes().fold(0_u8, u8::wrapping_add);
    write!(debugger, "${data}#{sum:02x}").unwrap();
    answer(debugger)
}

/// The next packet from the debugger's other end, acknowledged.
fn answer(debugger: &mut UnixStream) -> String {
    let mut next = || {
        let mut byte = [0];
        debugger.read_exact(&mut byte).unwrap();
        byte[0]
    };
    while next() != b'$' {}
    let mut data = Vec::new();
    loop {
        match next() {
            b'#' => break,
            byte => data.push(byte),
        }
    }
    let _ = [next(), next()];
    debugger.write_all(b"+").unwrap();
    String::from_utf8(data).unwrap()
}

/// How far below the stack a jump to itself is put: interrupts go on above it.
const BELOW_STACK: u32 = 2048;

/// Lets the processor do nothing but jump to where it is. The jump lies in memory that the reset gives up: what a debugger writes
/// into flash would still be there.
fn hang(debugger: &Path) {
    let mut line = UnixStream::connect(debugger).unwrap();
    line.set_read_timeout(Some(PATIENCE)).unwrap();
    // Stops the processor.
    line.write_all(b"\x03").unwrap();
    answer(&mut line);
    // Registers, each lowest byte first; the stack pointer is number 13, the program counter 15.
    let registers = ask(&mut line, "g");
    let byte = |from: usize| u32::from_str_radix(&registers[from..from + 2], 16).unwrap();
    let stack = (0..4).map(|k| byte(8 * 13 + 2 * k) << (8 * k)).sum::<u32>();
    let at = (stack - BELOW_STACK) & !3;
    assert_eq!(ask(&mut line, &format!("M{at:x},2:fee7")), "OK");
    let (before, after) = (&registers[..8 * 15], &registers[8 * 16..]);
    assert_eq!(ask(&mut line, &format!("G{before}{:08x}{after}", at.swap_bytes())), "OK");
    // Goes on, without the debugger.
    assert_eq!(ask(&mut line, "D"), "OK");
}

#[test]
fn a_logger_that_hangs_is_reset_by_its_watchdog_and_the_recording_goes_on() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    let sockets = tempfile::tempdir().unwrap();
    let debugger = sockets.path().join("debugger.sock");
    let port = format!("unix:{},server=on,wait=off", debugger.display());
    let bench = Bench::emulated(&image, "on", &["-gdb", &port]);
    let mut recorder = bench
        .command(&["record", "--plan", "still,bounce", "--reconnect", "60"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    let wait_for_starts = |count: usize| {
        while starts(bench.folder.path()) < count && begun.elapsed() < PATIENCE {
            std::thread::sleep(Duration::from_millis(300));
        }
    };
    wait_for_starts(1);
    hang(&debugger);
    wait_for_starts(2);
    // The person ends it.
    let _ = writeln!(recorder.stdin.take().unwrap(), "q");
    let (told, errors) = texts(&recorder.wait_with_output().unwrap());
    let heard = Heard::of(&bench.bytes(told.lines().last().unwrap_or_else(|| panic!("{errors}"))));
    let causes: Vec<ResetCause> = heard.identities.iter().map(|identity| identity.reset_cause).collect();
    assert!(causes.contains(&ResetCause::Watchdog), "{causes:?}: {errors}");
    let boots: Vec<u32> = heard.identities.iter().map(|identity| identity.boot_count).collect();
    assert!(boots.iter().min() < boots.iter().max(), "{boots:?}");
    let starts = heard.events.iter().filter(|event| event.kind == EventKind::Started).count();
    assert!(starts >= 2, "it streams again: {errors}");
    let told = errors.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("the logger restarted 1 times"), "{told}");
}

/// How often streaming began in the runs of a workshop's vehicle.
pub fn starts(workshop: &Path) -> usize {
    let runs = std::fs::read_dir(workshop.join("bramble/runs")).into_iter().flatten().flatten();
    let bytes = runs.filter_map(|run| std::fs::read(run.path().join("wire.bin")).ok());
    bytes
        .map(|bytes| Heard::of(&bytes).events.iter().filter(|event| event.kind == EventKind::Started).count())
        .max()
        .unwrap_or(0)
}
