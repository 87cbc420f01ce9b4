//! `hingeline new`

use super::output::Screen;
use super::{Ending, Failure};
use crate::explain::pasted;
use crate::files::logbook::Logbook;
use crate::files::starters::Layout;
use crate::jobs::new;
use std::path::Path;

/// Write a commented starter: NAME/vehicle.toml and NAME/rig.toml.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The layout to start from.
    #[arg(value_name = "LAYOUT", value_parser = clap::builder::PossibleValuesParser::new(Layout::WORDS.map(|w| w.0)))]
    layout: String,
    /// What to call the vehicle; its folder gets this name.
    #[arg(value_name = "NAME")]
    name: String,
}

/// Runs the command: in the logbook where there is one, else in the working folder.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let base = match Logbook::find(screen.logbook.as_deref(), Path::new(".")) {
        Ok(logbook) => logbook.folder,
        Err(_) if screen.logbook.is_none() => Path::new(".").to_owned(),
        Err(error) => return Err(error.into()),
    };
    let made = new::run(&args.layout, &args.name, &base)?;
    screen.print(&format!(
        "Wrote {} and {}\n\nNext: put your own numbers in, then\n  hingeline predict {}",
        made.vehicle_file.display(),
        made.rig_file.display(),
        pasted(&made.vehicle_file)
    ))?;
    Ok(Ending::Done)
}
