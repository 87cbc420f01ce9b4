//! Flags that name a run and what goes with it.

use super::numbers::{number, positive};
use crate::files::logbook::VEHICLE_FILE;
use crate::files::nearest;
use crate::jobs::source::{Request, Which};
use crate::run::plan::{Test, parse_plan};
use crate::run::table::{Choices, ColumnUnit};
use crate::run::{Facts, Phase};
use clap::builder::{PathBufValueParser, TypedValueParser};
use std::path::PathBuf;

/// A vehicle file, or the folder that holds one.
pub fn vehicle_file() -> impl TypedValueParser<Value = PathBuf> {
    PathBufValueParser::new().map(|path| {
        let inside = path.join(VEHICLE_FILE);
        if inside.is_file() { inside } else { path }
    })
}

/// A run, and files to use instead of its own.
#[derive(Debug, Clone, clap::Args)]
pub struct Target {
    /// Vehicle file to use instead of the run's own.
    #[arg(long, value_name = "FILE", value_parser = vehicle_file())]
    pub vehicle: Option<PathBuf>,
    /// Rig file to use instead of the run's own.
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// What a table without a phase column was: bounce, ramp, ramp left, rock, ….
    #[arg(long, value_name = "TEST", value_parser = test)]
    pub test: Option<Test>,
    /// Angle of the ramp in degrees, where the run does not say.
    #[arg(long, value_name = "DEG", value_parser = ramp_angle)]
    pub ramp_angle: Option<f64>,
    /// Calibration file to lay over the rig instead of the run's own, or of the one beside the rig file.
    #[arg(long, value_name = "FILE", conflicts_with = "no_calibration")]
    pub calibration: Option<PathBuf>,
    /// Lay no calibration over the rig: measure with what rig.toml says.
    #[arg(long)]
    pub no_calibration: bool,
    #[command(flatten)]
    pub columns: Columns,
}

/// How a table is read.
#[derive(Debug, Clone, clap::Args)]
pub struct Columns {
    /// Units of a table's columns that state none, such as mm,deg: then the rig file's scales do not count.
    #[arg(long, value_name = "UNITS", value_parser = column_units)]
    column_units: Option<ColumnUnits>,
    /// Leave columns of a table out that look like a sensor's name mistyped.
    #[arg(long)]
    ignore_columns: bool,
}

/// Units of columns, as one value of the command line.
#[derive(Debug, Clone)]
struct ColumnUnits(Vec<ColumnUnit>);

fn column_units(text: &str) -> Result<ColumnUnits, String> {
    ColumnUnit::parse_list(text).map(ColumnUnits)
}

impl Columns {
    /// The choices that these flags make.
    pub fn choices(&self) -> Choices {
        let units = self.column_units.clone().map_or_else(Vec::new, |units| units.0);
        Choices { units, ignore_unknown: self.ignore_columns, most_readings: None, no_phases: false }
    }
}

impl Target {
    /// The first flag that was given, as people type it.
    pub fn run_flag(&self) -> Option<&'static str> {
        let given = [
            ("--vehicle", self.vehicle.is_some()),
            ("--rig", self.rig.is_some()),
            ("--calibration", self.calibration.is_some()),
            ("--no-calibration", self.no_calibration),
            ("--test", self.test.is_some()),
            ("--ramp-angle", self.ramp_angle.is_some()),
            ("--column-units", self.columns.column_units.is_some()),
            ("--ignore-columns", self.columns.ignore_columns),
        ];
        given.into_iter().find(|(_, given)| *given).map(|(flag, _)| flag)
    }

    /// The request for one run.
    pub fn request(&self, run: &str, logbook: Option<PathBuf>) -> Request {
        Request {
            run: run.to_owned(),
            vehicle: self.vehicle.clone(),
            rig: self.rig.clone(),
            test: self.test,
            ramp_angle_rad: self.ramp_angle.map(f64::to_radians),
            table: self.columns.choices(),
            logbook,
            calibration: match (&self.calibration, self.no_calibration) {
                (_, true) => Which::None,
                (Some(file), false) => Which::File(file.clone()),
                (None, false) => Which::Own,
            },
            now_us: Some(super::dates::now().us),
        }
    }
}

