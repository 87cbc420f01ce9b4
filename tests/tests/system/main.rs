//! The whole way, program against program: the logger's machine image under an emulator, a real terminal line, the recorder.
//!
//! The image is the one that `firmware/build-board.sh emulated` makes. `tests/run` builds it and says so by
//! `HINGELINE_IMAGE`; without that a machine that has no image, or no emulator, leaves these tests out.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

mod bench;
mod button;
mod emulated;
mod hang;
mod heard;
mod killed;
mod line;
mod pico;
mod wire_client;

use std::path::PathBuf;
use std::process::Command;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Each of these tests has the machine to itself: an emulator that runs in real time beside two others on two processors loses
/// bytes that no board would.
fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The folder that cargo builds a profile's programs in.
fn built() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows where it is");
    test.ancestors().nth(2).expect("target/PROFILE/deps/TEST").to_owned()
}

/// The program that `cargo build --workspace` makes.
fn program() -> PathBuf {
    let program = built().join("hingeline");
    assert!(program.is_file(), "{} is missing: cargo build --workspace makes it", program.display());
    program
}

/// The machine image, if it can be run here.
fn image() -> Option<PathBuf> {
    let promised = std::env::var_os("HINGELINE_IMAGE").map(PathBuf::from);
    let image = promised.clone().unwrap_or_else(|| built().join("../boards/emulated.elf"));
    let there = image.is_file() && Command::new("qemu-system-arm").arg("--version").output().is_ok();
    assert!(there || promised.is_none(), "{} or the emulator is missing", image.display());
    there.then_some(image)
}
