//! Links that are longer or shorter than drawn, where the still's own place was taped.

use super::result::{Finding, FindingKind};
use crate::measure::AxleAnalysis;
use crate::measure::numbers::HALF_95;
use statrs::distribution::{ContinuousCDF, Normal};

/// A length must be this many standard uncertainties from the drawn one: an axle has up to eight, and all are looked at.
const STANDS_OUT: f64 = 3.0;

/// Links of another length than drawn, the surest first.
pub fn findings(analysis: &AxleAnalysis) -> Vec<Finding> {
    let mut found: Vec<(f64, Finding)> = analysis
        .links
        .iter()
        .filter_map(|link| {
            let (length_m, u) = link.length_m.measured()?;
            let longer_m = length_m - link.nominal_m;
            let sure = longer_m.abs() / u;
            (sure > STANDS_OUT).then(|| (sure, finding(&link.name, longer_m, u)))
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().map(|(_, finding)| finding).collect()
}

fn finding(name: &str, longer_m: f64, u: f64) -> Finding {
    let word = if longer_m > 0.0 { "longer" } else { "shorter" };
    Finding {
        kind: FindingKind::Length,
        element: name.to_owned(),
        text: format!(
            "\"{name}\" is {:.0} ± {:.0} mm {word} between its joints than drawn, by what was taped at ride height: tape it from bolt to bolt.",
            1e3 * longer_m.abs(),
            1e3 * HALF_95 * u
        ),
        size: Some(longer_m.abs()),
        u: Some(u),
        probability: 1.0 - 2.0 * Normal::standard().cdf(-longer_m.abs() / u),
        explains: Vec::new(),
    }
}
