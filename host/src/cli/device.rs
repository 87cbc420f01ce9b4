//! `hingeline device`: who the logger is, what it sees, what is wrong.

use super::keys::Keys;
use super::output::{Output, Screen};
use super::{Ending, Failure};
use crate::device::line::SystemClock;
use crate::device::ports::{DEFAULT_BAUD, PortConnector};
use crate::explain::Status;
use crate::files::logbook::Logbook;
use crate::jobs::device::{self, Command, Progress};
use crate::jobs::history::vehicle_folder;
use crate::jobs::record;
use crate::show::{Units, json, text};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Say who the logger is, what answers on its buses, which sensor is missing and what to check.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "With --wiggle it asks for each sensor in turn: move it by hand, and the row that moves shows whether its plug \
is where rig.toml says. Enter leaves a sensor out, q ends. Exit status: 0 all is well, 3 something is missing or wrong."
)]
pub struct Args {
    /// The serial port.
    #[arg(long, value_name = "PATH")]
    port: String,
    /// The vehicle of the logbook whose sensors are on the logger; without it only the logger itself is looked at.
    #[arg(long, value_name = "NAME")]
    vehicle: Option<String>,
    /// The rig file in place of the vehicle's own; where no vehicle is named, of the vehicle file beside it.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// Check by hand that each sensor's row is its own, and that it moves the right way.
    #[arg(long)]
    wiggle: bool,
    /// How long to watch the sensors, seconds.
    #[arg(long, value_name = "N", default_value_t = 3.0, value_parser = super::numbers::seconds)]
    seconds: f64,
    /// End a recording that goes on.
    #[arg(long)]
    stop: bool,
    /// Bits per second of a port that is not USB.
    #[arg(long, value_name = "N", default_value_t = DEFAULT_BAUD)]
    baud: u32,
    #[command(flatten)]
    output: Output,
}

/// How often a line of progress is drawn on a terminal.
const REDRAW: Duration = Duration::from_millis(100);

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let vehicle_folder = match (&args.vehicle, &args.rig) {
        (Some(name), _) => {
            Some(vehicle_folder(&Logbook::find(screen.logbook.as_deref(), Path::new("."))?, name)?)
        }
        (None, Some(rig)) => rig.parent().map(Path::to_owned),
        (None, None) => None,
    };
    let request = device::Request {
        vehicle_folder,
        rig: args.rig.clone(),
        watch_s: args.seconds,
        wiggle: args.wiggle,
        stop: args.stop,
    };
    let mut keys = Keys::listen();
    let mut teller = Teller::new(screen, screen.units(args.output.units));
    let mut connector = PortConnector::new(&args.port, args.baud);
    let report = device::run(&request, &mut connector, &SystemClock::start(), &mut |progress| {
        teller.tell(progress);
        match keys.pressed() {
            Some(record::Command::Stop) => Some(Command::Stop),
            Some(record::Command::Next) => Some(Command::Skip),
            _ => None,
        }
    });
    screen.redraw_end();
    let report = report?;
    let page = if args.output.json {
        json::device(&report)
    } else {
        text::device(&report, &screen.options(&args.output))
    };
    screen.print(&page)?;
    Ok(if report.is_well() { Ending::Done } else { Ending::Failed(Status::Device) })
}

/// Tells the person what to move: a line each in a log, one line that is drawn anew on a terminal.
struct Teller<'a> {
    screen: &'a Screen,
    units: Units,
    draws: bool,
    told: Option<String>,
    drawn: Instant,
}

impl<'a> Teller<'a> {
    fn new(screen: &'a Screen, units: Units) -> Self {
        Self { screen, units, draws: screen.draws(), told: None, drawn: Instant::now() }
    }

    fn tell(&mut self, progress: &Progress<'_>) {
        let turn = text::device_turn(progress);
        if turn.is_some() && turn != self.told {
            self.screen.redraw_end();
            self.screen.tell(turn.as_deref().unwrap_or_default());
            self.told = turn;
        }
        if self.draws && self.drawn.elapsed() >= REDRAW {
            self.drawn = Instant::now();
            self.screen.redraw(&text::device_moving(progress, self.units));
        }
    }
}
