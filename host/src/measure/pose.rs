//! The pose at one instant: weighted least squares with the rig's correlated errors in view.

use super::instants::Instant;
use super::observe::{Observer, RelativeAcceleration, Rows};
use crate::geometry::least_squares::{self, Options, Residuals};
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, DVector, Pose};
use nalgebra::allocator::Allocator;
use nalgebra::{DefaultAllocator, Dim, Dyn, OMatrix};

/// Coordinates (m, rad) whose standard deviation exceeds this count as unseen: nothing a builder asks for survives it.
const UNSEEN: [f64; COORDINATES] = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1];

/// A prior so wide that it only keeps unseen coordinates from wandering, m and rad.
const WIDE_PRIOR: f64 = 10.0;

/// Standard uncertainty, nuisances with it, beyond which a coordinate (m, rad) does not count as seen: the squares of such errors over
/// the length of a wire or a lever of a third of a metre, 0.1 mm, are what carrying errors through to first order leaves out.
const UNKNOWN: [f64; COORDINATES] = [0.01, 0.01, 0.01, 0.03, 0.03, 0.03];

/// A share of an unseen direction below which a coordinate still counts as seen.
const SEEN_SHARE: f64 = 0.03;

/// A pose with what its uncertainty is made of.
#[derive(Debug, Clone)]
pub struct PoseEstimate {
    /// The pose.
    pub pose: Pose,
    /// Covariance of noise and nuisances together, 6 × 6; zero along unseen directions.
    pub covariance: DMatrix<f64>,
    /// Covariance from the readings' noise alone, 6 × 6.
    pub noise_covariance: DMatrix<f64>,
    /// Change of the pose for one standard deviation of each nuisance, 6 × K.
    pub systematic: DMatrix<f64>,
    /// Whether each coordinate is seen.
    pub seen: [bool; COORDINATES],
    /// Sum of squared whitened residuals.
    pub chi_square: f64,
    /// Readings more than seen unknowns.
    pub redundancy: usize,
}

impl PoseEstimate {
    /// Takes over the covariance of noise and nuisances together: a coordinate that it leaves too wide is not seen.
    pub(super) fn known(&mut self, covariance: DMatrix<f64>) {
        for (k, seen) in self.seen.iter_mut().enumerate() {
            *seen &= covariance[(k, k)] < UNKNOWN[k].powi(2);
        }
        self.covariance = covariance;
    }
}

struct Whitened<'a> {
    observer: &'a Observer,
    instant: &'a Instant,
    against: &'a RelativeAcceleration,
    whitening: Whitening,
}

impl Residuals for Whitened<'_> {
    fn unknowns(&self) -> usize {
        COORDINATES
    }

    fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let (r, j) = self.observer.residuals(self.instant, self.against, &pose_of(x));
        let rows = r.len();
        let (mut all_r, mut all_j) =
            (DVector::zeros(rows + COORDINATES), DMatrix::zeros(rows + COORDINATES, COORDINATES));
        all_r.rows_mut(0, rows).copy_from(&self.whitening.times(r));
        all_j.rows_mut(0, rows).copy_from(&self.whitening.times(j));
        for k in 0..COORDINATES {
            all_r[rows + k] = x[k] / WIDE_PRIOR;
            all_j[(rows + k, k)] = 1.0 / WIDE_PRIOR;
        }
        (all_r, all_j)
    }
}

fn pose_of(x: &DVector<f64>) -> Pose {
    Pose::from_array(std::array::from_fn(|k| x[k]))
}

/// How readings are weighted against one another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weighting {
    /// For a pose that stands alone: by noise and nuisances together, so that a badly clipped wire does not outvote a good
    /// unit.
    Alone,
    /// For a pose of a run whose nuisances are estimated beside it: by noise.
    InRun,
}

/// `L⁻¹` with `L·Lᵀ` the covariance of the residuals.
enum Whitening {
    /// For readings with noise of their own only: `1/σ` of each.
    Apart(DVector<f64>),
    /// For readings that share nuisances.
    Together(DMatrix<f64>),
}

impl Whitening {
    fn new(rows: &Rows, weighting: Weighting) -> Self {
        let noise = rows.noise.map(|variance| variance.max(f64::MIN_POSITIVE));
        if weighting == Weighting::InRun {
            return Self::Apart(noise.map(|variance| 1.0 / variance.sqrt()));
        }
        let covariance = &rows.effects * rows.effects.transpose() + DMatrix::from_diagonal(&noise);
        let count = covariance.nrows();
        let scale: DVector<f64> = covariance.diagonal().map(|d| 1.0 / d.sqrt());
        let correlation = DMatrix::from_diagonal(&scale) * covariance * DMatrix::from_diagonal(&scale);
        let inverse = correlation
            .cholesky()
            .and_then(|c| c.l().solve_lower_triangular(&DMatrix::identity(count, count)))
            .unwrap_or_else(|| DMatrix::identity(count, count));
        Self::Together(inverse * DMatrix::from_diagonal(&scale))
    }

