//! Which joint is loose: a probability for every link, and for every two, on the jumps that rock and shove made.
//!
//! Every link gives a little under load. What the drawing's joints lead to expect of that is taken off first; it may be half
//! as much again or half as little, since bushes are what their maker mixed. Joints that are drawn alike are alike, though: what
//! one gives more than its fellows is no matter of the mixture.

use super::odds::{NAMED, probabilities};
use super::result::{Finding, FindingKind};
use crate::design::Mechanism;
use crate::design::loads::{LoadCase, applied};
use crate::design::mechanism::AppliedForce;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector};
use crate::measure::links::Line;
use crate::measure::numbers::HALF_95;
use crate::measure::{AxleAnalysis, Load, Turned};
use crate::vehicle::Axle;

/// Play that a loose joint may have, one standard deviation, m: half a millimetre is felt, three rattle.
const LOOSE_M: f64 = 2e-3;
/// What welds, bolts and brackets give besides, m.
const SETTLES_M: f64 = 5e-5;
/// A bush's stiffness is known to this part of itself, …
pub(super) const BUSH_U: f64 = 0.5;
/// … of which bushes of one kind differ among themselves by so much: five points of hardness, common practice, no source.
const AMONG_ALIKE_U: f64 = 0.2;
/// Where nobody typed the load in, it is taken as this much give or take as much, N: a man on a bar, or first gear against the
/// brakes.
const LOAD_N: f64 = 2000.0;
/// How many standard uncertainties a jump must go beyond what was expected beside its fellows, besides the probability. Hysteresis has sharper
/// shoulders than the normal distribution that the probabilities rest on: the pattern of its errors alone accuses nobody.
const STANDS_OUT: f64 = 2.5;

/// Loose joints, most play first; nothing where all is tight within what can be seen.
pub fn findings(
    axle: &Axle,
    mechanism: &Mechanism,
    analysis: &AxleAnalysis,
    lines: &[Line],
    load_n: Option<f64>,
) -> Vec<Finding> {
    let mut found: Vec<Finding> = Vec::new();
    for turned in &analysis.turned {
        let Some(give) = Give::expected(axle, mechanism, turned.load, load_n, lines) else { continue };
        for finding in loose(turned, &give, lines) {
            match found.iter_mut().find(|f| f.element == finding.element) {
                Some(known) if known.size < finding.size => *known = finding,
                Some(_) => {}
                None => found.push(finding),
            }
        }
    }
    found.sort_by(|a, b| b.size.unwrap_or(0.0).total_cmp(&a.size.unwrap_or(0.0)));
    found
}

/// How far the links' lengths change when a load turns round although nothing is loose.
pub(super) struct Give {
    mean_m: DVector<f64>,
    /// Covariance, m², of what they have in common: the load, and the mixture of bushes that are drawn alike.
    common: DMatrix<f64>,
    /// Of each by itself: its standard deviation as a part of what it gives.
    own: DVector<f64>,
}

impl Give {
    pub(super) fn expected(
        axle: &Axle,
        mechanism: &Mechanism,
        load: Load,
        load_n: Option<f64>,
        lines: &[Line],
    ) -> Option<Self> {
        let forces = applied(mechanism, mechanism.ride(), case(load, 1.0), None);
        let per_n = mechanism.reactions(mechanism.ride(), &forces)?.members_n;
        let bushes = bushes_give(mechanism, &forces)?;
        let compliance = compliances(axle);
        let pattern = DVector::from_iterator(
            lines.len(),
            lines.iter().enumerate().map(|(k, line)| match compliance.get(k) {
                Some(m_per_n) => 2.0 * per_n.get(k).copied().unwrap_or(0.0) * m_per_n,
                None => 2.0 * (line.apparent(&bushes).0 - line.nominal_m()),
            }),
        );
        Some(Self::under(load_n, &pattern, &compliance))
    }

