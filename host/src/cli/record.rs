//! `hingeline record`: a test from a serial port, guided.

use super::keys::{KEYS, Keys};
use super::output::{Output, Screen};
use super::target::{Plan, Typed, plan, test};
use super::teller::{Teller, View};
use super::{Ending, Failure};
use crate::device::line::SystemClock;
use crate::device::ports::{DEFAULT_BAUD, PortConnector};
use crate::explain::Explain;
use crate::files::logbook::Logbook;
use crate::jobs::by_hand;
use crate::jobs::cautions::CAUTIONS;
use crate::jobs::history::vehicle_folder;
use crate::jobs::record::guide::{Assessor, Guide};
use crate::jobs::record::{self, Recorded};
use crate::run::find::RUNS;
use crate::run::plan::Test;
use crate::run::{Facts, Phase};
use crate::show::{json, text};
use std::path::Path;

/// Record a test from a logger on a serial port.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "While it records: Enter goes on to the next phase (so does the logger's button). p, l, n TEXT, q, each with \
Enter: p pauses, l marks the moment a wheel lifts, n TEXT notes something, q stops. What is recorded is kept whatever happens."
)]
pub struct Args {
    /// The serial port.
    #[arg(long, value_name = "PATH")]
    port: String,
    /// The vehicle of the logbook.
    #[arg(long, value_name = "NAME")]
    vehicle: String,
    /// The test: bounce, ramp, obstacle, rock, shove, still; where nothing is given, ramp.
    #[arg(long, value_name = "TEST", value_parser = test, conflicts_with = "plan")]
    test: Option<Test>,
    /// Phases in order, with commas between, instead of a test's own.
    #[arg(long, value_name = "PHASES", value_parser = plan, allow_hyphen_values = true)]
    plan: Option<Plan>,
    /// A sensor of the rig that is not there today; may be given several times.
    #[arg(long, value_name = "NAME")]
    without: Vec<String>,
    /// Bring what the board recorded by itself while no computer listened, each recording as a run; the board keeps it too.
    #[arg(long, conflicts_with_all = ["seconds", "without"])]
    fetch: bool,
    /// Stop after so many seconds.
    #[arg(long, value_name = "N", value_parser = super::numbers::seconds)]
    seconds: Option<f64>,
    /// Bits per second of a port that is not USB.
    #[arg(long, value_name = "N", default_value_t = DEFAULT_BAUD)]
    baud: u32,
    /// How long to wait for a cable that was pulled, seconds.
    #[arg(long, value_name = "N", default_value_t = 30.0, value_parser = super::numbers::wait)]
    reconnect: f64,
    #[command(flatten)]
    typed: Typed,
    #[command(flatten)]
    output: Output,
}

/// Runs the command; the new run, as VEHICLE/NAME, stands alone on the last line.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let logbook = Logbook::find(screen.logbook.as_deref(), Path::new("."))?;
    let vehicle_folder = vehicle_folder(&logbook, &args.vehicle)?;
    by_hand::check(&vehicle_folder, &args.typed.wheels(), &args.typed.marks())?;
    let phases = match (&args.plan, args.test) {
        (Some(plan), _) => plan.0.clone(),
        (None, Some(test)) => test.plan(),
        (None, None) => Test::Ramp.plan(),
    };
    let request = record::Request {
        vehicle_folder,
        shelf: RUNS,
        test: args.test,
        plan: phases,
        facts: args.typed.facts(args.test),
        without: args.without.clone(),
        seconds: args.seconds,
        reconnect_s: args.reconnect,
        now: jiff::ZonedDateTime::now(),
    };
    if args.fetch {
        return fetch(&request, args, screen);
    }
    let now_us = request.now.timestamp().as_microsecond();
    let mut guide = Guide::load(&request.vehicle_folder, &args.without, &request.facts, now_us)?;
    screen.tell(&text::wrapped_to(screen.size().0, &before(args, &request.plan, &request.facts, &guide)));
    let mut keys = Keys::listen();
    let mut teller = Teller::new(screen, screen.units(args.output.units), args.output.json);
    let mut assessor = Assessor::start(&guide);
    let mut view = View::default();
    let mut connector = PortConnector::new(&args.port, args.baud);
    let recorded = record::run(&request, &mut connector, &SystemClock::start(), &mut |progress| {
        let trail = progress.live.trail();
        guide.watch(trail, progress.phase);
        view.now = guide.now(trail);
        let judged = assessor.poll(progress.elapsed_s.unwrap_or(0.0), || guide.so_far(trail));
        view.news = judged.is_some();
        view.resolved = judged.unwrap_or_else(|| std::mem::take(&mut view.resolved));
        teller.tell(progress, &view);
        keys.pressed().inspect(|command| teller.heard(command, progress))
    });
    teller.end();
    finish(&recorded?, screen, args.output.json)
}

/// Brings what the board kept; each recording's run, as VEHICLE/NAME, stands on a line of its own, the latest last.
fn fetch(request: &record::Request, args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let mut keys = Keys::listen();
    let mut connector = PortConnector::new(&args.port, args.baud);
    let draws = screen.draws();
    let fetched = record::fetch::run(request, &mut connector, &SystemClock::start(), &mut |bytes| {
        if draws {
            screen.redraw(&format!("{} kB fetched", bytes / 1000));
        }
        !matches!(keys.pressed(), Some(record::Command::Stop))
    });
    screen.redraw_end();
    let fetched = fetched?;
    screen.tell(&text::fetched(&fetched, screen.size().0));
    let names = || fetched.recordings.iter().map(|r| format!("{}/{}", args.vehicle, r.name));
    let told = if args.output.json {
        json::fetched(&fetched, &args.vehicle)
    } else {
        names().collect::<Vec<_>>().join("\n")
    };
    screen.print(&told)?;
    Ok(Ending::Done)
}

/// Prints what was recorded, and tells of the trouble that ended it.
pub fn finish(recorded: &Recorded, screen: &Screen, json: bool) -> Result<Ending, Failure> {
    screen.tell(&text::wrapped_to(screen.size().0, &text::recorded(recorded)));
    screen.print(&if json { json::recorded(recorded) } else { recorded.full_name() })?;
    match &recorded.trouble {
        None => Ok(Ending::Done),
        Some(trouble) => {
            screen.complain(trouble);
            Ok(Ending::Failed(trouble.status()))
        }
    }
}

/// What a person reads before a test: cautions, how to clip the sensors, what goes on without what is missing.
fn before(args: &Args, phases: &[Phase], facts: &Facts, guide: &Guide) -> String {
    let mut text = cautions(phases);
    if args.plan.is_none() && args.test.is_none() {
        text.push_str("\nNeither --test nor --plan was given: this is a ramp test.");
    }
    for sentence in guide.advice_before(phases, facts, &args.without) {
        text.push_str(&format!("\n{sentence}"));
    }
    text.push('\n');
    text.push_str(KEYS);
    text
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
