//! `hingeline sensors`

use super::output::{Output, Screen};
use super::target::{Plan, plan};
use super::{Ending, Failure};
use crate::jobs::sensors;
use crate::show::{json, text};
use std::path::PathBuf;

/// What this set of sensors can and cannot see, with which uncertainty, and what to add.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The vehicle file, or the folder that holds it.
    #[arg(value_name = "VEHICLE", value_parser = super::target::vehicle_file())]
    vehicle: PathBuf,
    /// The rig file; the one beside the vehicle file where none is given.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// Phases of the test, with commas between.
    #[arg(long, value_name = "PHASES", value_parser = plan, default_value = "still,bounce,ramp left,ramp right")]
    plan: Plan,
    /// Angle of the ramp in degrees.
    #[arg(long, value_name = "DEG", value_parser = super::target::ramp_angle, default_value = "20")]
    ramp_angle: f64,
    /// Leave out the sensor of this name; may be given several times.
    #[arg(long, value_name = "NAME")]
    without: Vec<String>,
    #[command(flatten)]
    output: Output,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let beside = || args.vehicle.with_file_name(crate::files::logbook::RIG_FILE);
    let reach = sensors::run(&sensors::Request {
        vehicle: args.vehicle.clone(),
        rig: args.rig.clone().unwrap_or_else(beside),
        phases: args.plan.0.clone(),
        ramp_rad: args.ramp_angle.to_radians(),
        without: args.without.clone(),
        now_us: Some(super::dates::now().us),
    })?;
    let page = if args.output.json {
        json::sensors(&reach)
    } else {
        text::sensors(&reach, &screen.options(&args.output))
    };
    screen.print(&page)?;
    Ok(Ending::Done)
}
