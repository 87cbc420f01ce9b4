//! A logbook with a virtual rig beside it, served.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// Phases of the virtual test.
pub const PLAN: &str = "still,bounce,ramp left,ramp right";

/// The workshop; its programs end with it.
pub struct Workshop {
    folder: tempfile::TempDir,
    programs: Vec<Child>,
    /// Where the pages are.
    pub address: String,
    /// Where the virtual logger listens.
    pub port: String,
}

fn program() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows where it is");
    let built = test.ancestors().nth(2).expect("target/PROFILE/deps/TEST").join("hingeline");
    assert!(built.is_file(), "{} is missing: cargo build --workspace makes it", built.display());
    built
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
        let (rig, port) = start(folder.path(), &rig);
        let (server, address) = start(folder.path(), &["serve", "--port", "0"]);
        Self { folder, programs: vec![rig, server], address, port }
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

/// A program that goes on, and the first line that it prints.
fn start(at: &Path, arguments: &[&str]) -> (Child, String) {
    let mut child = Command::new(program())
        .args(arguments)
        .current_dir(at)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut first = String::new();
    BufReader::new(child.stdout.take().expect("piped")).read_line(&mut first).expect("a line");
    (child, first.trim_end().to_owned())
}

impl Drop for Workshop {
    fn drop(&mut self) {
        for program in &mut self.programs {
            // One that is gone already needs no end.
            let _ = program.kill();
            let _ = program.wait();
        }
    }
}
