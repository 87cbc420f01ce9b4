//! `hingeline report`

use super::output::{Inches, Screen};
use super::report_files::{ReportError, free, now, open, write, write_pictures};
use super::target::Target;
use super::{Ending, Failure};
use crate::files::logbook::Logbook;
use crate::jobs::compare::with_design;
use crate::jobs::predict;
use crate::jobs::subject::{Subject, subject};
use crate::jobs::wear;
use crate::show::Units;
use crate::show::plot::MOST_LAYOUTS;
use crate::show::report::{self, Picture, designed};
use std::path::{Path, PathBuf};

/// Pixels of a PNG per CSS px: sharp in print at the size in which the report shows it.
const PNG_SCALE: f64 = 3.0;

/// Write one HTML file that prints well: of a run, of one or several vehicles as drawn, side by side, or of wear.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// One run (a table of readings, a run folder, a run's name, or VEHICLE/NAME), or vehicles (files, or vehicles of the
    /// logbook).
    #[arg(value_name = "RUN|VEHICLE", required_unless_present = "wear", num_args = 1..=MOST_LAYOUTS)]
    names: Vec<String>,
    /// Instead: the wear of this vehicle of the logbook over all its runs.
    #[arg(long, value_name = "VEHICLE", conflicts_with_all = ["names", "pictures", "drive", "brake", "side"])]
    wear: Option<String>,
    #[command(flatten)]
    target: Target,
    #[command(flatten)]
    forces: Forces,
    /// Where to write it.
    #[arg(long, short, value_name = "FILE", default_value = "report.html")]
    output: PathBuf,
    /// Also write every drawing (SVG) and every plot (SVG and PNG) into this folder.
    #[arg(long, value_name = "DIR")]
    pictures: Option<PathBuf>,
    /// Write over files that are there.
    #[arg(long)]
    force: bool,
    /// Open it when it is written.
    #[arg(long)]
    open: bool,
    /// Units in the report; the logbook's where there is one, else millimetres.
    #[arg(long, value_name = "UNITS")]
    units: Option<Inches>,
}

/// Total forces for which to work out loads.
#[derive(Debug, Clone, Copy, clap::Args)]
pub struct Forces {
    /// Vehicles: also the loads for this total drive force, N, forward positive.
    #[arg(long, value_name = "N", value_parser = super::numbers::plain)]
    drive: Option<f64>,
    /// Vehicles: also the loads for this total brake force, N.
    #[arg(long, value_name = "N", value_parser = super::numbers::plain)]
    brake: Option<f64>,
    /// Vehicles: also the loads for this total side force, N, to the left positive.
    #[arg(long, value_name = "N", value_parser = super::numbers::plain)]
    side: Option<f64>,
}

impl Forces {
    fn any(self) -> bool {
        [self.drive, self.brake, self.side].iter().any(Option::is_some)
    }
}

/// A report before it is written.
struct Made {
    /// The page.
    html: String,
    /// What it says first.
    verdict: String,
    /// Its pictures, where they were asked for.
    pictures: Vec<Picture>,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let logbook = match Logbook::find(screen.logbook.as_deref(), Path::new(".")) {
        Ok(logbook) => Some(logbook),
        Err(error) if screen.logbook.is_some() => return Err(error.into()),
        Err(_) => None,
    };
    let subject = match &args.wear {
        Some(_) => None,
        None => Some(subject(&args.names, Path::new(""), logbook.as_ref())?),
    };
    free(&args.output, args.pictures.as_deref(), args.force)?;
    let made = match (subject, &args.wear) {
        (Some(Subject::Run(run)), _) => of_run(args, &run, screen)?,
        (Some(Subject::Vehicles(files)), _) => of_vehicles(args, files, screen.units(args.units))?,
        (None, vehicle) => of_wear(args, vehicle.as_deref().unwrap_or_default(), screen)?,
    };
    write(&args.output, made.html.as_bytes())?;
    let mut written = args.output.display().to_string();
    if let Some(folder) = &args.pictures {
        write_pictures(folder, &made.pictures)?;
        written += &format!("\n{} pictures in {}", made.pictures.len(), folder.display());
    }
    screen.print(&format!("{}\n\n{written}", made.verdict))?;
    if args.open {
        open(&args.output)?;
    }
    Ok(Ending::Done)
}

fn of_run(args: &Args, run: &str, screen: &Screen) -> Result<Made, Failure> {
    if args.forces.any() {
        return Err(ReportError::LoadsOfRun(run.to_owned()).into());
    }
    let units = screen.units(args.units);
    let compared = with_design(&args.target.request(run, screen.logbook.clone()))?;
    let (comparison, vehicle) = (&compared.comparison, &compared.source.vehicle);
    let minute = |stamp: &String| stamp.replacen('T', " ", 1).chars().take(16).collect();
    let recorded = comparison.provenance.recorded.as_ref().map(minute);
    let calibration = compared.source.calibration.clone();
    let options = report::Options { units, recorded, made: Some(now()), calibration };
    let pictures = match &args.pictures {
        Some(_) => report::pictures(comparison, vehicle, units, PNG_SCALE)?,
        None => Vec::new(),
    };
    let html = report::html(comparison, vehicle, &options);
    Ok(Made { html, verdict: report::verdict(comparison), pictures })
}

fn of_wear(args: &Args, vehicle: &str, screen: &Screen) -> Result<Made, Failure> {
    let request = wear::Request {
        logbook: screen.logbook.clone(),
        vehicle: Some(vehicle.to_owned()),
        stamp: super::dates::stamp(),
    };
    let found = wear::run(&request, &mut |p| screen.redraw_measuring(p))?;
    screen.redraw_end();
    let options =
        report::Options { units: screen.units(args.units), made: Some(now()), ..Default::default() };
    let html = found.vehicles.iter().map(|wear| report::wear(wear, &found.said, &options)).collect();
    let verdict = found.vehicles.iter().map(report::wear_verdict).collect();
    Ok(Made { html, verdict, pictures: Vec::new() })
}

fn of_vehicles(args: &Args, vehicles: Vec<PathBuf>, units: Units) -> Result<Made, Failure> {
    if let Some(flag) = args.target.run_flag() {
        return Err(ReportError::RunFlag(flag).into());
    }
    let Forces { drive, brake, side } = args.forces;
    let request = predict::Request {
        vehicles,
        states: None,
        drive_n: drive,
        brake_n: brake,
        side_n: side,
        ..predict::Request::default()
    };
    let predicted = predict::run(&request)?;
    let options = report::Options { units, made: Some(now()), ..Default::default() };
    let pictures = match &args.pictures {
        Some(_) => designed::pictures(&predicted, units, PNG_SCALE)?,
        None => Vec::new(),
    };
    let html = designed::html(&predicted, &options);
    Ok(Made { html, verdict: designed::verdict(&predicted, units), pictures })
}
