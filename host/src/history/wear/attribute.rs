//! From series to joints: which is worn, which grows, how sure that is, and what else would explain it.

use super::{Assessment, Step};
use super::{AxleWear, Drift, Joint, JointState, Past, Wear, assess, is_number, places};
use crate::history::comparable::what_goes_on;
use crate::history::growth::{Dated, Growth, Limit, fit};
use crate::history::quantity::{OfLink, Quantity};
use crate::history::service::{Effect, Work, element_of, elements};
use crate::history::store::{AxleRow, RunRow, SeriesRow};
use crate::vehicle::{Axle, Side};
use std::collections::{HashMap, HashSet};

/// Confidence of "worn".
const WORN: f64 = 0.95;
/// The same of one value, in standard uncertainties of a normal distribution.
const ONE_SIDED_95: f64 = 1.645;
/// Probability from which on a rise is told although no chart has spoken: odds of a hundred to one against none and the other
/// links, which chance gives about once in a hundred baselines; the charts speak falsely more often than that.
const RISES: f64 = 0.99;
/// Fewer runs than this since the last work say nothing of growth.
const LEAST_RUNS: usize = 3;
/// Sensors that contradict one another this many times as much as before explain a change by themselves.
const CONTRADICT: f64 = 2.0;
/// µs of a day.
const DAY_US: f64 = 86_400e6;

/// A vehicle's wear from its past.
pub fn wear_of(past: Past) -> Wear {
    let places = places(&past.runs);
    let axles = past.vehicle.axles.iter().map(|axle| axle_wear(&past, &places, axle)).collect();
    Wear { vehicle: past.vehicle.name.clone(), runs: past.runs, axles, services: past.services }
}

fn axle_wear(past: &Past, places: &HashMap<i64, usize>, axle: &Axle) -> AxleWear {
    let series: Vec<&SeriesRow> = past.series.iter().filter(|s| s.axle == axle.name).collect();
    let mut joints: Vec<Joint> = Vec::new();
    let mut numbers = Vec::new();
    for one in &series {
        match &one.quantity {
            Quantity::Link(OfLink::Play, link) => {
                let of = |of| series.iter().copied().find(|s| s.quantity == Quantity::Link(of, link.clone()));
                let seen = Seen {
                    play: assess(past, places, axle, one),
                    drawn_give: of(OfLink::DrawnGive),
                    compliance: of(OfLink::Compliance).map(|s| assess(past, places, axle, s)),
                };
                joints.push(joint(past, axle, link, seen));
            }
            quantity if !one.points.is_empty() && is_followed(quantity) => {
                numbers.push(assess(past, places, axle, one));
            }
            _ => {}
        }
    }
    share_out(&mut joints);
    let drifts: Vec<Drift> = numbers.iter().filter_map(drift).collect();
    let breaks = breaks(&joints, &numbers, &past.runs);
    let otherwise = otherwise(past, places, axle, &joints, &drifts);
    joints.sort_by(|a, b| urgency(a).partial_cmp(&urgency(b)).unwrap_or(std::cmp::Ordering::Equal));
    AxleWear {
        name: axle.name.clone(),
        limit_m: axle.wear_play_m,
        joints,
        drifts,
        numbers_followed: numbers.len(),
        otherwise,
        breaks,
    }
}

/// Whether changes of a quantity are told beside the joints: every number, and where a link's ends seem to be.
fn is_followed(quantity: &Quantity) -> bool {
    is_number(quantity) || matches!(quantity, Quantity::Link(OfLink::ApparentChange, _))
}

/// Worn first, then by the runs left, then by name.
fn urgency(joint: &Joint) -> (JointState, f64) {
    let left = joint.by_run.as_ref().and_then(|g| g.left).and_then(|l| l.middle);
    (joint.state, left.unwrap_or(f64::INFINITY))
}

/// What runs have said of a link.
struct Seen<'a> {
    play: Assessment,
    drawn_give: Option<&'a SeriesRow>,
    compliance: Option<Assessment>,
}

