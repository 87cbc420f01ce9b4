//! `hingeline simulate`: a logger on a virtual vehicle, behind a port that `record` cannot tell from a real one.

use super::calibrate::{attitude, known};
use super::keys::Keys;
use super::output::Screen;
use super::target::{Plan, plan, ramp_angle, speed};
use super::{Ending, Failure};
use crate::device::line::SystemClock;
use crate::explain::pasted;
use crate::files::logbook::RIG_FILE;
use crate::jobs::calibrate::Work;
use crate::jobs::simulate::{self, Astray};
use std::path::{Path, PathBuf};

/// A logger on a virtual vehicle on a virtual ramp, behind a serial port of its own.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The vehicle file, or the folder that holds it.
    #[arg(value_name = "VEHICLE", value_parser = super::target::vehicle_file())]
    vehicle: PathBuf,
    /// The rig file; the one beside the vehicle file where none is given.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// The axle under test, by name.
    #[arg(long, value_name = "NAME")]
    axle: Option<String>,
    /// Phases of the test, with commas between.
    #[arg(long, value_name = "PHASES", value_parser = plan, default_value = "still,bounce,ramp left,ramp right")]
    plan: Plan,
    /// Angle of the ramp in degrees.
    #[arg(long, value_name = "DEG", value_parser = ramp_angle, default_value = "20")]
    ramp_angle: f64,
    /// Draws the sensors' errors.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Make the true vehicle differ from its drawing in one thing, chosen by this number.
    #[arg(long, value_name = "N")]
    deviation: Option<u64>,
    /// Put the plugs of two sensors into each other's sockets: two names with a comma between.
    #[arg(long, value_name = "NAME,NAME", value_parser = pair)]
    swap: Option<Pair>,
    /// Let the part of the sensor of this name not answer; may be given several times.
    #[arg(long, value_name = "NAME")]
    missing: Vec<String>,
    /// Move each sensor by hand before the test, as `hingeline device --wiggle` asks for it.
    #[arg(long)]
    wiggle: bool,
    /// In place of a test hold this wire or angle sensor at these values in turn, mm or degrees, as `hingeline calibrate … scale`
    /// asks for them: "left travel=100,300,500".
    #[arg(long, value_name = "SENSOR=VALUES", value_parser = hold, group = "calibrates")]
    hold: Option<Work>,
    /// In place of a test lay this inertial unit on its six faces in turn.
    #[arg(long, value_name = "UNIT", group = "calibrates")]
    tumble: Option<String>,
    /// With --tumble: six edges after the six faces.
    #[arg(long, requires = "tumble")]
    edges: bool,
    /// In place of a test tilt the body that carries this unit: "axle unit=level,roll=10".
    #[arg(long, value_name = "UNIT=ATTITUDES", value_parser = tilt, group = "calibrates")]
    tilt: Option<Work>,
    /// Virtual seconds per second.
    #[arg(long, value_name = "N", default_value = "1", value_parser = speed)]
    speed: f64,
    /// Run the machine image for an emulated board (QEMU) in place of the native firmware; the one that was built where no
    /// file is given.
    #[arg(long, value_name = "ELF", num_args = 0..=1, conflicts_with_all = ["speed", "baud"])]
    image: Option<Option<PathBuf>>,
    /// With --image: let time leap while the image sleeps, so that it runs as fast as it goes.
    #[arg(long, requires = "image")]
    leap: bool,
    /// End after so many virtual seconds; with --leap, of the test.
    #[arg(long, value_name = "N", value_parser = super::numbers::seconds)]
    seconds: Option<f64>,
    /// Hurt what the line brings: bytes lost, late, doubled, turned, as this number draws them. For trying what a recording
    /// bears.
    #[arg(long, value_name = "N", conflicts_with = "image")]
    bad_line: Option<u64>,
    /// Bits per second of the line; as fast as the port takes it where nothing is given, like USB.
    #[arg(long, value_name = "N")]
    baud: Option<u32>,
}

/// Two names.
#[derive(Debug, Clone)]
struct Pair([String; 2]);

fn pair(text: &str) -> Result<Pair, String> {
    let names: Vec<String> = text.split(',').map(|name| name.trim().to_owned()).collect();
    <[String; 2]>::try_from(names).map(Pair).map_err(|_| "two names with a comma between".to_owned())
}

fn hold(text: &str) -> Result<Work, String> {
    let (sensor, values) =
        text.rsplit_once('=').ok_or("write SENSOR=VALUES, such as \"left travel=100,300\"")?;
    Ok(Work::Scale { sensor: sensor.trim().to_owned(), known: known(values)?.0, u: None })
}

