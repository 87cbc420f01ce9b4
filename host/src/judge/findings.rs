//! Weighs explanations against one another and puts the one that the data choose into a builder's words.

use super::brackets::Bracket;
use super::evidence::{Evidence, Likelihood};
use super::odds::{NAMED, fits, probabilities, undecided};
use super::result::{Finding, FindingKind};
use super::{place, sensors};
use crate::geometry::DVector;
use crate::vehicle::Side;

/// Probability of one explanation that names it when all explanations at the same bracket together reach [`NAMED`].
const SAME_PLACE: f64 = 0.5;
/// How rarely an end of a sensor hangs elsewhere than the rig file says, against any bracket that sits elsewhere than drawn: there
/// are more ends than brackets, and a clip is easier to look at than a weld.
const RARELY_CLIPPED_WRONG: f64 = 0.1;

/// One explanation of the apparent lengths.
#[derive(Debug, Clone, PartialEq)]
pub enum Explanation {
    /// All brackets where they were drawn, within tolerance.
    AsDrawn,
    /// Other holes than the file's: (bracket, hole counted from 0), one or a left and right pair.
    Holes(Vec<(usize, usize)>),
    /// One bracket elsewhere than drawn.
    BracketOff(usize),
    /// One end of a sensor elsewhere than the rig file says, by place among the evidence's.
    SensorOff(usize),
}

/// An explanation with its probability among all that were tried, from equal priors but for sensors.
#[derive(Debug, Clone)]
pub struct Weighed {
    /// The explanation.
    pub explanation: Explanation,
    /// Its probability.
    pub probability: f64,
    /// How well it fits.
    pub likelihood: Likelihood,
}

/// Every explanation with its probability, most probable first.
pub fn weigh(evidence: &Evidence<'_>, brackets: &[Bracket]) -> Vec<Weighed> {
    let mut tried: Vec<(Explanation, Likelihood)> = Vec::new();
    let mut add =
        |explanation, likelihood: Option<Likelihood>| tried.extend(likelihood.map(|l| (explanation, l)));
    add(Explanation::AsDrawn, evidence.as_drawn());
    for (k, bracket) in brackets.iter().enumerate() {
        for hole in other_holes(bracket) {
            let mut holes = vec![(k, hole)];
            add(Explanation::Holes(holes.clone()), evidence.with_holes(&holes));
            let twin = bracket.twin(brackets).and_then(|t| brackets.iter().position(|b| b == t));
            if let Some(twin) = twin.filter(|t| brackets[*t].mount.in_use() != hole) {
                holes.push((twin, hole));
                add(Explanation::Holes(holes.clone()), evidence.with_holes(&holes));
            }
        }
        add(Explanation::BracketOff(k), evidence.with_bracket_off(k));
    }
    for k in 0..evidence.sensor_ends.len() {
        let likelihood = evidence.with_sensor_off(k);
        add(
            Explanation::SensorOff(k),
            likelihood.map(|l| Likelihood { log: l.log + RARELY_CLIPPED_WRONG.ln(), ..l }),
        );
    }
    let logs: Vec<f64> = tried.iter().map(|(_, l)| l.log).collect();
    let mut weighed: Vec<Weighed> = tried
        .into_iter()
        .zip(probabilities(&logs))
        .map(|((explanation, likelihood), probability)| Weighed { explanation, probability, likelihood })
        .collect();
    weighed.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    weighed
}

/// Rounds of measuring the motion anew at the most, from each explanation that is tried.
const ROUNDS: usize = 5;
/// Explanations whose errors of the rig are tried while nothing fits.
const STARTS: usize = 4;
/// A step of the nuisances this small, in prior standard deviations, changes nothing.
const AT_REST: f64 = 0.02;
/// Nothing more is tried where the best explanation leaves no more than this over, see [`surprise`].
const CONTENT: f64 = 1.5;

/// The evidence with the rig's errors where an explanation leaves them: of the most probable ones the first that fits, else the one
/// that fits best.
pub fn settled<'a>(evidence: Evidence<'a>, brackets: &[Bracket]) -> Evidence<'a> {
    let starts = weigh(&evidence, brackets);
    let Some(first) = starts.first() else { return evidence };
    let mut best = (surprise(&first.likelihood), None);
    for start in starts.iter().take(STARTS) {
        if let Some((anew, left_over)) = followed(&evidence, brackets, &start.likelihood.theta)
            && left_over < best.0
        {
            best = (left_over, Some(anew));
        }
        if best.0 < CONTENT {
            break;
        }
    }
    best.1.unwrap_or(evidence)
}