    /// From what each line gives per newton to and fro, and what the links and legs among them give along themselves, m/N.
    fn under(load_n: Option<f64>, pattern: &DVector<f64>, compliance: &[f64]) -> Self {
        let mean_m = pattern * load_n.unwrap_or(LOAD_N);
        let load_u = if load_n.is_some() { 0.0 } else { LOAD_N };
        // Lines beyond the links and legs give by several bushes each: theirs are nobody's fellows.
        let fellows = |a: usize, b: usize| match (compliance.get(a), compliance.get(b)) {
            (Some(one), Some(other)) => one == other,
            _ => false,
        };
        let count = pattern.len();
        let mixture = BUSH_U.powi(2) - AMONG_ALIKE_U.powi(2);
        let common = DMatrix::from_fn(count, count, |a, b| {
            let alike = if fellows(a, b) { mixture * mean_m[a] * mean_m[b] } else { 0.0 };
            alike + pattern[a] * pattern[b] * load_u.powi(2)
        });
        let own = DVector::from_fn(count, |k, _| if fellows(k, k) { AMONG_ALIKE_U } else { BUSH_U });
        Self { mean_m, common, own }
    }

    /// Covariance, m², where the lines give `given_m`: what each gives by itself is a part of that.
    fn covariance(&self, given_m: &DVector<f64>) -> DMatrix<f64> {
        let own = self.own.component_mul(given_m).map(|u| u.powi(2) + SETTLES_M.powi(2));
        &self.common + DMatrix::from_diagonal(&own)
    }

    /// Covariance, m², as a run shows what they have in common, with some lines loose: those say nothing of it. The errors of the
    /// jumps count as if each had its own.
    fn shown(&self, turned: &Turned, loose: &[usize]) -> Option<DMatrix<f64>> {
        let mut covariance =
            self.covariance(&self.mean_m) + DMatrix::from_diagonal(&turned.covariance.diagonal());
        open(&mut covariance, loose);
        let pulls = covariance.cholesky()?.solve(&(&turned.jump_m - &self.mean_m));
        Some(self.covariance(&(&self.mean_m + &self.common * pulls)))
    }

    /// Of one line, m: the change and its standard uncertainty.
    pub(super) fn of(&self, line: usize) -> (f64, f64) {
        (self.mean_m[line], self.covariance(&self.mean_m)[(line, line)].sqrt())
    }
}

/// What a pull in the first direction of a test does to the axle.
pub(super) fn case(load: Load, pull_n: f64) -> LoadCase {
    match load {
        Load::Rock => LoadCase::Drive(pull_n),
        Load::Shove => LoadCase::Side(pull_n),
    }
}

/// Where the bushes of an axle let it go under forces; where nothing gives, it stays.
fn bushes_give(mechanism: &Mechanism, forces: &[AppliedForce]) -> Option<PlacedBody> {
    let pose = match mechanism.redundant() {
        0 => mechanism.ride().pose,
        _ => mechanism.deflected(mechanism.ride(), forces, &[])?,
    };
    Some(PlacedBody::new(&pose, mechanism.centre()))
}

/// Of every link and wishbone leg, which come first among the lines, m/N; 0 for a rigid one.
fn compliances(axle: &Axle) -> Vec<f64> {
    let links = axle.locating.links.iter().map(|l| l.end_stiffness_n_per_m());
    let legs = axle.locating.wishbones.iter().flat_map(|w| [w.leg_stiffness_n_per_m(); 2]);
    links.chain(legs).map(|k| k.map_or(0.0, |k| 1.0 / k)).collect()
}

/// Which links a hypothesis says are loose.
type Loose = Vec<usize>;

