//! Runs a regression through the host's one solver and counts the digits that agree.

use hingeline::geometry::least_squares::{Covariance, Options, Residuals, Solution, covariance, solve};
use hingeline::geometry::{DMatrix, DVector};

/// Standard deviations beyond this many sizes of an unknown would count as unseen: none of the problems here comes near.
const UNSEEN_BEYOND: f64 = 1e7;

/// A model `y = f(b, x)` with its gradient by `b`.
pub type Model = fn(b: &[f64], x: &[f64]) -> (f64, Vec<f64>);

/// Readings `y` at `x`, a model, and the size of each unknown (so that unknowns of unlike units compare).
pub struct Regression {
    /// Readings.
    pub y: Vec<f64>,
    /// By reading, the predictors.
    pub x: Vec<Vec<f64>>,
    /// What the readings should be.
    pub model: Model,
    /// By unknown.
    pub size: Vec<f64>,
}

/// What a regression gives.
pub struct Fitted {
    /// Estimates.
    pub estimate: Vec<f64>,
    /// Their standard deviations.
    pub deviation: Vec<f64>,
    /// Standard deviation of one reading.
    pub residual_deviation: f64,
}

impl Residuals for Regression {
    fn unknowns(&self) -> usize {
        self.size.len()
    }

    fn evaluate(&self, scaled: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let b: Vec<f64> = scaled.iter().zip(&self.size).map(|(u, size)| u * size).collect();
        let mut residuals = DVector::zeros(self.y.len());
        let mut jacobian = DMatrix::zeros(self.y.len(), b.len());
        for (row, (y, x)) in self.y.iter().zip(&self.x).enumerate() {
            let (value, gradient) = (self.model)(&b, x);
            residuals[row] = value - y;
            for (k, slope) in gradient.iter().enumerate() {
                jacobian[(row, k)] = slope * self.size[k];
            }
        }
        (residuals, jacobian)
    }
}

impl Regression {
    /// Solves from `start`.
    pub fn fit(&self, start: &[f64]) -> Fitted {
        let scaled = start.iter().zip(&self.size).map(|(b, size)| b / size);
        let solution = solve(
            self,
            DVector::from_iterator(start.len(), scaled),
            Options { max_iterations: 500, ..Options::default() },
        );
        assert!(solution.converged, "stopped after {} iterations", solution.iterations);
        let free = (self.y.len() - start.len()) as f64;
        let residual_deviation = (solution.chi_square() / free).sqrt();
        let covariance = seen(&solution, &vec![1.0; start.len()]);
        Fitted {
            estimate: solution.x.iter().zip(&self.size).map(|(u, size)| u * size).collect(),
            deviation: (0..start.len())
                .map(|k| covariance.matrix[(k, k)].sqrt() * self.size[k] * residual_deviation)
                .collect(),
            residual_deviation,
        }
    }
}

/// Covariance at a solution of which nothing may be unseen.
pub fn seen(solution: &Solution, size: &[f64]) -> Covariance {
    let found = covariance(&solution.jacobian, size, UNSEEN_BEYOND);
    assert!(found.unseen.is_empty(), "{} directions are unseen", found.unseen.len());
    found
}

/// Significant digits that agree.
pub fn digits(found: f64, published: f64) -> f64 {
    -((found - published).abs() / published.abs()).max(f64::EPSILON).log10()
}

/// Holds numbers to published ones.
pub fn hold(what: &str, found: &[f64], published: &[f64], at_least: f64) {
    assert_eq!(found.len(), published.len(), "{what}");
    for (k, (f, p)) in found.iter().zip(published).enumerate() {
        assert!(
            digits(*f, *p) >= at_least,
            "{what} {k}: {f:e} against {p:e}, {:.1} digits of {at_least}",
            digits(*f, *p)
        );
    }
}
