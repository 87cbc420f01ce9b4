//! How fast something grows, since when, and how long until a limit: a level that begins to rise at an unknown run.
//!
//! For every run at which the rise may have begun the two parameters (level, slope) are fitted by weighted least squares; the
//! fits are weighted by their marginal likelihoods. The time left is found on the mixture of `P(level + slope·Δt ≥ limit)`,
//! each a normal probability of two correlated parameters (Fieller's construction), so that no interval is lost where the slope
//! is barely known.

use statrs::distribution::{ContinuousCDF, Normal};

/// The slope's prior: a rise of this many standard deviations of one run, per run.
const PRIOR_SLOPE: f64 = 2.0;
/// Runs at which a rise may have begun that are tried at the most: the latest.
const MOST_STARTS: usize = 400;
/// A limit that is not reached within this many spans of what was seen is not reached.
const HORIZON: f64 = 50.0;
/// Halvings of an interval in which a quantile is sought: it is then known to a part in 10¹² of it.
const HALVINGS: usize = 40;
/// Share of the posterior below which a start tells nothing: all of them together less than any printed digit.
const NOTHING: f64 = 1e-12;

/// A value at a time (in runs, or in days) with the variance of its own errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dated {
    /// When.
    pub t: f64,
    /// Value, SI.
    pub x: f64,
    /// Variance, SI squared.
    pub variance: f64,
}

/// What must not be exceeded, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Where it is.
    pub value: f64,
    /// How well that is known, a standard uncertainty.
    pub u: f64,
}

/// Lower end, middle and upper end of a 90 % interval; an end that is never reached is none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// 5 %.
    pub low: Option<f64>,
    /// 50 %.
    pub middle: Option<f64>,
    /// 95 %.
    pub high: Option<f64>,
}

/// What the data say of a rise.
#[derive(Debug, Clone, PartialEq)]
pub struct Growth {
    /// Logarithm of how much likelier the data are with a rise than without.
    pub log_factor: f64,
    /// Number of the value after which the rise probably began, from 0.
    pub since: usize,
    /// Rise per unit of time: 2.5 %, 50 %, 97.5 %.
    pub slope: [f64; 3],
    /// The level now and its standard uncertainty.
    pub level: (f64, f64),
    /// Probability that the level is beyond the limit now, with and without a rise weighed.
    pub beyond: Option<f64>,
    /// Time left to the limit if it rises; zero where it is reached.
    pub left: Option<Span>,
}

/// One start of the rise with its fit.
struct Candidate {
    start: usize,
    log_weight: f64,
    slope: f64,
    slope_u: f64,
    /// Level at the last time with the parameters' covariance carried there.
    level: f64,
    level_variance: f64,
    /// Covariance of level and slope.
    cross: f64,
}

/// Fits a rise to values in order of time; none of fewer than three.
pub fn fit(data: &[Dated], limit: Option<Limit>) -> Option<Growth> {
    let (first, last) = (data.first()?, data.last()?);
    if data.len() < 3 || last.t <= first.t {
        return None;
    }
    let steady = Steady::of(data);
    let candidates = candidates(data, &steady);
    let best = candidates.iter().map(|c| c.log_weight).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = candidates.iter().map(|c| (c.log_weight - best).exp()).sum();
    let log_factor = best + sum.ln() - (candidates.len() as f64).ln();
    let all = candidates.iter().map(|c| ((c.log_weight - best).exp() / sum, c));
    let weighted: Vec<(f64, &Candidate)> = all.filter(|(weight, _)| *weight > NOTHING).collect();
    let mean_level: f64 = weighted.iter().map(|(w, c)| w * c.level).sum();
    let level_variance: f64 =
        weighted.iter().map(|(w, c)| w * (c.level_variance + (c.level - mean_level).powi(2))).sum();
    let mut before = 0.0;
    let since = weighted
        .iter()
        .find(|(w, _)| {
            before += w;
            before >= 0.5
        })
        .map_or(0, |(_, c)| c.start);
    let rising = 1.0 / (1.0 + (-log_factor).exp());
    let beyond = limit.map(|limit| {
        let flat = normal_sf((limit.value - steady.mean) / steady.mean_u.hypot(limit.u));
        rising * reached(&weighted, limit, 0.0) + (1.0 - rising) * flat
    });
    let horizon = HORIZON * (last.t - first.t);
    Some(Growth {
        log_factor,
        since,
        slope: [0.025, 0.5, 0.975].map(|p| slope_quantile(&weighted, p)),
        level: (mean_level, level_variance.sqrt()),
        beyond,
        left: limit.map(|limit| Span {
            low: time_left(&weighted, limit, 0.05, horizon),
            middle: time_left(&weighted, limit, 0.5, horizon),
            high: time_left(&weighted, limit, 0.95, horizon),
        }),
    })
}

