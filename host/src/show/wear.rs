//! What is said of a vehicle's wear, in a builder's words: text and report print the same sentences.

use super::Units;
use super::units::{Scale, number};
use super::words;
use crate::history::growth::{Growth, Span};
use crate::history::quantity::{OfLink, Quantity};
use crate::history::store::RunRow;
use crate::history::wear::{Alarm, Assessment, AxleWear, Drift, Joint, JointState, Wear};
use crate::jobs::wear::LATEST;
use jiff::{Timestamp, ToSpan};

/// Years beyond which a date is not worth telling.
const FAR_YEARS: f64 = 5.0;
/// What the joints give as drawn is told where it is at least this part of the play.
const WORTH_TELLING: f64 = 0.1;
/// Why the history tells of more play of a run than is judged here.
pub const AS_DRAWN: &str = "What bushes give as drawn is taken off the play before your limit counts; hingeline history lists all of it, run by run.";
/// Runs beyond which a number of runs is not worth telling.
const FAR_RUNS: f64 = 200.0;

/// The answer to "what should I look at before the next trip?"
pub fn headline(wear: &Wear) -> String {
    let named: Vec<String> = wear
        .suspects()
        .map(|(axle, joint)| format!("{} on the {} axle ({})", joint.link, axle.name, joint.state.word()))
        .collect();
    if !named.is_empty() {
        return format!("look at {} before the next trip.", words::list(&named));
    }
    let drifted = wear.axles.iter().map(|a| a.drifts.len()).sum::<usize>();
    let measured = wear.axles.iter().flat_map(|a| &a.joints).any(|j| j.state != JointState::NotMeasured);
    match (wear.runs.is_empty(), measured, drifted) {
        (true, _, _) => "no run has been recorded.".into(),
        (_, _, 1..) => {
            "no joint grows looser or softer, but the axle moves otherwise than it did: see which numbers have changed."
                .into()
        }
        (_, true, 0) => "nothing points to a joint that wears.".into(),
        (_, false, 0) => {
            "no run has measured play, and no number has changed. A rock or a shove test measures play."
                .into()
        }
    }
}

/// How many runs are looked at.
pub fn looked_at(wear: &Wear) -> String {
    let runs = counted(wear.runs.len(), "run");
    if wear.runs.len() < LATEST { format!("{runs} in the history") } else { format!("The latest {runs}") }
}

/// Sign of a state, for text.
pub fn sign(state: JointState) -> char {
    match state {
        JointState::Worn | JointState::Growing | JointState::Softening => '!',
        JointState::Steady => '·',
        JointState::TooFew | JointState::NotMeasured => '?',
    }
}

/// Everything that is said of one joint.
pub fn joint(axle: &AxleWear, joint: &Joint, runs: &[RunRow], units: Units) -> Vec<String> {
    let length = units.length();
    let Some(play) = &joint.play else {
        return vec!["play not measured: it needs a rock or shove test".into()];
    };
    if let Some(work) = &joint.renewed {
        return vec![format!("{work}, and no run since: the next one begins anew")];
    }
    let current = play.current();
    let mut told = vec![state(axle, joint, length)];
    told.extend(play.alarm.map(|alarm| spoken(play, &alarm, runs)));
    told.extend(joint.compliance.as_ref().and_then(|c| gives(c, runs, units)));
    if matches!(joint.state, JointState::Worn | JointState::Growing) {
        if let Some(sure) = joint.sure {
            let percent = number(100.0 * sure.min(0.99), 0);
            told.push(format!("{percent} % sure that it is this link"));
        }
        if let Some(growth) = &joint.by_run {
            told.push(rate(growth, length, "a run"));
        }
        told.extend(left(joint, runs, play));
    }
    if joint.state.is_suspect() {
        told.extend(joint.ends.iter().cloned());
        if !joint.ends.is_empty() {
            told.push("a run does not tell one end from the other: look at both".into());
        }
    } else {
        told.push(format!("over {}", counted(current.len(), "run")));
    }
    told
}

/// Since when a chart speaks.
fn spoken(assessment: &Assessment, alarm: &Alarm, runs: &[RunRow]) -> String {
    let name = |step: usize| step_name(assessment, runs, step);
    format!("runs one way since {}; the charts spoke at {}", name(alarm.since), name(alarm.first))
}

/// What a link gives under load, and whether that grows.
fn gives(compliance: &Assessment, runs: &[RunRow], units: Units) -> Option<String> {
    let scale = units.compliance();
    let baseline = compliance.baseline.map(|b| (b.mean, b.u));
    let last = compliance.current().last().map(|s| (s.value, s.u));
    Some(match (compliance.alarm, baseline, last) {
        (Some(alarm), Some(was), Some(now)) => format!(
            "gives {} under load, {} before: its rubber ages, or its bracket cracks; {}",
            scale.with_u(now.0, Some(now.1)),
            scale.with_u(was.0, Some(was.1)),
            spoken(compliance, &alarm, runs)
        ),
        (_, baseline, last) => {
            let (value, u) = baseline.or(last)?;
            format!("gives {} under load", scale.with_u(value, Some(u)))
        }
    })
}

