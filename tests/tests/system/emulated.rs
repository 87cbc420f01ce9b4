//! Twelve channels at 200 Hz from the machine image, over a terminal line, into a run.

use crate::{image, program};
use hingeline::virtual_rig::scenario;
use hingeline_protocol::channel::MAX_CHANNELS;
use hingeline_protocol::{DeviceMessage, EventKind, FrameDecoder, LossCounter, Received, Status};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// How long, s of the logger's time. `HINGELINE_IMAGE_SECONDS` asks for more, such as 600.
const SECONDS: f64 = 60.0;
/// Scans that may be left out, of all: a PC that does not run the emulator's other half for a tenth of a second takes some
/// milliseconds of the image's time, which is a scan. A quiet PC leaves out none.
const OVERRUN_SHARE: f64 = 0.002;
/// Part of the time asked for that must be streamed: a logger that boots on a loaded PC takes the rest.
const STREAMED: f64 = 0.3;
/// Jitter of the sampling instants, µs: nine of ten lie as near to even spacing as that. A reading waits for the transfers of
/// other parts before it: two of a converter, 112 µs each.
const JITTER_US: u64 = 250;
/// What 115 200 baud carry, bytes/s, and what the stream may take of it.
const LINE_BYTES_PER_S: f64 = 11_520.0;
const SHARE: f64 = 0.5;

/// A child that ends with the test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Six wires and a six-axis unit at 200 Hz, all on the first bus.
fn twelve_channels(folder: &Path) {
    let vehicle = folder.join("bramble");
    std::fs::create_dir_all(&vehicle).unwrap();
    std::fs::write(folder.join("logbook.toml"), "format = 1\nname = \"Bench\"\n").unwrap();
    std::fs::write(vehicle.join("vehicle.toml"), scenario::VEHICLE).unwrap();
    let heads: Vec<&str> = scenario::RIG.split("[[sensor]]").collect();
    let rig = heads[..8].join("[[sensor]]").replace("rate_hz = 100", "rate_hz = 200");
    let rig = rig.replace("input = { bus = 1,", "input = { bus = 0,");
    std::fs::write(vehicle.join("rig.toml"), rig).unwrap();
}

/// The port that the first line of a simulation names.
fn simulate(folder: &Path, image: &Path, seconds: f64) -> (Running, String) {
    let mut child = Command::new(program())
        .args(["simulate", "bramble/vehicle.toml", "--leap", "--seconds", &seconds.to_string(), "--image"])
        .arg(image)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut port = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut port).unwrap();
    (Running(child), port.trim().to_owned())
}

/// The run that was recorded; none while the logger still boots.
fn try_to_record(folder: &Path, port: &str) -> Option<String> {
    let output = Command::new(program())
        .args([
            "record",
            "--vehicle",
            "bramble",
            "--plan",
            "still,bounce",
            "--reconnect",
            "1",
            "--port",
            port,
        ])
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

/// A board looks through its memory when it boots, which on a loaded PC takes a while.
fn record(folder: &Path, port: &str) -> String {
    (0..20).find_map(|_| try_to_record(folder, port)).expect("the logger answers at last")
}

/// What a run's bytes say.
#[derive(Default)]
struct Heard {
    loss: LossCounter,
    refused: u32,
    overrun_scans: u32,
    status: Option<Status>,
    /// Times of the readings of each channel, µs.
    times_us: Vec<Vec<u64>>,
    bytes: usize,
}

fn hear(bytes: &[u8]) -> Heard {
    let mut heard = Heard { times_us: vec![Vec::new(); MAX_CHANNELS], ..Heard::default() };
    let mut decoder = FrameDecoder::<DeviceMessage>::new();
    let mut slots_us = [0; MAX_CHANNELS];
    let mut streaming = false;
    for byte in bytes {
        heard.bytes += usize::from(streaming);
        let Some(Received::Message(message)) = decoder.push(*byte) else { continue };
        match message {
            DeviceMessage::Channel(row) => slots_us[usize::from(row.index)] = row.slot_us,
            DeviceMessage::Samples(block) => {
                assert!(heard.loss.observe(&block));
                for reading in block.readings(&slots_us).map(Result::unwrap) {
                    heard.times_us[usize::from(reading.channel)].push(reading.time_us);
                }
            }
            DeviceMessage::Event(event) => match event.kind {
                EventKind::Started => {
                    heard.loss.restart();
                    streaming = true;
                }
                EventKind::Overrun { scans } => heard.overrun_scans += scans,
                _ => {}
            },
            DeviceMessage::Status(status) => heard.status = Some(status),
            _ => {}
        }
    }
    heard.refused = decoder.counts().refused();
    heard
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
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    let asked = std::env::var("HINGELINE_IMAGE_SECONDS").ok().and_then(|text| text.parse().ok());
    let seconds: f64 = asked.unwrap_or(SECONDS);
    let dir = tempfile::tempdir().unwrap();
    twelve_channels(dir.path());
    let (_simulation, port) = simulate(dir.path(), &image, seconds);
    let run = record(dir.path(), &port);
    let heard = hear(&std::fs::read(dir.path().join("bramble/runs").join(&run).join("wire.bin")).unwrap());

    let status = heard.status.expect("a status every second");
    let channels = heard.times_us.iter().filter(|times| !times.is_empty()).count();
    // Two of the channels read the excitation.
    assert_eq!(channels, 12 + 2);
    let losses = (heard.loss.lost_blocks, heard.loss.lost_scans, heard.refused);
    assert_eq!(losses, (0, 0, 0), "blocks, scans, frames lost on the way");
    assert_eq!((status.dropped_messages, status.refused_frames, status.bus_errors), (0, 0, 0));
    let scans = heard.loss.received_scans + u64::from(heard.overrun_scans);
    let first = heard.times_us.iter().filter_map(|times| times.first()).min().unwrap();
    let last = heard.times_us.iter().filter_map(|times| times.last()).max().unwrap();
    let streamed_s = (last - first) as f64 * 1e-6;
    assert!(streamed_s > STREAMED * seconds, "only {streamed_s:.1} s of {seconds} s were streamed");
    // Every scan of that time was received, or counted as left out.
    assert!(scans as f64 > 200.0 * streamed_s - 2.0, "{scans} scans in {streamed_s:.2} s");
    assert!(
        f64::from(heard.overrun_scans) <= OVERRUN_SHARE * scans as f64,
        "{} of {scans} scans were left out",
        heard.overrun_scans
    );
    let off_us = jitter_us(&heard.times_us, 5000);
    let at = |share: f64| off_us[((off_us.len() - 1) as f64 * share) as usize];
    let bytes_per_s = heard.bytes as f64 / streamed_s;
    eprintln!(
        "{streamed_s:.0} s: {bytes_per_s:.0} bytes/s of {LINE_BYTES_PER_S}; {} scans left out; sampling instants off by {} µs \
         (half), {} µs (nine of ten), {} µs (999 of 1000), {} µs at most",
        heard.overrun_scans,
        at(0.5),
        at(0.9),
        at(0.999),
        at(1.0)
    );
    assert!(bytes_per_s < SHARE * LINE_BYTES_PER_S);
    assert!(at(0.9) <= JITTER_US);
}
