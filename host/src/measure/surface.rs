//! The free coordinates as smooth surfaces over heave and roll, with the covariance of noise and nuisances carried through.
//!
//! Products of Legendre polynomials, chosen one by one as long as the Bayesian information criterion (Schwarz 1978, with
//! an effective number of readings) gains: the surface is as crooked as the data demand and no more.

use super::nuisance::{Knowledge, Nuisance};
use crate::geometry::{DMatrix, DVector};

/// Highest total degree of a term.
const HIGHEST_DEGREE: usize = 6;

/// Residuals below this (m, rad) are beneath any sensor; they keep logarithms of noise-free data finite.
const RESIDUAL_FLOOR: f64 = 1e-9;

/// Terms of a surface: products of Legendre polynomials in heave and roll, each scaled to −1…1 over its range.
#[derive(Debug, Clone, PartialEq)]
pub struct Basis {
    terms: Vec<(usize, usize)>,
    heave: Axis,
    roll: Axis,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Axis {
    middle: f64,
    half: f64,
}

impl Axis {
    fn over(values: impl Iterator<Item = f64>) -> Self {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        Self { middle: 0.5 * (low + high), half: (0.5 * (high - low)).max(1e-6) }
    }

    /// Legendre polynomials up to the highest degree, and their derivatives by the unscaled variable.
    fn legendre(&self, value: f64) -> [(f64, f64); HIGHEST_DEGREE + 1] {
        let x = (value - self.middle) / self.half;
        let mut p = [(1.0, 0.0); HIGHEST_DEGREE + 1];
        p[1] = (x, 1.0);
        for n in 1..HIGHEST_DEGREE {
            let k = n as f64;
            // Bonnet's recursion and its derivative.
            let value = ((2.0 * k + 1.0) * x * p[n].0 - k * p[n - 1].0) / (k + 1.0);
            let slope = ((2.0 * k + 1.0) * (p[n].0 + x * p[n].1) - k * p[n - 1].1) / (k + 1.0);
            p[n + 1] = (value, slope);
        }
        p.map(|(value, slope)| (value, slope / self.half))
    }
}

impl Basis {
    /// Values of the terms, their derivatives by heave (1/m) and by roll (1/rad) at a state.
    pub fn at(&self, heave_m: f64, roll_rad: f64) -> [DVector<f64>; 3] {
        let (h, r) = (self.heave.legendre(heave_m), self.roll.legendre(roll_rad));
        let of = |f: &dyn Fn(usize, usize) -> f64| {
            DVector::from_iterator(self.terms.len(), self.terms.iter().map(|(i, j)| f(*i, *j)))
        };
        [of(&|i, j| h[i].0 * r[j].0), of(&|i, j| h[i].1 * r[j].0), of(&|i, j| h[i].0 * r[j].1)]
    }

    /// Number of terms.
    pub fn len(&self) -> usize {
        self.terms.len()
    }

    /// Whether there are no terms; never so for a fitted surface.
    pub fn is_empty(&self) -> bool {
        self.terms.is_empty()
    }

