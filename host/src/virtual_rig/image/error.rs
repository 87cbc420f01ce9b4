//! What can keep a machine image from running.

use crate::explain::{Explain, Status};
use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// Why there is no running image.
#[derive(Debug, Error)]
pub enum ImageError {
    /// No emulator.
    #[error("the emulator qemu-system-arm is not installed")]
    NoEmulator,
    /// It does not start.
    #[error("the emulator does not start: {0}")]
    Start(io::Error),
    /// No lines to it.
    #[error("the system gives no line to the emulator: {0}")]
    Line(io::Error),
    /// No image.
    #[error("there is no machine image {}", .0.display())]
    NoImage(PathBuf),
}

impl Explain for ImageError {
    fn status(&self) -> Status {
        match self {
            ImageError::NoImage(_) => Status::BadInput,
            _ => Status::Device,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            ImageError::NoEmulator => {
                Some("Install Debian's package qemu-system-arm, or your system's QEMU for ARM.".into())
            }
            ImageError::NoImage(_) => Some(
                "Build it with firmware/build-board.sh emulated, or name one: hingeline simulate VEHICLE --image FILE.elf"
                    .into(),
            ),
            ImageError::Start(_) | ImageError::Line(_) => None,
        }
    }
}
