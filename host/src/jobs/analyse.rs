//! A run, measured: poses, numbers, links, the ramp travel index.

use super::source::{self, Request, Source};
use crate::explain::Failure;
use crate::judge::compare::{InUse, holes_in_use};
use crate::measure::{self, Analysis};

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
