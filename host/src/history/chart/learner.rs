//! A baseline that knows how little it knows: each run is judged by what the runs before it foretell.
//!
//! A run's value is `x = μ + e`, `e` normal with variance `u² + σ²`: `u` the run's own uncertainty, σ the vehicle's
//! repeatability from run to run. Neither μ nor σ is known beforehand. With a flat prior on μ and one on σ over a grid, the
//! runs so far give a foretelling distribution of the next; the next value's place in it, put on the normal scale, is
//! standard normal and independent of all before as long as nothing changes. A short baseline therefore does not ruin the
//! run length of a chart. With `u = 0` these are the self-starting values of D. M. Hawkins (The Statistician 36, 1987; from
//! memory); here every run brings its own u.

use statrs::distribution::{ContinuousCDF, Normal};

/// Ratio of the whole standard deviation `√(u² + σ²)` between neighbours on the grid.
const STEP: f64 = 1.07;
/// Grid points: up to 60 times the stated uncertainty.
const POINTS: usize = 61;
/// A grid point this much less likely than the best one is left out from then on.
const FORGOTTEN: f64 = -18.0;
/// Values further out than this are no further out: a chart has spoken long before.
const FURTHEST: f64 = 8.0;

/// What is known of the repeatability σ: it outlives a new bush.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeatability {
    /// σ and the logarithm of its weight.
    grid: Vec<(f64, f64)>,
}

impl Repeatability {
    /// Before any run, for runs whose own uncertainty is about `typical_u`. That stated uncertainties are about right is the
    /// likeliest; the prior weight falls with the whole standard deviation: ten times as much has a tenth of it.
    pub fn before(typical_u: f64) -> Self {
        let grid = (0..POINTS)
            .map(|j| {
                let whole = STEP.powi(j as i32);
                (typical_u * (whole * whole - 1.0).sqrt(), -whole.ln())
            })
            .collect();
        Self { grid }
    }

    /// Mean of σ² as known so far, square root.
    pub fn sigma(&self) -> f64 {
        let (sum, squares) = self.grid.iter().fold((0.0, 0.0), |(sum, squares), (sigma, log)| {
            let weight = log.exp();
            (sum + weight, squares + weight * sigma * sigma)
        });
        if sum > 0.0 { (squares / sum).sqrt() } else { 0.0 }
    }
}

/// What the runs of one baseline foretell.
#[derive(Debug, Clone, PartialEq)]
pub struct Learner {
    repeatability: Repeatability,
    /// Per σ of the grid: sums of weights and of weighted values.
    sums: Vec<(f64, f64)>,
    runs: usize,
}

/// A baseline in numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baseline {
    /// Its runs.
    pub runs: usize,
    /// Mean, SI.
    pub mean: f64,
    /// Standard uncertainty of the mean, SI.
    pub u: f64,
    /// Repeatability from run to run beyond each run's own uncertainty, SI.
    pub sigma_rep: f64,
}

impl Learner {
    /// A new baseline; the repeatability may come from an earlier one.
    pub fn new(repeatability: Repeatability) -> Self {
        let sums = vec![(0.0, 0.0); repeatability.grid.len()];
        Self { repeatability, sums, runs: 0 }
    }

    /// The place of `(x, u)` among what the runs so far foretell, as a standard normal value; none before the second run.
    pub fn place(&self, x: f64, u: f64) -> Option<f64> {
        if self.runs == 0 {
            return None;
        }
        let normal = Normal::standard();
        let (mut whole, mut below, mut above) = (0.0, 0.0, 0.0);
        for ((sigma, log), (weights, weighted)) in self.repeatability.grid.iter().zip(&self.sums) {
            let spread = (u * u + sigma * sigma + 1.0 / weights).sqrt();
            let away = (x - weighted / weights) / spread;
            let weight = log.exp();
            whole += weight;
            below += weight * normal.cdf(away);
            above += weight * normal.sf(away);
        }
        // The smaller tail is the one with digits.
        let z = if below < above {
            normal.inverse_cdf((below / whole).max(f64::MIN_POSITIVE))
        } else {
            -normal.inverse_cdf((above / whole).max(f64::MIN_POSITIVE))
        };
        Some(z.clamp(-FURTHEST, FURTHEST))
    }

    /// Takes a run into the baseline.
    pub fn learn(&mut self, x: f64, u: f64) {
        let mut best = f64::NEG_INFINITY;
        for ((sigma, log), (weights, weighted)) in self.repeatability.grid.iter_mut().zip(&mut self.sums) {
            let own = u * u + *sigma * *sigma;
            if *weights > 0.0 {
                let variance = own + 1.0 / *weights;
                let away = x - *weighted / *weights;
                *log -= 0.5 * (variance.ln() + away * away / variance);
            }
            let weight = 1.0 / own.max(f64::MIN_POSITIVE);
            *weights += weight;
            *weighted += weight * x;
            best = best.max(*log);
        }
        self.runs += 1;
        let kept: Vec<bool> = self.repeatability.grid.iter().map(|(_, log)| log - best > FORGOTTEN).collect();
        let mut keep = kept.iter();
        self.repeatability.grid.retain(|_| *keep.next().unwrap_or(&true));
        let mut keep = kept.iter();
        self.sums.retain(|_| *keep.next().unwrap_or(&true));
        for (_, log) in &mut self.repeatability.grid {
            *log -= best;
        }
    }

