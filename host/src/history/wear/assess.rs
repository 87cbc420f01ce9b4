//! One quantity over runs: where its baselines begin, what each run says against the runs before, and whether a chart speaks.

use super::Past;
use crate::history::chart::learner::{Baseline, Learner, Repeatability};
use crate::history::chart::{ChartPoint, Pair, Sides, Signal};
use crate::history::comparable::{Basis, reasons};
use crate::history::quantity::Quantity;
use crate::history::service::{Effect, ServiceEvent, tells_of_wear};
use crate::history::store::{SeriesPoint, SeriesRow};
use crate::vehicle::Axle;
use std::collections::HashMap;

/// A run's u below this share of the typical one is taken for a slip of a budget.
const LEAST_SHARE: f64 = 1e-3;

/// One run in a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Place of the run among the vehicle's.
    pub run: usize,
    /// Value, SI.
    pub value: f64,
    /// Whole standard uncertainty, SI.
    pub u: f64,
    /// The part that runs with one rig do not share, SI.
    pub own_u: f64,
    /// The charts after it; none for the first run of a baseline.
    pub chart: Option<ChartPoint>,
}

/// Runs that share a baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Its first step.
    pub first: usize,
    /// Why it begins, sentences; empty for the first of all.
    pub why: Vec<String>,
    /// Whether a change of rig or facts, not a person's work, began it.
    pub by_change: bool,
}

/// A chart that speaks now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alarm {
    /// Which chart, which way.
    pub signal: Signal,
    /// The step at which it first spoke.
    pub first: usize,
    /// The step from which on values ran one way.
    pub since: usize,
}

/// A quantity over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    /// What is followed.
    pub quantity: Quantity,
    /// Which ways its charts look.
    pub sides: Sides,
    /// Every run in which it was measured, in order of time.
    pub steps: Vec<Step>,
    /// Baselines, the latest last; never empty if there are steps.
    pub segments: Vec<Segment>,
    /// The latest baseline.
    pub baseline: Option<Baseline>,
    /// Whether a chart speaks.
    pub alarm: Option<Alarm>,
}

impl Assessment {
    /// Steps since the latest baseline began.
    pub fn current(&self) -> &[Step] {
        let first = self.segments.last().map_or(0, |s| s.first);
        self.steps.get(first..).unwrap_or_default()
    }
}

/// What parts the runs of one series.
struct Course<'a> {
    past: &'a Past,
    quantity: &'a Quantity,
    /// Facts of the axle by place of the run.
    basis_of: HashMap<usize, i64>,
    /// Events that concern the quantity, oldest first, with what they do.
    events: Vec<(&'a ServiceEvent, Effect)>,
}

/// Follows a series; `places` are the runs' places by their number.
pub fn assess(past: &Past, places: &HashMap<i64, usize>, axle: &Axle, series: &SeriesRow) -> Assessment {
    let basis_of = past
        .axles
        .get(&axle.name)
        .into_iter()
        .flatten()
        .filter_map(|row| Some((*places.get(&row.run)?, row.basis)))
        .collect();
    let events = past
        .services
        .iter()
        .map(|event| (event, event.work.effect(axle, &series.quantity)))
        .filter(|(_, effect)| matches!(effect, Effect::BaselineAnew | Effect::ChartsAnew))
        .collect();
    let course = Course { past, quantity: &series.quantity, basis_of, events };
    let mut points: Vec<(usize, SeriesPoint)> =
        series.points.iter().filter_map(|p| Some((*places.get(&p.run)?, *p))).collect();
    points.sort_by_key(|p| p.0);
    course.follow(&points)
}

