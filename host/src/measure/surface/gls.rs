//! The normal equations of surfaces that are fitted to poses, each with its own covariance.

use super::{Basis, Derived, RESIDUAL_FLOOR, Samples, autocorrelation_inflation};
use crate::geometry::{DMatrix, DVector};
use crate::measure::numbers::FREE;
use nalgebra::{Cholesky, Dyn, Matrix4, Matrix4x6};

/// Variance (m², rad²) of a coordinate that nothing sees at an instant: it has no say.
const UNSEEN_VARIANCE: f64 = 0.01;

/// `XᵀWX` for all four responses at once, factored, with what it takes to solve for right sides.
pub(super) struct Equations<'a> {
    x: &'a DMatrix<f64>,
    /// Inverse covariance of the responses at each state, heave and roll as measured.
    weights: Vec<Matrix4<f64>>,
    factor: Cholesky<f64, Dyn>,
    /// Responses that the sensors see.
    choosing: Vec<usize>,
}

impl<'a> Equations<'a> {
    /// `slopes_of` are coefficients near the solution: their slopes tell what noise of heave and roll does.
    pub(super) fn new(
        basis: &Basis,
        x: &'a DMatrix<f64>,
        samples: &Samples,
        slopes_of: &DMatrix<f64>,
    ) -> Option<Self> {
        let left_over = &samples.responses - x * slopes_of;
        let floor = [0, 1, 2, 3].map(|k| floor(left_over.column(k).as_slice()));
        let weights: Option<Vec<Matrix4<f64>>> = samples
            .states
            .iter()
            .zip(&samples.noise)
            .map(|((heave, roll), noise)| {
                let [_, by_heave, by_roll] = basis.at(*heave, *roll);
                let mut reads = Matrix4x6::zeros();
                for (k, coordinate) in FREE.into_iter().enumerate() {
                    reads[(k, coordinate)] = 1.0;
                    reads[(k, 2)] = -slopes_of.column(k).dot(&by_heave);
                    reads[(k, 3)] = -slopes_of.column(k).dot(&by_roll);
                }
                let mut covariance = reads * noise * reads.transpose();
                (0..4).for_each(|k| covariance[(k, k)] += floor[k]);
                let covariance = alone_where_unseen(covariance, &samples.choosing, noise);
                covariance.cholesky().map(|c| c.inverse())
            })
            .collect();
        let weights = weights?;
        let terms = x.ncols();
        let mut normal = DMatrix::zeros(4 * terms, 4 * terms);
        for a in 0..4 {
            for b in 0..4 {
                let weighted = weighted(x, &weights, a, b);
                normal.view_mut((a * terms, b * terms), (terms, terms)).copy_from(&x.tr_mul(&weighted));
            }
        }
        let choosing = samples.choosing.clone();
        Some(Self { x, weights, factor: normal.cholesky()?, choosing })
    }

    /// Coefficients of responses, n × 4 → T × 4.
    pub(super) fn solve(&self, responses: &DMatrix<f64>) -> DMatrix<f64> {
        let mut weighed = DMatrix::zeros(responses.nrows(), 4);
        for (row, weight) in self.weights.iter().enumerate() {
            weighed.row_mut(row).copy_from(&(responses.fixed_view::<1, 4>(row, 0) * weight));
        }
        let right = self.x.tr_mul(&weighed);
        let stacked = self.factor.solve(&DVector::from_column_slice(right.as_slice()));
        DMatrix::from_column_slice(self.x.ncols(), 4, stacked.as_slice())
    }

    /// Covariance of the coefficients from noise: as stated, widened by what the residuals are larger than that, and by how much
    /// they resemble their neighbours.
    pub(super) fn covariance(&self, residuals: &DMatrix<f64>) -> DMatrix<f64> {
        let mut white = DMatrix::zeros(residuals.nrows(), 4);
        for (row, weight) in self.weights.iter().enumerate() {
            if let Some(root) = weight.cholesky() {
                white.row_mut(row).copy_from(&(residuals.fixed_view::<1, 4>(row, 0) * root.l()));
            }
        }
        let white = white.select_columns(&self.choosing);
        let count = (white.len() as f64 - (self.x.ncols() * self.choosing.len()) as f64).max(1.0);
        let larger = white.norm_squared() / count * autocorrelation_inflation(&white);
        self.factor.inverse() * larger
    }

    /// How each nuisance moves the coefficients: `δβ` of `δY − ∂f/∂h·δh − ∂f/∂r·δr`.
    pub(super) fn systematic(
        &self,
        basis: &Basis,
        beta: &DMatrix<f64>,
        samples: &Samples,
    ) -> Vec<DMatrix<f64>> {
        let n = samples.states.len();
        let (mut by_heave, mut by_roll) = (DMatrix::zeros(n, basis.len()), DMatrix::zeros(n, basis.len()));
        for (row, (heave, roll)) in samples.states.iter().enumerate() {
            let [_, h, r] = basis.at(*heave, *roll);
            by_heave.row_mut(row).copy_from(&h.transpose());
            by_roll.row_mut(row).copy_from(&r.transpose());
        }
        let (slope_heave, slope_roll) = (by_heave * beta, by_roll * beta);
        samples
            .response_effects
            .iter()
            .zip(&samples.state_effects)
            .map(|(response, state)| {
                let mut change = response.clone();
                for row in 0..n {
                    for column in 0..change.ncols() {
                        change[(row, column)] -= slope_heave[(row, column)] * state[(row, 0)]
                            + slope_roll[(row, column)] * state[(row, 1)];
                    }
                }
                self.solve(&change)
            })
            .collect()
    }
}

