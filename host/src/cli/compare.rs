//! `hingeline compare`

use super::output::{Output, Screen};
use super::target::Target;
use super::{Ending, Failure};
use crate::jobs::compare;
use crate::judge::{FindingKind, Verdict};
use crate::show::{json, text};
use clap::ValueEnum;

/// Set a run beside its design, or beside another run: verdicts, and what explains a difference.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// A table of readings (CSV), a run folder, a run's name, or VEHICLE/NAME.
    #[arg(value_name = "RUN")]
    run: String,
    /// A second run, to be set beside the first instead of the design.
    #[arg(value_name = "RUN")]
    second: Option<String>,
    /// Of two runs: the sensors were taken off and clipped on again in between, so that their mounts are not the same.
    #[arg(long, requires = "second")]
    refitted: bool,
    #[command(flatten)]
    target: Target,
    /// End with exit status 1 if this is found.
    #[arg(long, value_name = "FINDING")]
    fail_on: Option<FailOn>,
    #[command(flatten)]
    output: Output,
}

/// What a script may want to be told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FailOn {
    /// A number that differs.
    Differs,
    /// A number that differs or is not resolved; what was not measured does not count.
    NotAgrees,
    /// A joint that is loose, by a rock or a shove.
    Loose,
}

impl FailOn {
    fn hit(self, verdicts: impl Iterator<Item = Verdict>, loose: bool) -> bool {
        let mut verdicts = verdicts;
        match self {
            FailOn::Differs => verdicts.any(|v| v == Verdict::Differs),
            FailOn::NotAgrees => verdicts.any(|v| matches!(v, Verdict::Differs | Verdict::NotResolved)),
            FailOn::Loose => loose,
        }
    }
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let request = |run: &str| args.target.request(run, screen.logbook.clone());
    let options = screen.options(&args.output);
    let (page, found) = match &args.second {
        None => {
            let compared = compare::with_design(&request(&args.run))?;
            let comparison = &compared.comparison;
            let page = if args.output.json {
                json::comparison(comparison)
            } else {
                text::comparison(comparison, &compared.source.vehicle, &options)
            };
            let verdicts = comparison.axles.iter().flat_map(|a| a.numbers.values().map(|n| n.verdict));
            let loose =
                comparison.axles.iter().any(|a| a.findings.iter().any(|f| f.kind == FindingKind::Play));
            (page, args.fail_on.is_some_and(|f| f.hit(verdicts, loose)))
        }
        Some(second) => {
            let compared = compare::with_run(&request(&args.run), &request(second), args.refitted)?;
            let page = if args.output.json {
                json::runs(&compared.runs)
            } else {
                text::runs(&compared.runs, &compared.vehicle, &options)
            };
            let verdicts = compared.runs.axles.iter().flat_map(|a| a.numbers.values().map(|n| n.verdict));
            (page, args.fail_on.is_some_and(|f| f.hit(verdicts, false)))
        }
    };
    screen.print(&page)?;
    Ok(if found { Ending::Found } else { Ending::Done })
}