/// A level that stays.
struct Steady {
    mean: f64,
    mean_u: f64,
    chi_square: f64,
}

impl Steady {
    fn of(data: &[Dated]) -> Self {
        let weights: f64 = data.iter().map(|d| 1.0 / d.variance).sum();
        let mean = data.iter().map(|d| d.x / d.variance).sum::<f64>() / weights;
        let chi_square = data.iter().map(|d| (d.x - mean).powi(2) / d.variance).sum();
        Self { mean, mean_u: weights.sqrt().recip(), chi_square }
    }
}

fn candidates(data: &[Dated], steady: &Steady) -> Vec<Candidate> {
    let n = data.len();
    let span = data[n - 1].t - data[0].t;
    let mut typical: Vec<f64> = data.iter().map(|d| d.variance).collect();
    typical.sort_by(f64::total_cmp);
    // Slope prior in units of time: per run on average.
    let prior_u = PRIOR_SLOPE * typical[n / 2].sqrt() * (n - 1) as f64 / span;
    let whole = data.iter().fold((0.0, 0.0, 0.0), |(w, wx, wxx), d| {
        let (weight, x) = (1.0 / d.variance, d.x - steady.mean);
        (w + weight, wx + weight * x, wxx + weight * x * x)
    });
    // Sums over the values after the start: weight, with time, with time squared, with value, with both.
    let mut after = [0.0; 5];
    let mut found = Vec::new();
    for start in (0..n - 1).rev() {
        let d = data[start + 1];
        let (weight, t, x) = (1.0 / d.variance, d.t - data[n - 1].t, d.x - steady.mean);
        for (sum, add) in after.iter_mut().zip([1.0, t, t * t, x, t * x]) {
            *sum += weight * add;
        }
        let from = data[start].t - data[n - 1].t;
        let [sw, st, stt, sx, stx] = after;
        let cross = st - from * sw;
        let square = stt - 2.0 * from * st + from * from * sw + prior_u.powi(-2);
        let product = stx - from * sx;
        let determinant = whole.0 * square - cross * cross;
        if determinant <= 0.0 {
            continue;
        }
        let level = (square * whole.1 - cross * product) / determinant;
        let slope = (whole.0 * product - cross * whole.1) / determinant;
        let slope_u = (whole.0 / determinant).sqrt();
        let chi_square = whole.2 - level * whole.1 - slope * product;
        let occam = (slope_u / prior_u).ln() + (2.0 * normal_cdf(slope / slope_u)).max(1e-300).ln();
        let reach = -from;
        found.push(Candidate {
            start,
            log_weight: 0.5 * (steady.chi_square - chi_square) + occam,
            slope,
            slope_u,
            level: steady.mean + level + slope * reach,
            level_variance: (square - 2.0 * cross * reach + whole.0 * reach * reach) / determinant,
            cross: (-cross + whole.0 * reach) / determinant,
        });
        if found.len() >= MOST_STARTS {
            break;
        }
    }
    found.reverse();
    found
}

/// Probability that the level is at the limit after `later`, the rise taken as certain.
fn reached(weighted: &[(f64, &Candidate)], limit: Limit, later: f64) -> f64 {
    weighted
        .iter()
        .map(|(weight, c)| {
            let variance = c.level_variance
                + 2.0 * later * c.cross
                + later * later * c.slope_u * c.slope_u
                + limit.u * limit.u;
            weight
                * normal_sf(
                    (limit.value - c.level - c.slope * later) / variance.max(f64::MIN_POSITIVE).sqrt(),
                )
        })
        .sum()
}

