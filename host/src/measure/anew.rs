//! A run's readings, kept so that its motion can be measured anew with the rig's errors elsewhere.
//!
//! Whatever judges a run by what its links do learns of errors that the readings alone left open: a heading of some degrees that
//! bends every link's length. Errors are carried through to first order; where they turn out large, they are put in and the motion
//! is measured again (Gauss and Newton's way).

use super::instants::Instant;
use super::links::Line;
use super::motion::{fitted, samples, seen};
use super::nuisance::Knowledge;
use super::observe::{Observer, RelativeAcceleration};
use super::path::{Path, PathPoint, pass};
use super::pose::Weighting;
use super::surface::SurfaceFit;
use crate::geometry::{DVector, Pose};

/// The travelling part of a run's readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Anew {
    /// The sensors as the rig file has them.
    observer: Observer,
    instants: Vec<Instant>,
    against: Vec<RelativeAcceleration>,
    knowledge: Knowledge,
}

impl Anew {
    pub(super) fn new(observer: &Observer, path: &Path, instants: &[Instant]) -> Self {
        let travelling: Vec<usize> =
            path.points.iter().filter(|p| p.phase.travels()).map(|p| p.instant).collect();
        Self {
            observer: observer.clone(),
            instants: travelling.iter().map(|k| instants[*k].clone()).collect(),
            against: travelling.iter().map(|k| path.against[*k]).collect(),
            knowledge: path.knowledge.clone(),
        }
    }

    /// The poses of the travel and the fitted motion with the nuisances at `theta`, in prior standard deviations; none where the
    /// whole pose is not seen.
    pub fn at(&self, theta: &DVector<f64>, lines: &[Line]) -> Option<(Vec<Pose>, SurfaceFit)> {
        let observer = self.observer.corrected(theta);
        let points = pass(&observer, &self.instants, &self.against, &[], Weighting::InRun);
        let travelling: Vec<&PathPoint> = points.iter().collect();
        let seen = seen(&travelling);
        let samples = samples(&observer, &travelling, seen);
        let fit = fitted(&observer, &travelling, &samples, &self.knowledge, lines)?;
        seen.iter().all(|s| *s).then(|| (points.iter().map(|p| p.estimate.pose).collect(), fit))
    }
}