fn joint(past: &Past, axle: &Axle, link: &str, seen: Seen<'_>) -> Joint {
    let elements = elements(axle);
    let element = element_of(link, &elements).unwrap_or(link).to_owned();
    let play = Some(seen.play).filter(|p| !p.steps.is_empty());
    let compliance = seen.compliance.filter(|c| !c.steps.is_empty());
    let current = play.as_ref().map_or(&[][..], Assessment::current);
    let sigma = play.as_ref().and_then(|p| p.baseline).map_or(0.0, |b| b.sigma_rep);
    let dated = |t: &dyn Fn(usize, &Step) -> f64| -> Vec<Dated> {
        current
            .iter()
            .enumerate()
            .map(|(k, s)| Dated { t: t(k, s), x: s.value, variance: s.own_u * s.own_u + sigma * sigma })
            .collect()
    };
    let started = |s: &Step| past.runs.get(s.run).map_or(0.0, |r| r.facts.started_us as f64);
    let zero = current.first().map_or(0.0, started);
    let latest = current.last().and_then(|s| past.runs.get(s.run)).map(|r| r.id);
    let drawn_give = seen.drawn_give.and_then(|s| {
        let point = s.points.iter().find(|p| Some(p.run) == latest)?;
        Some((point.value, point.u))
    });
    let (give_m, give_u_m) = drawn_give.unwrap_or_default();
    let limit = axle.wear_play_m.map(|play_m| Limit { value: play_m + give_m, u: give_u_m });
    let by_run = fit(&dated(&|k, _| k as f64), limit);
    let by_day = fit(&dated(&|_, s| (started(s) - zero) / DAY_US), limit);
    let state = state(play.as_ref(), by_run.as_ref(), limit, compliance.as_ref());
    let ends = ends(past, &element, current);
    let link = link.to_owned();
    let renewed = renewed(past, axle, &link, current);
    let (state, by_run, by_day) = match renewed {
        Some(_) => (JointState::TooFew, None, None),
        None => (state, by_run, by_day),
    };
    Joint {
        link,
        element,
        state,
        sure: None,
        play,
        drawn_give,
        limit,
        compliance,
        by_run,
        by_day,
        renewed,
        ends,
    }
}

/// The latest work after the last run that begins the play of a link anew.
fn renewed(past: &Past, axle: &Axle, link: &str, current: &[Step]) -> Option<String> {
    let last_us = past.runs.get(current.last()?.run)?.facts.started_us;
    let quantity = Quantity::Link(OfLink::Play, link.to_owned());
    let since = past.services.iter().rev().filter(|e| e.at_us > last_us);
    let mut anew = since.filter(|e| e.work.effect(axle, &quantity) == Effect::BaselineAnew);
    anew.next().map(|e| format!("{} on {}", e.work.words(), e.date.chars().take(10).collect::<String>()))
}

fn state(
    play: Option<&Assessment>,
    growth: Option<&Growth>,
    limit: Option<Limit>,
    compliance: Option<&Assessment>,
) -> JointState {
    let Some(play) = play else { return JointState::NotMeasured };
    let current = play.current();
    let beyond = match (growth.and_then(|g| g.beyond), limit, current.last()) {
        (Some(beyond), _, _) => beyond,
        // Too few runs for a level: the last run alone.
        (None, Some(limit), Some(last))
            if last.value - limit.value > ONE_SIDED_95 * last.u.hypot(limit.u) =>
        {
            1.0
        }
        _ => 0.0,
    };
    if beyond >= WORN {
        JointState::Worn
    } else if play.alarm.is_some() {
        JointState::Growing
    } else if compliance.is_some_and(|c| c.alarm.is_some()) {
        JointState::Softening
    } else if current.len() < LEAST_RUNS {
        JointState::TooFew
    } else {
        JointState::Steady
    }
}

/// Shares the suspicion out: how likely each link's rise is if at most one of them wears, none included, from equal priors. A
/// rise that is surer than the charts are patient counts as one.
fn share_out(joints: &mut [Joint]) {
    let factor = |j: &Joint| j.by_run.as_ref().map(|g| g.log_factor);
    let best = joints.iter().filter_map(factor).fold(0.0, f64::max);
    let sum: f64 = (-best).exp() + joints.iter().filter_map(factor).map(|f| (f - best).exp()).sum::<f64>();
    for joint in joints {
        joint.sure = factor(joint).map(|f| (f - best).exp() / sum);
        if matches!(joint.state, JointState::Steady | JointState::Softening)
            && joint.sure.is_some_and(|s| s >= RISES)
        {
            joint.state = JointState::Growing;
        }
    }
}

/// What is known of the two ends: a run tells a link from another, not one end from the other.
fn ends(past: &Past, element: &str, current: &[Step]) -> Vec<String> {
    let since = |end: Side| {
        past.services.iter().rev().find(|e| {
            matches!(&e.work, Work::Replaced { element: of, end: at } if of == element && at.is_none_or(|a| a == end))
        })
    };
    let mut told = Vec::new();
    for (end, word) in [(Side::Chassis, "chassis"), (Side::Axle, "axle")] {
        if let Some(event) = since(end) {
            let runs = past.runs.iter().filter(|r| r.facts.started_us >= event.at_us).count();
            let day: String = event.date.chars().take(10).collect();
            told.push(format!("{word} end replaced on {day}, {runs} runs ago"));
        } else if !current.is_empty() {
            told.push(format!("{word} end: no replacement entered"));
        }
    }
    told
}

fn drift(number: &Assessment) -> Option<Drift> {
    let alarm = number.alarm?;
    let baseline = number.baseline?;
    let since = number.steps.get(alarm.since..)?;
    let (weights, weighted) = since.iter().fold((0.0, 0.0), |(w, wx), s| {
        let weight = 1.0 / (s.own_u * s.own_u + baseline.sigma_rep * baseline.sigma_rep);
        (w + weight, wx + weight * s.value)
    });
    let change = weighted / weights - baseline.mean;
    let u = (1.0 / weights + baseline.u * baseline.u).sqrt();
    Some(Drift { number: number.clone(), change: (change, u) })
}

