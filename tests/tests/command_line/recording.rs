//! `record` against a board that streams in real time: killed at any moment, on a full disk, watched by another program.

use super::{done, hingeline, json, program};
use hingeline::device::setup::Setup;
use hingeline::run::Phase;
use hingeline::virtual_rig::logger::VirtualLogger;
use hingeline::virtual_rig::pty::{Heard, Pty};
use hingeline::virtual_rig::readings::Readings;
use hingeline::virtual_rig::wiring::wired;
use hingeline::virtual_rig::{Test, VehicleOnRamp, scenario};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rustix::fs::{Mode, OFlags, open};
use std::fs;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Times that a recording is killed; `HINGELINE_LONG=1` kills two hundred.
const KILLS: u64 = 10;
const KILLS_LONG: u64 = 200;
/// Bytes that a read may have brought and that the program had not yet handed on when it was killed: its buffer.
const IN_HAND: usize = 16 * 1024;

/// A logbook with the vehicle and the wired rig of the scenario.
fn logbook(folder: &Path) {
    fs::create_dir_all(folder.join("bramble")).unwrap();
    fs::write(folder.join("logbook.toml"), "format = 1\nname = \"Bench\"\n").unwrap();
    fs::write(folder.join("bramble/vehicle.toml"), scenario::VEHICLE).unwrap();
    fs::write(folder.join("bramble/rig.toml"), scenario::RIG).unwrap();
}

/// A board behind a pseudo-terminal, on a thread of its own, that keeps every byte which it put on the line.
struct BoardOnALine {
    path: String,
    /// The other end, held open so that what nobody has read can be counted.
    theirs: OwnedFd,
    sent: Arc<Mutex<Vec<u8>>>,
    over: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl BoardOnALine {
    fn start() -> Self {
        let mut port = Pty::open().unwrap();
        let path = port.path().to_owned();
        let theirs = open(path.as_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).unwrap();
        let (sent, over) = (Arc::new(Mutex::new(Vec::new())), Arc::new(AtomicBool::new(false)));
        let (keep, end) = (sent.clone(), over.clone());
        let thread = std::thread::spawn(move || {
            let vehicle = hingeline::vehicle::file::parse(scenario::VEHICLE, "vehicle.toml").unwrap();
            let rig = wired(&hingeline::rig::file::parse(scenario::RIG, "rig.toml", &vehicle).unwrap());
            let test = Test { axle: 0, phases: vec![Phase::Still, Phase::Bounce], ramp_rad: 0.35 };
            let readings =
                Readings::new(VehicleOnRamp::new(&vehicle, &test).unwrap(), &rig, Some(1)).unwrap();
            let mut logger = VirtualLogger::new(&rig, readings, 1).unwrap();
            let setup = Setup::of(&rig).unwrap();
            logger.configure(&setup.sensors, setup.period_us).unwrap();
            let (begun, mut buffer, mut out) = (Instant::now(), [0; 1024], Vec::new());
            while !end.load(Ordering::Relaxed) {
                if let Heard::Bytes(count) = port.read(&mut buffer).unwrap() {
                    logger.feed(&buffer[..count]);
                }
                logger.run(begun.elapsed().as_micros() as u64, 1 << 16, &mut out);
                // Bytes are on the line and in the list at once, as whoever takes the lock sees it.
                let mut sent = keep.lock().unwrap();
                let count = port.write(&out).unwrap();
                sent.extend(out.drain(..count));
                drop(sent);
                std::thread::sleep(Duration::from_millis(3));
            }
        });
        Self { path, theirs, sent, over, thread: Some(thread) }
    }

    /// What was put on the line and read off it by the host; to be called when the host is gone.
    fn reached(&self) -> Vec<u8> {
        let sent = self.sent.lock().unwrap();
        let unread = rustix::io::ioctl_fionread(&self.theirs).unwrap() as usize;
        sent[..sent.len() - unread.min(sent.len())].to_vec()
    }
}

impl Drop for BoardOnALine {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn record(folder: &Path, port: &str, more: &[&str]) -> Child {
    Command::new(program())
        .args(["record", "--vehicle", "bramble", "--plan", "still,bounce", "--port", port])
        .args(more)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts")
}

/// The run folders that have a header.
fn runs(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder.join("bramble/runs")).into_iter().flatten().flatten();
    entries.map(|e| e.path()).filter(|path| path.join("run.toml").is_file()).collect()
}

/// Where `part` begins in `whole`; none where it is not there.
fn place(whole: &[u8], part: &[u8]) -> Option<usize> {
    (0..=whole.len().checked_sub(part.len())?).find(|at| whole[*at..].starts_with(part))
}

#[test]
fn killed_at_any_moment_every_frame_that_reached_the_host_is_in_the_run() {
    let long = std::env::var("HINGELINE_LONG").is_ok();
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let (mut kept, mut short) = (0, 0);
    let kills = if long { KILLS_LONG } else { KILLS };
    for kill in 0..kills {
        let folder = tempfile::tempdir().unwrap();
        logbook(folder.path());
        let board = BoardOnALine::start();
        let mut recording = record(folder.path(), &board.path, &[]);
        // The moment is drawn from the streaming, however long this machine takes to come there.
        let patience = Instant::now();
        while runs(folder.path()).is_empty() && patience.elapsed() < Duration::from_secs(30) {
            std::thread::sleep(Duration::from_millis(5));
        }
        std::thread::sleep(Duration::from_millis(random.random_range(0..1500)));
        recording.kill().unwrap();
        recording.wait().unwrap();
        let reached = board.reached();
        let [run] = runs(folder.path()).try_into().expect("one run");
        let bytes = fs::read(run.join("wire.bin")).unwrap_or_default();
        let at = place(&reached, &bytes)
            .unwrap_or_else(|| panic!("kill {kill}: the run holds what was never sent"));
        let missing = reached.len() - at - bytes.len();
        assert!(missing <= IN_HAND, "kill {kill}: {missing} bytes that the host had read are not in the run");
        short += u64::from(missing > 0);
        kept += bytes.len();
        let looked = hingeline(folder.path(), &["runs", "verify", "--json"]);
        assert_eq!(looked.status.code(), Some(1), "a recording that was killed has no end");
        done(folder.path(), &["runs", "repair"]);
        done(folder.path(), &["runs", "verify"]);
    }
    // A kill between a read and the write after it is as rare as these are short.
    assert!(10 * short <= kills.max(10), "{short} of {kills} kills lost what was in hand");
    assert!(kept > 1000 * kills as usize, "{kept} bytes kept");
}

#[test]
fn a_full_disk_stops_it_keeps_what_it_has_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    logbook(folder.path());
    let board = BoardOnALine::start();
    // No file may grow beyond 16 blocks of 1024 bytes; the signal that goes with it is not the program's to die of.
    let script =
        "trap '' XFSZ; ulimit -f 16; exec \"$0\" record --vehicle bramble --plan still,bounce --port \"$1\"";
    let recording = Command::new("bash")
        .args(["-c", script])
        .arg(program())
        .arg(&board.path)
        .current_dir(folder.path())
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&recording.stderr).into_owned();
    assert_eq!(recording.status.code(), Some(3), "{told}");
    assert!(told.contains("the disk is full") && told.contains("What was written before is kept"), "{told}");
    let name = String::from_utf8(recording.stdout).unwrap();
    let run = name.lines().last().expect("the run's name").to_owned();
    let bytes =
        fs::metadata(folder.path().join(run.replacen('/', "/runs/", 1)).join("wire.bin")).unwrap().len();
    assert!(bytes > 12_000 && bytes <= 16_384, "{bytes}");
    let found = hingeline(folder.path(), &["runs", "verify", &run]);
    assert_eq!(found.status.code(), Some(1), "{}", String::from_utf8_lossy(&found.stdout));
    done(folder.path(), &["runs", "repair", &run]);
    let told = json(folder.path(), &["runs", "verify", &run, "--json"]);
    assert_eq!(told["runs"][0]["found"].as_array().map(Vec::len), Some(0));
    assert!(told["runs"][0]["frames"].as_u64().is_some_and(|frames| frames > 20), "{told}");
}

