//! `hingeline calibrate`: what the sensors are worth, from known lengths, positions and attitudes.

use super::keys::Keys;
use super::numbers::{number, plain, positive};
use super::output::{Output, Screen};
use super::target::Columns;
use super::{Ending, Failure};
use crate::calibrate::heading::Attitude;
use crate::device::line::SystemClock;
use crate::device::ports::{DEFAULT_BAUD, PortConnector};
use crate::files::logbook::Logbook;
use crate::files::with_point;
use crate::jobs::calibrate::guide::{HOLD_S, positions};
use crate::jobs::calibrate::{self, CALIBRATIONS, Work};
use crate::jobs::cautions::CAUTIONS;
use crate::jobs::record;
use crate::jobs::vehicle_folder::VehicleFolder;
use crate::rig::calibration::VALID_DAYS;
use crate::run::Facts;
use crate::show::{json, text};
use clap::Subcommand;
use jiff::ZonedDateTime;
use std::path::Path;

/// Find zeros, scales, biases and headings of the sensors, and keep them with their date; without a subcommand, say where the
/// calibration stands.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Readings come from a run or a table with every position marked still in the phase column (or just resting there for \
five seconds each), from one run or table per position, or from a logger: --port asks for one position after another. Values are in \
mm, degrees and newtons. What is found is added to calibration.toml in the vehicle's folder, used from then on in place of what \
rig.toml says, and copied into every run. It is void when rig.toml says another place, plug or scale of the sensor, or when it \
is too old."
)]
pub struct Args {
    /// The vehicle: its name in the logbook, its folder, or its vehicle file.
    #[arg(value_name = "VEHICLE")]
    vehicle: String,
    #[command(subcommand)]
    what: Option<What>,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The zero of wires and angle sensors, from lengths taped at the still.
    Zero {
        /// A sensor and its true length at the still, mm (an angle sensor: degrees against the drawing), such as "left travel=512";
        /// may be given several times.
        #[arg(long, value_name = "SENSOR=VALUE", value_parser = named)]
        length: Vec<(String, f64)>,
        /// A ride mark and its length taped at the still, mm; may be given several times. Without lengths and marks those of
        /// vehicle.toml count.
        #[arg(long, value_name = "MARK=MM", value_parser = named)]
        mark: Vec<(String, f64)>,
        /// How well a length (mm) or an angle (degrees) was read, one standard deviation; 0.5 mm and 0.2° where nothing is given.
        #[arg(long, value_name = "VALUE", value_parser = positive)]
        u: Option<f64>,
        #[command(flatten)]
        common: Common,
    },
    /// The scale of a wire or an angle sensor, from two or more known lengths or angles.
    Scale {
        /// The sensor.
        #[arg(value_name = "SENSOR")]
        sensor: String,
        /// The known values in their order, mm or degrees: 100,300,500,700. With a reading typed behind each, in counts of rig.toml's
        /// scale, no recording is needed: 100=3310,300=9905.
        #[arg(long, value_name = "VALUES", value_parser = known, allow_hyphen_values = true)]
        at: Known,
        /// How well a value is known, one standard deviation, mm or degrees; 0.5 mm and 0.2° where nothing is given.
        #[arg(long, value_name = "VALUE", value_parser = positive)]
        u: Option<f64>,
        #[command(flatten)]
        common: Common,
    },
    /// Bias, scale and misalignment of an inertial unit, from six positions or more: each of its faces up in turn.
    Tumble {
        /// The unit.
        #[arg(value_name = "UNIT")]
        sensor: String,
        /// With --port: ask for six edges after the six faces; they find how far the axes are from square, and the biases better.
        #[arg(long)]
        edges: bool,
        #[command(flatten)]
        common: Common,
    },
    /// The heading of an inertial unit about the vertical, from the still and one or more tilts that are known.
    Heading {
        /// The unit.
        #[arg(value_name = "UNIT")]
        sensor: String,
        /// A position, in their order: level (the first), roll=10, pitch=-3, or both with a plus between, degrees; roll is left side
        /// up, pitch nose down. Given once for each position.
        #[arg(long, value_name = "ATTITUDE", value_parser = attitude, required = true)]
        at: Vec<Attitude>,
        /// How well roll and pitch are known, degrees, one standard deviation; 0.2 where nothing is given.
        #[arg(long, value_name = "DEG", value_parser = positive)]
        u: Option<f64>,
        #[command(flatten)]
        common: Common,
    },
}

