//! The pose at one instant: weighted least squares with the rig's correlated errors in view.

use super::instants::Instant;
use super::observe::{Observer, RelativeAcceleration, Rows};
use crate::geometry::least_squares::{self, Options, Residuals};
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, DVector, Pose};

/// Coordinates (m, rad) whose standard deviation exceeds this count as unseen: nothing a builder asks for survives it.
const UNSEEN: [f64; COORDINATES] = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1];

/// A prior so wide that it only keeps unseen coordinates from wandering, m and rad.
const WIDE_PRIOR: f64 = 10.0;

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

struct Whitened<'a> {
    observer: &'a Observer,
    instant: &'a Instant,
    against: &'a RelativeAcceleration,
    whitening: DMatrix<f64>,
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
        all_r.rows_mut(0, rows).copy_from(&(&self.whitening * r));
        all_j.rows_mut(0, rows).copy_from(&(&self.whitening * j));
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
fn whitening(rows: &Rows, weighting: Weighting) -> DMatrix<f64> {
    let mut covariance = match weighting {
        Weighting::Alone => &rows.effects * rows.effects.transpose(),
        Weighting::InRun => DMatrix::zeros(rows.residuals.len(), rows.residuals.len()),
    };
    for (k, variance) in rows.noise.iter().enumerate() {
        covariance[(k, k)] += variance.max(f64::MIN_POSITIVE);
    }
    let count = covariance.nrows();
    let scale: DVector<f64> = covariance.diagonal().map(|d| 1.0 / d.sqrt());
    let correlation = DMatrix::from_diagonal(&scale) * covariance * DMatrix::from_diagonal(&scale);
    let inverse = correlation
        .cholesky()
        .and_then(|c| c.l().solve_lower_triangular(&DMatrix::identity(count, count)))
        .unwrap_or_else(|| DMatrix::identity(count, count));
    inverse * DMatrix::from_diagonal(&scale)
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
    // The weights depend on the pose: once from the start, once more from where that led.
    for _ in 0..2 {
        let rows = observer.rows(instant, against, &pose);
        if rows.residuals.is_empty() {
            return None;
        }
        let problem = Whitened { observer, instant, against, whitening: whitening(&rows, weighting) };
        let x0 = DVector::from_column_slice(&pose.to_array());
        pose = pose_of(&least_squares::solve(&problem, x0, options).x);
    }
    Some(report(&observer.rows(instant, against, &pose), pose, weighting))
}

fn report(rows: &Rows, pose: Pose, weighting: Weighting) -> PoseEstimate {
    let whitening = whitening(rows, weighting);
    let jacobian = &whitening * &rows.jacobian;
    let covariance = least_squares::covariance(&jacobian, &UNSEEN, 1.0);
    let mut seen = [true; COORDINATES];
    for direction in &covariance.unseen {
        for (k, share) in direction.iter().enumerate() {
            seen[k] &= share.abs() < SEEN_SHARE;
        }
    }
    let gain = &covariance.matrix * jacobian.transpose() * &whitening;
    let noise_covariance = &gain * DMatrix::from_diagonal(&rows.noise) * gain.transpose();
    let systematic = -(&gain * &rows.effects);
    let whitened = &whitening * &rows.residuals;
    PoseEstimate {
        pose,
        covariance: &noise_covariance + &systematic * systematic.transpose(),
        noise_covariance,
        systematic,
        seen,
        chi_square: whitened.norm_squared(),
        redundancy: rows.residuals.len().saturating_sub(COORDINATES - covariance.unseen.len()),
    }
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
    let whitening = whitening(&rows, Weighting::InRun);
    let svd = (&whitening * &rows.jacobian).svd(true, false);
    let cut = 1e-9 * svd.singular_values.max();
    let mut numbers = DVector::from_element(rows.residuals.len(), 1.0);
    let mut residuals = &whitening * &rows.residuals;
    let mut effects = whitening * rows.effects;
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
