//! Simulated lives: how soon wear is seen, which joint is named, how often wrongly.

use super::*;
use crate::files::starters::Layout;
use crate::history::chart::run_length::cusum_delay;
use crate::history::chart::{K, Sides};
use crate::history::quantity::OfLink;
use crate::history::record::RunFacts;
use crate::history::service::{ServiceEvent, Work};
use crate::history::store::SeriesPoint;
use crate::vehicle::Side;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const LINKS: [&str; 4] = ["lower left", "lower right", "upper left", "upper right"];
const WEEK_US: i64 = 604_800_000_000;
/// Play of a sound joint, its scatter from run to run, and the middle of the runs' own u, m.
const SOUND_M: f64 = 0.2e-3;
const SIGMA_REP_M: f64 = 0.05e-3;
const MIDDLE_U_M: f64 = 0.08e-3;
/// Runs of a life.
const RUNS: usize = 70;

fn vehicle() -> Vehicle {
    let text = Layout::TriangulatedFourLink.vehicle_text("Bramble");
    let mut vehicle = crate::vehicle::file::parse(&text, "vehicle.toml").unwrap();
    vehicle.axles[0].wear_play_m = Some(1e-3);
    vehicle
}

fn run(n: usize) -> RunRow {
    let facts = RunFacts {
        vehicle: "Bramble".into(),
        run: format!("run-{n}"),
        started_us: n as i64 * WEEK_US,
        test: Some("rock".into()),
        rig_basis: "rig".into(),
        ..RunFacts::default()
    };
    RunRow { id: 1000 + n as i64, facts }
}

/// What happens to the joints of one vehicle: play of each link at each run.
fn past(rng: &mut ChaCha8Rng, runs: usize, play_m: impl Fn(usize, usize) -> f64) -> Past {
    let vehicle = vehicle();
    let axle = vehicle.axles[0].name.clone();
    let series = LINKS
        .iter()
        .enumerate()
        .map(|(link, name)| SeriesRow {
            axle: axle.clone(),
            quantity: Quantity::Link(OfLink::Play, (*name).into()),
            points: (0..runs)
                .map(|n| {
                    let [a, b]: [f64; 2] = [StandardNormal.sample(rng), StandardNormal.sample(rng)];
                    let u = MIDDLE_U_M * (0.4 * a).exp();
                    let value = play_m(link, n) + b * u.hypot(SIGMA_REP_M);
                    SeriesPoint { run: 1000 + n as i64, value, u, own_u: u }
                })
                .collect(),
        })
        .collect();
    Past {
        vehicle,
        runs: (0..runs).map(run).collect(),
        axles: HashMap::new(),
        bases: HashMap::new(),
        series,
        services: Vec::new(),
    }
}

/// Adds what a link was said to be or to give besides its play.
fn also(past: &mut Past, of: OfLink, link: usize, own_u: f64, mut of_run: impl FnMut(usize) -> (f64, f64)) {
    let points = (0..past.runs.len()).map(|n| {
        let (value, u) = of_run(n);
        SeriesPoint { run: 1000 + n as i64, value, u, own_u }
    });
    let points = points.collect();
    let quantity = Quantity::Link(of, LINKS[link].into());
    past.series.push(SeriesRow { axle: past.vehicle.axles[0].name.clone(), quantity, points });
}

/// Give under load of a link whose rubber ages from a run on, m/N: a tenth of what it gave with each further run.
fn ages(rng: &mut ChaCha8Rng, past: &mut Past, link: usize, from: usize) {
    const SOUND_M_PER_N: f64 = 2e-7;
    also(past, OfLink::Compliance, link, 1e-8, |n| {
        let noise: f64 = StandardNormal.sample(rng);
        let value = SOUND_M_PER_N * (1.0 + 0.1 * n.saturating_sub(from) as f64) + 1e-8 * noise;
        (value, 2e-8)
    });
}

fn event(at: f64, work: Work) -> ServiceEvent {
    let at_us = (at * WEEK_US as f64) as i64;
    ServiceEvent { date: "2026-11-25".into(), at_us, text: String::new(), work }
}

/// The past as it was after so many runs.
fn until(past: &Past, runs: usize) -> Past {
    let mut then = past.clone();
    then.runs.truncate(runs);
    for series in &mut then.series {
        series.points.retain(|p| p.run < 1000 + runs as i64);
    }
    then
}

fn play_of(past: &Past, link: usize) -> Assessment {
    assess(past, &places(&past.runs), &past.vehicle.axles[0], &past.series[link])
}

