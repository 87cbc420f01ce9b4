//! A run set beside its design, or beside another run.

use super::analyse;
use super::source::{Request, Source};
use crate::explain::Failure;
use crate::judge::compare::{against_design, runs};
use crate::judge::{Comparison, RunsComparison};
use crate::vehicle::Vehicle;

/// A comparison with what it was made from.
#[derive(Debug, Clone)]
pub struct Compared {
    /// Vehicle, rig and recording.
    pub source: Source,
    /// The comparison.
    pub comparison: Comparison,
}

/// Measures a run and sets it beside its design.
///
/// # Errors
/// As for [`analyse::run`], and where the drawing cannot be predicted.
pub fn with_design(request: &Request) -> Result<Compared, Failure> {
    let analysed = analyse::run(request)?;
    let comparison = against_design(&analysed.source.vehicle, analysed.analysis)?;
    Ok(Compared { source: analysed.source, comparison })
}

/// Two runs with the vehicle of the second.
#[derive(Debug, Clone)]
pub struct ComparedRuns {
    /// The vehicle as drawn for the second run.
    pub vehicle: Vehicle,
    /// The comparison.
    pub runs: RunsComparison,
}

/// Measures two runs and sets the second beside the first; `refitted` says that the sensors were taken off in between.
///
/// # Errors
/// As for [`analyse::run`].
pub fn with_run(first: &Request, second: &Request, refitted: bool) -> Result<ComparedRuns, Failure> {
    let (first, second) = (analyse::run(first)?, analyse::run(second)?);
    let runs = runs(&second.source.vehicle, &first.analysis, &second.analysis, refitted);
    Ok(ComparedRuns { vehicle: second.source.vehicle, runs })
}
