//! Probabilities of explanations from their likelihoods, and how many of them a finding must list.

use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Probability that an explanation, or a set of them, must have before anybody crawls under a vehicle for it.
pub const NAMED: f64 = 0.95;
/// Explanations that a finding lists at the most when the data do not decide.
const LISTED: usize = 4;
/// Below this probability not even the best explanation fits, and the finding says so.
const FITS: f64 = 1e-4;

/// Probabilities from natural logarithms of likelihoods, equal priors: they sum to 1.
pub fn probabilities(logs: &[f64]) -> Vec<f64> {
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|log| (log - best).exp()).sum();
    logs.iter().map(|log| (log - best).exp() / sum).collect()
}

/// The first of explanations, the most probable first, that together are as probable as one that is named.
pub fn undecided<T>(explanations: &[T], probability: impl Fn(&T) -> f64) -> Vec<&T> {
    let mut sum = 0.0;
    explanations
        .iter()
        .take_while(|explanation| {
            let wanted = sum < NAMED;
            sum += probability(explanation);
            wanted
        })
        .take(LISTED)
        .collect()
}

/// Whether an explanation that leaves `chi_square` of `count` data over fits.
pub fn fits(chi_square: f64, count: usize) -> bool {
    match ChiSquared::new(count as f64) {
        Ok(distribution) => distribution.sf(chi_square) > FITS,
        Err(_) => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_many_are_listed_as_the_data_leave() {
        let own = |p: &f64| *p;
        assert_eq!(undecided(&[0.96, 0.03, 0.01], own).len(), 1);
        assert_eq!(undecided(&[0.5, 0.46, 0.04], own).len(), 2);
        assert_eq!(undecided(&[0.2; 5], own).len(), LISTED);
    }

    #[test]
    fn likelihoods_beyond_the_range_of_floats_still_have_odds() {
        // A factor of e between the first two; the third has no chance.
        let odds = probabilities(&[2000.0, 1999.0, 0.0]);
        assert!((odds[0] / odds[1] - std::f64::consts::E).abs() < 1e-12, "{odds:?}");
        assert!(odds[2] == 0.0 && (odds.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