/// A vehicle whose upper left link wears, whose lower right one was replaced lately, and whose rig was changed.
pub fn sample() -> Wear {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let growing =
        |link: usize, n: usize| SOUND_M + if link == 2 && n > 10 { 0.06e-3 * (n - 10) as f64 } else { 0.0 };
    let mut past = past(&mut rng, 20, growing);
    let points = past.series[1].points.iter().enumerate().map(|(n, p)| {
        let steer = 0.1 + 40.0 * p.value + if n > 14 { 0.03 } else { 0.0 };
        SeriesPoint { value: steer, u: 0.01, own_u: 0.003, ..*p }
    });
    past.series.push(SeriesRow {
        axle: past.vehicle.axles[0].name.clone(),
        quantity: Quantity::Number(crate::vehicle::numbers::Key::RollSteer),
        points: points.collect(),
    });
    past.runs[3..].iter_mut().for_each(|r| r.facts.rig_basis = "another".into());
    also(&mut past, OfLink::DrawnGive, 2, 0.0, |_| (0.15e-3, 0.08e-3));
    ages(&mut rng, &mut past, 3, 12);
    past.services = vec![event(17.5, Work::Retorqued { element: "lower right".into() })];
    wear_of(past)
}

#[derive(Default)]
struct Tally {
    lives: usize,
    delays: Vec<f64>,
    right: usize,
    missed: usize,
    sound_runs: usize,
    false_alarms: usize,
    named_early: usize,
}

/// One life: joint `worn` was replaced before run 12, the others were greased and tightened now and then; from run `start` on
/// its play grows.
fn live(rng: &mut ChaCha8Rng, slope_m: f64, tally: &mut Tally) {
    let (worn, start) = (rng.random_range(0..4usize), rng.random_range(20..32usize));
    let rise =
        |link: usize, n: usize| if link == worn { slope_m * n.saturating_sub(start) as f64 } else { 0.0 };
    // Before the replacement the joint had half as much again.
    let before = |link: usize, n: usize| if link == worn && n < 12 { 0.5 * SOUND_M } else { 0.0 };
    let mut past = past(rng, RUNS, |link, n| SOUND_M + before(link, n) + rise(link, n));
    let other = LINKS[(worn + 1) % 4].to_owned();
    past.services = vec![
        event(6.5, Work::Greased { element: other.clone() }),
        event(11.5, Work::Replaced { element: LINKS[worn].into(), end: Some(Side::Chassis) }),
        event(24.5, Work::Retorqued { element: other }),
    ];
    tally.lives += 1;
    tally.named_early += usize::from(wear_of(until(&past, start + 1)).suspects().next().is_some());
    for link in 0..LINKS.len() {
        let assessment = play_of(&past, link);
        let sound = if link == worn { start + 1 } else { RUNS };
        let first =
            assessment.steps.iter().find(|s| s.chart.is_some_and(|c| c.signal.is_some())).map(|s| s.run);
        tally.sound_runs += first.unwrap_or(sound).min(sound);
        tally.false_alarms += usize::from(first.is_some_and(|f| f < sound));
        if link == worn {
            let found =
                assessment.steps.iter().skip(sound).find(|s| s.chart.is_some_and(|c| c.signal.is_some()));
            let Some(found) = found else {
                tally.missed += 1;
                continue;
            };
            tally.delays.push((found.run - start) as f64);
            let wear = wear_of(until(&past, found.run + 1));
            let named = &wear.axles[0].joints[0];
            let state = matches!(named.state, JointState::Worn | JointState::Growing);
            tally.right += usize::from(state && named.link == LINKS[worn]);
        }
    }
}

/// Mean delay of a cumulative sum that knew baseline and scatter exactly, for the typical run's u.
fn theory(slope_m: f64) -> f64 {
    let sigma = MIDDLE_U_M.hypot(SIGMA_REP_M);
    cusum_delay(K, Sides::Upper.limits().h, |n| slope_m * n as f64 / sigma)
}