/// Share of what a plain fit leaves over that no pose is better than: what is stated of noise does not know of everything, and a
/// held vehicle's readings, the quietest of all, stand for few states.
const NO_BETTER: f64 = 0.5;

/// Variance that every value has at the least, from what a plain fit leaves over.
fn floor(left_over: &[f64]) -> f64 {
    let square: f64 = left_over.iter().map(|v| v * v).sum();
    NO_BETTER.powi(2) * square / left_over.len().max(1) as f64 + RESIDUAL_FLOOR.powi(2)
}

/// A quantity's surface, fitted by itself, every value by its own variance.
pub(super) struct Single {
    /// Coefficients, T.
    pub(super) beta: DVector<f64>,
    /// Change of the coefficients for one standard deviation of each nuisance, T × K.
    pub(super) effects: DMatrix<f64>,
    /// From values to coefficients, T × n.
    pub(super) project: DMatrix<f64>,
    /// By how much the residuals are larger than stated, and resemble their neighbours, as a factor on a variance.
    larger: f64,
}

impl Single {
    pub(super) fn new(basis: &Basis, x: &DMatrix<f64>, samples: &Samples, derived: &Derived) -> Option<Self> {
        let n = x.nrows();
        let near =
            basis.fit(&samples.states, &DMatrix::from_columns(std::slice::from_ref(&derived.value)))?;
        let floor = floor((&derived.value - x * near.column(0)).as_slice());
        let weight = |row: usize| 1.0 / (variance(samples, [derived; 2], row) + floor);
        let weights = DVector::from_iterator(n, (0..n).map(weight));
        let mut weighted = x.clone();
        for (row, weight) in weights.iter().enumerate() {
            weighted.row_mut(row).scale_mut(*weight);
        }
        let project = x.tr_mul(&weighted).cholesky()?.solve(&weighted.transpose());
        let beta = &project * &derived.value;
        let residuals = &derived.value - x * &beta;
        let white = DMatrix::from_columns(&[residuals.component_mul(&weights.map(f64::sqrt))]);
        let count = (n as f64 - x.ncols() as f64).max(1.0);
        let mut change = derived.effects.clone();
        for (row, (heave, roll)) in samples.states.iter().enumerate() {
            let [_, by_heave, by_roll] = basis.at(*heave, *roll);
            let slopes = [beta.dot(&by_heave), beta.dot(&by_roll)];
            for (k, state) in samples.state_effects.iter().enumerate() {
                change[(row, k)] -= slopes[0] * state[(row, 0)] + slopes[1] * state[(row, 1)];
            }
        }
        Some(Self {
            effects: &project * change,
            larger: white.norm_squared() / count * autocorrelation_inflation(&white),
            project,
            beta,
        })
    }

    /// Covariance of its coefficients with another's, from the noise of the poses that both come from.
    pub(super) fn noise_with(&self, other: &Self, samples: &Samples, of: [&Derived; 2]) -> DMatrix<f64> {
        let mut carried = self.project.clone();
        for row in 0..carried.ncols() {
            carried.column_mut(row).scale_mut(variance(samples, of, row));
        }
        carried * other.project.transpose() * (self.larger * other.larger).sqrt()
    }
}

/// Covariance of two quantities at a state, from the noise of its pose.
fn variance(samples: &Samples, of: [&Derived; 2], row: usize) -> f64 {
    let [a, b] = of.map(|d| d.gradient.fixed_view::<1, 6>(row, 0).into_owned());
    (a * samples.noise[row] * b.transpose())[(0, 0)]
}

/// The rows of `x` by one entry of each weight.
fn weighted(x: &DMatrix<f64>, weights: &[Matrix4<f64>], a: usize, b: usize) -> DMatrix<f64> {
    let mut weighted = x.clone();
    for (row, weight) in weights.iter().enumerate() {
        weighted.row_mut(row).scale_mut(weight[(a, b)]);
    }
    weighted
}

/// A covariance in which responses that nothing sees, in the run or at this instant, stand alone and have next to no say.
fn alone_where_unseen(
    mut covariance: Matrix4<f64>,
    choosing: &[usize],
    noise: &nalgebra::Matrix6<f64>,
) -> Matrix4<f64> {
    for k in 0..4 {
        let coordinate = FREE[k];
        if !choosing.contains(&k) || noise[(coordinate, coordinate)] <= 0.0 {
            covariance.row_mut(k).fill(0.0);
            covariance.column_mut(k).fill(0.0);
            covariance[(k, k)] = UNSEEN_VARIANCE;
        }
    }
    covariance
}
