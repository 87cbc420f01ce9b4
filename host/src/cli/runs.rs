//! `hingeline runs`

use super::dates::stamp;
use super::output::Screen;
use super::{Ending, Failure};
use crate::explain::{Explain, Status};
use crate::jobs::catalogue::Progress;
use crate::jobs::runs::{self, Request};
use crate::run::folder::FolderError;
use crate::show::{json, text};
use jiff::tz::TimeZone;

/// Look whether runs are as they were made, and mend those that are not.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Look at header, copies, readings, arrivals and marks, and change nothing; exit status 1 where something is found.
    Verify(Which),
    /// Mend what verify finds, as far as the files tell how; the originals are kept. Exit status 1 where something stays.
    Repair(Which),
}

#[derive(Debug, clap::Args)]
struct Which {
    /// Only these runs: names, VEHICLE/NAME, or run folders. Every run of the logbook where none is named.
    #[arg(value_name = "RUN")]
    runs: Vec<String>,
    /// Only runs of this vehicle; may be given several times.
    #[arg(long, value_name = "NAME")]
    vehicle: Vec<String>,
    /// Print JSON instead of text.
    #[arg(long)]
    json: bool,
}

impl Which {
    fn request(&self, screen: &Screen) -> Request {
        Request { logbook: screen.logbook.clone(), runs: self.runs.clone(), vehicles: self.vehicle.clone() }
    }
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let mut progress = |p: Progress<'_>| screen.redraw_run("Looking at", p);
    match &args.what {
        What::Verify(which) => {
            let verified = runs::verify_all(&which.request(screen), &mut progress);
            screen.redraw_end();
            let verified = verified?;
            screen.print(&if which.json {
                json::verified(&verified)
            } else {
                text::verified(&verified, screen.columns())
            })?;
            let found = verified.iter().any(|v| v.checked.as_ref().is_ok_and(|c| !c.found.is_empty()));
            Ok(ending(found, verified.iter().filter_map(|v| v.checked.as_ref().err())))
        }
        What::Repair(which) => {
            let mended =
                runs::repair_all(&which.request(screen), &stamp(), &TimeZone::system(), &mut progress);
            screen.redraw_end();
            let mended = mended?;
            screen.print(&if which.json {
                json::mended(&mended)
            } else {
                text::mended(&mended, screen.columns())
            })?;
            let left = mended.iter().any(|m| m.repaired.as_ref().is_ok_and(|r| !r.left.is_empty()));
            Ok(ending(left, mended.iter().filter_map(|m| m.repaired.as_ref().err())))
        }
    }
}

/// Trouble with the disk is told before what was found.
fn ending<'a>(found: bool, mut errors: impl Iterator<Item = &'a FolderError>) -> Ending {
    match errors.next() {
        Some(error) => Ending::Failed(error.status()),
        None if found => Ending::Failed(Status::Finding),
        None => Ending::Done,
    }
}
