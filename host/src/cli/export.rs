//! `hingeline export`

use super::output::Screen;
use super::{Ending, Failure};
use crate::explain::Status;
use crate::jobs::export::{self, Form, Request, There};
use crate::show::{json, text};
use std::path::PathBuf;

/// Hand the logbook to other programs: readings, poses and numbers of its runs as Parquet data sets.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "DIR/samples has every reading at its own time, DIR/poses one row per axle and instant, DIR/numbers one row per \
axle and number, and per link. Each is partitioned vehicle=FOLDER/run=NAME, so that a query engine reads a whole fleet at once."
)]
pub struct Args {
    /// The folder to write to; it is made if it is not there.
    #[arg(value_name = "DIR")]
    into: PathBuf,
    /// Only these runs: names, VEHICLE/NAME, or run folders. All of the logbook where none is named.
    #[arg(value_name = "RUN")]
    runs: Vec<String>,
    /// Only runs of this vehicle; may be given several times.
    #[arg(long, value_name = "NAME")]
    vehicle: Vec<String>,
    /// Write CSV instead of Parquet; with --parquet, both.
    #[arg(long)]
    csv: bool,
    /// Write Parquet, which is what is done unless --csv is given.
    #[arg(long)]
    parquet: bool,
    /// Write runs anew that are there already.
    #[arg(long, conflicts_with = "only_new")]
    overwrite: bool,
    /// Leave runs alone that are there already, and export the others.
    #[arg(long)]
    only_new: bool,
    /// Print what was written as JSON instead of text.
    #[arg(long)]
    json: bool,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let mut forms = Vec::new();
    if args.parquet || !args.csv {
        forms.push(Form::Parquet);
    }
    if args.csv {
        forms.push(Form::Csv);
    }
    let there = match (args.overwrite, args.only_new) {
        (true, _) => There::Overwrite,
        (_, true) => There::Keep,
        _ => There::Refuse,
    };
    let request = Request {
        into: args.into.clone(),
        logbook: screen.logbook.clone(),
        runs: args.runs.clone(),
        vehicles: args.vehicle.clone(),
        forms,
        there,
    };
    let exported = export::run(&request, &mut |p| screen.redraw_run("Exporting", p));
    screen.redraw_end();
    let exported = exported?;
    screen.print(&if args.json {
        json::exported(&exported)
    } else {
        text::exported(&exported, screen.columns())
    })?;
    Ok(if exported.unread.is_empty() { Ending::Done } else { Ending::Failed(Status::BadInput) })
}
