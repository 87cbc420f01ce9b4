//! `hingeline demo`: the whole job, without hardware.

use super::output::Screen;
use super::report_files::{now, open};
use super::teller::{Teller, View};
use super::{Ending, Failure};
use crate::explain::pasted;
use crate::jobs::cautions::CAUTIONS;
use crate::jobs::demo::{self, Demonstrated, Step};
use crate::show::{Units, report, text};
use std::path::PathBuf;

/// See the whole job: simulate, record, analyse, compare, report, in an empty folder.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The folder; made if it is not there.
    #[arg(value_name = "DIR", default_value = "hingeline-demo")]
    dir: PathBuf,
    /// Another seed plants another deviation and draws other sensor errors.
    #[arg(long, value_name = "N", default_value_t = 5)]
    seed: u64,
    /// Virtual seconds per second.
    #[arg(long, value_name = "N", default_value_t = 12.0, value_parser = super::target::speed)]
    speed: f64,
    /// Open the report at the end.
    #[arg(long)]
    open: bool,
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let options = report::Options { made: Some(now()), ..Default::default() };
    let mut teller = Teller::new(screen, Units::Mm, false);
    let request = demo::Request {
        folder: args.dir.clone(),
        seed: args.seed,
        speed: args.speed,
        now: jiff::ZonedDateTime::now(),
        report: &|comparison, vehicle| report::html(comparison, vehicle, &options),
    };
    let given = demo::run(&request, &mut |step| {
        match step {
        Step::Logbook(folder) => screen.tell(&format!(
            "Made a logbook in {} with the vehicle Bramble: a drawing and a rig of sensors.",
            folder.display()
        )),
        Step::Port(Some(port)) => screen.tell(&format!(
            "A virtual vehicle stands on a virtual ramp; the logger's own firmware reads its sensors and streams on {port}.\n\
             A real vehicle can hurt you: {}",
            CAUTIONS.join(" ")
        )),
        Step::Port(None) => {
            screen.tell("A virtual vehicle stands on a virtual ramp; the logger's own firmware reads its sensors.")
        }
        Step::Recording(progress) => teller.tell(progress, &View::default()),
        Step::Comparing(recorded) => {
            teller.end();
            screen.tell(&format!("{}\nMeasuring and comparing …", text::recorded(recorded)));
        }
    }
    })?;
    screen.print(&format!("{}\n{}", text::wrapped_to(screen.columns(), &ending(&given)), next(&given)))?;
    if args.open {
        open(&given.report)?;
    }
    if given.found { Ok(Ending::Done) } else { Err(NotFound.into()) }
}

/// The demonstration's own promise was not kept.
#[derive(Debug, thiserror::Error)]
#[error("the report does not name the link that was hung otherwise than drawn")]
struct NotFound;

impl crate::explain::Explain for NotFound {
    fn status(&self) -> crate::explain::Status {
        crate::explain::Status::Finding
    }

    fn hint(&self) -> Option<String> {
        Some("What is beneath the sensors' uncertainty stays unseen; try another --seed.".into())
    }
}

fn ending(given: &Demonstrated) -> String {
    format!(
        "\n{}\n\nWhat had really been done to the vehicle: {}.\n",
        report::verdict(&given.comparison),
        given.planted.trim_end_matches('.'),
    )
}

/// Where the report is, and commands to paste.
fn next(given: &Demonstrated) -> String {
    format!(
        "The report: {}\n\nMore:\n  cd {}\n  hingeline analyse {}",
        given.report.display(),
        pasted(&given.folder),
        given.recorded.name
    )
}