/// Where readings come from, and how long what is found holds.
#[derive(Debug, Clone, clap::Args)]
struct Common {
    /// A run, a run folder, or a table with the positions; once for each position where they are recorded apart.
    #[arg(long, value_name = "RUN|FILE")]
    from: Vec<String>,
    /// Record the positions now, from the logger on this serial port.
    #[arg(long, value_name = "PATH", conflicts_with = "from")]
    port: Option<String>,
    /// Bits per second of a port that is not USB.
    #[arg(long, value_name = "N", default_value_t = DEFAULT_BAUD)]
    baud: u32,
    /// How many days it holds.
    #[arg(long, value_name = "N", value_parser = positive, default_value_t = VALID_DAYS)]
    valid_days: f64,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    output: Output,
}

fn named(text: &str) -> Result<(String, f64), String> {
    let wrong = || "write NAME=NUMBER, such as \"left travel=512\"".to_owned();
    let (name, number) = text.rsplit_once('=').ok_or_else(wrong)?;
    let number = plain(number)?;
    if name.trim().is_empty() { Err(wrong()) } else { Ok((name.trim().to_owned(), number)) }
}

/// Known values in their order, as one value of the command line.
#[derive(Debug, Clone, PartialEq)]
pub struct Known(pub Vec<(f64, Option<f64>)>);

/// Parses known values with commas between.
pub fn known(text: &str) -> Result<Known, String> {
    let parts: Vec<&str> = text.split([' ', ';']).filter(|part| !part.is_empty()).collect();
    if parts.len() > 1 && parts.iter().any(|part| with_point(part).is_some()) {
        let points: Vec<String> =
            parts.iter().map(|part| with_point(part).unwrap_or_else(|| (*part).to_owned())).collect();
        return Err(format!(
            "write fractions with a point, and commas between the values: {}",
            points.join(",")
        ));
    }
    text.split(',').map(one_known).collect::<Result<_, _>>().map(Known)
}

/// Parses a known value with or without its reading.
fn one_known(text: &str) -> Result<(f64, Option<f64>), String> {
    let meant = "a value, such as 300, or a value and its reading, such as 300=9905";
    match text.split_once('=') {
        None => Ok((number(text, meant)?, None)),
        Some((value, reading)) => Ok((number(value, meant)?, Some(number(reading, meant)?))),
    }
}

/// Parses the attitude of a position, degrees.
pub fn attitude(text: &str) -> Result<Attitude, String> {
    let mut attitude = Attitude::default();
    if text.trim() == "level" {
        return Ok(attitude);
    }
    for part in text.split('+') {
        let wrong = || "write level, roll=10, pitch=-3, or roll=10+pitch=-0.8".to_owned();
        let (word, degrees) = part.split_once('=').ok_or_else(wrong)?;
        let degrees =
            number(degrees.trim().trim_end_matches('°'), "the degrees as in roll=10 or pitch=-0.8")?;
        if !(-90.0..=90.0).contains(&degrees) {
            return Err("an attitude is between −90 and 90 degrees".into());
        }
        match word.trim() {
            "roll" => attitude.roll_rad = degrees.to_radians(),
            "pitch" => attitude.pitch_rad = degrees.to_radians(),
            _ => return Err(wrong()),
        }
    }
    Ok(attitude)
}

impl What {
    fn parted(&self) -> (Work, &Common) {
        match self {
            What::Zero { length, mark, u, common } => {
                (Work::Zero { lengths: length.clone(), marks: mark.clone(), u: *u }, common)
            }
            What::Scale { sensor, at, u, common } => {
                (Work::Scale { sensor: sensor.clone(), known: at.0.clone(), u: *u }, common)
            }
            What::Tumble { sensor, edges, common } => {
                (Work::Tumble { sensor: sensor.clone(), edges: *edges }, common)
            }
            What::Heading { sensor, at, u, common } => {
                let u_rad = u.map(f64::to_radians);
                (Work::Heading { sensor: sensor.clone(), attitudes: at.clone(), u_rad }, common)
            }
        }
    }
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let parted = args.what.as_ref().map(What::parted);
    let mut request = calibrate::Request {
        vehicle: args.vehicle.clone(),
        logbook: screen.logbook.clone(),
        work: parted.as_ref().map(|(work, _)| work.clone()),
        from: parted.as_ref().map(|(_, c)| c.from.clone()).unwrap_or_default(),
        columns: parted.as_ref().map(|(_, c)| c.columns.choices()).unwrap_or_default(),
        valid_days: parted.as_ref().map_or(VALID_DAYS, |(_, c)| c.valid_days),
        now: ZonedDateTime::now(),
    };
    if let Some((work, common)) = &parted
        && let Some(port) = &common.port
    {
        let Some(recorded) = record_positions(&request, work, port, common.baud, screen)? else {
            return Ok(Ending::Done);
        };
        request.from = vec![recorded];
    }
    let calibrated = calibrate::run(&request)?;
    let output = parted.as_ref().map_or(&args.output, |(_, common)| &common.output);
    let page = if output.json || args.output.json {
        json::calibrated(&calibrated)
    } else {
        text::calibrated(&calibrated, &screen.options(output))
    };
    screen.print(&page)?;
    Ok(Ending::Done)
}

