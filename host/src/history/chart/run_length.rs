//! How many runs a chart goes before it speaks: in control (a false alarm), after a shift, and under wear that grows.
//!
//! Integral equations for the average run length solved at Gauss-Legendre nodes (Page 1954 for the cumulative sum, Crowder
//! 1987 for the weighted average; from memory), and the same kernel carried forward in time where the mean moves.

use crate::geometry::{DMatrix, DVector};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Nodes of the quadrature; 48 give six digits for every chart used here.
const NODES: usize = 48;
/// A chart that has spoken with this probability has spoken.
const SURELY: f64 = 1e-9;
/// Longest run that a growing mean is followed for.
const LONGEST: usize = 5000;

/// Which ways a chart looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// Upwards only.
    Upper,
    /// Both ways.
    Both,
}

/// Nodes and weights of Gauss-Legendre quadrature on `[low, high]`.
fn gauss_legendre(low: f64, high: f64) -> Vec<(f64, f64)> {
    let n = NODES as f64;
    let half = 0.5 * (high - low);
    (0..NODES)
        .map(|i| {
            let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..100 {
                let (mut p, mut before) = (1.0, 0.0);
                for j in 0..NODES {
                    let j = j as f64;
                    (p, before) = (((2.0 * j + 1.0) * x * p - j * before) / (j + 1.0), p);
                }
                slope = n * (x * p - before) / (x * x - 1.0);
                let step = p / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (low + half * (1.0 - x), half * 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// Average run length of `C ← max(0, C + z − k)`, `C > h`, from zero, with z of unit standard deviation about `shift`.
fn upper_cusum(k: f64, h: f64, shift: f64) -> f64 {
    let normal = Normal::standard();
    let nodes = gauss_legendre(0.0, h);
    let starts: Vec<f64> = std::iter::once(0.0).chain(nodes.iter().map(|n| n.0)).collect();
    let size = starts.len();
    let mut system = DMatrix::<f64>::identity(size, size);
    for (row, start) in starts.iter().enumerate() {
        system[(row, 0)] -= normal.cdf(k - start - shift);
        for (column, (y, weight)) in nodes.iter().enumerate() {
            system[(row, column + 1)] -= weight * normal.pdf(y + k - start - shift);
        }
    }
    first_of_solution(system, 0)
}

fn first_of_solution(system: DMatrix<f64>, place: usize) -> f64 {
    let ones = DVector::from_element(system.nrows(), 1.0);
    system.lu().solve(&ones).map_or(f64::INFINITY, |runs| runs[place])
}

/// Average run length of a cumulative sum with reference `k` and decision interval `h`, from zero, after a shift of the mean
/// (all in standard deviations). Both ways at once add like rates: `1/L = 1/L₊ + 1/L₋` (exact from zero, from memory).
pub fn cusum(k: f64, h: f64, shift: f64, sides: Sides) -> f64 {
    let up = upper_cusum(k, h, shift);
    match sides {
        Sides::Upper => up,
        Sides::Both => 1.0 / (1.0 / up + 1.0 / upper_cusum(k, h, -shift)),
    }
}

/// Average run length of `Z ← (1 − λ)Z + λz`, `|Z| > L·√(λ/(2 − λ))`, from zero, after a shift of the mean (in standard
/// deviations).
pub fn ewma(lambda: f64, l: f64, shift: f64) -> f64 {
    let normal = Normal::standard();
    let limit = l * (lambda / (2.0 - lambda)).sqrt();
    let nodes = gauss_legendre(-limit, limit);
    let starts: Vec<f64> = std::iter::once(0.0).chain(nodes.iter().map(|n| n.0)).collect();
    let mut system = DMatrix::<f64>::identity(starts.len(), starts.len());
    for (row, start) in starts.iter().enumerate() {
        for (column, (y, weight)) in nodes.iter().enumerate() {
            let z = (y - (1.0 - lambda) * start) / lambda - shift;
            system[(row, column + 1)] -= weight * normal.pdf(z) / lambda;
        }
    }
    first_of_solution(system, 0)
}

/// Mean number of runs until an upper cumulative sum speaks, where the mean is known and the nth run's is `mean(n)`, n from 1,
/// in standard deviations.
pub fn cusum_delay(k: f64, h: f64, mean: impl Fn(usize) -> f64) -> f64 {
    let normal = Normal::standard();
    let nodes = gauss_legendre(0.0, h);
    let (mut at_zero, mut density) = (1.0, vec![0.0; nodes.len()]);
    let mut expected = 0.0;
    for n in 1..=LONGEST {
        let silent = at_zero + nodes.iter().zip(&density).map(|((_, w), f)| w * f).sum::<f64>();
        expected += silent;
        if silent < SURELY {
            break;
        }
        let shift = mean(n);
        let carried = |to: &dyn Fn(f64) -> f64| {
            at_zero * to(0.0) + nodes.iter().zip(&density).map(|((u, w), f)| w * f * to(*u)).sum::<f64>()
        };
        let zero = carried(&|from| normal.cdf(k - from - shift));
        density = nodes.iter().map(|(y, _)| carried(&|from| normal.pdf(y + k - from - shift))).collect();
        at_zero = zero;
    }
    expected
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published values carry two decimals.
    const ROUNDED: f64 = 0.006;

    #[test]
    fn cumulative_sums_reach_the_tabled_run_lengths() {
        // k 0.5, both ways; shifts 0, 0.5, 1, 2. Computed by another program; they match the tables in Montgomery,
        // Introduction to Statistical Quality Control (from memory).
        let tabled = [(4.0, [167.68, 26.63, 8.38, 3.34]), (5.0, [465.44, 38.00, 10.38, 4.01])];
        for (h, lengths) in tabled {
            for (shift, length) in [0.0, 0.5, 1.0, 2.0].into_iter().zip(lengths) {
                let found = cusum(0.5, h, shift, Sides::Both);
                assert!((found - length).abs() < ROUNDED, "h {h}, shift {shift}: {found}, tabled {length}");
            }
        }
    }

    #[test]
    fn weighted_averages_reach_the_tabled_run_lengths() {
        // Computed by another program; Lucas and Saccucci, Technometrics 32 (1990), from memory.
        let tabled = [(0.1, 2.814, [499.58, 31.30, 10.33]), (0.2, 2.962, [499.74, 41.76, 10.54])];
        for (lambda, l, lengths) in tabled {
            for (shift, length) in [0.0, 0.5, 1.0].into_iter().zip(lengths) {
                let found = ewma(lambda, l, shift);
                assert!(
                    (found - length).abs() < ROUNDED,
                    "λ {lambda}, shift {shift}: {found}, tabled {length}"
                );
            }
        }
    }

    #[test]
    fn a_mean_that_stays_is_followed_to_the_same_run_length() {
        // The same chart by another way: carried forward in time instead of solved for.
        for (shift, tolerance) in [(1.0, 1e-5), (2.0, 1e-5)] {
            let carried = cusum_delay(0.5, 5.0, |_| shift);
            let solved = cusum(0.5, 5.0, shift, Sides::Upper);
            assert!((carried - solved).abs() < tolerance, "{carried} {solved}");
        }
    }
}
