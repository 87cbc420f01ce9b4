//! A board in an emulator of its own, on a bench: its buses lead to the parts of a virtual vehicle, its host's line to a terminal.

use crate::bench::{Running, twelve_channels, workshop};
use crate::program;
use hingeline::run::Phase;
use hingeline::virtual_rig::image::{Peer, tied};
use hingeline::virtual_rig::pty::{Heard, Pty};
use hingeline::virtual_rig::readings::Readings;
use hingeline::virtual_rig::stage::Stage;
use hingeline::virtual_rig::{Test, VehicleOnRamp};
use hingeline::{rig, vehicle};
use hingeline_protocol::Press;
use std::io::{Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// The bench.
pub struct Bench {
    /// The workshop's folder.
    pub folder: tempfile::TempDir,
    /// The terminal that a host opens.
    pub port: String,
    /// The parts, with the vehicle and the board's button.
    peer: Arc<Mutex<Peer>>,
    end: Arc<AtomicBool>,
    _board: Running,
}

impl Bench {
    /// Starts the emulator that `start` makes, given where the host's line and the buses' line are to be connected to.
    pub fn start(start: impl FnOnce(&Path, &Path) -> Child) -> Self {
        let dir = tempfile::tempdir().unwrap();
        workshop(dir.path(), &twelve_channels());
        let at = |name: &str| -> PathBuf { dir.path().join(name) };
        let drawn = vehicle::file::load(&at("bramble/vehicle.toml")).unwrap();
        let rig = rig::file::load(&at("bramble/rig.toml"), &drawn).unwrap();
        let test = Test { axle: 0, phases: vec![Phase::Still, Phase::Bounce], ramp_rad: 0.35 };
        let readings = Readings::new(VehicleOnRamp::new(&drawn, &test).unwrap(), &rig, Some(1)).unwrap();
        let peer = Peer::new(Stage::new(&rig, readings).unwrap().with_board());
        let peer = Arc::new(Mutex::new(peer));
        let lines = ["host.sock", "buses.sock"].map(|name| UnixListener::bind(at(name)).unwrap());
        let board = Running::new(start(&at("host.sock"), &at("buses.sock")));
        let [host, buses] = lines.map(|line| line.accept().unwrap().0);
        let port = Pty::open().unwrap();
        let (path, end) = (port.path().to_owned(), Arc::new(AtomicBool::new(false)));
        std::thread::spawn({
            let peer = peer.clone();
            move || serve_parts(buses, &peer)
        });
        std::thread::spawn({
            let end = end.clone();
            move || bridge(host, port, &end)
        });
        Self { folder: dir, port: path, peer, end, _board: board }
    }

    /// A bench with the emulated board. Its time leaps while it sleeps if `sleep` is `off`.
    pub fn emulated(image: &Path, sleep: &str, more: &[&str]) -> Self {
        Self::start(|host, buses| {
            let line = |path: &Path| format!("unix:{}", path.display());
            tied("qemu-system-arm".as_ref())
                .args(["-M", "lm3s6965evb", "-nodefaults", "-display", "none", "-monitor", "none"])
                .args(["-icount", &format!("shift=2,sleep={sleep}"), "-kernel"])
                .arg(image)
                .args(["-serial", &line(host), "-serial", &line(buses)])
                .args(more)
                .stdin(Stdio::null())
                .spawn()
                .unwrap()
        })
    }

    /// Lets so much of the board's time pass, s.
    pub fn pass(&self, seconds: f64) {
        let now_us = || self.peer.lock().unwrap().now_us();
        let until_us = now_us() + (seconds * 1e6) as u64;
        while now_us() < until_us {
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// A builder presses the board's button.
    pub fn press(&self, press: Press) {
        let mut peer = self.peer.lock().unwrap();
        let now_us = peer.now_us();
        peer.stage_mut().press(now_us, press);
    }

    /// A command of the program with this bench's port and vehicle.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(program());
        command
            .args(arguments)
            .args(["--port", &self.port, "--vehicle", "bramble"])
            .current_dir(self.folder.path())
            .env("NO_COLOR", "1")
            .stdin(Stdio::null());
        command
    }

    /// What the program said and told.
    pub fn run(&self, arguments: &[&str]) -> (String, String) {
        texts(&self.command(arguments).output().unwrap())
    }

    /// The bytes of a run.
    pub fn bytes(&self, run: &str) -> Vec<u8> {
        std::fs::read(self.folder.path().join(run.replacen('/', "/runs/", 1)).join("wire.bin")).unwrap()
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.end.store(true, Ordering::Relaxed);
    }
}

/// Standard output and standard error.
pub fn texts(output: &Output) -> (String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (text(&output.stdout), text(&output.stderr))
}

/// Answers what the board asks of its buses, until it is gone.
fn serve_parts(mut line: UnixStream, peer: &Mutex<Peer>) {
    let mut piece = [0; 512];
    while let Ok(count @ 1..) = line.read(&mut piece) {
        let answers = peer.lock().unwrap().take(&piece[..count]);
        if line.write_all(&answers).is_err() {
            return;
        }
    }
}

/// Carries bytes between the board and a terminal line until it is told to end. What comes while nobody has the terminal open is
/// gone, as on any line.
fn bridge(mut board: UnixStream, mut port: Pty, end: &AtomicBool) {
    let (mut piece, mut waiting) = ([0; 1024], Vec::new());
    while !end.load(Ordering::Relaxed) {
        let heard = port.read(&mut piece).unwrap();
        board.set_nonblocking(false).unwrap();
        if let Heard::Bytes(count) = heard
            && board.write_all(&piece[..count]).is_err()
        {
            return;
        }
        board.set_nonblocking(true).unwrap();
        match board.read(&mut piece) {
            Ok(0) => return,
            Ok(count) if heard != Heard::Nobody => waiting.extend_from_slice(&piece[..count]),
            _ => {}
        }
        let count = port.write(&waiting).unwrap();
        waiting.drain(..count);
        std::thread::sleep(Duration::from_millis(1));
    }
}
