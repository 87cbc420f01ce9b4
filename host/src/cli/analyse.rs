//! `hingeline analyse`

use super::output::{Output, Screen};
use super::target::Target;
use super::{Ending, Failure};
use crate::jobs::{analyse, catalogue, export};
use crate::show::{json, text};

/// Measure a run: poses, numbers, links and the ramp travel index, each with its uncertainty.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// A table of readings (CSV), a run folder, a run's name, or VEHICLE/NAME.
    #[arg(value_name = "RUN")]
    run: String,
    #[command(flatten)]
    target: Target,
    /// Also write every measured pose to this file (.csv or .parquet).
    #[arg(long, value_name = "FILE")]
    poses: Option<std::path::PathBuf>,
    #[command(flatten)]
    output: Output,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let request = args.target.request(&args.run, screen.logbook.clone());
    let analysed = analyse::run(&request)?;
    if let Err(failure) = catalogue::keep(&request, &analysed) {
        screen.tell(&format!("Measured, but not put into the history: {failure}"));
    }
    if let Some(path) = &args.poses {
        let facts = export::facts(&analysed.source, Some(&analysed.analysis));
        export::write_poses(&analysed.analysis, path, &facts)?;
    }
    let page = if args.output.json {
        json::analysis(&analysed.analysis, &analysed.in_use, &analysed.source.calibration)
    } else {
        let options = screen.options(&args.output);
        let measured = text::analysis(&analysed.analysis, &analysed.source.vehicle, &options);
        match text::calibration(&analysed.source.calibration, &options) {
            none if none.is_empty() => measured,
            calibration => format!("{measured}\n{calibration}"),
        }
    };
    screen.print(&page)?;
    Ok(Ending::Done)
}