/// Probability of every hypothesis, from none loose to any two, and the play that each gives its links.
fn weigh(turned: &Turned, give: &Give) -> Option<Vec<(Loose, f64)>> {
    let count = turned.jump_m.len();
    let jump = &turned.jump_m - &give.mean_m;
    let mut hypotheses: Vec<Loose> = vec![Vec::new()];
    hypotheses.extend((0..count).map(|k| vec![k]));
    hypotheses.extend((0..count).flat_map(|a| (a + 1..count).map(move |b| vec![a, b])));
    let logs: Option<Vec<f64>> = hypotheses
        .iter()
        .map(|loose| {
            let mut covariance = &turned.covariance + give.shown(turned, loose)?;
            open(&mut covariance, loose);
            let factors = covariance.cholesky()?;
            let log_det: f64 = factors.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
            Some(-0.5 * (jump.dot(&factors.solve(&jump)) + log_det))
        })
        .collect();
    Some(hypotheses.into_iter().zip(probabilities(&logs?)).collect())
}

fn loose(turned: &Turned, give: &Give, lines: &[Line]) -> Vec<Finding> {
    let Some(weighed) = weigh(turned, give) else { return Vec::new() };
    let tight = weighed.iter().find(|(loose, _)| loose.is_empty()).map_or(1.0, |(_, p)| *p);
    if tight > 1.0 - NAMED {
        return Vec::new();
    }
    let of = |k: usize| weighed.iter().filter(|(loose, _)| loose.contains(&k)).map(|(_, p)| p).sum::<f64>();
    let surely: Vec<usize> = (0..lines.len()).filter(|k| of(*k) >= NAMED).collect();
    let stands_out = |k: &usize| beyond(turned, give, *k, &surely).is_some_and(|sure| sure > STANDS_OUT);
    let out: Vec<usize> = surely.iter().copied().filter(stands_out).collect();
    if !out.is_empty() {
        return out.into_iter().map(|k| named(turned, lines, k, of(k))).collect();
    }
    let group = group(lines.len(), NAMED * (1.0 - tight), &of);
    match group.as_slice() {
        _ if !group.iter().any(stands_out) => Vec::new(),
        [only] => vec![named(turned, lines, *only, of(*only))],
        _ => vec![one_of(turned, lines, &group, 1.0 - tight, &of)],
    }
}

/// Gives some lines play.
fn open(covariance: &mut DMatrix<f64>, loose: &[usize]) {
    for &k in loose {
        covariance[(k, k)] += LOOSE_M.powi(2);
    }
}

/// By how many standard uncertainties a link's jump goes beyond what was expected, once the jumps of its fellows, but for those that
/// are `loose` themselves, have shown how much bushes and load make of it.
fn beyond(turned: &Turned, give: &Give, k: usize, loose: &[usize]) -> Option<f64> {
    let others: Vec<usize> = loose.iter().copied().filter(|other| *other != k).collect();
    let mut covariance = give.shown(turned, &[others.as_slice(), &[k]].concat())?
        + DMatrix::from_diagonal(&turned.covariance.diagonal());
    open(&mut covariance, &others);
    let known = covariance.cholesky()?.inverse();
    let pulls = &known * (&turned.jump_m - &give.mean_m);
    Some(pulls[k].abs() / known[(k, k)].sqrt())
}

/// The most suspected links that together have a probability.
fn group(count: usize, probability: f64, of: &dyn Fn(usize) -> f64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|a, b| of(*b).total_cmp(&of(*a)));
    let mut sum = 0.0;
    order
        .into_iter()
        .take_while(|k| {
            let wanted = sum < probability;
            sum += of(*k);
            wanted
        })
        .collect()
}

fn named(turned: &Turned, lines: &[Line], k: usize, probability: f64) -> Finding {
    let (size_m, u) = turned.of(k);
    let name = &lines[k].name;
    Finding {
        kind: FindingKind::Play,
        element: name.clone(),
        undecided: false,
        text: format!(
            "\"{name}\" goes {:.1} ± {:.1} mm to and fro when the load turns round ({}), more than its joints should give: look at the joints of both its ends, and at the bolts in their brackets.",
            1e3 * size_m,
            1e3 * HALF_95 * u,
            turned.load.word()
        ),
        size: Some(size_m),
        u: Some(u),
        probability,
        explains: Vec::new(),
    }
}