    /// `L⁻¹·m`.
    fn times<C: Dim>(&self, mut m: OMatrix<f64, Dyn, C>) -> OMatrix<f64, Dyn, C>
    where
        DefaultAllocator: Allocator<Dyn, C>,
    {
        match self {
            Self::Apart(inverse) => {
                m.column_iter_mut().for_each(|mut column| column.component_mul_assign(inverse));
                m
            }
            Self::Together(inverse) => inverse * m,
        }
    }

    /// `mᵀ·L⁻¹`, transposed: `L⁻ᵀ·m`.
    fn transposed_times(&self, m: &DMatrix<f64>) -> DMatrix<f64> {
        match self {
            Self::Apart(_) => self.times(m.clone()),
            Self::Together(inverse) => inverse.tr_mul(m),
        }
    }

    /// Rounds of solving: weights that depend on the pose are taken from the start, once more from where that led.
    fn rounds(weighting: Weighting) -> usize {
        match weighting {
            Weighting::Alone => 2,
            Weighting::InRun => 1,
        }
    }
}

/// The pose at an instant, starting from `start`; `None` where no sensor says anything.
pub fn estimate(
    observer: &Observer,
    instant: &Instant,
    against: &RelativeAcceleration,
    start: &Pose,
    weighting: Weighting,
) -> Option<PoseEstimate> {
    let mut pose = *start;
    let options = Options { max_iterations: 30, step_tolerance: 1e-10 };
    for _ in 0..Whitening::rounds(weighting) {
        let rows = observer.rows(instant, against, &pose);
        if rows.residuals.is_empty() {
            return None;
        }
        let problem = Whitened { observer, instant, against, whitening: Whitening::new(&rows, weighting) };
        let x0 = DVector::from_column_slice(&pose.to_array());
        pose = pose_of(&least_squares::solve(&problem, x0, options).x);
    }
    Some(report(&observer.rows(instant, against, &pose), pose, weighting))
}

fn report(rows: &Rows, pose: Pose, weighting: Weighting) -> PoseEstimate {
    let whitening = Whitening::new(rows, weighting);
    let jacobian = whitening.times(rows.jacobian.clone());
    let covariance = least_squares::covariance(&jacobian, &UNSEEN, 1.0);
    let left_open = covariance.unseen.len();
    let mut seen = [true; COORDINATES];
    for direction in &covariance.unseen {
        for (k, share) in direction.iter().enumerate() {
            seen[k] &= share.abs() < SEEN_SHARE;
        }
    }
    let gain = whitening.transposed_times(&(jacobian * &covariance.matrix));
    let noise_covariance = gain.tr_mul(&(DMatrix::from_diagonal(&rows.noise) * &gain));
    let systematic = -gain.tr_mul(&rows.effects);
    let whitened = whitening.times(rows.residuals.clone());
    let covariance = &noise_covariance + &systematic * systematic.transpose();
    let mut estimate = PoseEstimate {
        pose,
        covariance: covariance.clone(),
        noise_covariance,
        systematic,
        seen,
        chi_square: whitened.norm_squared(),
        redundancy: rows.residuals.len().saturating_sub(COORDINATES - left_open),
    };
    // In a run the nuisances are known better once it has taught them.
    if weighting == Weighting::Alone {
        estimate.known(covariance);
    }
    estimate
}

/// What the redundant readings of one instant say of the nuisances, the pose left free.
#[derive(Debug, Clone)]
pub struct Redundant {
    /// Left-over of the whitened residuals, m.
    pub residuals: DVector<f64>,
    /// Its change per standard deviation of each nuisance, m × K.
    pub effects: DMatrix<f64>,
    /// Redundancy number of each reading: the share of its variance that the others check, 0…1.
    pub numbers: DVector<f64>,
    /// Standard deviation of each reading's noise, by which it was whitened, SI.
    pub sigma: DVector<f64>,
}

/// Residuals with the pose's own directions projected out: the Schur complement of the pose in the run's normal equations.
pub fn redundant(
    observer: &Observer,
    instant: &Instant,
    against: &RelativeAcceleration,
    pose: &Pose,
) -> Redundant {
    let rows = observer.rows(instant, against, pose);
    let whitening = Whitening::new(&rows, Weighting::InRun);
    let svd = whitening.times(rows.jacobian).svd(true, false);
    let cut = 1e-9 * svd.singular_values.max();
    let mut numbers = DVector::from_element(rows.noise.len(), 1.0);
    let mut residuals = whitening.times(rows.residuals);
    let mut effects = whitening.times(rows.effects);
    if let Some(u) = &svd.u {
        for (k, _) in svd.singular_values.iter().enumerate().filter(|(_, size)| **size > cut) {
            let direction = u.column(k);
            residuals -= direction * direction.dot(&residuals);
            effects -= direction * (direction.transpose() * &effects);
            numbers -= direction.component_mul(&direction);
        }
    }
    Redundant { residuals, effects, numbers, sigma: rows.noise.map(f64::sqrt) }
}
