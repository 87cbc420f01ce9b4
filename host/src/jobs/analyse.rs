//! A run, measured: poses, numbers, links, the ramp travel index.

use super::source::{self, Request, Source};
use crate::explain::{Explain, Failure, Status};
use crate::judge::compare::{InUse, holes_in_use};
use crate::measure::{self, Analysis, PosePoint};
use std::path::{Path, PathBuf};

/// An analysis with what it was made from.
#[derive(Debug, Clone)]
pub struct Analysed {
    /// Vehicle, rig and recording.
    pub source: Source,
    /// What was measured.
    pub analysis: Analysis,
    /// By axle of the analysis: which holes the motion says are in use.
    pub in_use: Vec<Vec<InUse>>,
}

/// Measures a run.
///
/// # Errors
/// Where a file is missing or wrong, or the run has no zero or no data.
pub fn run(request: &Request) -> Result<Analysed, Failure> {
    let source = source::open(request)?;
    let analysis = measure::analyse(&source.vehicle, &source.rig, &source.recording)?;
    let in_use = analysis.axles.iter().map(|axle| holes_in_use(&source.vehicle, axle)).collect();
    Ok(Analysed { source, analysis, in_use })
}

/// The poses could not be written.
#[derive(Debug, thiserror::Error)]
pub enum PosesError {
    /// The name does not end in `.csv`.
    #[error("{0} is not the name of a table: poses are written as CSV")]
    NotCsv(PathBuf),
    /// The file is there.
    #[error("{} is already there", .0.display())]
    Exists(PathBuf),
    /// The disk said no.
    #[error("cannot write {path}: {source}")]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

impl Explain for PosesError {
    fn status(&self) -> Status {
        match self {
            PosesError::NotCsv(_) | PosesError::Exists(_) => Status::BadInput,
            PosesError::Write { .. } => Status::Device,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            PosesError::NotCsv(_) => Some("End the name in .csv.".into()),
            PosesError::Exists(_) => Some("Give another name: nothing is written over.".into()),
            PosesError::Write { .. } => None,
        }
    }
}

/// Writes every measured pose as a table (SI), whole or not at all: a pose that nothing sees has empty cells.
///
/// # Errors
/// If the name is not a table's, or the file cannot be written.
pub fn write_poses(analysis: &Analysis, path: &Path) -> Result<(), PosesError> {
    if path.extension().is_none_or(|e| !e.eq_ignore_ascii_case("csv")) {
        return Err(PosesError::NotCsv(path.to_owned()));
    }
    if path.symlink_metadata().is_ok() {
        return Err(PosesError::Exists(path.to_owned()));
    }
    let failed = |source| PosesError::Write { path: path.to_owned(), source };
    let beside = path.with_extension("csv.part");
    let write = || -> Result<(), csv::Error> {
        let mut table = csv::Writer::from_path(&beside)?;
        table.write_record(POSE_COLUMNS)?;
        for axle in &analysis.axles {
            for point in &axle.path {
                table.write_record(pose_row(&axle.name, point))?;
            }
        }
        table.flush()?;
        Ok(())
    };
    let written = write().map_err(std::io::Error::from).and_then(|()| std::fs::rename(&beside, path));
    written.map_err(|source| {
        // What was begun is of no use; if it cannot be removed either, the error below says enough.
        let _ = std::fs::remove_file(&beside);
        failed(source)
    })
}

const POSE_COLUMNS: [&str; 17] = [
    "axle",
    "t_s",
    "phase",
    "x_m",
    "y_m",
    "z_m",
    "roll_rad",
    "pitch_rad",
    "yaw_rad",
    "x_u_m",
    "y_u_m",
    "z_u_m",
    "roll_u_rad",
    "pitch_u_rad",
    "yaw_u_rad",
    "axle_steer_rad",
    "chi_square",
];

fn pose_row(axle: &str, point: &PosePoint) -> Vec<String> {
    let cell = |value: f64, u: Option<f64>| if u.is_some() { value.to_string() } else { String::new() };
    let coordinates = point.pose.to_array();
    let mut row = vec![axle.to_owned(), point.t_s.to_string(), point.phase.words().to_owned()];
    row.extend(coordinates.iter().zip(point.u).map(|(value, u)| cell(*value, u)));
    row.extend(point.u.iter().map(|u| u.map_or_else(String::new, |u| u.to_string())));
    let steered = point.u[4].and(point.u[5]);
    row.push(cell(point.pose.axle_steer_rad(), steered));
    row.push(point.chi_square.to_string());
    row
}