/// Newton's steps from errors of the rig at `theta`, halved where one leads to what fits less well, and how much is left over there.
fn followed<'a>(
    evidence: &Evidence<'a>,
    brackets: &[Bracket],
    theta: &DVector<f64>,
) -> Option<(Evidence<'a>, f64)> {
    let best = |evidence: &Evidence<'_>| weigh(evidence, brackets).into_iter().next().map(|w| w.likelihood);
    let mut at = evidence.anew(theta)?;
    let mut fit = best(&at)?;
    let mut share = 1.0;
    for _ in 1..ROUNDS {
        let step = (&fit.theta - at.theta()) * share;
        if step.amax() < AT_REST {
            break;
        }
        let Some(anew) = at.anew(&(at.theta() + step)) else { break };
        match best(&anew).filter(|found| surprise(found) < surprise(&fit).max(CONTENT)) {
            Some(found) => (at, fit, share) = (anew, found, 1.0),
            None => share *= 0.5,
        }
    }
    let left_over = surprise(&fit);
    Some((at, left_over))
}

/// How much more is left over than an explanation that fits leaves, in standard deviations of a χ² (Wilson and Hilferty, Proc. Natl.
/// Acad. Sci. 17, 1931, from memory).
fn surprise(likelihood: &Likelihood) -> f64 {
    let count = likelihood.count as f64;
    ((likelihood.chi_square / count).cbrt() - 1.0 + 2.0 / (9.0 * count)) / (2.0 / (9.0 * count)).sqrt()
}

fn other_holes(bracket: &Bracket) -> impl Iterator<Item = usize> + use<> {
    let used = bracket.mount.in_use();
    (0..bracket.mount.holes().len()).filter(move |h| *h != used)
}

/// Probability of each hole of one bracket, everything else as drawn, from equal priors; sums to 1.
pub fn hole_odds(evidence: &Evidence<'_>, brackets: &[Bracket], bracket: usize) -> Option<Vec<f64>> {
    let count = brackets[bracket].mount.holes().len();
    let logs: Option<Vec<f64>> =
        (0..count).map(|hole| evidence.with_holes(&[(bracket, hole)]).map(|l| l.log)).collect();
    Some(probabilities(&logs?))
}

/// What the data say is not as drawn: nothing, one explanation, or "one of these".
pub fn findings(evidence: &Evidence<'_>, brackets: &[Bracket]) -> Vec<(Finding, Option<Explanation>)> {
    let weighed = weigh(evidence, brackets);
    let Some(first) = weighed.first() else { return Vec::new() };
    let drawn = weighed.iter().find(|w| w.explanation == Explanation::AsDrawn).map_or(0.0, |w| w.probability);
    if drawn > 1.0 - NAMED {
        return Vec::new();
    }
    if !fits(first.likelihood.chi_square, first.likelihood.count) {
        return vec![(unexplained(), None)];
    }
    if first.probability >= NAMED
        || (first.probability >= SAME_PLACE && same_place(evidence, first, &weighed) >= NAMED)
    {
        return vec![(named(evidence, brackets, first), Some(first.explanation.clone()))];
    }
    let group = undecided(&weighed, |w| w.probability);
    vec![(one_of(evidence, brackets, &group), None)]
}

/// What an explanation points at: brackets, or a sensor with whichever of its ends.
#[derive(PartialEq)]
enum Place {
    Nowhere,
    Brackets(Vec<usize>),
    Sensor(usize),
}

/// Probability of all explanations that point at the same place as this one.
fn same_place(evidence: &Evidence<'_>, first: &Weighed, weighed: &[Weighed]) -> f64 {
    let place = |e: &Explanation| match e {
        Explanation::AsDrawn => Place::Nowhere,
        Explanation::Holes(holes) => Place::Brackets(holes.iter().map(|h| h.0).collect()),
        Explanation::BracketOff(bracket) => Place::Brackets(vec![*bracket]),
        Explanation::SensorOff(end) => Place::Sensor(evidence.sensor_ends[*end].sensor),
    };
    let at = place(&first.explanation);
    weighed.iter().filter(|w| place(&w.explanation) == at).map(|w| w.probability).sum()
}

