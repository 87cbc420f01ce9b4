//! A workshop with one vehicle in it, and a logger on a terminal line.

use crate::program;
use hingeline::virtual_rig::image::tied;
use hingeline::virtual_rig::scenario;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Stdio};

/// A child that ends with the test.
pub struct Running(Child);

impl Running {
    /// From here on it ends with this.
    pub fn new(child: Child) -> Self {
        Self(child)
    }

    /// Its number.
    pub fn number(&self) -> u32 {
        self.0.id()
    }

    /// Ends it without letting it do anything more.
    pub fn kill(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.kill();
    }
}

/// The rig: six wires and a six-axis unit at 200 Hz, all on the first bus.
pub fn twelve_channels() -> String {
    let heads: Vec<&str> = scenario::RIG.split("[[sensor]]").collect();
    let rig = heads[..8].join("[[sensor]]").replace("rate_hz = 100", "rate_hz = 200");
    rig.replace("input = { bus = 1,", "input = { bus = 0,")
}

/// A logbook with the vehicle `bramble`, which carries `rig`.
pub fn workshop(folder: &Path, rig: &str) {
    let vehicle = folder.join("bramble");
    std::fs::create_dir_all(&vehicle).unwrap();
    std::fs::write(folder.join("logbook.toml"), "format = 1\nname = \"Bench\"\n").unwrap();
    std::fs::write(vehicle.join("vehicle.toml"), scenario::VEHICLE).unwrap();
    std::fs::write(vehicle.join("rig.toml"), rig).unwrap();
}

/// A simulation and the port that its first line names.
pub fn simulate(folder: &Path, arguments: &[&str]) -> (Running, String) {
    let mut child = tied(program().as_os_str())
        .args(["simulate", "bramble/vehicle.toml"])
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut port = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut port).unwrap();
    (Running::new(child), port.trim().to_owned())
}
