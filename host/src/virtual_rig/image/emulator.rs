//! QEMU as a process: the board `lm3s6965evb` with its two serial lines.

use super::error::ImageError;
use rustix::io::{FdFlags, fcntl_getfd, fcntl_setfd};
use std::ffi::OsStr;
use std::io::Read;
use std::os::fd::AsRawFd;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// The program.
const PROGRAM: &str = "qemu-system-arm";
/// An instruction takes 2² ns of the image's time. That is faster than the board: while a loaded PC keeps the image waiting for
/// an answer, little of its time passes. This board proves the program, not the controller's speed.
const SHIFT: u32 = 2;
/// What has the system end a program with the one that started it, however that one ends (util-linux; Linux only).
const TIE: (&str, [&str; 2]) = ("setpriv", ["--pdeathsig", "KILL"]);

/// What makes the image's time pass. Its instructions are counted either way, so that a machine under load makes it slower,
/// not wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// While it sleeps, time passes as on the wall.
    Wall,
    /// While it sleeps, time leaps to the next thing that it does.
    Leaping,
}

/// A command that runs `program`, which ends with the thread that starts it, even where this program is killed: an emulator that
/// nobody hears must not go on for ever. A system that has no means for that runs it as it is.
pub fn tied(program: &OsStr) -> Command {
    let (tie, how) = TIE;
    let ties = Command::new(tie).args(how).arg("true").stderr(Stdio::null()).status();
    if !ties.is_ok_and(|status| status.success()) {
        return Command::new(program);
    }
    let mut command = Command::new(tie);
    command.args(how).arg(program);
    command
}

/// Whether a program is where programs are looked for.
fn is_installed(program: &str) -> bool {
    std::env::var_os("PATH")
        .is_some_and(|path| std::env::split_paths(&path).any(|at| at.join(program).is_file()))
}

/// The lines to an emulator.
#[derive(Debug)]
pub struct Lines {
    /// The first serial port: to the host.
    pub host: UnixStream,
    /// The second serial port: to the buses.
    pub buses: UnixStream,
}

/// A running emulator.
#[derive(Debug)]
pub struct Emulator {
    child: Child,
}

impl Emulator {
    /// Starts `image`.
    ///
    /// # Errors
    /// Where there is no such file or no emulator.
    pub fn start(image: &Path, pace: Pace) -> Result<(Self, Lines), ImageError> {
        if !image.is_file() {
            return Err(ImageError::NoImage(image.to_owned()));
        }
        let (host, theirs_host) = UnixStream::pair().map_err(ImageError::Line)?;
        let (buses, theirs_buses) = UnixStream::pair().map_err(ImageError::Line)?;
        let sleep = match pace {
            Pace::Wall => "on",
            Pace::Leaping => "off",
        };
        if !is_installed(PROGRAM) {
            return Err(ImageError::NoEmulator);
        }
        let mut command = tied(PROGRAM.as_ref());
        command.args(["-M", "lm3s6965evb", "-nodefaults", "-display", "none", "-monitor", "none"]);
        command.arg("-icount").arg(format!("shift={SHIFT},sleep={sleep}"));
        for (name, end) in [("host", &theirs_host), ("buses", &theirs_buses)] {
            // The emulator's ends go with it.
            let inherited = fcntl_getfd(end).and_then(|flags| fcntl_setfd(end, flags - FdFlags::CLOEXEC));
            inherited.map_err(|errno| ImageError::Line(errno.into()))?;
            command.arg("-chardev").arg(format!("socket,id={name},fd={}", end.as_raw_fd()));
        }
        command.args(["-serial", "chardev:host", "-serial", "chardev:buses"]);
        command.arg("-kernel").arg(image);
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
        let child = command.spawn().map_err(ImageError::Start)?;
        Ok((Self { child }, Lines { host, buses }))
    }

    /// Ends it.
    pub fn end(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// What it said when it ended.
    pub fn last_words(&mut self) -> String {
        self.end();
        let mut words = String::new();
        if let Some(said) = self.child.stderr.as_mut() {
            // What can be read of it will do.
            let _ = said.read_to_string(&mut words);
        }
        format!("the emulator ended. {}", words.trim())
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        self.end();
    }
}