/// Where the sensors cannot tell which: the group that surely has the loose one among them.
fn one_of(
    turned: &Turned,
    lines: &[Line],
    group: &[usize],
    loose: f64,
    of: &dyn Fn(usize) -> f64,
) -> Finding {
    let names: Vec<String> =
        group.iter().map(|k| format!("\"{}\" ({:.0} %)", lines[*k].name, 100.0 * of(*k))).collect();
    Finding {
        kind: FindingKind::Play,
        element: group.iter().map(|k| lines[*k].name.as_str()).collect::<Vec<_>>().join(" or "),
        undecided: true,
        text: format!(
            "Something is loose when the load turns round ({}), and the sensors cannot tell which of these it is: {}. Paint a mark across each joint, and watch the marks from beside, out of the vehicle's way, while it is rocked.",
            turned.load.word(),
            names.join(", ")
        ),
        size: None,
        u: None,
        probability: loose,
        explains: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::links::Shape;
    use crate::vehicle::Mount;

    /// What the wires tell of a jump, m.
    const SEEN_M: f64 = 3e-5;
    /// Joints of one kind, m/N.
    const COMPLIANCE: f64 = 1.25e-7;

    /// Findings of a run at 2 kN on four links, two of which are pulled and two pushed through `per_n` newtons a newton.
    fn found(jump_mm: [f64; 4], per_n: [f64; 4], compliance: [f64; 4]) -> Vec<String> {
        let lines: Vec<Line> = ["lower left", "lower right", "upper left", "upper right"]
            .map(|name| {
                let [chassis, axle] = [[0.9, 0.4, 0.5], [0.0, 0.5, 0.4]].map(|p| Mount::fixed(p.into()));
                Line { name: name.into(), shape: Shape::Straight { chassis, axle }, tolerance_m: 1e-3 }
            })
            .to_vec();
        let turned = Turned {
            load: Load::Rock,
            jump_m: DVector::from_iterator(4, jump_mm.map(|mm| 1e-3 * mm)),
            covariance: DMatrix::identity(4, 4) * SEEN_M.powi(2),
            held_m: [DVector::zeros(4), DVector::zeros(4)],
            held_u_m: [DVector::zeros(4), DVector::zeros(4)],
        };
        let pattern = DVector::from_fn(4, |k, _| 2.0 * per_n[k] * compliance[k]);
        let give = Give::under(Some(2000.0), &pattern, &compliance);
        loose(&turned, &give, &lines).into_iter().map(|f| f.element).collect()
    }

    #[test]
    fn a_joint_that_gives_more_than_its_fellows_is_loose_and_a_soft_mixture_is_not() {
        let per_n = [-1.0, -1.0, 0.8, 0.8];
        let alike = [COMPLIANCE; 4];
        // As drawn −0.5, −0.5, 0.4, 0.4 mm. All half as much again: the mixture.
        assert!(found([-0.75, -0.75, 0.6, 0.6], per_n, alike).is_empty());
        // A tenth more here and less there: bushes are no twins.
        assert!(found([-0.55, -0.45, 0.44, 0.36], per_n, alike).is_empty());
        // One with 0.8 mm of play beside its fellows, however soft all of them are.
        assert_eq!(found([-0.5, -0.5, 1.2, 0.4], per_n, alike), ["upper left"]);
        assert_eq!(found([-0.75, -0.75, 1.4, 0.6], per_n, alike), ["upper left"]);
    }

    #[test]
    fn joints_of_other_kinds_say_nothing_of_one_another() {
        // The uppers are of another kind each: what they give may be off by half by itself, and 0.6 mm for 0.4 is within that.
        let kinds = [COMPLIANCE, COMPLIANCE, 1.3 * COMPLIANCE, 0.8 * COMPLIANCE];
        assert!(found([-0.5, -0.5, 0.8, 0.32], [-1.0, -1.0, 0.8, 0.8], kinds).is_empty());
        assert_eq!(found([-0.5, -0.5, 0.9, 0.4], [-1.0, -1.0, 0.8, 0.8], [COMPLIANCE; 4]), ["upper left"]);
    }
}
