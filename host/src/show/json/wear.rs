//! `wear --json`.

use super::history::Service;
use super::{FORMAT, Plain, finite, text};
use crate::history::chart::{ChartPoint, Which};
use crate::history::growth::{Growth, Span};
use crate::history::store::RunRow;
use crate::history::wear::{Assessment, AxleWear, Drift, Joint, Wear};
use crate::show::wear::headline;
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    vehicle: &'a str,
    answer: String,
    axles: Vec<Axle<'a>>,
    services: Vec<Service<'a>>,
    said: &'a [String],
}

#[derive(Serialize)]
struct Axle<'a> {
    name: &'a str,
    limit_play_m: Option<f64>,
    joints: Vec<JointOut<'a>>,
    changed: Vec<Changed<'a>>,
    numbers_followed: usize,
    otherwise: &'a [String],
    breaks: &'a [String],
}

#[derive(Serialize)]
struct JointOut<'a> {
    link: &'a str,
    element: &'a str,
    state: &'static str,
    probability: Option<f64>,
    play_m: Option<Series<'a>>,
    drawn_give_m: Option<Plain>,
    compliance_m_per_n: Option<Series<'a>>,
    growth_m_per_run: Option<Rate>,
    growth_m_per_day: Option<Rate>,
    ends: &'a [String],
}

#[derive(Serialize)]
struct Rate {
    slope_95: [f64; 3],
    level: Plain,
    beyond_limit_probability: Option<f64>,
    left_90: Option<[Option<f64>; 3]>,
}

#[derive(Serialize)]
struct Changed<'a> {
    change: Plain,
    series: Series<'a>,
}

#[derive(Serialize)]
struct Series<'a> {
    quantity: &'static str,
    element: &'a str,
    baseline: Option<BaselineOut>,
    in_control_runs: f64,
    alarm: Option<AlarmOut<'a>>,
    points: Vec<Point<'a>>,
}

#[derive(Serialize)]
struct BaselineOut {
    runs: usize,
    value: f64,
    u: f64,
    sigma_rep: f64,
}

#[derive(Serialize)]
struct AlarmOut<'a> {
    chart: &'static str,
    upward: bool,
    since: &'a str,
    first: &'a str,
}

#[derive(Serialize)]
struct Point<'a> {
    run: &'a str,
    value: f64,
    u: f64,
    own_u: f64,
    begins_baseline: bool,
    z: Option<f64>,
    cusum_up: Option<f64>,
    cusum_down: Option<f64>,
    ewma: Option<f64>,
}

/// A vehicle's wear as JSON.
pub fn wear(wear: &Wear, said: &[String]) -> String {
    text(&Document {
        format: FORMAT,
        vehicle: &wear.vehicle,
        answer: headline(wear),
        axles: wear.axles.iter().map(|a| axle(a, &wear.runs)).collect(),
        services: wear.services.iter().map(|e| Service::of(&wear.vehicle, e)).collect(),
        said,
    })
}

/// What to look at on each vehicle of a fleet, as JSON.
pub fn fleet(vehicles: &[Wear], said: &[String]) -> String {
    #[derive(Serialize)]
    struct Fleet<'a> {
        format: u32,
        vehicles: Vec<Answer<'a>>,
        said: &'a [String],
    }
    #[derive(Serialize)]
    struct Answer<'a> {
        vehicle: &'a str,
        answer: String,
        suspects: Vec<&'a str>,
    }
    fn answer(wear: &Wear) -> Answer<'_> {
        let suspects = wear.suspects().map(|(_, j)| j.link.as_str()).collect();
        Answer { vehicle: &wear.vehicle, answer: headline(wear), suspects }
    }
    text(&Fleet { format: FORMAT, vehicles: vehicles.iter().map(answer).collect(), said })
}

fn axle<'a>(axle: &'a AxleWear, runs: &'a [RunRow]) -> Axle<'a> {
    Axle {
        name: &axle.name,
        limit_play_m: axle.limit_m,
        joints: axle.joints.iter().map(|j| joint(j, runs)).collect(),
        changed: axle.drifts.iter().map(|d| changed(d, runs)).collect(),
        numbers_followed: axle.numbers_followed,
        otherwise: &axle.otherwise,
        breaks: &axle.breaks,
    }
}

fn joint<'a>(joint: &'a Joint, runs: &'a [RunRow]) -> JointOut<'a> {
    JointOut {
        link: &joint.link,
        element: &joint.element,
        state: joint.state.word(),
        probability: joint.sure,
        play_m: joint.play.as_ref().map(|p| series(p, runs)),
        drawn_give_m: joint.drawn_give.map(|(value, u)| Plain::new(Some(value), Some(u))),
        compliance_m_per_n: joint.compliance.as_ref().map(|c| series(c, runs)),
        growth_m_per_run: joint.by_run.as_ref().map(rate),
        growth_m_per_day: joint.by_day.as_ref().map(rate),
        ends: &joint.ends,
    }
}

fn rate(growth: &Growth) -> Rate {
    let ends = |s: Span| [finite(s.low), finite(s.middle), finite(s.high)];
    Rate {
        slope_95: growth.slope,
        level: Plain::new(Some(growth.level.0), Some(growth.level.1)),
        beyond_limit_probability: finite(growth.beyond),
        left_90: growth.left.map(ends),
    }
}

fn changed<'a>(drift: &'a Drift, runs: &'a [RunRow]) -> Changed<'a> {
    Changed {
        change: Plain::new(Some(drift.change.0), Some(drift.change.1)),
        series: series(&drift.number, runs),
    }
}

fn series<'a>(assessment: &'a Assessment, runs: &'a [RunRow]) -> Series<'a> {
    let name = |place: usize| runs.get(place).map_or("", |r| r.facts.run.as_str());
    let step_name = |step: usize| assessment.steps.get(step).map_or("", |s| name(s.run));
    let points = assessment.steps.iter().enumerate().map(|(k, step)| {
        let chart = |of: fn(ChartPoint) -> f64| step.chart.map(of);
        Point {
            run: name(step.run),
            value: step.value,
            u: step.u,
            own_u: step.own_u,
            begins_baseline: assessment.segments.iter().any(|s| s.first == k),
            z: chart(|c| c.z),
            cusum_up: chart(|c| c.cusum.up),
            cusum_down: chart(|c| c.cusum.down),
            ewma: chart(|c| c.ewma),
        }
    });
    Series {
        quantity: assessment.quantity.name(),
        element: assessment.quantity.element(),
        baseline: assessment.baseline.map(|b| BaselineOut {
            runs: b.runs,
            value: b.mean,
            u: b.u,
            sigma_rep: b.sigma_rep,
        }),
        in_control_runs: assessment.sides.limits().in_control_runs,
        alarm: assessment.alarm.map(|a| AlarmOut {
            chart: match a.signal.which {
                Which::Cusum => "cumulative sum",
                Which::Ewma => "weighted average",
                Which::BothCharts => "both",
            },
            upward: a.signal.upward,
            since: step_name(a.since),
            first: step_name(a.first),
        }),
        points: points.collect(),
    }
}