#[test]
fn three_hundred_lives_are_told_as_the_guide_says() {
    let mut rng = ChaCha8Rng::seed_from_u64(2026);
    let mut table = String::new();
    let (mut sound_runs, mut false_alarms, mut named_early) = (0, 0, 0);
    for slope_mm in [0.02, 0.05, 0.1, 0.2] {
        let mut tally = Tally::default();
        for _ in 0..75 {
            live(&mut rng, slope_mm * 1e-3, &mut tally);
        }
        tally.delays.sort_by(f64::total_cmp);
        let mean = tally.delays.iter().sum::<f64>() / tally.delays.len() as f64;
        let ninety = tally.delays[tally.delays.len() * 9 / 10];
        let theory = theory(slope_mm * 1e-3);
        let right = 100.0 * tally.right as f64 / tally.delays.len() as f64;
        table += &format!(
            "| {slope_mm} | {} | {mean:.1} | {ninety:.0} | {theory:.1} | {} | {right:.0} % |\n",
            tally.lives, tally.missed
        );
        // A chart that must learn its baseline is slower than one that is told it, and not by more than two thirds.
        assert!(mean < 1.67 * theory, "{slope_mm} mm a run: {mean} runs, theory {theory}");
        assert!(tally.missed <= 1 && right >= 95.0, "{slope_mm}: missed {}, right {right} %", tally.missed);
        sound_runs += tally.sound_runs;
        false_alarms += tally.false_alarms;
        named_early += tally.named_early;
    }
    table += &format!("\nIn {sound_runs} runs of sound joints the charts spoke {false_alarms} times");
    let early =
        format!("on {named_early} of the 300 vehicles a joint was named before any had begun to grow");
    // Four links, each one run in 465: about one vehicle in twenty has an alarm that has not come back yet.
    assert!(named_early <= 24, "{early}");
    // One in 465 is stated; three standard deviations of a count are allowed above.
    let expected = sound_runs as f64 / Sides::Upper.limits().in_control_runs;
    assert!((false_alarms as f64) < expected + 3.0 * expected.sqrt(), "{false_alarms}, stated {expected:.0}");
    let guide = concat!(env!("CARGO_MANIFEST_DIR"), "/guide/wear.md");
    let guide = std::fs::read_to_string(guide).unwrap_or_default();
    let told = guide.contains(&table) && guide.contains(&early);
    assert!(told, "host/guide/wear.md does not show what the lives gave:\n{table}\n{early}");
}

#[test]
fn a_worn_joint_is_named_with_what_is_left_and_a_new_one_begins_anew() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let growing =
        |link: usize, n: usize| SOUND_M + if link == 2 && n > 10 { 0.06e-3 * (n - 10) as f64 } else { 0.0 };
    let mut past = past(&mut rng, 20, growing);
    let wear = wear_of(past.clone());
    let first = &wear.axles[0].joints[0];
    assert_eq!((first.link.as_str(), first.state), ("upper left", JointState::Growing));
    assert!(first.sure.unwrap() > 0.95);
    // The truth: 0.8 mm less 0.54 mm at 0.06 mm a run, 4.3 runs; by days seven times as many.
    let left = first.by_run.as_ref().unwrap().left.unwrap();
    assert!(left.low.unwrap() <= 4.4 && left.high.unwrap() >= 4.3, "{left:?}");
    let days = first.by_day.as_ref().unwrap().left.unwrap();
    assert!((days.middle.unwrap() / left.middle.unwrap() - 7.0).abs() < 0.01);
    assert!(wear.axles[0].joints[1..].iter().all(|j| j.state == JointState::Steady));

    // Whatever the old bush did, a new one has not been measured.
    past.services = vec![event(19.5, Work::Replaced { element: "upper left".into(), end: None })];
    let wear = wear_of(past.clone());
    assert_eq!(wear.suspects().count(), 0);
    let unmeasured = wear.axles[0].joints.iter().find(|j| j.link == "upper left").unwrap();
    assert!(
        unmeasured.renewed.as_ref().is_some_and(|w| w.starts_with("replaced upper left on ")),
        "{unmeasured:?}"
    );

    past.services = vec![event(18.5, Work::Replaced { element: "upper left".into(), end: None })];
    let wear = wear_of(past);
    let anew = wear.axles[0].joints.iter().find(|j| j.link == "upper left").unwrap();
    assert_eq!(anew.state, JointState::TooFew);
    assert_eq!(anew.play.as_ref().unwrap().current().len(), 1);
    let other = wear.axles[0].joints.iter().find(|j| j.link == "lower left").unwrap();
    assert_eq!(other.play.as_ref().unwrap().current().len(), 20, "another link's baseline goes on");
}

#[test]
fn beyond_the_limit_is_worn_whatever_the_charts_say() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let wear = wear_of(past(&mut rng, 8, |link, _| if link == 1 { 1.6e-3 } else { SOUND_M }));
    assert_eq!(wear.axles[0].joints[0].link, "lower right");
    assert_eq!(wear.axles[0].joints[0].state, JointState::Worn);
    assert_eq!(wear.suspects().count(), 1);
}

