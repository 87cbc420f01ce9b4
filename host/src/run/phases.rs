//! Tells the phases of a recording that does not say what was done when.

use super::plan::Test;
use super::{Phase, PhaseSpan, Series, motion, still};
use crate::geometry::Vector3;
use crate::rig::Rig;

/// Why phases cannot be told, each as a part of a sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Untold {
    /// There is no still at the start.
    NoStill(String),
    /// What follows it is unclear.
    Unclear(String),
}

/// The still at the start, and what follows: the phase of `test`, or what the readings say.
///
/// `series` by sensor and channel; `centres` are the axle centres at ride height, m.
///
/// # Errors
/// When there is no still, or what follows cannot be told.
pub fn tell(
    rig: &Rig,
    centres: &[Vector3<f64>],
    series: &[Vec<Series>],
    test: Option<Test>,
) -> Result<Vec<PhaseSpan>, Untold> {
    let ends = series.iter().flatten().filter_map(|s| Some((*s.t_s.first()?, *s.t_s.last()?)));
    let (start_s, end_s) =
        ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), (from, to)| (a.min(from), b.max(to)));
    let still_end_s = still::leading_still(rig, series).map_err(Untold::NoStill)?;
    let rest = [start_s, still_end_s];
    let after = match test {
        Some(Test::One(Phase::Still)) => Vec::new(),
        Some(Test::One(phase)) => vec![PhaseSpan { phase, from_s: still_end_s, to_s: end_s }],
        Some(Test::Ramp) => motion::ramps(rig, centres, series, rest).map_err(Untold::Unclear)?,
        Some(test @ (Test::Rock | Test::Shove)) => {
            return Err(Untold::Unclear(format!("which way each {} went is not in them", test.words())));
        }
        None => motion::phases(rig, centres, series, rest).map_err(Untold::Unclear)?,
    };
    let mut spans = vec![PhaseSpan { phase: Phase::Still, from_s: start_s, to_s: still_end_s }];
    spans.extend(after);
    Ok(spans)
}

/// The sentence that says that phases were told and not marked.
pub fn remark(spans: &[PhaseSpan]) -> String {
    let told: Vec<_> = spans
        .iter()
        .map(|s| format!("{} from {:.1} s to {:.1} s", s.phase.words(), s.from_s, s.to_s))
        .collect();
    format!("The phases are not marked, but told from the readings: {}.", told.join(", "))
}
