//! `hingeline init`

use super::output::Screen;
use super::{Ending, Failure};
use crate::jobs::init;
use std::path::PathBuf;

/// Make a logbook: a folder that keeps vehicles, rigs and runs.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The folder; made if it is not there.
    #[arg(value_name = "DIR")]
    dir: PathBuf,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let made = init::run(&args.dir)?;
    screen.print(&format!(
        "Made the logbook \"{}\" in {}.\n\nNext: cd {} and start a vehicle, say hingeline new four-link NAME.",
        made.name,
        made.folder.display(),
        args.dir.display()
    ))?;
    Ok(Ending::Done)
}
