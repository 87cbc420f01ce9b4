//! A run, measured: poses, numbers, links, the ramp travel index.

use super::source::{self, Request, Source};
use crate::explain::Failure;
use crate::judge::compare::{InUse, holes_in_use};
use crate::judge::give::with_give;
use crate::measure::{self, Analysis, MeasureError};

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
    let analysis = measured(&source)?;
    let in_use = analysis.axles.iter().map(|axle| holes_in_use(&source.vehicle, axle)).collect();
    Ok(Analysed { source, analysis, in_use })
}

/// Everything that a run says of its axles, with what the drawing is needed for: the force along a link under a pull.
///
/// # Errors
/// Where the run has no zero or no data.
pub fn measured(source: &Source) -> Result<Analysis, MeasureError> {
    let analysis = measure::analyse(&source.vehicle, &source.rig, &source.recording)?;
    Ok(with_give(&source.vehicle, analysis))
}