    fn design(&self, states: &[(f64, f64)]) -> DMatrix<f64> {
        let mut x = DMatrix::zeros(states.len(), self.terms.len());
        for (row, (heave, roll)) in states.iter().enumerate() {
            x.row_mut(row).copy_from(&self.at(*heave, *roll)[0].transpose());
        }
        x
    }
}

/// What a surface is fitted to: states (heave m, roll rad) and, per state, responses and what each nuisance does to both.
#[derive(Debug, Clone)]
pub struct Samples {
    /// Heave and roll.
    pub states: Vec<(f64, f64)>,
    /// n × M.
    pub responses: DMatrix<f64>,
    /// Per nuisance: change of (heave, roll) at every state for one standard deviation, n × 2.
    pub state_effects: Vec<DMatrix<f64>>,
    /// Per nuisance: change of the responses, n × M.
    pub response_effects: Vec<DMatrix<f64>>,
    /// How many of the leading responses choose the terms.
    pub choosing: Vec<usize>,
}

impl Samples {
    /// Only the rows that `keep` marks.
    pub fn filtered(&self, keep: &[bool]) -> Samples {
        let rows: Vec<usize> = keep.iter().enumerate().filter(|(_, k)| **k).map(|(i, _)| i).collect();
        Samples {
            states: rows.iter().map(|r| self.states[*r]).collect(),
            responses: self.responses.select_rows(&rows),
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
    /// Coefficients, T × M.
    pub beta: DMatrix<f64>,
    /// `(XᵀX)⁻¹`, T × T.
    inverse: DMatrix<f64>,
    /// Covariance of the residuals between responses, widened for their correlation in time, M × M.
    scatter: DMatrix<f64>,
    /// Change of the coefficients for one standard deviation of each nuisance, one T × M matrix each.
    pub systematic: Vec<DMatrix<f64>>,
    /// The nuisances, in that order.
    pub nuisances: Vec<Nuisance>,
    /// What the run knows of them.
    pub knowledge: Knowledge,
    /// Root mean square residual of each response.
    pub residual_rms: DVector<f64>,
    /// Effective degrees of freedom.
    pub degrees_of_freedom: f64,
}

/// A linear function of the coefficients, T × M.
pub type Functional = DMatrix<f64>;

impl SurfaceFit {
    /// Chooses the terms and fits; `None` with fewer samples than a plane needs.
    pub fn fit(samples: &Samples, nuisances: &[Nuisance], knowledge: &Knowledge) -> Option<SurfaceFit> {
        if samples.states.len() < 8 {
            return None;
        }
        let basis = choose(samples);
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
        let beta = &pseudo * &samples.responses;
        let residuals = &samples.responses - &x * &beta;
        let inflation = autocorrelation_inflation(&residuals);
        let effective = n as f64 / inflation;
        let degrees_of_freedom = (effective - basis.len() as f64).max(1.0);
        let scatter = residuals.tr_mul(&residuals) * (inflation / (n as f64 - basis.len() as f64).max(1.0));
        let inverse = &pseudo * pseudo.transpose();
        let systematic = systematic(&basis, &beta, &pseudo, samples);
        let residual_rms = DVector::from_iterator(
            residuals.ncols(),
            residuals.column_iter().map(|c| (c.norm_squared() / n as f64).sqrt()),
        );
        let (nuisances, knowledge) = (nuisances.to_vec(), knowledge.clone());
        Some(SurfaceFit {
            basis,
            beta,
            inverse,
            scatter,
            systematic,
            nuisances,
            knowledge,
            residual_rms,
            degrees_of_freedom,
        })
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
        // Σ_mn scatter_mn · a_mᵀ (XᵀX)⁻¹ b_n
        (a.transpose() * &self.inverse * b).dot(&self.scatter)
    }

    /// Covariance of two functionals, noise and nuisances.
    pub fn covariance(&self, a: &Functional, b: &Functional) -> f64 {
        self.noise_covariance(a, b) + self.effects(a).dot(&(&self.knowledge * self.effects(b)))
    }

    /// Coefficients of other quantities given at the states of the fit, n × any → T × any.
    pub fn project(&self, states: &[(f64, f64)], values: &DMatrix<f64>) -> DMatrix<f64> {
        &self.inverse * self.basis.design(states).tr_mul(values)
    }

    /// Covariance of the coefficients of `count` responses from `first`, stacked response after response.
    pub fn response_covariance(&self, first: usize, count: usize) -> DMatrix<f64> {
        let scatter = self.scatter.view((first, first), (count, count)).into_owned();
        let mut covariance = scatter.kronecker(&self.inverse);
        let stacked: Vec<DVector<f64>> = self
            .systematic
            .iter()
            .map(|effect| DVector::from_column_slice(effect.columns(first, count).into_owned().as_slice()))
            .collect();
        if !stacked.is_empty() {
            let effects = DMatrix::from_columns(&stacked);
            covariance += &effects * &self.knowledge * effects.transpose();
        }
        covariance
    }

    /// The functional that reads a response, or its derivative, at a state: `row` is one of [`Basis::at`].
    pub fn functional(&self, response: usize, row: &DVector<f64>) -> Functional {
        let mut f = DMatrix::zeros(self.basis.len(), self.beta.ncols());
        f.set_column(response, row);
        f
    }
}

/// How each nuisance moves the coefficients: `δβ = X⁺(δY − ∂f/∂h·δh − ∂f/∂r·δr)`.
fn systematic(
    basis: &Basis,
    beta: &DMatrix<f64>,
    pseudo: &DMatrix<f64>,
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
            pseudo * change
        })
        .collect()
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

/// Every term up to the highest degree.
fn all_terms() -> Vec<(usize, usize)> {
    let mut terms: Vec<_> =
        (0..=HIGHEST_DEGREE).flat_map(|i| (0..=HIGHEST_DEGREE - i).map(move |j| (i, j))).collect();
    terms.sort_by_key(|(i, j)| (i + j, *j));
    terms
}

/// Forward selection by the information criterion on a triangular factor of the whole problem, so that the cost does not
/// grow with the length of the run.
fn choose(samples: &Samples) -> Basis {
    let terms = all_terms();
    let heave = Axis::over(samples.states.iter().map(|s| s.0));
    let roll = Axis::over(samples.states.iter().map(|s| s.1));
    let full = Basis { terms: terms.clone(), heave, roll };
    let x = full.design(&samples.states);
    let y = samples.responses.select_columns(&samples.choosing);
    let n = samples.states.len();

    let residual_correlation = {
        let svd = x.clone().svd(true, true);
        let cut = 1e-7 * svd.singular_values.max();
        let beta = svd.solve(&y, cut).unwrap_or_else(|_| DMatrix::zeros(terms.len(), y.ncols()));
        autocorrelation_inflation(&(&y - &x * beta))
    };
    let effective = (n as f64 / residual_correlation).max(8.0);

    let mut joined = DMatrix::zeros(n, terms.len() + y.ncols());
    joined.columns_mut(0, terms.len()).copy_from(&x);
    joined.columns_mut(terms.len(), y.ncols()).copy_from(&y);
    let factor = joined.qr().r();
    let (fx, fy) =
        (factor.columns(0, terms.len()).into_owned(), factor.columns(terms.len(), y.ncols()).into_owned());
    let criterion = |chosen: &[usize]| information(&fx.select_columns(chosen), &fy, n, effective);

    // A plane at least, where the data can tell it: a slope that happens to be zero still has its uncertainty.
    let mut chosen = vec![0];
    for slope in [(1, 0), (0, 1)] {
        if let Some(k) = terms.iter().position(|t| *t == slope) {
            chosen.push(k);
            if criterion(&chosen).is_none() {
                chosen.pop();
            }
        }
    }
    let mut best = criterion(&chosen).unwrap_or(f64::INFINITY);
    loop {
        let candidate = (0..terms.len())
            .filter(|k| !chosen.contains(k) && has_parent(terms[*k], &chosen, &terms))
            .filter_map(|k| {
                let with: Vec<usize> = chosen.iter().copied().chain([k]).collect();
                criterion(&with).map(|c| (c, k))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match candidate {
            Some((value, k)) if value < best && (chosen.len() as f64) < 0.25 * effective => {
                best = value;
                chosen.push(k);
            }
            _ => break,
        }
    }
    chosen.sort_unstable();
    Basis { terms: chosen.iter().map(|k| terms[*k]).collect(), heave, roll }
}

fn has_parent((i, j): (usize, usize), chosen: &[usize], terms: &[(usize, usize)]) -> bool {
    chosen.iter().any(|c| {
        let (a, b) = terms[*c];
        (i > 0 && (a, b) == (i - 1, j)) || (j > 0 && (a, b) == (i, j - 1))
    }) || i + j == 1
        || (i + j == 2 && (i == 0 || j == 0))
}

/// Bayesian information criterion of the chosen columns; `None` where they cannot be told apart.
fn information(x: &DMatrix<f64>, y: &DMatrix<f64>, n: usize, effective: f64) -> Option<f64> {
    let svd = x.clone().svd(true, true);
    if svd.singular_values.min() < 1e-5 * svd.singular_values.max() {
        return None;
    }
    let residuals = y - x * svd.solve(y, 0.0).ok()?;
    let fit: f64 = residuals
        .column_iter()
        .map(|c| (c.norm_squared() / n as f64 + RESIDUAL_FLOOR * RESIDUAL_FLOOR).ln())
        .sum();
    Some(effective * fit + x.ncols() as f64 * y.ncols() as f64 * effective.ln())
}