fn state(axle: &AxleWear, joint: &Joint, length: Scale) -> String {
    let last = joint.play.as_ref().and_then(|p| p.current().last().copied());
    let baseline = joint.play.as_ref().and_then(|p| p.baseline);
    let now = match (joint.state, &joint.by_run, baseline, last) {
        (JointState::Steady, _, Some(baseline), _) => (baseline.mean, baseline.u),
        (_, Some(growth), _, _) => growth.level,
        (_, _, _, Some(last)) => (last.value, last.u),
        _ => (0.0, 0.0),
    };
    let mut text = format!("{}: play {}", joint.state.word(), length.with_u(now.0, Some(now.1)));
    if let Some((give_m, u)) = joint.drawn_give.filter(|g| g.0 > WORTH_TELLING * now.0) {
        let give = length.with_u(give_m, Some(u));
        text.push_str(&format!(", of which its joints give {give} as drawn"));
    }
    match (axle.limit_m, joint.state) {
        (Some(limit), JointState::Worn) => format!("{text}, beyond your limit of {}", length.limit(limit)),
        (Some(limit), _) => format!("{text}, your limit is {}", length.limit(limit)),
        (None, _) => text,
    }
}

fn rate(growth: &Growth, length: Scale, per: &str) -> String {
    let [low, middle, high] = growth.slope.map(|s| number(s * length.per_si, 3));
    format!("grows by {middle}{} {per} ({low} to {high}, 95 %)", length.unit)
}

/// Runs and date left to the limit.
fn left(joint: &Joint, runs: &[RunRow], play: &Assessment) -> Option<String> {
    if joint.state == JointState::Worn {
        return None;
    }
    let by_run = joint.by_run.as_ref()?.left?;
    let runs_left = span(&by_run, |r| if r > FAR_RUNS { None } else { Some(format!("{:.0}", r.ceil())) });
    let last = runs.get(play.current().last()?.run)?.facts.started_us;
    let by_day = joint.by_day.as_ref().and_then(|g| g.left);
    let dates = by_day.map(|days| span(&days, |d| day_after(last, d)));
    Some(match (runs_left, dates.flatten()) {
        (None, _) => "at this rate the limit is far off".into(),
        (Some(runs), None) => format!("runs left to your limit: {runs}, 90 %"),
        (Some(runs), Some(dates)) => format!("runs left to your limit: {runs}; day: {dates}, 90 %"),
    })
}

/// `6 (3 to 14)`; an open end is said; none where even the middle is out of reach.
fn span(span: &Span, show: impl Fn(f64) -> Option<String>) -> Option<String> {
    let middle = show(span.middle?)?;
    let low = span.low.and_then(&show).unwrap_or_else(|| middle.clone());
    let range = match span.high.and_then(&show) {
        Some(high) => format!("{low} to {high}"),
        None => format!("{low} or more"),
    };
    Some(format!("{middle} ({range})"))
}

/// The day so many days after an instant.
fn day_after(us: i64, days: f64) -> Option<String> {
    if days > FAR_YEARS * 365.25 {
        return None;
    }
    let then =
        Timestamp::from_microsecond(us).ok()?.checked_add(((days * 24.0).round() as i64).hours()).ok()?;
    Some(then.strftime("%Y-%m-%d").to_string())
}

/// The run of a step.
pub fn step_name(assessment: &Assessment, runs: &[RunRow], step: usize) -> String {
    assessment
        .steps
        .get(step)
        .and_then(|s| runs.get(s.run))
        .map_or_else(String::new, |r| format!("run {}", r.facts.run))
}

/// The scale that a quantity is shown in.
pub fn scale(quantity: &Quantity, units: Units) -> Scale {
    match quantity {
        Quantity::Number(key) => units.of(*key),
        Quantity::RampLeft | Quantity::RampRight => Scale { unit: " points", per_si: 1.0 },
        Quantity::Link(OfLink::Compliance, _) => units.compliance(),
        Quantity::Link(_, _) => units.length(),
    }
}

/// What is said of a number that has changed.
pub fn drift(drift: &Drift, runs: &[RunRow], units: Units) -> String {
    let scale = scale(&drift.number.quantity, units);
    let since = drift.number.alarm.map_or_else(String::new, |a| step_name(&drift.number, runs, a.since));
    let was = drift.number.baseline.map_or_else(String::new, |b| {
        format!(" from {} over {}", scale.with_u(b.mean, Some(b.u)), counted(b.runs, "run"))
    });
    format!(
        "changed by {}{}{was}, since {since}",
        scale.signed(drift.change.0, Some(drift.change.1)),
        scale.unit
    )
}

/// How patient the charts are, once per page.
pub fn patience(axle: &AxleWear) -> String {
    let joints = axle.joints.iter().filter(|j| j.play.is_some()).count();
    let soft = axle.joints.iter().filter(|j| j.compliance.is_some()).count();
    let followed = joints + soft + axle.numbers_followed;
    let runs = crate::history::chart::Sides::Both.limits().in_control_runs;
    let shared = if followed > 1 {
        format!(
            "; of {followed} followed here, one or other speaks falsely about every {:.0} runs",
            runs / followed as f64
        )
    } else {
        String::new()
    };
    format!(
        "Each quantity has a cumulative sum and a weighted average that together speak falsely once in {runs:.0} runs{shared}. The baselines are learnt as runs come in; a short one makes them slower, not more nervous."
    )
}

/// `1 run`, `2 runs`.
pub fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
