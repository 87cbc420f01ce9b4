//! `hingeline report`

use super::output::{Inches, Screen};
use super::target::Target;
use super::{Ending, Failure};
use crate::jobs::report;
use std::path::PathBuf;

/// Write one HTML file that prints well: verdict, why, evidence, provenance, cautions.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// A table of readings (CSV), a run folder, a run's name, or VEHICLE/NAME.
    #[arg(value_name = "RUN")]
    run: String,
    #[command(flatten)]
    target: Target,
    /// Where to write it; report.html in the working folder where nothing is given.
    #[arg(long, short, value_name = "FILE", default_value = "report.html")]
    output: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    force: bool,
    /// Open it when it is written.
    #[arg(long)]
    open: bool,
    /// Units in the report; the logbook's where there is one, else millimetres.
    #[arg(long, value_name = "UNITS")]
    units: Option<Inches>,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let request = args.target.request(&args.run, screen.logbook.clone());
    let written = report::run(&request, &args.output, args.force, screen.units(args.units))?;
    screen.print(&format!("{}\n\n{}", written.verdict, written.file.display()))?;
    if args.open {
        report::open(&written.file)?;
    }
    Ok(Ending::Done)
}
