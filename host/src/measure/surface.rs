//! The free coordinates as smooth surfaces over heave and roll, with the covariance of noise and nuisances carried through.
//!
//! Every pose counts with the inverse of its own covariance (Aitken's generalised least squares), so that a wire that rests in
//! its hysteresis loop or a unit in a jolt has the say that it deserves. Heave and roll are measured too: their noise belongs to
//! the poses' covariance, seen through the surfaces' slopes.

mod basis;
mod gls;

pub use basis::Basis;

use super::nuisance::{Knowledge, Nuisance};
use crate::geometry::{DMatrix, DVector};
use nalgebra::Matrix6;

/// Residuals below this (m, rad) are beneath any sensor; they keep logarithms of noise-free data finite.
const RESIDUAL_FLOOR: f64 = 1e-9;

/// What a surface is fitted to: states (heave m, roll rad) and, per state, responses and what each nuisance does to both.
#[derive(Debug, Clone)]
pub struct Samples {
    /// Heave and roll.
    pub states: Vec<(f64, f64)>,
    /// x, y (m), pitch, yaw (rad), n × 4.
    pub responses: DMatrix<f64>,
    /// Covariance of each pose from its readings' noise alone, in the order of a pose.
    pub noise: Vec<Matrix6<f64>>,
    /// Per nuisance: change of (heave, roll) at every state for one standard deviation, n × 2.
    pub state_effects: Vec<DMatrix<f64>>,
    /// Per nuisance: change of the responses, n × 4.
    pub response_effects: Vec<DMatrix<f64>>,
    /// The responses that the sensors see.
    pub choosing: Vec<usize>,
}

impl Samples {
    /// Only the rows that `keep` marks.
    pub fn filtered(&self, keep: &[bool]) -> Samples {
        let rows: Vec<usize> = keep.iter().enumerate().filter(|(_, k)| **k).map(|(i, _)| i).collect();
        Samples {
            states: rows.iter().map(|r| self.states[*r]).collect(),
            responses: self.responses.select_rows(&rows),
            noise: rows.iter().map(|r| self.noise[*r]).collect(),
            state_effects: self.state_effects.iter().map(|m| m.select_rows(&rows)).collect(),
            response_effects: self.response_effects.iter().map(|m| m.select_rows(&rows)).collect(),
            choosing: self.choosing.clone(),
        }
    }
}

/// A fitted set of surfaces that share their terms.
#[derive(Debug, Clone, PartialEq)]
pub struct SurfaceFit {
    /// The terms.
    pub basis: Basis,
    /// Coefficients, T × M: x, y, pitch, yaw, and whatever was appended.
    pub beta: DMatrix<f64>,
    /// Of each appended quantity, from its values at the states of the fit to its coefficients, T × n.
    project: Vec<DMatrix<f64>>,
    /// Covariance of the coefficients from noise alone, stacked response after response, T·M × T·M.
    noise: DMatrix<f64>,
    /// Change of the coefficients for one standard deviation of each nuisance, one T × M matrix each.
    pub systematic: Vec<DMatrix<f64>>,
    /// The nuisances, in that order.
    pub nuisances: Vec<Nuisance>,
    /// What the run knows of them.
    pub knowledge: Knowledge,
    /// Root mean square residual of x, y, pitch and yaw.
    pub residual_rms: DVector<f64>,
}

/// A linear function of the coefficients, T × M.
pub type Functional = DMatrix<f64>;

/// A quantity that follows from the pose, at every state of a fit.
#[derive(Debug, Clone)]
pub struct Derived {
    /// Its value at the measured pose, n.
    pub value: DVector<f64>,
    /// Its derivative by the pose there, n × 6.
    pub gradient: DMatrix<f64>,
    /// Its change for one standard deviation of each nuisance, n × K.
    pub effects: DMatrix<f64>,
}

impl SurfaceFit {
    /// Chooses the terms and fits; `None` with fewer samples than a plane needs.
    pub fn fit(samples: &Samples, nuisances: &[Nuisance], knowledge: &Knowledge) -> Option<SurfaceFit> {
        if samples.states.len() < 8 {
            return None;
        }
        let basis = basis::choose(samples);
        Self::with_basis(basis, samples, nuisances, knowledge)
    }

    /// Fits with given terms.
    pub fn with_basis(
        basis: Basis,
        samples: &Samples,
        nuisances: &[Nuisance],
        knowledge: &Knowledge,
    ) -> Option<SurfaceFit> {
        let n = samples.states.len();
        if n < basis.len() + 3 {
            return None;
        }
        let x = basis.design(&samples.states);
        let svd = x.clone().svd(true, true);
        let largest = svd.singular_values.max();
        // Terms that this half of the data cannot tell apart would make coefficients without meaning.
        if svd.singular_values.min() < 1e-9 * largest {
            return None;
        }
        let pseudo = svd.pseudo_inverse(0.0).ok()?;
        let equations = gls::Equations::new(&basis, &x, samples, &(&pseudo * &samples.responses))?;
        let beta = equations.solve(&samples.responses);
        let residuals = &samples.responses - &x * &beta;
        let noise = equations.covariance(&residuals);
        let systematic = equations.systematic(&basis, &beta, samples);
        let residual_rms = DVector::from_iterator(
            residuals.ncols(),
            residuals.column_iter().map(|c| (c.norm_squared() / n as f64).sqrt()),
        );
        Some(SurfaceFit {
            project: Vec::new(),
            basis,
            beta,
            noise,
            systematic,
            nuisances: nuisances.to_vec(),
            knowledge: knowledge.clone(),
            residual_rms,
        })
    }

