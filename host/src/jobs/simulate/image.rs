//! `simulate --image`: a machine image under an emulator, behind the same kind of port.

use super::astray::Played;
use super::{GoOn, PATIENCE_US, REST, SimulateError, WAITING};
use crate::device::line::Clock;
use crate::explain::Failure;
use crate::virtual_rig::image::{ImageError, ImageLogger, Pace};
use crate::virtual_rig::pty::{Heard, Pty};
use crate::virtual_rig::stage::Stage;
use std::io;
use std::path::PathBuf;

/// Where firmware/build-board.sh puts the image, from the folder of the program that cargo built.
const BUILT: &str = "../boards/emulated.elf";
/// What it is called where it is installed, beside the program.
const INSTALLED: &str = "hingeline-emulated.elf";

/// A machine image and how its time passes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Image {
    /// The ELF file; none: the one that was built, or that is installed beside the program.
    pub file: Option<PathBuf>,
    /// Whether its time leaps while it sleeps, so that it runs as fast as it goes.
    pub leap: bool,
}

/// The image that was built beside this program, or is installed beside it.
///
/// # Errors
/// Where there is neither.
pub fn built_image() -> Result<PathBuf, ImageError> {
    let program = std::env::current_exe().map_err(ImageError::Line)?;
    let folder = program.parent().unwrap_or(&program);
    [INSTALLED, BUILT]
        .iter()
        .map(|name| folder.join(name))
        .find(|path| path.is_file())
        .ok_or_else(|| ImageError::NoImage(BUILT.trim_start_matches("../").into()))
}

/// Runs an image behind a port until `go_on` says no; gives the device time at the end, µs, and the bytes that were sent.
pub(super) fn run(
    image: &Image,
    stage: Stage,
    clock: &dyn Clock,
    go_on: &mut GoOn,
) -> Result<(u64, u64), Failure> {
    let file = image.file.clone().map_or_else(built_image, Ok)?;
    let mut logger = ImageLogger::start(&file, if image.leap { Pace::Leaping } else { Pace::Wall }, stage)?;
    let mut port = Pty::open().map_err(SimulateError::Port)?;
    let bytes = serve(&mut logger, &mut port, clock, image.leap, go_on).map_err(SimulateError::Port)?;
    Ok((elapsed_us(&logger, image.leap), bytes))
}

/// Device time; where it leaps, what it does before the test says nothing, and only the test's own time counts.
fn elapsed_us(logger: &ImageLogger, leaping: bool) -> u64 {
    if leaping { (logger.test_s().max(0.0) * 1e6) as u64 } else { logger.now_us() }
}

fn serve(
    logger: &mut ImageLogger,
    port: &mut Pty,
    clock: &dyn Clock,
    leaping: bool,
    go_on: &mut GoOn,
) -> io::Result<u64> {
    let (mut buffer, mut waiting) = ([0; 1024], Vec::new());
    let (mut sent, mut taken_us) = (0, clock.now_us());
    loop {
        let heard = port.read(&mut buffer)?;
        if let Heard::Bytes(count) = heard {
            logger.feed(buffer.get(..count).unwrap_or_default())?;
        }
        let open = heard != Heard::Nobody;
        let (now_us, phase) = (elapsed_us(logger, leaping), logger.phase());
        if !go_on(port.path(), open, Played { now_us, phase, over: false, streaming: None }) {
            return Ok(sent);
        }
        let now_us = clock.now_us();
        // A line that is not read stops the emulator, and so its time; time that leaps has nowhere to go while nobody listens.
        let patient =
            waiting.len() >= WAITING && now_us.saturating_sub(taken_us) < PATIENCE_US || leaping && !open;
        let before = waiting.len();
        if !patient {
            logger.take_output(&mut waiting)?;
        }
        let came = waiting.len() > before;
        if !open || waiting.len() >= 2 * WAITING {
            // Nobody listens, or not fast enough: the bytes are gone, as on any line.
            waiting.clear();
        }
        let count = port.write(&waiting)?;
        waiting.drain(..count);
        sent += count as u64;
        if count > 0 || waiting.is_empty() {
            taken_us = now_us;
        }
        if !came && count == 0 {
            clock.pause(REST);
        }
    }
}