fn tilt(text: &str) -> Result<Work, String> {
    let (unit, list) =
        text.split_once('=').ok_or("write UNIT=ATTITUDES, such as \"axle unit=level,roll=10\"")?;
    let attitudes = list.split(',').map(attitude).collect::<Result<_, _>>()?;
    Ok(Work::Heading { sensor: unit.trim().to_owned(), attitudes, u_rad: None })
}

impl Args {
    /// The calibration that is played in place of a test.
    fn calibrates(&self) -> Option<Work> {
        let tumble = self.tumble.clone().map(|sensor| Work::Tumble { sensor, edges: self.edges });
        self.hold.clone().or(self.tilt.clone()).or(tumble)
    }
}

/// Runs the command: the port's path stands alone on the first line.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let request = simulate::Request {
        vehicle_file: args.vehicle.clone(),
        rig_file: args.rig.clone().unwrap_or_else(|| args.vehicle.with_file_name(RIG_FILE)),
        axle: args.axle.clone(),
        plan: args.plan.0.clone(),
        ramp_rad: args.ramp_angle.to_radians(),
        seed: args.seed,
        deviation_seed: args.deviation,
        swapped: args.swap.clone().map(|Pair(names)| names),
        missing: args.missing.clone(),
        wiggle: args.wiggle,
        calibrates: args.calibrates(),
        speed: args.speed,
        seconds: args.seconds,
        baud: args.baud,
        bad_line_seed: args.bad_line,
        image: args.image.clone().map(|file| simulate::Image { file, leap: args.leap }),
    };
    let keys = Keys::listen();
    let mut printed = Ok(());
    let mut told = None;
    let ended = simulate::run(&request, &SystemClock::start(), &mut |progress| {
        if told.is_none() {
            printed = screen.print(progress.port);
            screen.tell(&elsewhere(progress.port, args));
            progress.warning.iter().for_each(|warning| screen.remark(warning));
        }
        if let Some(astray) = progress.astray {
            screen.remark(&other_plan(astray, args));
        }
        if told != Some(progress.phase) {
            told = Some(progress.phase);
            if let Some(phase) = progress.phase {
                screen.tell(&format!("{:.0} s: {}", progress.seconds, phase.words()));
            }
        }
        printed.is_ok() && !keys.interrupted()
    })?;
    printed?;
    let truth = ended.deviation.map_or_else(String::new, |d| format!(" What was done to the vehicle: {d}."));
    screen.tell(&format!("{:.0} virtual seconds, {} bytes read.{truth}", ended.seconds, ended.bytes));
    Ok(Ending::Done)
}

/// That the recording follows another plan than is played here.
fn other_plan(astray: Astray, args: &Args) -> String {
    let what = match astray {
        Astray::StoppedIn(phase) => {
            format!("the recording stopped in \"{}\", before all of the test was played", phase.words())
        }
        Astray::GoesOn => "the test is over, and the recording goes on".to_owned(),
    };
    format!("{what}: it may follow another plan. As it is played here: --plan \"{}\".", plan_words(args))
}

/// The phases with commas between, as `record` takes them.
fn plan_words(args: &Args) -> String {
    args.plan.0.iter().map(|p| p.words()).collect::<Vec<_>>().join(",")
}

/// What to type in another terminal.
fn elsewhere(port: &str, args: &Args) -> String {
    // The vehicle is named by its folder, as in a logbook.
    let folder = std::path::absolute(&args.vehicle).ok();
    let folder = folder.as_deref().and_then(Path::parent).and_then(Path::file_name);
    let name = folder.map_or_else(|| "NAME".to_owned(), |name| pasted(Path::new(name)));
    let other = match args.calibrates() {
        Some(Work::Scale { sensor, known, .. }) => {
            let values: Vec<String> = known.iter().map(|(value, _)| value.to_string()).collect();
            format!("calibrate {name} scale \"{sensor}\" --at {} --port {port}", values.join(","))
        }
        Some(Work::Tumble { sensor, edges }) => {
            let edges = if edges { " --edges" } else { "" };
            format!("calibrate {name} tumble \"{sensor}\"{edges} --port {port}")
        }
        Some(work) => format!("calibrate {name} {} … --port {port}, the positions as here", work.word()),
        None => {
            format!("record --port {port} --vehicle {name} --plan \"{}\"", plan_words(args))
        }
    };
    format!(
        "Now, elsewhere:\n  hingeline {other}\nThe virtual builder begins when somebody listens, and presses the logger's button \
         at each phase: leave Enter alone. Ctrl-C ends it."
    )
}
