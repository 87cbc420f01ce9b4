//! `hingeline wear`

use super::dates::stamp;
use super::files;
use super::output::{Output, Screen};
use super::{Ending, Failure};
use crate::explain::Explain;
use crate::files::did_you_mean;
use crate::history::wear::{JointState, Wear};
use crate::jobs::wear;
use crate::show::plot::Chart;
use crate::show::{json, plot, text};
use clap::ValueEnum;
use std::path::PathBuf;

/// What to look at before the next trip: which joint wears, since when, and how long until your limit.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The vehicle, by its folder in the logbook; a line for each of them where none is named.
    #[arg(value_name = "VEHICLE")]
    vehicle: Option<String>,
    /// Also draw a joint's play over the runs to this file (.svg or .png).
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// The link to draw; the most urgent one where none is given.
    #[arg(long, value_name = "NAME", requires = "plot")]
    link: Option<String>,
    /// What to draw of it.
    #[arg(long, value_name = "CHART", requires = "plot", default_value = "play")]
    chart: Drawn,
    /// End with exit status 1 if this is found.
    #[arg(long, value_name = "FINDING")]
    fail_on: Option<FailOn>,
    #[command(flatten)]
    output: Output,
}

/// What may be drawn of a joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Drawn {
    /// Play over the runs.
    Play,
    /// Cumulative sum.
    Cusum,
    /// Weighted average.
    Ewma,
}

/// What a script may want to be told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FailOn {
    /// A joint whose play is beyond the limit.
    Worn,
    /// A joint that is worn or whose play grows.
    Growing,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let request =
        wear::Request { logbook: screen.logbook.clone(), vehicle: args.vehicle.clone(), stamp: stamp() };
    let found = wear::run(&request, &mut |p| screen.redraw_measuring(p))?;
    screen.redraw_end();
    let options = screen.options(&args.output);
    let [wear] = found.vehicles.as_slice() else { return several(args, &found, screen) };
    if let Some(link) = &args.link {
        known(link, wear)?;
    }
    if let Some(file) = &args.plot {
        let chart = match args.chart {
            Drawn::Play => Chart::Values,
            Drawn::Cusum => Chart::Cusum,
            Drawn::Ewma => Chart::Ewma,
        };
        files::save_plot(&plot::of_joint(wear, args.link.as_deref(), chart, options.units), file)?;
    }
    let page = if args.output.json {
        json::wear(wear, &found.said)
    } else {
        text::wear(wear, &found.said, &options)
    };
    screen.print(&page)?;
    Ok(ending(args, &found))
}

/// Sees that the vehicle has the link that is to be drawn.
fn known(link: &str, wear: &Wear) -> Result<(), NoLink> {
    let there: Vec<String> = wear.axles.iter().flat_map(|a| &a.joints).map(|j| j.link.clone()).collect();
    if there.iter().any(|name| name == link) {
        return Ok(());
    }
    Err(NoLink { vehicle: wear.vehicle.clone(), link: link.to_owned(), there })
}

/// A link that the vehicle has not.
#[derive(Debug, thiserror::Error)]
#[error("{vehicle} has no link \"{link}\"")]
struct NoLink {
    vehicle: String,
    link: String,
    there: Vec<String>,
}

impl Explain for NoLink {
    fn hint(&self) -> Option<String> {
        did_you_mean(&self.link, &self.there)
    }
}

/// A fleet: what to look at on each vehicle.
fn several(args: &Args, found: &wear::Found, screen: &Screen) -> Result<Ending, Failure> {
    if args.plot.is_some() {
        return Err(WhichVehicle.into());
    }
    let page = if args.output.json {
        json::fleet(&found.vehicles, &found.said)
    } else {
        text::fleet(&found.vehicles, &found.said, &screen.options(&args.output))
    };
    screen.print(&page)?;
    Ok(ending(args, found))
}

fn ending(args: &Args, found: &wear::Found) -> Ending {
    let joints = || found.vehicles.iter().flat_map(|w| w.suspects());
    match args.fail_on {
        Some(FailOn::Growing) if joints().next().is_some() => Ending::Found,
        Some(FailOn::Worn) if joints().any(|(_, j)| j.state == JointState::Worn) => Ending::Found,
        _ => Ending::Done,
    }
}

/// A plot shows one vehicle.
#[derive(Debug, thiserror::Error)]
#[error("a plot shows the joint of one vehicle, and none is named")]
struct WhichVehicle;

impl Explain for WhichVehicle {
    fn hint(&self) -> Option<String> {
        Some("hingeline wear VEHICLE --plot FILE".into())
    }
}
