//! The Pico-class board's image under an emulator of its chip: USB serial end to end, its buses on the same parts as everywhere.

use crate::bench::{Running, twelve_channels, workshop};
use crate::heard::Heard;
use crate::{built, program};
use hingeline::run::Phase;
use hingeline::virtual_rig::image::Peer;
use hingeline::virtual_rig::pty::{Heard as Byte, Pty};
use hingeline::virtual_rig::readings::Readings;
use hingeline::virtual_rig::stage::Stage;
use hingeline::virtual_rig::{Test, VehicleOnRamp};
use hingeline::{rig, vehicle};
use std::io::{Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How long it records, host time, s.
const SECONDS: &str = "12";
/// The chip's emulator may be slower than time: so many scans are enough.
const SCANS: u64 = 100;

/// The image and the emulator, if they are here.
fn image() -> Option<PathBuf> {
    let promised = std::env::var_os("HINGELINE_PICO_IMAGE").map(PathBuf::from);
    let image = promised.clone().unwrap_or_else(|| built().join("../boards/pico.uf2"));
    let emulator = folder().join("node_modules/rp2040js").is_dir();
    let node = Command::new("node").arg("--version").output().is_ok();
    assert!(promised.is_none() || (image.is_file() && emulator && node), "{} or its emulator is missing", image.display());
    (image.is_file() && emulator && node).then_some(image)
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("pico")
}

/// Answers what the board asks of its buses, until it is gone.
fn serve_parts(mut line: UnixStream, stage: Stage) {
    let mut peer = Peer::new(stage);
    let mut piece = [0; 512];
    while let Ok(count @ 1..) = line.read(&mut piece) {
        if line.write_all(&peer.take(&piece[..count])).is_err() {
            return;
        }
    }
}

/// Carries bytes between the board and a terminal line until it is told to end.
fn bridge(mut board: UnixStream, mut port: Pty, end: &AtomicBool) {
    board.set_nonblocking(true).unwrap();
    let (mut piece, mut waiting) = ([0; 1024], Vec::new());
    while !end.load(Ordering::Relaxed) {
        let heard = port.read(&mut piece).unwrap();
        if let Byte::Bytes(count) = heard {
            board.set_nonblocking(false).unwrap();
            board.write_all(&piece[..count]).unwrap();
            board.set_nonblocking(true).unwrap();
        }
        match board.read(&mut piece) {
            Ok(0) => return,
            Ok(count) if heard != Byte::Nobody => waiting.extend_from_slice(&piece[..count]),
            _ => {}
        }
        let count = port.write(&waiting).unwrap();
        waiting.drain(..count);
        std::thread::sleep(Duration::from_millis(1));
    }
}

/// A board on a bench, behind a terminal line.
struct Bench {
    folder: tempfile::TempDir,
    port: String,
    end: Arc<AtomicBool>,
    _board: Running,
}

impl Bench {
    fn start(image: &Path) -> Self {
        let dir = tempfile::tempdir().unwrap();
        workshop(dir.path(), &twelve_channels());
        let at = |name: &str| dir.path().join(name);
        let drawn = vehicle::file::load(&at("bramble/vehicle.toml")).unwrap();
        let rig = rig::file::load(&at("bramble/rig.toml"), &drawn).unwrap();
        let test = Test { axle: 0, phases: vec![Phase::Still, Phase::Bounce], ramp_rad: 0.35 };
        let readings = Readings::new(VehicleOnRamp::new(&drawn, &test).unwrap(), &rig, Some(1)).unwrap();
        let stage = Stage::new(&rig, readings).unwrap();
        let lines = ["host.sock", "buses.sock"].map(|name| UnixListener::bind(at(name)).unwrap());
        let child = Command::new("node")
            .arg(folder().join("run.mjs"))
            .args([image, &at("host.sock"), &at("buses.sock")])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let board = Running::new(child);
        let [host, buses] = lines.map(|line| line.accept().unwrap().0);
        let port = Pty::open().unwrap();
        let (path, end) = (port.path().to_owned(), Arc::new(AtomicBool::new(false)));
        std::thread::spawn(move || serve_parts(buses, stage));
        std::thread::spawn({
            let end = end.clone();
            move || bridge(host, port, &end)
        });
        Self { folder: dir, port: path, end, _board: board }
    }

    fn run(&self, arguments: &[&str]) -> (String, String) {
        let output = Command::new(program())
            .args(arguments)
            .args(["--port", &self.port, "--vehicle", "bramble"])
            .current_dir(self.folder.path())
            .env("NO_COLOR", "1")
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (text(output.stdout), text(output.stderr))
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.end.store(true, Ordering::Relaxed);
    }
}

#[test]
fn a_pico_class_board_is_looked_over_and_recorded_from() {
    let Some(image) = image() else {
        return eprintln!("left out: there is no image of the board, or no emulator of its chip");
    };
    let bench = Bench::start(&image);
    let (told, errors) = bench.run(&["device", "--json"]);
    let report: serde_json::Value = serde_json::from_str(&told).unwrap_or_else(|_| panic!("{errors}"));
    assert_eq!((&report["identity"]["board"], &report["well"]), (&"pico rp2040".into(), &true.into()), "{told}");
    assert_eq!(report["identity"]["buses"], 2);
    let found = report["answering"][0]["addresses"].as_array().unwrap();
    assert!([0x48, 0x49].iter().all(|address| found.contains(&(*address).into())), "{told}");

    let (told, errors) = bench.run(&["record", "--plan", "still", "--seconds", SECONDS]);
    let run = told.lines().last().unwrap_or_else(|| panic!("{errors}"));
    let bytes = std::fs::read(bench.folder.path().join("bramble/runs").join(run).join("wire.bin")).unwrap();
    let heard = Heard::of(&bytes);
    assert_eq!((heard.loss.lost_blocks, heard.loss.lost_scans, heard.refused), (0, 0, 0), "{errors}");
    assert!(heard.loss.received_scans > SCANS, "{} scans: {errors}", heard.loss.received_scans);
    assert_eq!(heard.times_us().len(), 12 + 2);
    let status = heard.status.expect("a status every second");
    assert_eq!((status.bus_errors, status.dropped_messages), (0, 0));
    eprintln!("{} scans, {} left out", heard.loss.received_scans, heard.overrun_scans);
}