impl Course<'_> {
    fn follow(&self, points: &[(usize, SeriesPoint)]) -> Assessment {
        let sides = if tells_of_wear(self.quantity) { Sides::Upper } else { Sides::Both };
        let typical_u = typical(points);
        let mut learner = Learner::new(Repeatability::before(typical_u));
        let mut pair = Pair::new(sides);
        let (mut steps, mut segments): (Vec<Step>, Vec<Segment>) = (Vec::new(), Vec::new());
        let mut charts_from = 0;
        for (at, (run, point)) in points.iter().enumerate() {
            let before = at.checked_sub(1).and_then(|k| points.get(k)).map(|p| p.0);
            match self.between(before, *run) {
                Between::GoesOn => {}
                Between::ChartsAnew => {
                    pair = Pair::new(sides);
                    charts_from = at;
                }
                Between::Anew { why, by_change } => {
                    // Another rig scatters in its own way; a new bush does not change how well a run repeats.
                    let repeatability = match by_change {
                        true => Repeatability::before(typical_u),
                        false => learner.repeatability().clone(),
                    };
                    learner = Learner::new(repeatability);
                    pair = Pair::new(sides);
                    charts_from = at;
                    segments.push(Segment { first: at, why, by_change });
                }
            }
            let own_u = point.own_u.max(LEAST_SHARE * typical_u);
            let chart = learner.place(point.value, own_u).map(|z| pair.take(z));
            // What a chart has spoken of is no longer the baseline.
            if chart.is_none_or(|c| c.signal.is_none()) {
                learner.learn(point.value, own_u);
            }
            steps.push(Step { run: *run, value: point.value, u: point.u, own_u, chart });
        }
        let alarm = alarm(&steps, charts_from);
        let baseline = learner.baseline();
        Assessment { quantity: self.quantity.clone(), sides, steps, segments, baseline, alarm }
    }

    /// What lies between two runs of the series.
    fn between(&self, before: Option<usize>, run: usize) -> Between {
        let Some(before) = before else { return Between::Anew { why: Vec::new(), by_change: true } };
        let (Some(first), Some(second)) = (self.past.runs.get(before), self.past.runs.get(run)) else {
            return Between::GoesOn;
        };
        let none = Basis::new();
        let ids = [before, run].map(|place| self.basis_of.get(&place));
        let same_rig = first.facts.rig_basis == second.facts.rig_basis
            && first.facts.calibration_hash == second.facts.calibration_hash;
        if ids[0] != ids[1] || !same_rig {
            let [one, two] = ids.map(|id| id.and_then(|id| self.past.bases.get(id)).unwrap_or(&none));
            let why = reasons(self.quantity, (&first.facts, one), (&second.facts, two));
            if !why.is_empty() {
                return Between::Anew { why, by_change: true };
            }
        }
        let during = |event: &ServiceEvent| {
            first.facts.started_us < event.at_us && event.at_us <= second.facts.started_us
        };
        let met: Vec<&(&ServiceEvent, Effect)> = self.events.iter().filter(|e| during(e.0)).collect();
        let anew: Vec<String> =
            met.iter().filter(|e| e.1 == Effect::BaselineAnew).map(|(event, _)| event.work.words()).collect();
        if !anew.is_empty() {
            return Between::Anew { why: anew, by_change: false };
        }
        if met.is_empty() { Between::GoesOn } else { Between::ChartsAnew }
    }
}

enum Between {
    GoesOn,
    ChartsAnew,
    Anew { why: Vec<String>, by_change: bool },
}

/// The middle one of the runs' own uncertainties.
fn typical(points: &[(usize, SeriesPoint)]) -> f64 {
    let mut own: Vec<f64> = points.iter().map(|p| p.1.own_u).filter(|u| *u > 0.0).collect();
    own.sort_by(f64::total_cmp);
    own.get(own.len() / 2).copied().unwrap_or(1.0)
}

/// Whether the charts speak after the last step, and since when; only steps from `charts_from` on count.
fn alarm(steps: &[Step], charts_from: usize) -> Option<Alarm> {
    let signal = steps.last()?.chart?.signal?;
    let same = |step: &Step| step.chart.and_then(|c| c.signal).is_some_and(|s| s.upward == signal.upward);
    let first = (charts_from..steps.len()).find(|k| steps.get(*k).is_some_and(same))?;
    let resting = |step: &Step| {
        step.chart.is_none_or(|c| if signal.upward { c.cusum.up == 0.0 } else { c.cusum.down == 0.0 })
    };
    let since = (charts_from..=first).rev().find(|k| steps.get(*k).is_some_and(resting));
    Some(Alarm { signal, first, since: since.map_or(charts_from, |k| (k + 1).min(first)) })
}