/// Why series began anew by themselves, and what goes on across it.
fn breaks(joints: &[Joint], numbers: &[Assessment], runs: &[RunRow]) -> Vec<String> {
    let of_joints = joints.iter().flat_map(|j| j.play.iter().chain(&j.compliance));
    let all: Vec<&Assessment> = of_joints.chain(numbers).collect();
    let quantities: Vec<Quantity> = all.iter().map(|a| a.quantity.clone()).collect();
    let mut met: Vec<(usize, Vec<String>, Vec<Quantity>)> = Vec::new();
    for one in &all {
        for segment in one.segments.iter().filter(|s| s.by_change && !s.why.is_empty()) {
            let Some(run) = one.steps.get(segment.first).map(|s| s.run) else { continue };
            match met.iter_mut().find(|m| m.0 == run) {
                Some((_, why, parted)) => {
                    why.extend(segment.why.iter().filter(|w| !why.contains(w)).cloned().collect::<Vec<_>>());
                    parted.push(one.quantity.clone());
                }
                None => met.push((run, segment.why.clone(), vec![one.quantity.clone()])),
            }
        }
    }
    met.sort_by_key(|m| m.0);
    met.iter()
        .map(|(run, why, parted)| {
            let name = runs.get(*run).map_or("", |r| r.facts.run.as_str());
            let goes_on = what_goes_on(&quantities, parted).map_or(String::new(), |s| format!(" {s}"));
            format!(
                "From run {name} on {} of {} series begin anew: {}.{goes_on}",
                parted.len(),
                all.len(),
                why.join("; ")
            )
        })
        .collect()
}

/// What else would look like this.
fn otherwise(
    past: &Past,
    places: &HashMap<i64, usize>,
    axle: &Axle,
    joints: &[Joint],
    drifts: &[Drift],
) -> Vec<String> {
    let suspects: Vec<&Joint> = joints.iter().filter(|j| j.state.is_suspect()).collect();
    let mut told = Vec::new();
    let rows = past.axles.get(&axle.name).map_or(&[][..], Vec::as_slice);
    let alarms = suspects
        .iter()
        .flat_map(|j| j.play.iter().chain(&j.compliance))
        .chain(drifts.iter().map(|d| &d.number));
    let earliest = alarms.filter_map(|a| Some(a.steps.get(a.alarm?.since)?.run)).min();
    if let Some(sentence) = earliest.and_then(|since| contradiction(rows, places, since)) {
        told.push(sentence);
    }
    if suspects.len() > 1 && 2 * suspects.len() > joints.len() {
        told.push(
            "More than half of the links grow at once: rather one sensor that has come loose, or a harder pull in the test, than so many joints. Check every clip and the load first.".to_owned(),
        );
    }
    if let Some(test) = suspects.iter().find_map(|j| other_test(past, j)) {
        told.push(format!("The runs that stand out were of the test \"{test}\", those before were not: another load shows another play."));
    }
    if !suspects.is_empty() {
        told.push("A loose bolt or a cracked bracket shows the same as a worn joint: check the bolt's torque and the welds before buying a part.".to_owned());
    }
    if suspects.is_empty() && !drifts.is_empty() {
        told.push("No joint's play grows, so rather a bent link, a bracket that moved, or something done that nobody entered with `hingeline service`.".to_owned());
    }
    told
}

/// Whether the sensors contradict one another more than they did before.
fn contradiction(rows: &[AxleRow], places: &HashMap<i64, usize>, since: usize) -> Option<String> {
    let middle = |after: bool| {
        let mut found: Vec<f64> = rows
            .iter()
            .filter(|r| places.get(&r.run).is_some_and(|p| (*p >= since) == after))
            .filter_map(|r| r.chi_square_per_dof)
            .collect();
        found.sort_by(f64::total_cmp);
        found.get(found.len() / 2).copied()
    };
    let (before, after) = (middle(false)?, middle(true)?);
    (after > CONTRADICT * before && after > 1.0).then(|| {
        format!(
            "The sensors contradict one another more than before (χ² per degree of freedom {after:.1}, before {before:.1}): a sensor that has moved or come loose would explain it. Check every clip first."
        )
    })
}

/// The test of the runs that stand out, where none before was of it.
fn other_test(past: &Past, joint: &Joint) -> Option<String> {
    let play = joint.play.as_ref()?;
    let since = play.alarm?.since;
    let first = play.segments.last()?.first;
    let test = |s: &Step| past.runs.get(s.run).and_then(|r| r.facts.test.clone());
    let before: HashSet<Option<String>> = play.steps.get(first..since)?.iter().map(test).collect();
    let after: HashSet<Option<String>> = play.steps.get(since..)?.iter().map(test).collect();
    match (after.len(), after.into_iter().next()) {
        (1, Some(Some(only))) if !before.is_empty() && !before.contains(&Some(only.clone())) => Some(only),
        _ => None,
    }
}