/// Records the positions one after another; gives the folder of the recording, or none where it was broken off.
fn record_positions(
    request: &calibrate::Request,
    work: &Work,
    port: &str,
    baud: u32,
    screen: &Screen,
) -> Result<Option<String>, Failure> {
    let logbook = Logbook::find(screen.logbook.as_deref(), Path::new(".")).ok();
    let vehicle_folder = calibrate::vehicle_folder(&request.vehicle, logbook.as_ref())?;
    let rig = VehicleFolder::load(&vehicle_folder)?.rig;
    calibrate::checked(&rig, work)?;
    let asked = positions(work, &rig);
    screen.tell(&text::wrapped_to(screen.size().0, &before(&asked)));
    let recording = record::Request {
        vehicle_folder,
        shelf: CALIBRATIONS,
        test: None,
        plan: work.plan(),
        facts: Facts { test: Some(format!("calibrate {}", work.word())), ..Facts::default() },
        without: Vec::new(),
        seconds: None,
        reconnect_s: 30.0,
        now: request.now.clone(),
    };
    let mut keys = Keys::listen();
    let mut connector = PortConnector::new(port, baud);
    let (mut told, mut stopped) = (0, false);
    let recorded = record::run(&recording, &mut connector, &SystemClock::start(), &mut |progress| {
        if progress.begun > told {
            told = progress.begun;
            let what = asked.get(told - 1).map_or("", String::as_str);
            let position = format!(
                "\nPosition {told} of {}: {what} When it has rested for {HOLD_S} seconds press Enter.",
                asked.len()
            );
            screen.tell(&text::wrapped_to(screen.size().0, &position));
        }
        keys.pressed().inspect(|command| stopped |= *command == record::Command::Stop)
    })?;
    if stopped || recorded.phases.len() < asked.len() {
        screen.tell(&format!(
            "Broken off after {} of {} positions: nothing was calibrated. The readings are in {}.",
            recorded.phases.len(),
            asked.len(),
            recorded.folder.display()
        ));
        return Ok(None);
    }
    Ok(Some(recorded.folder.display().to_string()))
}

fn before(asked: &[String]) -> String {
    let mut text = String::from("Before you start:\n");
    for caution in CAUTIONS {
        text.push_str(&format!("  - {caution}\n"));
    }
    text.push_str(&format!(
        "\n{} positions, one after another. Enter or the logger's button goes on to the next; q ends.",
        asked.len()
    ));
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_and_attitudes_are_read_as_people_type_them() {
        assert_eq!(known("-20,300"), Ok(Known(vec![(-20.0, None), (300.0, None)])));
        assert_eq!(known(" 300 = 9905 "), Ok(Known(vec![(300.0, Some(9905.0))])));
        assert!(known("three").is_err() && known("300=").is_err());
        for comma in ["100,5 300", "100,5; 300"] {
            let said = known(comma).unwrap_err();
            assert!(said.ends_with("commas between the values: 100.5,300"), "{said}");
        }
        assert_eq!(attitude("roll=10,5").unwrap_err(), "write the fraction with a point: 10.5");
        assert_eq!(named("left travel=512.5"), Ok(("left travel".into(), 512.5)));
        assert!(named("=3").is_err() && named("left").is_err());
        assert_eq!(attitude("level"), Ok(Attitude::default()));
        let both = attitude("roll=10+pitch=-0.8").unwrap();
        assert!(
            (both.roll_rad.to_degrees() - 10.0).abs() < 1e-12
                && (both.pitch_rad.to_degrees() + 0.8).abs() < 1e-12
        );
        assert!(attitude("yaw=3").is_err() && attitude("roll=100").is_err());
    }
}
