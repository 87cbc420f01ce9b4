//! Twelve channels at 200 Hz from the machine image, over a terminal line, into a run.

use crate::bench::{Running, simulate, twelve_channels, workshop};
use crate::heard::Heard;
use crate::{image, program};
use std::path::Path;
use std::process::{Command, Stdio};

/// How long, s of the logger's time; `HINGELINE_LONG=1` asks for ten minutes.
const SECONDS: f64 = 60.0;
const LONG_SECONDS: f64 = 600.0;
/// More phases than the simulation has, so that the recording ends when the simulation does.
const PLAN: &str = "still,bounce,ramp left,ramp right,still,bounce";
/// Scans that may be left out, of all: a PC that does not run the emulator's other half for a tenth of a second takes some
/// milliseconds of the image's time, which is a scan. A quiet PC leaves out none.
const OVERRUN_SHARE: f64 = 0.002;
/// Part of the time asked for that must be streamed: the rest is what the recorder takes to begin and to end.
const STREAMED: f64 = 0.95;
/// Jitter of the sampling instants, µs: nine of ten lie as near to even spacing as that. A reading waits for the transfers of
/// other parts before it: two of a converter, 112 µs each.
const JITTER_US: u64 = 250;
/// What 115 200 baud carry, bytes/s, and what the stream may take of it.
const LINE_BYTES_PER_S: f64 = 11_520.0;
const SHARE: f64 = 0.5;

/// The run that was recorded; none while the logger still boots.
fn try_to_record(folder: &Path, port: &str) -> Option<String> {
    let output = Command::new(program())
        .args(["record", "--vehicle", "bramble", "--plan", PLAN, "--reconnect", "1", "--port", port])
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let run = String::from_utf8(output.stdout).unwrap().lines().last().unwrap_or_default().to_owned();
    assert!(!run.is_empty() || said.contains("does not answer"), "no run: {said}");
    (!run.is_empty()).then_some(run)
}

/// A board that boots does not answer at once.
fn record(folder: &Path, port: &str) -> String {
    (0..20).find_map(|_| try_to_record(folder, port)).expect("the logger answers at last")
}

/// How far readings lie from even spacing, µs, sorted.
fn jitter_us(times_us: &[Vec<u64>], period_us: u64) -> Vec<u64> {
    let mut off: Vec<u64> = times_us
        .iter()
        .flat_map(|times| times.windows(2))
        .map(|pair| pair[1] - pair[0])
        .filter(|between| *between < 3 * period_us / 2)
        .map(|between| between.abs_diff(period_us))
        .collect();
    off.sort_unstable();
    off
}

#[test]
fn twelve_channels_at_200_hz_lose_nothing_on_the_way() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    let long = std::env::var_os("HINGELINE_LONG").is_some_and(|value| value == "1");
    let seconds = if long { LONG_SECONDS } else { SECONDS };
    let dir = tempfile::tempdir().unwrap();
    workshop(dir.path(), &twelve_channels());
    let image = image.to_str().unwrap();
    let (_simulation, port): (Running, String) =
        simulate(dir.path(), &["--leap", "--seconds", &seconds.to_string(), "--image", image]);
    let run = record(dir.path(), &port);
    let heard =
        Heard::of(&std::fs::read(dir.path().join(run.replacen('/', "/runs/", 1)).join("wire.bin")).unwrap());

    let status = heard.status.expect("a status every second");
    let times_us = heard.times_us();
    // Two of the channels read the excitation.
    assert_eq!(times_us.len(), 12 + 2);
    let losses = (heard.loss.lost_blocks, heard.loss.lost_scans, heard.refused);
    assert_eq!(losses, (0, 0, 0), "blocks, scans, frames lost on the way");
    assert_eq!((status.dropped_messages, status.refused_frames, status.bus_errors), (0, 0, 0));
    let scans = heard.loss.received_scans + u64::from(heard.overrun_scans);
    let first = times_us.iter().filter_map(|times| times.first()).min().unwrap();
    let last = times_us.iter().filter_map(|times| times.last()).max().unwrap();
    let streamed_s = (last - first) as f64 * 1e-6;
    assert!(streamed_s > STREAMED * seconds, "only {streamed_s:.1} s of {seconds} s were streamed");
    // Every scan of that time was received, or counted as left out.
    assert!(scans as f64 > 200.0 * streamed_s - 2.0, "{scans} scans in {streamed_s:.2} s");
    assert!(
        f64::from(heard.overrun_scans) <= OVERRUN_SHARE * scans as f64,
        "{} of {scans} scans were left out",
        heard.overrun_scans
    );
    let off_us = jitter_us(&times_us, 5000);
    let at = |share: f64| off_us[((off_us.len() - 1) as f64 * share) as usize];
    let bytes_per_s = heard.bytes as f64 / streamed_s;
    eprintln!(
        "{streamed_s:.1} s of {seconds}: {bytes_per_s:.0} bytes/s of {LINE_BYTES_PER_S}; {} scans left out; sampling instants \
         off by {} µs (half), {} µs (nine of ten), {} µs (999 of 1000), {} µs at most",
        heard.overrun_scans,
        at(0.5),
        at(0.9),
        at(0.999),
        at(1.0)
    );
    assert!(bytes_per_s < SHARE * LINE_BYTES_PER_S);
    assert!(at(0.9) <= JITTER_US);
}