    /// The baseline as it stands; none without a run.
    pub fn baseline(&self) -> Option<Baseline> {
        if self.runs == 0 {
            return None;
        }
        let (mut whole, mut mean, mut squares) = (0.0, 0.0, 0.0);
        for ((_, log), (weights, weighted)) in self.repeatability.grid.iter().zip(&self.sums) {
            let (weight, centre) = (log.exp(), weighted / weights);
            whole += weight;
            mean += weight * centre;
            squares += weight * (1.0 / weights + centre * centre);
        }
        let mean = mean / whole;
        let u = (squares / whole - mean * mean).max(0.0).sqrt();
        Some(Baseline { runs: self.runs, mean, u, sigma_rep: self.repeatability.sigma() })
    }

    /// What it has learnt of the repeatability.
    pub fn repeatability(&self) -> &Repeatability {
        &self.repeatability
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use statrs::distribution::StudentsT;

    #[test]
    fn with_unknown_scale_alone_the_foretelling_is_students() {
        // u far below the scatter and a flat prior over ln σ would give Student's t with n − 1 degrees of freedom (Hawkins
        // 1987, from memory). This prior falls by one power more, so that n degrees of freedom are met; the grid's steps and
        // its end leave 0.02.
        const GRID: f64 = 0.02;
        let data = [9.3, 10.4, 9.8, 10.9, 9.1, 10.2, 9.9, 10.6];
        let mut learner = Learner::new(Repeatability::before(0.05));
        for x in data {
            learner.learn(x, 0.0);
        }
        let n = data.len() as f64;
        let mean = data.iter().sum::<f64>() / n;
        let squares: f64 = data.iter().map(|x| (x - mean) * (x - mean)).sum();
        for x in [8.0, 9.5, 10.0, 11.0, 12.5] {
            let t = (x - mean) / (squares / n * (1.0 + 1.0 / n)).sqrt();
            let place = StudentsT::new(0.0, 1.0, n).unwrap().cdf(t);
            let expected = Normal::standard().inverse_cdf(place);
            let found = learner.place(x, 0.0).unwrap();
            assert!((found - expected).abs() < GRID, "{x}: {found}, Student's t gives {expected}");
        }
    }

    #[test]
    fn runs_of_known_scatter_are_weighted_by_their_own_u() {
        let mut learner = Learner::new(Repeatability { grid: vec![(0.0, 0.0)] });
        learner.learn(10.0, 1.0);
        learner.learn(13.0, 2.0);
        // Weights 1 and 1/4: mean 10.6, variance of the mean 0.8; the next run with u 1 has variance 1.8.
        let baseline = learner.baseline().unwrap();
        assert!((baseline.mean - 10.6).abs() < 1e-12 && (baseline.u * baseline.u - 0.8).abs() < 1e-12);
        assert!((learner.place(12.0, 1.0).unwrap() - 1.4 / 1.8f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn nothing_is_foretold_by_nothing() {
        let mut learner = Learner::new(Repeatability::before(1.0));
        assert!(learner.place(5.0, 1.0).is_none() && learner.baseline().is_none());
        learner.learn(5.0, 1.0);
        assert!(learner.place(5.0, 1.0).unwrap().abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn a_place_does_not_depend_on_where_zero_is_or_on_the_order_of_the_past(
            past in prop::collection::vec((-3.0..3.0f64, 0.3..3.0f64), 2..12),
            next in -3.0..3.0f64,
            shift in -100.0..100.0f64,
        ) {
            let place = |order: &mut dyn Iterator<Item = (f64, f64)>, shift: f64| {
                let mut learner = Learner::new(Repeatability::before(1.0));
                order.for_each(|(x, u)| learner.learn(x + shift, u));
                learner.place(next + shift, 1.0)
            };
            let as_it_was = place(&mut past.iter().copied(), 0.0).unwrap();
            prop_assert!((place(&mut past.iter().copied(), shift).unwrap() - as_it_was).abs() < 1e-6);
            // What was forgotten on the way depends on the order, and weighs as much as its name says.
            prop_assert!((place(&mut past.iter().rev().copied(), 0.0).unwrap() - as_it_was).abs() < 0.02);
            prop_assert!(as_it_was.abs() <= FURTHEST);
        }
    }
}
