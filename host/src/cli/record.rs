//! `hingeline record`: a test from a serial port, guided.

use super::keys::Keys;
use super::output::Screen;
use super::target::{Plan, Typed, plan, test};
use super::{Ending, Failure};
use crate::device::line::SystemClock;
use crate::device::ports::{DEFAULT_BAUD, PortConnector};
use crate::explain::Explain;
use crate::files::logbook::Logbook;
use crate::jobs::cautions::{CAUTIONS, instruction};
use crate::jobs::record::{self, Progress, Recorded};
use crate::run::Phase;
use crate::run::plan::Test;
use crate::show::text;
use std::io::IsTerminal;
use std::path::Path;
use std::time::{Duration, Instant};

/// Record a test from a logger on a serial port.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "While it records: Enter goes on to the next phase (so does the logger's button), p pauses, \
l marks the moment a wheel lifts, n TEXT notes something, q stops. What is recorded is kept whatever happens."
)]
pub struct Args {
    /// The serial port.
    #[arg(long, value_name = "PATH")]
    port: String,
    /// The vehicle of the logbook.
    #[arg(long, value_name = "NAME")]
    vehicle: String,
    /// The test: bounce, ramp, obstacle, rock, shove, still.
    #[arg(long, value_name = "TEST", value_parser = test, conflicts_with = "plan")]
    test: Option<Test>,
    /// Phases in order, with commas between, instead of a test's own.
    #[arg(long, value_name = "PHASES", value_parser = plan)]
    plan: Option<Plan>,
    /// Stop after so many seconds.
    #[arg(long, value_name = "N")]
    seconds: Option<f64>,
    /// Bits per second of a port that is not USB.
    #[arg(long, value_name = "N", default_value_t = DEFAULT_BAUD)]
    baud: u32,
    /// How long to wait for a cable that was pulled, seconds.
    #[arg(long, value_name = "N", default_value_t = 30.0)]
    reconnect: f64,
    #[command(flatten)]
    typed: Typed,
}

/// How often a line of progress is drawn on a terminal.
const REDRAW: Duration = Duration::from_millis(250);

/// Runs the command; the new run's name stands alone on the last line.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let logbook = Logbook::find(screen.logbook.as_deref(), Path::new("."))?;
    let phases = match (&args.plan, args.test) {
        (Some(plan), _) => plan.0.clone(),
        (None, Some(test)) => test.plan(),
        (None, None) => Test::Ramp.plan(),
    };
    screen.tell(&cautions(&phases));
    let request = record::Request {
        vehicle_folder: logbook.vehicle_folder(&args.vehicle),
        test: args.test,
        plan: phases,
        facts: args.typed.facts(args.test),
        seconds: args.seconds,
        reconnect_s: args.reconnect,
        now: jiff::ZonedDateTime::now(),
    };
    let mut keys = Keys::listen();
    let mut teller = Teller::new(screen);
    let mut connector = PortConnector::new(&args.port, args.baud);
    let recorded = record::run(&request, &mut connector, &SystemClock::start(), &mut |progress| {
        teller.tell(progress);
        keys.pressed()
    })?;
    teller.end();
    finish(&recorded, screen)
}

/// Prints what was recorded, and tells of the trouble that ended it.
pub fn finish(recorded: &Recorded, screen: &Screen) -> Result<Ending, Failure> {
    screen.tell(&text::recorded(recorded));
    screen.print(&recorded.name)?;
    match &recorded.trouble {
        None => Ok(Ending::Done),
        Some(trouble) => {
            screen.complain(trouble);
            Ok(Ending::Failed(trouble.status()))
        }
    }
}

fn cautions(phases: &[Phase]) -> String {
    let mut text = String::from("Before you start:\n");
    for caution in CAUTIONS {
        text.push_str(&format!("  - {caution}\n"));
    }
    let words: Vec<&str> = phases.iter().map(|p| p.words()).collect();
    text.push_str(&format!("\nThe test: {}.", words.join(", then ")));
    text
}

/// Tells the person what to do when that changes, and on a terminal where the recording is.
pub struct Teller<'a> {
    screen: &'a Screen,
    draws: bool,
    told: Option<Option<Phase>>,
    drawn: Instant,
    linked: bool,
}

impl<'a> Teller<'a> {
    /// Nothing told yet.
    pub fn new(screen: &'a Screen) -> Self {
        Self {
            screen,
            draws: std::io::stderr().is_terminal(),
            told: None,
            drawn: Instant::now(),
            linked: true,
        }
    }

    /// Tells what is new.
    pub fn tell(&mut self, progress: &Progress<'_>) {
        if progress.linked != self.linked {
            self.linked = progress.linked;
            self.clear();
            let text = if self.linked {
                "The logger is back."
            } else {
                "The logger is gone: check the cable. Waiting for it; what was recorded is kept."
            };
            self.screen.tell(text);
        }
        if progress.elapsed_s.is_some() && self.told != Some(progress.phase) {
            self.told = Some(progress.phase);
            self.clear();
            if let Some(phase) = progress.phase {
                let next = progress.next.map_or("Enter ends the test.".to_owned(), |n| {
                    format!("Enter goes on to: {}.", n.words())
                });
                self.screen.tell(&format!("\n{}: {} {next}", phase.words(), instruction(phase)));
            }
        }
        if self.draws && self.drawn.elapsed() >= REDRAW {
            self.drawn = Instant::now();
            self.screen.redraw(&text::recording(progress));
        }
    }

    fn clear(&self) {
        self.screen.redraw_end();
    }

    /// Leaves the line of progress behind.
    pub fn end(&self) {
        self.clear();
    }
}