fn unexplained() -> Finding {
    Finding {
        kind: FindingKind::Hardpoint,
        element: "more than one bracket, or a sensor".into(),
        undecided: true,
        text: "The links' lengths seem to change as the axle moves, and no single bracket or hole explains it: check first that every sensor is clipped where rig.toml says, then tape every bracket.".into(),
        size: None,
        u: None,
        probability: 1.0,
        explains: Vec::new(),
    }
}

fn named(evidence: &Evidence<'_>, brackets: &[Bracket], weighed: &Weighed) -> Finding {
    let (kind, element, text, size, u) = match &weighed.explanation {
        Explanation::Holes(holes) => {
            let (text, size) = holes_text(brackets, holes);
            let names: Vec<&str> = holes.iter().map(|(b, _)| brackets[*b].name.as_str()).collect();
            (FindingKind::Hole, names.join(" and "), text, Some(size), None)
        }
        Explanation::BracketOff(bracket) => {
            let (text, size, u) = offset_text(evidence, brackets, *bracket);
            (FindingKind::Hardpoint, brackets[*bracket].name.clone(), text, size, u)
        }
        Explanation::SensorOff(end) => {
            let name = evidence.sensor_name(*end);
            (
                FindingKind::Sensor,
                name.clone(),
                sensors::on_another_bolt(&name, evidence.sensor_ends[*end].on),
                None,
                None,
            )
        }
        Explanation::AsDrawn => (
            FindingKind::Hardpoint,
            String::new(),
            "All brackets are where they were drawn.".into(),
            None,
            None,
        ),
    };
    let probability = weighed.probability;
    Finding { kind, element, undecided: false, text, size, u, probability, explains: Vec::new() }
}

fn holes_text(brackets: &[Bracket], holes: &[(usize, usize)]) -> (String, f64) {
    let parts: Vec<String> = holes
        .iter()
        .map(|(b, hole)| {
            let used = brackets[*b].mount.in_use() + 1;
            format!("{}: the data fit hole {}, the file says hole {used}", brackets[*b].name, hole + 1)
        })
        .collect();
    let size = holes.first().map_or(0.0, |(b, hole)| {
        let mount = &brackets[*b].mount;
        mount.holes().get(*hole).map_or(0.0, |h| (h - mount.point()).norm())
    });
    (format!("{}.", parts.join("; ")), size)
}

/// Tells where a bracket seems to be, and where to put the tape.
fn offset_text(
    evidence: &Evidence<'_>,
    brackets: &[Bracket],
    bracket: usize,
) -> (String, Option<f64>, Option<f64>) {
    let name = &brackets[bracket].name;
    let body = if brackets[bracket].on == Side::Axle { "axle" } else { "chassis" };
    let Some((mean, covariance)) = evidence.offset(bracket) else {
        return (format!("{name}: not where it was drawn."), None, None);
    };
    let tape = format!("Tape this bracket on the {body} first.");
    match place::along_axes(&mean, &covariance) {
        Some((words, size, u)) => {
            (format!("{name}: the joint sits {words} than drawn. {tape}"), Some(size), Some(u))
        }
        None => {
            let (words, size, u) = place::along_best(&mean, &covariance);
            (format!("{name}: the joint is {words}. {tape}"), Some(size), Some(u))
        }
    }
}

fn one_of(evidence: &Evidence<'_>, brackets: &[Bracket], group: &[&Weighed]) -> Finding {
    let each: Vec<Finding> = group.iter().map(|w| named(evidence, brackets, w)).collect();
    let lines: Vec<String> = each
        .iter()
        .map(|f| format!("{} ({:.0} %)", f.text.trim_end_matches('.'), 100.0 * f.probability))
        .collect();
    Finding {
        kind: each.first().map_or(FindingKind::Hardpoint, |f| f.kind),
        element: each
            .iter()
            .map(|f| f.element.as_str())
            .filter(|e| !e.is_empty())
            .collect::<Vec<_>>()
            .join(" or "),
        undecided: true,
        text: format!("The data fit one of these and do not decide: {}.", lines.join("; or ")),
        size: None,
        u: None,
        probability: group.iter().map(|w| w.probability).sum(),
        explains: Vec::new(),
    }
}
