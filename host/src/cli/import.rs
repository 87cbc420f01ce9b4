//! `hingeline import`

use super::dates::{past, zoned};
use super::output::Screen;
use super::target::{Columns, Typed, test};
use super::{Ending, Failure};
use crate::files::logbook::Logbook;
use crate::jobs::history::vehicle_folder;
use crate::jobs::{by_hand, import};
use crate::run::plan::Test;
use crate::show::text;
use jiff::ZonedDateTime;
use std::path::{Path, PathBuf};

/// Make a run of a table of readings (CSV).
#[derive(Debug, clap::Args)]
#[command(
    after_help = "The first line heads the columns: t_s, one per sensor of the rig (NAME.ax … NAME.gz of an inertial unit), and if you \
like phase. A heading may state a unit of its own, such as \"left travel [mm]\" or t_ms; one that states none is as the rig file's \
scale says. Commas, semicolons or tabs between cells, decimal points or decimal commas. Cells without a reading stay empty."
)]
pub struct Args {
    /// The table: a column t_s, one column per sensor of the rig, and if you like a column phase.
    #[arg(value_name = "FILE")]
    table: PathBuf,
    /// The vehicle of the logbook that it belongs to.
    #[arg(long, value_name = "NAME")]
    vehicle: String,
    /// What a table without a phase column was: bounce, ramp, ramp left, rock, ….
    #[arg(long, value_name = "TEST", value_parser = test)]
    test: Option<Test>,
    /// When it was recorded: 2026-11-25, or 2026-11-25T14:00; now where nothing is given.
    #[arg(long, value_name = "DATE", value_parser = recorded)]
    recorded: Option<ZonedDateTime>,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    typed: Typed,
}

fn recorded(text: &str) -> Result<ZonedDateTime, String> {
    past(text)?;
    zoned(text).map(|(time, _)| time)
}

/// Runs the command; the new run's name stands alone on the last line.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let logbook = Logbook::find(screen.logbook.as_deref(), Path::new("."))?;
    let vehicle_folder = vehicle_folder(&logbook, &args.vehicle)?;
    by_hand::check(&vehicle_folder, &args.typed.wheels(), &args.typed.marks())?;
    let request = import::Request {
        table: args.table.clone(),
        vehicle_folder,
        test: args.test,
        facts: args.typed.facts(args.test),
        now: args.recorded.clone().unwrap_or_else(ZonedDateTime::now),
    };
    let imported = import::run_with(&request, &args.columns.choices(), &mut |p| screen.redraw_reading(p));
    screen.redraw_end();
    let imported = imported?;
    screen.tell(&text::imported(&imported.recording, screen.size().0));
    screen.print(&imported.name)?;
    Ok(Ending::Done)
}
