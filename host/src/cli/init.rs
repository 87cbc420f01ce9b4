//! `hingeline init`

use super::output::Screen;
use super::{Ending, Failure};
use crate::explain::pasted;
use crate::files::logbook::{LOGBOOK_FILE, Logbook};
use crate::jobs::init;
use std::path::{Path, PathBuf};

/// Make a logbook: a folder that keeps vehicles, rigs and runs.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The folder; made if it is not there.
    #[arg(value_name = "DIR")]
    dir: PathBuf,
}

/// The logbook in whose folder another one was made.
fn within(folder: &Path) -> Option<Logbook> {
    let whole = std::path::absolute(folder).ok()?;
    Logbook::find(None, whole.parent()?).ok()
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let made = init::run(&args.dir)?;
    let file = made.folder.join(LOGBOOK_FILE);
    let there =
        if args.dir == Path::new(".") { String::new() } else { format!("cd {}\n  ", pasted(&args.dir)) };
    if let Some(outer) = within(&made.folder) {
        screen.tell(&format!(
            "It lies within the logbook \"{}\"; commands that run in it see only what is in it.",
            outer.name
        ));
    }
    screen.print(&format!(
        "Made the logbook \"{}\": {}\n\nNext:\n  {there}hingeline new four-link NAME",
        made.name,
        file.display()
    ))?;
    Ok(Ending::Done)
}
