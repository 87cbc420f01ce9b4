//! `hingeline predict`

use super::output::{Output, Screen};
use super::{Ending, Failure};
use crate::jobs::predict;
use crate::show::{json, text};
use std::path::PathBuf;

/// The numbers of a vehicle as designed; several files stand side by side.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Vehicle files, or the folders that hold them.
    #[arg(value_name = "VEHICLE", required = true, value_parser = super::target::vehicle_file())]
    vehicles: Vec<PathBuf>,
    /// Solve exactly the states of this table (CSV with heave_m,roll_rad).
    #[arg(long, value_name = "FILE")]
    states: Option<PathBuf>,
    /// Also the loads for this total drive force, N, forward positive.
    #[arg(long, value_name = "N", value_parser = super::numbers::plain)]
    drive: Option<f64>,
    /// Also the loads for this total brake force, N.
    #[arg(long, value_name = "N", value_parser = super::numbers::plain)]
    brake: Option<f64>,
    /// Also the loads for this total side force, N, to the left positive.
    #[arg(long, value_name = "N", value_parser = super::numbers::plain)]
    side: Option<f64>,
    /// With --drive: also what the driveshaft's torque does to the axle.
    #[arg(long, requires = "drive")]
    shaft_torque: bool,
    /// Turns of the pinion per turn of the wheels, where the file's final_drive is not to count.
    #[arg(long, value_name = "RATIO", requires = "shaft_torque", value_parser = ratio)]
    final_drive: Option<f64>,
    /// Angle of the ramp for the ramp travel index, in degrees.
    #[arg(long, value_name = "DEG", value_parser = super::target::ramp_angle, default_value = "20")]
    ramp_angle: f64,
    #[command(flatten)]
    output: Output,
}

/// A ratio of turns.
fn ratio(text: &str) -> Result<f64, String> {
    let meant = "a ratio above 0, such as 4.1";
    let number = super::numbers::number(text, meant)?;
    if number > 0.0 { Ok(number) } else { Err(format!("give {meant}")) }
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let request = predict::Request {
        vehicles: args.vehicles.clone(),
        states: args.states.clone(),
        drive_n: args.drive,
        brake_n: args.brake,
        side_n: args.side,
        shaft_torque: args.shaft_torque,
        final_drive: args.final_drive,
        ramp_rad: Some(args.ramp_angle.to_radians()),
    };
    let predicted = predict::run(&request)?;
    let page = if args.output.json {
        json::prediction(&predicted)
    } else {
        text::prediction(&predicted, &screen.options(&args.output))
    };
    screen.print(&page)?;
    Ok(Ending::Done)
}
