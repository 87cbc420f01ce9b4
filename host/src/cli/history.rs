//! `hingeline history`

use super::dates::{day, stamp};
use super::files;
use super::output::{Output, Screen};
use super::target::test;
use super::{Ending, Failure};
use crate::history::store::Filter;
use crate::jobs::history;
use crate::run::plan::Test;
use crate::show::{csv, json, plot, text};
use std::path::PathBuf;

/// Runs over time: what they measured, and what was done to the vehicle in between.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Only this vehicle.
    #[arg(long, value_name = "NAME")]
    vehicle: Option<String>,
    /// Only this axle.
    #[arg(long, value_name = "NAME")]
    axle: Option<String>,
    /// Only this number, such as roll_centre_z_m, ramp_travel_index_left or play_m.
    #[arg(long, value_name = "KEY")]
    number: Option<String>,
    /// Only this link.
    #[arg(long, value_name = "NAME")]
    link: Option<String>,
    /// Only runs of this test: bounce, ramp, rock, ….
    #[arg(long, value_name = "TEST", value_parser = test)]
    test: Option<Test>,
    /// Only runs from this day on, such as 2026-11-25.
    #[arg(long, value_name = "DATE", value_parser = day)]
    since: Option<i64>,
    /// Only runs before this day.
    #[arg(long, value_name = "DATE", value_parser = day)]
    until: Option<i64>,
    /// Only so many runs, the latest.
    #[arg(long, value_name = "N", default_value_t = 40, conflicts_with = "all")]
    last: usize,
    /// Every run.
    #[arg(long)]
    all: bool,
    /// Make the history again from the runs, measuring every one.
    #[arg(long)]
    rebuild: bool,
    /// Also write a table of everything listed to this file (CSV, SI); - for the screen and nothing else.
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Also draw the number over time to this file (.svg or .png).
    #[arg(long, value_name = "FILE", requires = "number")]
    plot: Option<PathBuf>,
    #[command(flatten)]
    output: Output,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let request = history::Request {
        logbook: screen.logbook.clone(),
        filter: Filter {
            vehicle: args.vehicle.clone(),
            test: args.test.map(|t| t.words().to_owned()),
            since_us: args.since,
            until_us: args.until,
            latest: (!args.all).then_some(args.last),
            skip: 0,
        },
        axle: args.axle.clone(),
        number: args.number.clone(),
        element: args.link.clone(),
        rebuild: args.rebuild,
        stamp: stamp(),
    };
    let listing = history::run(&request, &mut |p| screen.redraw_measuring(p))?;
    screen.redraw_end();
    let options = screen.options(&args.output);
    if let Some(file) = &args.plot {
        files::save_plot(&plot::over_time(&listing, options.units), file)?;
    }
    if let Some(file) = &args.csv {
        let table = csv::history(&listing);
        if file.as_os_str() == "-" {
            screen.print(&table)?;
            return Ok(Ending::Done);
        }
        files::save_new(file, table.as_bytes())?;
    }
    let page = if args.output.json { json::history(&listing) } else { text::history(&listing, &options) };
    screen.print(&page)?;
    Ok(Ending::Done)
}