/// The time after which the limit is reached with this probability; none if not within the horizon.
fn time_left(weighted: &[(f64, &Candidate)], limit: Limit, probability: f64, horizon: f64) -> Option<f64> {
    if reached(weighted, limit, 0.0) >= probability {
        return Some(0.0);
    }
    if reached(weighted, limit, horizon) < probability {
        return None;
    }
    let (mut low, mut high) = (0.0, horizon);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if reached(weighted, limit, middle) >= probability { high = middle } else { low = middle }
    }
    Some(high)
}

/// Quantile of the slope, which is not negative.
fn slope_quantile(weighted: &[(f64, &Candidate)], probability: f64) -> f64 {
    let from_zero: Vec<(f64, &Candidate, f64)> =
        weighted.iter().map(|(weight, c)| (*weight, *c, normal_cdf(-c.slope / c.slope_u))).collect();
    let below = |slope: f64| -> f64 {
        from_zero
            .iter()
            .map(|(weight, c, zero)| {
                let share = (normal_cdf((slope - c.slope) / c.slope_u) - zero) / (1.0 - zero).max(1e-300);
                weight * share.clamp(0.0, 1.0)
            })
            .sum()
    };
    let mut high = weighted.iter().map(|(_, c)| c.slope.max(0.0) + 6.0 * c.slope_u).fold(0.0, f64::max);
    let mut low = 0.0;
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if below(middle) >= probability { high = middle } else { low = middle }
    }
    high
}

fn normal_cdf(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

fn normal_sf(z: f64) -> f64 {
    Normal::standard().sf(z)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    fn life(rng: &mut ChaCha8Rng, runs: usize, start: usize, slope: f64) -> Vec<Dated> {
        (0..runs)
            .map(|k| {
                let noise: f64 = StandardNormal.sample(rng);
                let u = 0.05 * (1.0 + (k % 3) as f64);
                let x = 0.2 + slope * k.saturating_sub(start) as f64 + u * noise;
                Dated { t: k as f64, x, variance: u * u }
            })
            .collect()
    }

    #[test]
    fn intervals_hold_the_truth_as_often_as_they_say() {
        // 400 lives: a share of 0.95 has a standard error of 0.011, one of 0.9 of 0.015; three of them.
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let (lives, limit) = (400, 2.0);
        let (mut slopes, mut lefts) = (0, 0);
        for _ in 0..lives {
            let data = life(&mut rng, 24, 8, 0.06);
            let growth = fit(&data, Some(Limit { value: limit, u: 0.0 })).unwrap();
            slopes += usize::from(growth.slope[0] <= 0.06 && 0.06 <= growth.slope[2]);
            let truth = (limit - (0.2 + 0.06 * 15.0)) / 0.06;
            let left = growth.left.unwrap();
            lefts += usize::from(
                left.low.is_some_and(|low| low <= truth) && left.high.is_none_or(|high| truth <= high),
            );
        }
        let share = |n: usize| n as f64 / lives as f64;
        assert!((share(slopes) - 0.95).abs() < 0.033, "slope: {}", share(slopes));
        assert!((share(lefts) - 0.90).abs() < 0.045, "time left: {}", share(lefts));
    }

    #[test]
    fn nothing_that_grows_is_seen_where_nothing_grows() {
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        let lives = 300;
        let seen = (0..lives)
            .filter(|_| fit(&life(&mut rng, 20, 0, 0.0), None).is_some_and(|g| g.log_factor > 20f64.ln()))
            .count();
        // Odds of 20 to 1 for what is not there come up less often than once in 20 (Ville's bound on a Bayes factor).
        assert!(seen * 20 < lives, "{seen} of {lives}");
    }

    #[test]
    fn a_limit_that_is_passed_leaves_no_time() {
        let mut rng = ChaCha8Rng::seed_from_u64(13);
        let growth = fit(&life(&mut rng, 20, 2, 0.1), Some(Limit { value: 1.0, u: 0.0 })).unwrap();
        assert!(growth.beyond.unwrap() > 0.99);
        assert_eq!(growth.left.unwrap().middle, Some(0.0));
        assert!(fit(&life(&mut rng, 2, 0, 0.0), None).is_none());
    }
}
