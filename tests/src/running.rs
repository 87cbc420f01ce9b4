//! The built program, and a process of it that goes on while a test looks at it.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};

/// The program that `cargo build --workspace` puts two folders above a test.
///
/// # Panics
/// Where it is not there.
pub fn program() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows where it is");
    let built = test.ancestors().nth(2).expect("target/PROFILE/deps/TEST").join("hingeline");
    assert!(built.is_file(), "{} is missing: cargo build --workspace makes it", built.display());
    built
}

/// A process that goes on after its first line; it ends with this.
#[derive(Debug)]
pub struct Running {
    child: Child,
    /// The first line that it printed: an address, a port.
    pub first_line: String,
}

impl Running {
    /// Starts the program in a folder and waits for its first line.
    ///
    /// # Panics
    /// Where it does not start or says nothing.
    pub fn start(at: &Path, arguments: &[&str]) -> Self {
        let mut child = Command::new(program())
            .args(arguments)
            .current_dir(at)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("piped")).read_line(&mut line).expect("a line");
        let first_line = line.trim_end().to_owned();
        Self { child, first_line }
    }

    /// Its process.
    pub fn child(&self) -> &Child {
        &self.child
    }

    /// Waits for it to end by itself.
    ///
    /// # Panics
    /// Where the system knows nothing of it.
    pub fn wait(&mut self) -> ExitStatus {
        self.child.wait().expect("it ends")
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // One that is gone already needs no end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
