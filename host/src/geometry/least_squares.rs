//! The one least-squares solver: Levenberg-Marquardt on whitened residuals, with covariance and a report of what the
//! residuals cannot see.
//!
//! Levenberg (1944), Marquardt (1963); step control by Nielsen's rule as in Madsen, Nielsen, Tingleff, "Methods for
//! Non-Linear Least Squares Problems", section 3.2.

use nalgebra::{DMatrix, DVector};

/// Residuals that were whitened when they were made: each divided by its standard deviation (or multiplied by the square
/// root of its stiffness).
pub trait Residuals {
    /// Number of unknowns.
    fn unknowns(&self) -> usize;
    /// Residual vector (length m) and Jacobian (m × unknowns) at `x`.
    fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>);
}

/// When to stop.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// Iterations at the most.
    pub max_iterations: usize,
    /// Stop when the largest component of a step, relative to `1e-3 + |x|`, is below this.
    pub step_tolerance: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self { max_iterations: 60, step_tolerance: 1e-12 }
    }
}

/// Where the solver ended.
#[derive(Debug, Clone)]
pub struct Solution {
    /// The unknowns.
    pub x: DVector<f64>,
    /// Whitened residuals there.
    pub residuals: DVector<f64>,
    /// Whitened Jacobian there.
    pub jacobian: DMatrix<f64>,
    /// Whether the step tolerance was met.
    pub converged: bool,
    /// Iterations used.
    pub iterations: usize,
}

impl Solution {
    /// Sum of squared whitened residuals.
    pub fn chi_square(&self) -> f64 {
        self.residuals.norm_squared()
    }
}

/// Minimises half the sum of squares from `x0`.
pub fn solve(problem: &impl Residuals, x0: DVector<f64>, options: Options) -> Solution {
    let mut x = x0;
    let (mut r, mut j) = problem.evaluate(&x);
    let mut cost = r.norm_squared();
    let mut lambda = 0.0_f64;
    let mut growth = 2.0;
    let n = problem.unknowns();
    for iteration in 0..options.max_iterations {
        let gradient = j.tr_mul(&r);
        let normal = j.tr_mul(&j);
        // A column that no residual sees must not stop the others: a floor far below anything that matters.
        let floor = 1e-14 * normal.diagonal().max().max(f64::MIN_POSITIVE);
        let mut damped = normal.clone();
        for k in 0..n {
            damped[(k, k)] += lambda * normal[(k, k)] + floor;
        }
        let Some(step) = damped.cholesky().map(|c| -c.solve(&gradient)) else {
            (lambda, growth) = harder(lambda, growth);
            continue;
        };
        let candidate = &x + &step;
        let (r_new, j_new) = problem.evaluate(&candidate);
        let cost_new = r_new.norm_squared();
        let small =
            step.iter().zip(x.iter()).all(|(s, v)| s.abs() <= options.step_tolerance * (1e-3 + v.abs()));
        if cost_new.is_finite() && (cost_new <= cost || small) {
            if cost_new <= cost {
                let predicted = -(gradient.dot(&step) * 2.0 + step.dot(&(&normal * &step)));
                let gain = if predicted > 0.0 { (cost - cost_new) / predicted } else { 1.0 };
                lambda = if gain > 0.75 { lambda * 0.1 } else { lambda };
                growth = 2.0;
                (x, r, j, cost) = (candidate, r_new, j_new, cost_new);
            }
            if small {
                return Solution { x, residuals: r, jacobian: j, converged: true, iterations: iteration + 1 };
            }
        } else {
            (lambda, growth) = harder(lambda, growth);
        }
    }
    Solution { x, residuals: r, jacobian: j, converged: false, iterations: options.max_iterations }
}

fn harder(lambda: f64, growth: f64) -> (f64, f64) {
    (if lambda == 0.0 { 1e-4 } else { lambda * growth }, growth * 2.0)
}

/// Covariance of the unknowns of a whitened problem, and what it cannot see.
#[derive(Debug, Clone)]
pub struct Covariance {
    /// `(JᵀJ)⁻¹` on the seen directions; zero along unseen ones, so read `unseen` first.
    pub matrix: DMatrix<f64>,
    /// Unit vectors (in the scaled unknowns) that no residual sees.
    pub unseen: Vec<DVector<f64>>,
}

/// Covariance from a whitened Jacobian. `scale[k]` is the size of unknown `k` that matters (so that metres and radians
/// compare); a direction whose standard deviation exceeds `limit` of those sizes counts as unseen.
pub fn covariance(jacobian: &DMatrix<f64>, scale: &[f64], limit: f64) -> Covariance {
    let n = jacobian.ncols();
    let mut scaled = jacobian.clone();
    for (k, s) in scale.iter().enumerate() {
        scaled.column_mut(k).scale_mut(*s);
    }
    let eigen = scaled.tr_mul(&scaled).symmetric_eigen();
    let mut matrix = DMatrix::zeros(n, n);
    let mut unseen = Vec::new();
    for (k, information) in eigen.eigenvalues.iter().enumerate() {
        let v = eigen.eigenvectors.column(k).into_owned();
        if *information > 1.0 / (limit * limit) {
            matrix += &v * v.transpose() / *information;
        } else {
            unseen.push(v);
        }
    }
    for row in 0..n {
        for column in 0..n {
            matrix[(row, column)] *= scale[row] * scale[column];
        }
    }
    Covariance { matrix, unseen }
}