#[test]
fn another_program_can_watch_a_recording_line_by_line() {
    let folder = tempfile::tempdir().unwrap();
    logbook(folder.path());
    let board = BoardOnALine::start();
    let recording =
        record(folder.path(), &board.path, &["--seconds", "15", "--json"]).wait_with_output().unwrap();
    let errors = String::from_utf8_lossy(&recording.stderr).into_owned();
    assert!(recording.status.success(), "{errors}");
    let text = String::from_utf8(recording.stdout).unwrap();
    let lines: Vec<serde_json::Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}")))
        .collect();
    let of = |event: &str| lines.iter().filter(|l| l["event"] == event).cloned().collect::<Vec<_>>();
    assert!(lines.iter().all(|l| l["format"] == 1) && of("progress").len() > 5, "{text}");
    let ended = of("ended");
    let [ended] = ended.as_slice() else { panic!("it ends once: {text}") };
    let run = ended["run"].as_str().unwrap();
    assert!(run.starts_with("bramble/") && runs(folder.path()).len() == 1, "{run}");
    let seen = of("progress");
    let told =
        seen.iter().rev().find(|l| l["axles"].as_array().is_some_and(|a| !a.is_empty())).expect("a guide");
    let axle = &told["axles"][0];
    assert!(axle["articulation_rad"].is_f64() && axle["wheel_travel_left_m"].is_f64(), "{axle}");
    assert!(errors.contains("still: Level floor"), "{errors}");
}
