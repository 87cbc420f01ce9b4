//! A logbook with a virtual rig beside it, served.

use hingeline_tests::{Running, program};
use std::process::Command;

/// Phases of the virtual test.
pub const PLAN: &str = "still,bounce,ramp left,ramp right";

/// The workshop; its programs end with it.
pub struct Workshop {
    folder: tempfile::TempDir,
    _rig: Running,
    _server: Running,
    /// Where the pages are.
    pub address: String,
    /// Where the virtual logger listens.
    pub port: String,
}

impl Workshop {
    pub fn open() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        for arguments in [&["init", "."][..], &["new", "double-triangulated-four-link", "Bramble"]] {
            let made = Command::new(program())
                .args(arguments)
                .current_dir(folder.path())
                .output()
                .expect("it starts");
            assert!(made.status.success(), "{arguments:?}");
        }
        let rig = ["simulate", "Bramble/vehicle.toml", "--speed", "6", "--plan", PLAN, "--deviation", "3"];
        let rig = Running::start(folder.path(), &rig);
        let server = Running::start(folder.path(), &["serve", "--port", "0"]);
        let (port, address) = (rig.first_line.clone(), server.first_line.clone());
        Self { folder, _rig: rig, _server: server, address, port }
    }

    /// Makes an earlier run of the one at an address, so that there are two.
    pub fn copy_run(&self, address: &str) {
        let name = address.rsplit('/').next().expect("a name");
        let runs = self.folder.path().join("Bramble/runs");
        let copy = runs.join("2026-01-02-0900-copy");
        std::fs::create_dir(&copy).expect("made");
        for entry in std::fs::read_dir(runs.join(name)).expect("the run").flatten() {
            std::fs::copy(entry.path(), copy.join(entry.file_name())).expect("copied");
        }
    }
}