    /// Values of x, y, pitch and yaw at a state.
    pub fn free_at(&self, heave_m: f64, roll_rad: f64) -> [f64; 4] {
        let terms = &self.basis.at(heave_m, roll_rad)[0];
        std::array::from_fn(|k| self.beta.column(k).dot(terms))
    }

    /// With surfaces of quantities that follow from the measured poses. What noise does to them is told among themselves; nobody
    /// asks for one of them and a coordinate at once.
    pub fn appended(mut self, samples: &Samples, derived: &[Derived]) -> SurfaceFit {
        let x = self.basis.design(&samples.states);
        let fitted: Option<Vec<gls::Single>> =
            derived.iter().map(|quantity| gls::Single::new(&self.basis, &x, samples, quantity)).collect();
        let Some(fitted) = fitted else { return self };
        let (terms, free, count) = (self.basis.len(), self.beta.ncols(), self.beta.ncols() + derived.len());
        self.beta = self.beta.resize_horizontally(count, 0.0);
        self.noise = self.noise.resize(terms * count, terms * count, 0.0);
        for effect in &mut self.systematic {
            *effect = std::mem::take(effect).resize_horizontally(count, 0.0);
        }
        for (k, one) in fitted.iter().enumerate() {
            self.beta.set_column(free + k, &one.beta);
            for (effect, own) in self.systematic.iter_mut().zip(one.effects.column_iter()) {
                effect.set_column(free + k, &own);
            }
            for (l, other) in fitted.iter().enumerate() {
                let place = ((free + k) * terms, (free + l) * terms);
                let block = one.noise_with(other, samples, [&derived[k], &derived[l]]);
                self.noise.view_mut(place, (terms, terms)).copy_from(&block);
            }
        }
        self.project = fitted.into_iter().map(|one| one.project).collect();
        self
    }

    /// The value of a functional.
    pub fn value(&self, functional: &Functional) -> f64 {
        functional.dot(&self.beta)
    }

    /// Change of a functional for one standard deviation of each nuisance.
    pub fn effects(&self, functional: &Functional) -> DVector<f64> {
        DVector::from_iterator(self.systematic.len(), self.systematic.iter().map(|s| s.dot(functional)))
    }

    /// Covariance of two functionals from noise alone.
    pub fn noise_covariance(&self, a: &Functional, b: &Functional) -> f64 {
        let stacked = |f: &Functional| DVector::from_column_slice(f.as_slice());
        stacked(a).dot(&(&self.noise * stacked(b)))
    }

    /// Covariance of two functionals, noise and nuisances.
    pub fn covariance(&self, a: &Functional, b: &Functional) -> f64 {
        self.noise_covariance(a, b) + self.effects(a).dot(&(&self.knowledge * self.effects(b)))
    }

    /// Coefficients of other values of the appended quantities at the states of the fit, n × their number → T × their number, each
    /// weighed as its own measured values were.
    pub fn project(&self, values: &DMatrix<f64>) -> DMatrix<f64> {
        let columns: Vec<_> =
            self.project.iter().zip(values.column_iter()).map(|(project, own)| project * own).collect();
        DMatrix::from_columns(&columns)
    }

    /// Covariance of the coefficients of `count` responses from `first`, from noise alone, stacked response after response.
    pub fn response_noise(&self, first: usize, count: usize) -> DMatrix<f64> {
        let terms = self.basis.len();
        self.noise.view((first * terms, first * terms), (count * terms, count * terms)).into_owned()
    }

    /// Change of these coefficients for one standard deviation of each nuisance, one column each.
    pub fn response_effects(&self, first: usize, count: usize) -> DMatrix<f64> {
        let mut effects = DMatrix::zeros(self.basis.len() * count, self.systematic.len());
        for (k, effect) in self.systematic.iter().enumerate() {
            effects.column_mut(k).copy_from_slice(effect.columns(first, count).into_owned().as_slice());
        }
        effects
    }

    /// The functional that reads a response, or its derivative, at a state: `row` is one of [`Basis::at`].
    pub fn functional(&self, response: usize, row: &DVector<f64>) -> Functional {
        let mut f = DMatrix::zeros(self.basis.len(), self.beta.ncols());
        f.set_column(response, row);
        f
    }
}

/// `(1 + ρ)/(1 − ρ)` with ρ the mean lag-one correlation of the residuals, never below 1: how many readings it takes to
/// make one independent one.
fn autocorrelation_inflation(residuals: &DMatrix<f64>) -> f64 {
    let (mut lagged, mut square) = (0.0, 0.0);
    for column in residuals.column_iter() {
        let variance = column.norm_squared();
        if variance <= RESIDUAL_FLOOR.powi(2) * column.len() as f64 {
            continue;
        }
        let product: f64 = column.iter().zip(column.iter().skip(1)).map(|(a, b)| a * b).sum();
        lagged += product / variance;
        square += 1.0;
    }
    let rho = if square > 0.0 { (lagged / square).clamp(0.0, 0.98) } else { 0.0 };
    (1.0 + rho) / (1.0 - rho)
}
