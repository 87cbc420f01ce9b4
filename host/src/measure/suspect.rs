//! A sensor that is clipped elsewhere than the rig file says, on another bolt perhaps: a run's redundant readings tell which.
//!
//! Every end of every sensor is suspected in turn: with that end anywhere near, the run is followed anew, and the marginal
//! likelihoods of all these and of the rig as written are set against one another (Laplace's approximation: loss at the best
//! estimate, its prior, and the volume of what is left open).

use super::instants::Instant;
use super::observe::Observer;
use super::path::{Path, PathPoint, alike, follow, robust_loss};
use super::pose::redundant;
use crate::geometry::{DMatrix, DVector, Vector3};
use crate::vehicle::Side;

/// How far a sensor on a wrong bolt may be off, one standard deviation of each coordinate, m.
const ANYWHERE_M: f64 = 0.03;
/// Agreement of the readings, χ² per degree of freedom, below which nothing is suspected.
const CONTENT: f64 = 2.0;
/// Probability that the suspects must have together before the rig file is doubted.
const SURE: f64 = 0.95;

/// A sensor's end that seems to be elsewhere than the rig file says.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// The sensor, by place in the rig.
    pub sensor: usize,
    /// Its name.
    pub name: String,
    /// Which end: the one on the chassis or the one on the axle.
    pub end: Side,
    /// Where that end seems to be, from where the file says, m: forward, left, up.
    pub offset_m: Vector3<f64>,
    /// Covariance of these, 3 × 3, m².
    pub covariance: DMatrix<f64>,
    /// Probability among all that was tried, the rig as written included.
    pub probability: f64,
}

/// An explanation of a run by its sensors: none, or one end of one scalar sensor, by place among them.
struct Tried {
    end: Option<(usize, usize)>,
    path: Path,
    loss: f64,
    /// How many left-overs make one independent one.
    alike: f64,
}

impl Tried {
    fn new(observer: &Observer, instants: &[Instant], step_s: f64, end: Option<(usize, usize)>) -> Self {
        let path = match end {
            Some((scalar, end)) => {
                follow(&observer.with_end_anywhere(scalar, end, ANYWHERE_M), instants, step_s)
            }
            None => follow(observer, instants, step_s),
        };
        let (mut loss, mut left_over) = (0.0, Vec::new());
        for point in path.points.iter().filter(|p| p.phase.travels()) {
            let at = point.instant;
            let said = redundant(&path.observer, &instants[at], &path.against[at], &point.estimate.pose);
            loss += robust_loss(&said.residuals, point.estimate.redundancy);
            left_over.push(said.residuals);
        }
        Self { end, path, loss, alike: alike(&left_over) }
    }

    /// Logarithm of the marginal likelihood, each left-over counting `independent`.
    fn log_likelihood(&self, independent: f64) -> f64 {
        let volume: f64 = match self.path.knowledge.clone().cholesky() {
            Some(c) => c.l().diagonal().iter().map(|d| d.max(f64::MIN_POSITIVE).ln()).sum(),
            None => 0.0,
        };
        volume - independent * self.loss - 0.5 * self.path.theta.norm_squared()
    }
}

/// The ends that are suspected, most probable first, and the sensors with these ends anywhere near; nothing where the readings
/// agree, where the rig as written explains them as well, or where not even the best suspect does.
pub(super) fn suspects(
    observer: &Observer,
    instants: &[Instant],
    step_s: f64,
    path: &Path,
) -> Option<(Vec<Suspect>, Observer)> {
    if agreement(&path.points)? < CONTENT {
        return None;
    }
    let ends = (0..observer.scalars().len()).flat_map(|scalar| [Some((scalar, 0)), Some((scalar, 1))]);
    let tried: Vec<Tried> =
        std::iter::once(None).chain(ends).map(|end| Tried::new(observer, instants, step_s, end)).collect();
    let independent = 1.0 / tried.iter().map(|t| t.alike).fold(f64::INFINITY, f64::min).max(1.0);
    let logs = DVector::from_iterator(tried.len(), tried.iter().map(|t| t.log_likelihood(independent)));
    let best = logs.max();
    let weights = logs.map(|l| (l - best).exp());
    let mut order: Vec<usize> = (0..tried.len()).collect();
    order.sort_by(|a, b| weights[*b].total_cmp(&weights[*a]));
    let probability = |k: usize| weights[k] / weights.sum();
    let fits = order.first().and_then(|k| agreement(&tried[*k].path.points)).is_some_and(|a| a < CONTENT);
    if probability(0) > 1.0 - SURE || !fits {
        return None;
    }
    let (mut sum, mut found, mut doubted) = (0.0, Vec::new(), observer.clone());
    for k in order {
        let Some((scalar, end)) = tried[k].end else { continue };
        if sum > SURE {
            break;
        }
        sum += probability(k);
        doubted = doubted.with_end_anywhere(scalar, end, ANYWHERE_M);
        found.push(suspect(&tried[k].path, scalar, end, probability(k)));
    }
    Some((found, doubted))
}

fn suspect(path: &Path, scalar: usize, end: usize, probability: f64) -> Suspect {
    let of = &path.observer.scalars()[scalar];
    let first = of.first + 3 * end;
    let mount_m = of.mounts_m[end];
    Suspect {
        sensor: of.sensor,
        name: of.name.clone(),
        end: if end == 0 { Side::Chassis } else { Side::Axle },
        offset_m: Vector3::from_fn(|axis, _| path.theta[first + axis] * mount_m),
        covariance: path.knowledge.view((first, first), (3, 3)) * mount_m.powi(2),
        probability,
    }
}

/// χ² per degree of freedom of the travel's poses; none without redundant readings.
pub(super) fn agreement(path: &[PathPoint]) -> Option<f64> {
    let (chi, dof) = path
        .iter()
        .filter(|p| p.phase.travels())
        .fold((0.0, 0), |(c, d), p| (c + p.estimate.chi_square, d + p.estimate.redundancy));
    (dof > 0).then(|| chi / dof as f64)
}
