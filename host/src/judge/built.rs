//! Links that are longer or shorter than drawn, where the still's own place was measured by hand: a likelihood for every link, on
//! the lengths of all of them at once.

use super::odds::{NAMED, fits, probabilities, undecided};
use super::result::{Finding, FindingKind};
use crate::geometry::{DMatrix, DVector, Vector3};
use crate::measure::links::Line;
use crate::measure::numbers::HALF_95;
use crate::measure::ride::RidePose;

/// How far a link's length may be off when it is suspected, standard deviation, m.
const SUSPECT_M: f64 = 0.010;

/// What is less probable than this is not worth a line.
const LEAST_LISTED: f64 = 0.02;

/// One link of another length than drawn.
struct Suspect<'a> {
    name: &'a str,
    longer_m: f64,
    u_m: f64,
    /// Natural logarithm of its likelihood over that of all links as drawn.
    favoured: f64,
    /// What it leaves over, squared in units of the covariance.
    chi_square: f64,
    probability: f64,
}

/// One link of another length than drawn, or those among which the lengths do not decide; nothing where all may be as drawn.
pub fn findings(ride: &RidePose, lines: &[Line], centre: Vector3<f64>) -> Vec<Finding> {
    let (longer_m, covariance) = ride.longer(lines, centre);
    let Some(mut suspects) = suspects(lines, &longer_m, covariance) else { return Vec::new() };
    // All as drawn is one explanation more.
    let logs: Vec<f64> = suspects.iter().map(|s| s.favoured).chain([0.0]).collect();
    let odds = probabilities(&logs);
    suspects.iter_mut().zip(&odds).for_each(|(suspect, probability)| suspect.probability = *probability);
    suspects.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let told: f64 = suspects.iter().map(|s| s.probability).sum();
    let Some(first) = suspects.first().filter(|_| told >= NAMED) else { return Vec::new() };
    if !fits(first.chi_square, lines.len()) {
        return vec![unexplained()];
    }
    if first.probability >= NAMED {
        let text = format!(
            "{}, by what was measured by hand at ride height: tape it from bolt to bolt; where that is as drawn, tape where its brackets sit.",
            first.words()
        );
        let size = Some((first.longer_m.abs(), first.u_m));
        return vec![finding(first.name.to_owned(), text, size, first.probability)];
    }
    let mut group = undecided(&suspects, |s| s.probability);
    group.retain(|s| s.probability >= LEAST_LISTED);
    let mut each: Vec<String> =
        group.iter().map(|s| format!("{} ({:.0} %)", s.words(), 100.0 * s.probability)).collect();
    let as_drawn = 1.0 - told;
    if as_drawn >= LEAST_LISTED {
        each.push(format!("all are as drawn ({:.0} %)", 100.0 * as_drawn));
    }
    let names: Vec<&str> = group.iter().map(|s| s.name).collect();
    let text = format!(
        "By what was measured by hand at ride height a link is not as long as drawn, but not for certain: {}. Tape from bolt to bolt.",
        each.join("; or ")
    );
    vec![finding(names.join(" or "), text, None, group.iter().map(|s| s.probability).sum())]
}

/// Every line with what the lengths say of it alone being off by σ: with `d` the lengths over the drawn ones and `C` their
/// covariance, `a = (C⁻¹)ₖₖ + σ⁻²` and `b = (C⁻¹d)ₖ`, its offset is `b/a ± 1/√a`, it leaves `dᵀC⁻¹d − b²/a`, and it is favoured by
/// `½ b²/a − ½ ln aσ²` (Woodbury's identity and the matrix determinant lemma).
fn suspects<'a>(
    lines: &'a [Line],
    longer_m: &DVector<f64>,
    covariance: DMatrix<f64>,
) -> Option<Vec<Suspect<'a>>> {
    let known = covariance.cholesky()?.inverse();
    let pulls = &known * longer_m;
    let chi_square = longer_m.dot(&pulls);
    let prior = SUSPECT_M.powi(-2);
    let of = |(k, line): (usize, &'a Line)| {
        let information = known[(k, k)] + prior;
        let longer_m = pulls[k] / information;
        let explained = pulls[k] * longer_m;
        Suspect {
            name: &line.name,
            longer_m,
            u_m: information.recip().sqrt(),
            favoured: 0.5 * (explained - (information / prior).ln()),
            chi_square: chi_square - explained,
            probability: 0.0,
        }
    };
    Some(lines.iter().enumerate().map(of).collect())
}

fn unexplained() -> Finding {
    let text = "By what was measured by hand at ride height the axle does not sit where it was drawn, and no single link of another length explains it: measure again, then tape every link from bolt to bolt.";
    finding("more than one link, or what was measured by hand".into(), text.into(), None, 1.0)
}

impl Suspect<'_> {
    fn words(&self) -> String {
        let word = if self.longer_m > 0.0 { "longer" } else { "shorter" };
        let (size, half) = (1e3 * self.longer_m.abs(), 1e3 * HALF_95 * self.u_m);
        format!("\"{}\" is {size:.0} ± {half:.0} mm {word} between its joints than drawn", self.name)
    }
}

fn finding(element: String, text: String, size: Option<(f64, f64)>, probability: f64) -> Finding {
    let (undecided, (size, u)) = (size.is_none(), size.unzip());
    Finding {
        kind: FindingKind::Length,
        element,
        undecided,
        text,
        size,
        u,
        probability,
        explains: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::links::Shape;
    use crate::vehicle::Mount;

    fn line(name: &str) -> Line {
        let [chassis, axle] = [[0.9, 0.4, 0.5], [0.0, 0.5, 0.4]].map(|p| Mount::fixed(p.into()));
        Line { name: name.into(), shape: Shape::Straight { chassis, axle }, tolerance_m: 1e-3 }
    }

    #[test]
    fn one_link_by_itself_has_the_odds_of_two_normal_densities() {
        // 5 mm longer by 2 mm, against N(0, 2²): N(0, 2² + 10²).
        let lines = [line("lower left")];
        let found = suspects(&lines, &DVector::from_element(1, 5e-3), DMatrix::from_element(1, 1, 4e-6))
            .expect("a covariance");
        let density = |variance: f64| (-0.5 * 25e-6 / variance).exp() / variance.sqrt();
        assert!((found[0].favoured - (density(104e-6) / density(4e-6)).ln()).abs() < 1e-12);
        // The mean of both, weighted by the inverse variances.
        assert!((found[0].longer_m - 5e-3 * 100.0 / 104.0).abs() < 1e-12);
        assert!((found[0].u_m - (100e-6f64 * 4e-6 / 104e-6).sqrt()).abs() < 1e-12);
        // What is left of 5 mm against the wider variance.
        assert!((found[0].chi_square - 25e-6 / 104e-6).abs() < 1e-12);
    }

    #[test]
    fn what_all_lengths_have_in_common_is_the_pose_and_not_a_link() {
        // A pose that is known to 4 mm moves all lengths alike; the one that does not move with them is off.
        let lines = ["lower left", "lower right", "upper left"].map(line);
        let covariance = DMatrix::from_element(3, 3, 16e-6) + DMatrix::identity(3, 3) * 0.5e-6;
        let longer_m = DVector::from_vec(vec![4e-3, 4e-3, -2e-3]);
        let found = suspects(&lines, &longer_m, covariance).expect("a covariance");
        assert!(found[2].favoured > found[0].favoured + 6.0 && found[2].favoured > found[1].favoured + 6.0);
        assert!((found[2].longer_m + 6e-3).abs() < 5e-4, "{}", found[2].longer_m);
    }
}
