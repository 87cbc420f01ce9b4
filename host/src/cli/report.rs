//! `hingeline report`

use super::output::{Inches, Screen};
use super::target::Target;
use super::{Ending, Failure};
use crate::explain::{Explain, Status};
use crate::jobs::compare::{Compared, with_design};
use crate::show::{Units, report};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Write one HTML file that prints well: verdict, why, evidence, provenance, cautions.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// A table of readings (CSV), a run folder, a run's name, or VEHICLE/NAME.
    #[arg(value_name = "RUN")]
    run: String,
    #[command(flatten)]
    target: Target,
    /// Where to write it.
    #[arg(long, short, value_name = "FILE", default_value = "report.html")]
    output: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    force: bool,
    /// Open it when it is written.
    #[arg(long)]
    open: bool,
    /// Units in the report; the logbook's where there is one, else millimetres.
    #[arg(long, value_name = "UNITS")]
    units: Option<Inches>,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The file is there.
    #[error("{} is already there", .0.display())]
    Exists(PathBuf),
    /// The name is taken by something that a report must not replace: a folder, a device, a link.
    #[error("{} is there and is no ordinary file", .0.display())]
    NotAFile(PathBuf),
    /// The disk said no.
    #[error("cannot write {}: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// No program shows it.
    #[error("nothing on this machine opens {}", .0.display())]
    NoViewer(PathBuf),
}

impl Explain for ReportError {
    fn status(&self) -> Status {
        match self {
            ReportError::Exists(_) | ReportError::NotAFile(_) => Status::BadInput,
            ReportError::Write { .. } | ReportError::NoViewer(_) => Status::Device,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            ReportError::Exists(_) => {
                Some("Give another name with --output FILE, or --force to write over it.".into())
            }
            ReportError::NotAFile(_) => Some("Give the name of a file with --output FILE.".into()),
            ReportError::Write { .. } => None,
            ReportError::NoViewer(file) => Some(format!("Open {} in a browser yourself.", file.display())),
        }
    }
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    if let Ok(there) = args.output.symlink_metadata() {
        if !there.is_file() {
            return Err(ReportError::NotAFile(args.output.clone()).into());
        }
        if !args.force {
            return Err(ReportError::Exists(args.output.clone()).into());
        }
    }
    let compared = with_design(&args.target.request(&args.run, screen.logbook.clone()))?;
    write(&compared, &args.output, screen.units(args.units))?;
    screen.print(&format!("{}\n\n{}", report::verdict(&compared.comparison), args.output.display()))?;
    if args.open {
        open(&args.output)?;
    }
    Ok(Ending::Done)
}

/// Writes the report of a comparison, whole or not at all.
///
/// # Errors
/// Where it cannot be written.
pub fn write(compared: &Compared, file: &Path, units: Units) -> Result<(), ReportError> {
    let minute = |stamp: &String| stamp.replacen('T', " ", 1).chars().take(16).collect();
    let recorded = compared.comparison.provenance.recorded.as_ref().map(minute);
    let options = report::Options { units, recorded, made: Some(now()) };
    let page = report::html(&compared.comparison, &compared.source.vehicle, &options);
    let part = file.with_extension("html.part");
    std::fs::write(&part, page).and_then(|()| std::fs::rename(&part, file)).map_err(|source| {
        // What was begun is of no use; if it cannot be removed either, the error says enough.
        let _ = std::fs::remove_file(&part);
        ReportError::Write { path: file.to_owned(), source }
    })
}

/// The time as reports write it.
pub fn now() -> String {
    jiff::ZonedDateTime::now().strftime("%Y-%m-%d %H:%M").to_string()
}

/// Shows a file with whatever the system opens such files with.
///
/// # Errors
/// Where there is no such program.
pub fn open(file: &Path) -> Result<(), ReportError> {
    let programs: &[(&str, &[&str])] = if cfg!(target_os = "macos") {
        &[("open", &[])]
    } else if cfg!(windows) {
        &[("explorer", &[])]
    } else {
        &[("xdg-open", &[]), ("gio", &["open"])]
    };
    let started = programs.iter().any(|(program, first)| {
        Command::new(program)
            .args(*first)
            .arg(file)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .is_ok()
    });
    if started { Ok(()) } else { Err(ReportError::NoViewer(file.to_owned())) }
}