/// Rubber gives a millimetre and more under a load that turns round, and that is no play; nor does it hide a joint that grows.
#[test]
fn what_the_drawing_says_that_bushes_give_is_not_held_against_them() {
    const GIVE_M: f64 = 1.6e-3;
    let worn = |growing: f64, drawn: bool| {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let play_m = |link: usize, n: usize| {
            let rise = if link == 2 { growing * n.saturating_sub(10) as f64 } else { 0.0 };
            GIVE_M + SOUND_M + rise
        };
        let mut past = past(&mut rng, 20, play_m);
        for link in 0..if drawn { LINKS.len() } else { 0 } {
            also(&mut past, OfLink::DrawnGive, link, 0.0, |_| (GIVE_M, 0.2 * GIVE_M));
        }
        let wear = wear_of(past);
        let of = |state| wear.axles[0].joints.iter().filter(|j| j.state == state).count();
        (of(JointState::Worn), of(JointState::Growing), wear.axles[0].joints[0].clone())
    };
    assert_eq!(worn(0.0, false).0, LINKS.len(), "without the drawing all are beyond 1 mm");
    assert_eq!((worn(0.0, true).0, worn(0.0, true).1), (0, 0));
    let (none, one, first) = worn(0.06e-3, true);
    assert_eq!((none, one, first.link.as_str()), (0, 1, "upper left"));
    // The truth: 0.8 mm less 0.54 mm at 0.06 mm a run; how much is give is known to a fifth, and that is in the span.
    let left = first.by_run.unwrap().left.unwrap();
    assert!(left.low.unwrap() < 1.0 && left.high.unwrap() > 8.0, "{left:?}");
    let (worn, _, first) = worn(0.3e-3, true);
    assert_eq!((worn, first.link.as_str()), (1, "upper left"), "3 mm beyond what it gives");
}

#[test]
fn a_bush_that_gives_more_and_more_is_named_before_it_has_play() {
    let mut rng = ChaCha8Rng::seed_from_u64(12);
    let mut past = past(&mut rng, 20, |_, _| SOUND_M);
    for link in 0..LINKS.len() {
        ages(&mut rng, &mut past, link, if link == 1 { 12 } else { 20 });
    }
    let wear = wear_of(past.clone());
    let named: Vec<&str> = wear.suspects().map(|(_, j)| j.link.as_str()).collect();
    assert_eq!(named, ["lower right"]);
    assert_eq!(wear.axles[0].joints[0].state, JointState::Softening);
    past.services = vec![event(18.5, Work::Replaced { element: "lower right".into(), end: None })];
    assert_eq!(wear_of(past).suspects().count(), 0, "a new bush begins anew");
}

#[test]
fn when_all_grow_at_once_the_sensors_are_suspected() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let wear = wear_of(past(&mut rng, 24, |_, n| SOUND_M + 0.1e-3 * n.saturating_sub(12) as f64));
    assert!(wear.suspects().count() >= 3);
    assert!(wear.axles[0].otherwise.iter().any(|s| s.contains("sensor")), "{:?}", wear.axles[0].otherwise);
}

#[test]
fn a_joint_that_was_looked_at_keeps_its_baseline_and_its_charts_begin_anew() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let mut past = past(&mut rng, 16, |link, n| SOUND_M + if link == 0 && n == 14 { 1.2e-3 } else { 0.0 });
    assert!(play_of(&past, 0).alarm.is_some());
    past.services = vec![event(14.5, Work::Checked { element: "lower left".into() })];
    let after = play_of(&past, 0);
    assert!(after.alarm.is_none() && after.segments.len() == 1);
}

#[test]
fn another_rig_parts_numbers_but_not_play() {
    let mut rng = ChaCha8Rng::seed_from_u64(9);
    let mut past = past(&mut rng, 16, |_, _| SOUND_M);
    let steer = Quantity::Number(crate::vehicle::numbers::Key::RollSteer);
    let points = past.series[0].points.clone();
    past.series.push(SeriesRow { axle: past.vehicle.axles[0].name.clone(), quantity: steer, points });
    past.runs[8..].iter_mut().for_each(|r| r.facts.rig_basis = "another".into());
    let wear = wear_of(past);
    let axle = &wear.axles[0];
    assert!(axle.joints.iter().all(|j| j.play.as_ref().unwrap().segments.len() == 1));
    assert_eq!(axle.breaks.len(), 1);
    let told = &axle.breaks[0];
    assert!(told.starts_with("From run run-8 on 1 of 5 series begin anew: the rig changed."), "{told}");
    assert!(told.contains("the play of the links"), "{told}");
}