/// What a person types in about a test.
#[derive(Debug, Clone, clap::Args)]
pub struct Typed {
    /// Angle of the ramp in degrees; only the ramp travel index needs it.
    #[arg(long, value_name = "DEG", value_parser = ramp_angle)]
    ramp_angle: Option<f64>,
    /// Distance along the ramp as taped with the left wheel up, mm.
    #[arg(long, value_name = "MM", value_parser = positive)]
    taped_left: Option<f64>,
    /// Distance along the ramp as taped with the right wheel up, mm.
    #[arg(long, value_name = "MM", value_parser = positive)]
    taped_right: Option<f64>,
    /// Load of a rock or a shove on the axle, newtons, as a strap's scale or a winch says; play is judged with it.
    #[arg(long, value_name = "N", value_parser = load)]
    load: Option<f64>,
    /// Pressure of a tyre, such as "rear left=1.4"; kept with the run's notes, may be given several times.
    #[arg(long, value_name = "WHEEL=BAR", value_parser = of_a_thing)]
    tyre_pressure: Vec<(String, f64)>,
    /// Loaded radius of a tyre, such as "rear left=455", mm; kept with the notes, may be given several times.
    #[arg(long, value_name = "WHEEL=MM", value_parser = of_a_thing)]
    loaded_radius: Vec<(String, f64)>,
    /// Taped length of a ride mark at the still, such as "left=512", mm; kept with the notes, may be given several times.
    #[arg(long, value_name = "MARK=MM", value_parser = of_a_thing)]
    ride_mark: Vec<(String, f64)>,
    /// Anything worth keeping with the run.
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    notes: String,
}

/// Parses a name and a positive number with = between.
fn of_a_thing(text: &str) -> Result<(String, f64), String> {
    let wrong = || "write NAME=NUMBER, such as \"rear left=455\"".to_owned();
    let (name, number) = text.rsplit_once('=').ok_or_else(wrong)?;
    let name = name.trim();
    match positive(number)? {
        _ if name.is_empty() => Err(wrong()),
        number => Ok((name.to_owned(), number)),
    }
}

impl Typed {
    /// The facts of a run.
    pub fn facts(&self, test: Option<Test>) -> Facts {
        Facts {
            test: test.map(|t| t.words().to_owned()),
            ramp_angle_rad: self.ramp_angle.map(f64::to_radians),
            taped_ramp_m: [self.taped_left, self.taped_right].map(|mm| mm.map(|mm| mm * 1e-3)),
            load_n: self.load,
            notes: self.all_notes(),
        }
    }

    /// The wheels that were named.
    pub fn wheels(&self) -> Vec<&str> {
        self.tyre_pressure.iter().chain(&self.loaded_radius).map(|(wheel, _)| wheel.as_str()).collect()
    }

    /// The ride marks that were named.
    pub fn marks(&self) -> Vec<&str> {
        self.ride_mark.iter().map(|(mark, _)| mark.as_str()).collect()
    }

    /// The notes, and below them a line for each thing that was measured by hand.
    fn all_notes(&self) -> String {
        let lists = [
            ("Tyre pressure", "bar", &self.tyre_pressure),
            ("Loaded radius", "mm", &self.loaded_radius),
            ("Ride mark", "mm", &self.ride_mark),
        ];
        let measured = lists.iter().flat_map(|(what, unit, list)| {
            list.iter().map(move |(name, number)| format!("{what}, {name}: {number} {unit}."))
        });
        let typed = Some(self.notes.clone()).filter(|notes| !notes.is_empty());
        typed.into_iter().chain(measured).collect::<Vec<_>>().join("\n")
    }
}

/// Parses a load in newtons.
pub fn load(text: &str) -> Result<f64, String> {
    let meant = "the load in newtons, such as 3000: ten times the kilograms that a scale shows";
    match number(text, meant)? {
        newtons if newtons > 0.0 && newtons < 1e5 => Ok(newtons),
        _ => Err(format!("give {meant}")),
    }
}

/// Parses how many virtual seconds pass in one.
pub fn speed(text: &str) -> Result<f64, String> {
    let meant = "a number between 0.1 and 200";
    match number(text, meant)? {
        speed if (0.1..=200.0).contains(&speed) => Ok(speed),
        _ => Err(format!("give {meant}")),
    }
}

/// Phases in order, as one value of the command line.
#[derive(Debug, Clone)]
pub struct Plan(pub Vec<Phase>);

/// Parses phases with commas between.
pub fn plan(text: &str) -> Result<Plan, String> {
    let known: Vec<&str> = Phase::WORDS.iter().map(|(words, _)| *words).collect();
    parse_plan(text).map(Plan).map_err(|part| match nearest(&part, known.iter().copied()) {
        Some(near) => format!("no such phase \"{part}\"; did you mean {near}?"),
        None => format!("no such phase \"{part}\"; there are {}", known.join(", ")),
    })
}

/// Parses a test's words.
pub fn test(words: &str) -> Result<Test, String> {
    Test::parse(words).ok_or_else(|| match nearest(words, Test::WORDS.split(", ")) {
        Some(near) => format!("no such test; did you mean {near}?"),
        None => format!("no such test; there are {}", Test::WORDS),
    })
}

/// Parses the angle of a ramp, degrees.
pub fn ramp_angle(text: &str) -> Result<f64, String> {
    match number(text.trim_end_matches('°'), "the angle in degrees, such as 20")? {
        degrees if degrees > 0.0 && degrees < 60.0 => Ok(degrees),
        _ => Err("a ramp's angle is between 0 and 60 degrees".into()),
    }
}
