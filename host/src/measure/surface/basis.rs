//! Terms of a surface: products of Legendre polynomials in heave and roll, chosen one by one as long as the Bayesian information
//! criterion (Schwarz 1978, with an effective number of readings) gains: as crooked as the data demand and no more.

use super::{RESIDUAL_FLOOR, Samples, autocorrelation_inflation};
use crate::geometry::{DMatrix, DVector};

/// Highest total degree of a term.
const HIGHEST_DEGREE: usize = 6;

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

    /// Coefficients of quantities given at states, n × any → T × any, by least squares; `None` where the states cannot tell the
    /// terms apart.
    pub fn fit(&self, states: &[(f64, f64)], values: &DMatrix<f64>) -> Option<DMatrix<f64>> {
        let svd = self.design(states).svd(true, true);
        if states.len() < self.len() || svd.singular_values.min() < 1e-9 * svd.singular_values.max() {
            return None;
        }
        svd.solve(values, 0.0).ok()
    }

    pub(super) fn design(&self, states: &[(f64, f64)]) -> DMatrix<f64> {
        let mut x = DMatrix::zeros(states.len(), self.terms.len());
        for (row, (heave, roll)) in states.iter().enumerate() {
            x.row_mut(row).copy_from(&self.at(*heave, *roll)[0].transpose());
        }
        x
    }
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
pub(super) fn choose(samples: &Samples) -> Basis {
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
