//! The guarded decision: agrees, differs, or the data do not decide.
//!
//! Guard bands after JCGM 106:2012 and ISO 14253-1: a claim either way is made only at 95 %.

use super::result::{NumberComparison, Quantity, Verdict};
use crate::measure::Measured;
use crate::vehicle::numbers::{Key, Unit};
use statrs::distribution::{ContinuousCDF, Normal};

/// Confidence of a verdict.
const CONFIDENCE: f64 = 0.95;
/// One-sided 95 % point of the normal distribution.
const ONE_SIDED: f64 = 1.6448536269514722;
/// Half-width of a two-sided 95 % interval in standard deviations.
const TWO_SIDED: f64 = 1.959963984540054;

/// Differences below this never matter to a builder, SI.
pub fn floor(key: Key) -> f64 {
    match key.unit() {
        Unit::Percent => 1.0,
        Unit::Metre | Unit::MetrePerRadian => 0.002,
        Unit::RadianPerMetre => 0.005,
        Unit::Radian | Unit::RadianPerRadian | Unit::Ratio => 0.002,
        // A spring rate is rarely known to better than a few per cent; these never come from geometry alone.
        Unit::NewtonPerMetre => 500.0,
        Unit::NewtonMetrePerRadian => 200.0,
    }
}

/// The difference that counts as agreement: the builder's own limit, else what his tolerance makes of the design, but
/// never less than the floor.
pub fn limit(key: Key, stated: Option<f64>, designed_u: Option<f64>) -> f64 {
    stated.unwrap_or_else(|| TWO_SIDED * designed_u.unwrap_or(0.0)).max(floor(key))
}

/// Probability that a difference measured as `d` with standard uncertainty `u` lies within ±`t` (JCGM 106:2012, 7.5).
pub fn conformance(d: f64, u: f64, t: f64) -> f64 {
    let normal = Normal::standard();
    normal.cdf((t - d) / u) - normal.cdf((-t - d) / u)
}

/// Judges a difference `d` with standard uncertainty `u` against the limit `t`, all in one unit.
pub fn judge(d: f64, u: f64, t: f64) -> Verdict {
    if u <= 0.0 {
        return if d.abs() <= t { Verdict::Agrees } else { Verdict::Differs };
    }
    if conformance(d, u, t) >= CONFIDENCE {
        Verdict::Agrees
    } else if d.abs() >= t + ONE_SIDED * u {
        Verdict::Differs
    } else {
        Verdict::NotResolved
    }
}

/// Sets one number's two values side by side. Where the reference is a drawing its u makes the limit; where it is another run,
/// `difference_u` is the u of the two runs' difference, and the limit has none.
pub fn number(
    key: Key,
    reference: Quantity,
    measured: &Measured,
    stated: Option<f64>,
    difference_u: Option<f64>,
) -> NumberComparison {
    let limit_value = limit(key, stated, reference.u.filter(|_| difference_u.is_none()));
    let (difference, verdict) = match (reference.value, measured.measured()) {
        (Some(a), Some((b, own_u))) => {
            let u = difference_u.unwrap_or(own_u);
            (Quantity { value: Some(b - a), u: Some(u) }, judge(b - a, u, limit_value))
        }
        (Some(_), None) if measured.status == crate::measure::Status::NotResolved => {
            (Quantity::default(), Verdict::NotResolved)
        }
        _ => (Quantity::default(), Verdict::NotMeasured),
    };
    NumberComparison {
        designed: reference,
        measured: measured.clone(),
        difference,
        limit: Some(limit_value),
        verdict,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn guard_bands_stand_where_the_standard_puts_them() {
        // ISO 14253-1 / JCGM 106:2012 8.3.2: with a guard band of 1.645·u (from memory), acceptance ends that much inside the
        // limit and rejection begins that much outside it.
        let (t, u) = (10.0, 1.0);
        assert_eq!(judge(t - 1.66 * u, u, t), Verdict::Agrees);
        assert_eq!(judge(t - 1.63 * u, u, t), Verdict::NotResolved);
        assert_eq!(judge(t + 1.63 * u, u, t), Verdict::NotResolved);
        assert_eq!(judge(t + 1.66 * u, u, t), Verdict::Differs);
    }

    #[test]
    fn nothing_agrees_when_u_is_half_the_limit_or_more() {
        // With T < 1.96·u even a difference of zero leaves more than 5 % outside.
        assert_eq!(judge(0.0, 1.0, 1.95), Verdict::NotResolved);
        assert_eq!(judge(0.0, 1.0, 1.97), Verdict::Agrees);
    }

    proptest! {
        #[test]
        fn verdicts_do_not_depend_on_the_sign(d in -5.0..5.0f64, u in 0.01..3.0f64, t in 0.1..4.0f64) {
            prop_assert_eq!(judge(d, u, t), judge(-d, u, t));
        }

        #[test]
        fn more_certainty_never_turns_a_difference_into_agreement(d in 0.0..5.0f64, u in 0.01..3.0f64, t in 0.1..4.0f64) {
            if judge(d, u, t) == Verdict::Differs {
                prop_assert_eq!(judge(d, 0.5 * u, t), Verdict::Differs);
            }
        }
    }
}
