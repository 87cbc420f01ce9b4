//! `hingeline completions`

use super::output::Screen;
use super::{Ending, Failure};
use clap_complete::Shell;

/// Print completions for a shell.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The shell.
    shell: Shell,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut super::command(), "hingeline", &mut script);
    screen.print(&String::from_utf8_lossy(&script))?;
    Ok(Ending::Done)
}
