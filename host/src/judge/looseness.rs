//! Which joint is loose: a probability for every link, and for every two, on the jumps that rock and shove made.
//!
//! Every link gives a little under load. What the drawing's joints lead to expect of that is taken off first; it may be half
//! as much again or half as little, since bushes are what their maker mixed.

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
/// A bush's stiffness is known to this part of itself.
pub(super) const BUSH_U: f64 = 0.5;
/// Where nobody typed the load in, it is taken as this much give or take as much, N: a man on a bar, or first gear against the
/// brakes.
const LOAD_N: f64 = 2000.0;
/// Probability that a link, or a group, must have before anybody takes it off, …
const NAMED: f64 = 0.95;
/// … and how many standard uncertainties its own jump must go beyond what was expected. Hysteresis has sharper shoulders than
/// the normal distribution that the probabilities rest on: pattern alone accuses nobody.
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
    covariance: DMatrix<f64>,
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
        let mean_m = &pattern * load_n.unwrap_or(LOAD_N);
        let load_u = if load_n.is_some() { 0.0 } else { LOAD_N };
        let own = mean_m.map(|m| (BUSH_U * m).powi(2) + SETTLES_M.powi(2));
        let covariance = DMatrix::from_diagonal(&own) + &pattern * pattern.transpose() * load_u.powi(2);
        Some(Self { mean_m, covariance })
    }

    /// Of one line, m: the change and its standard uncertainty.
    pub(super) fn of(&self, line: usize) -> (f64, f64) {
        (self.mean_m[line], self.covariance[(line, line)].sqrt())
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
    let tight = &turned.covariance + &give.covariance;
    let jump = &turned.jump_m - &give.mean_m;
    let mut hypotheses: Vec<Loose> = vec![Vec::new()];
    hypotheses.extend((0..count).map(|k| vec![k]));
    hypotheses.extend((0..count).flat_map(|a| (a + 1..count).map(move |b| vec![a, b])));
    let logs: Option<Vec<f64>> = hypotheses
        .iter()
        .map(|loose| {
            let mut covariance = tight.clone();
            for &k in loose {
                covariance[(k, k)] += LOOSE_M.powi(2);
            }
            let factors = covariance.cholesky()?;
            let log_det: f64 = factors.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
            Some(-0.5 * (jump.dot(&factors.solve(&jump)) + log_det))
        })
        .collect();
    let logs = logs?;
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|l| (l - best).exp()).sum();
    Some(hypotheses.into_iter().zip(logs.iter().map(|l| (l - best).exp() / sum)).collect())
}

fn loose(turned: &Turned, give: &Give, lines: &[Line]) -> Vec<Finding> {
    let Some(weighed) = weigh(turned, give) else { return Vec::new() };
    let tight = weighed.iter().find(|(loose, _)| loose.is_empty()).map_or(1.0, |(_, p)| *p);
    if tight > 1.0 - NAMED {
        return Vec::new();
    }
    let of = |k: usize| weighed.iter().filter(|(loose, _)| loose.contains(&k)).map(|(_, p)| p).sum::<f64>();
    let stands_out = |k: &usize| {
        let u = (turned.covariance[(*k, *k)] + give.covariance[(*k, *k)]).sqrt();
        (turned.jump_m[*k] - give.mean_m[*k]).abs() > STANDS_OUT * u
    };
    let surely: Vec<usize> = (0..lines.len()).filter(|k| of(*k) >= NAMED).filter(stands_out).collect();
    if !surely.is_empty() {
        return surely.into_iter().map(|k| named(turned, lines, k, of(k))).collect();
    }
    let group = group(lines.len(), NAMED * (1.0 - tight), &of);
    match group.as_slice() {
        _ if !group.iter().any(stands_out) => Vec::new(),
        [only] => vec![named(turned, lines, *only, of(*only))],
        _ => vec![one_of(turned, lines, &group, 1.0 - tight, &of)],
    }
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
        text: format!(
            "Something is loose when the load turns round ({}), and the sensors cannot tell which of these it is: {}. Hold a finger across each joint while somebody rocks the vehicle.",
            turned.load.word(),
            names.join(", ")
        ),
        size: None,
        u: None,
        probability: loose,
        explains: Vec::new(),
    }
}
