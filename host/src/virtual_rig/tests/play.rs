//! A joint with play, rocked and shoved: what the links really do, and what is measured of it.

use super::motion::record;
use super::{RAMP_RAD, bramble};
use crate::design::cases;
use crate::geometry::placed::PlacedBody;
use crate::judge::compare::against_design;
use crate::judge::{Finding, FindingKind};
use crate::measure::links::lines;
use crate::measure::{self, AxleAnalysis};
use crate::rig::{Kind, Rig};
use crate::run::Phase;
use crate::vehicle::Vehicle;
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::{PULL_N, Test, VehicleOnRamp};

const ROCK_AND_SHOVE: [Phase; 5] =
    [Phase::Still, Phase::RockForward, Phase::RockBack, Phase::ShoveLeft, Phase::ShoveRight];
const PLAY_M: f64 = 8e-4;
/// The load is whole, s after its phase began.
const HELD_S: f64 = 14.0;

fn rocked(vehicle: &Vehicle) -> VehicleOnRamp {
    let test = Test { axle: 0, phases: ROCK_AND_SHOVE.to_vec(), ramp_rad: RAMP_RAD };
    VehicleOnRamp::new(vehicle, &test).expect("it can be rocked")
}

/// How far each link's apparent length turns round between two phases, m, longer in the first of them.
fn jumps(vehicle: &Vehicle, it: &VehicleOnRamp, phases: [Phase; 2]) -> Vec<f64> {
    let [one, other] = phases.map(|phase| {
        let span = it.phases().find(|s| s.phase == phase).expect("it is in the plan");
        PlacedBody::new(&it.at(span.from_s + HELD_S).pose(0), it.centre(0))
    });
    let lines = lines(&vehicle.axles[0], vehicle.tolerance_m);
    lines.iter().map(|line| line.apparent(&one).0 - line.apparent(&other).0).collect()
}

#[test]
fn a_loose_link_goes_through_its_play_and_a_tight_one_does_not_move() {
    /// Second order of a movement of 0.4 mm of links half a metre long, and the last of the play at 3 kN, m.
    const SECOND_ORDER_M: f64 = 2e-6;
    for loose in 0..4 {
        let mut vehicle = cases::t();
        vehicle.axles[0].locating.links[loose].play_m = PLAY_M;
        let it = rocked(&vehicle);
        for (k, jump) in jumps(&vehicle, &it, [Phase::RockForward, Phase::RockBack]).iter().enumerate() {
            let truth = if k == loose { PLAY_M } else { 0.0 };
            assert!((jump.abs() - truth).abs() < SECOND_ORDER_M, "link {loose} loose, link {k}: {jump}");
        }
    }
}

#[test]
fn a_soft_link_gives_as_hookes_law_says() {
    /// As above.
    const SECOND_ORDER_M: f64 = 2e-6;
    // Case T driven with +8 kN puts −11 586.6 N into the lower left link, worked out by a program of its own.
    let n = -11586.6 * PULL_N / 8000.0;
    let mut vehicle = cases::t();
    vehicle.axles[0].locating.links[0].stiffness_n_per_m = Some(8e6);
    let jump = jumps(&vehicle, &rocked(&vehicle), [Phase::RockForward, Phase::RockBack])[0];
    assert!((jump - 2.0 * n / 8e6).abs() < SECOND_ORDER_M, "{jump}");
}

/// A rig whose wires are fit for the purpose: a tenth of a millimetre of hysteresis.
fn fine(rig: &Rig) -> Rig {
    let mut rig = rig.clone();
    for sensor in &mut rig.sensors {
        if let Kind::DrawWire(wire) = &mut sensor.kind {
            wire.reading.hysteresis = 1e-4;
        }
    }
    rig
}

fn analysed(
    drawn: &Vehicle,
    rig: &Rig,
    loose: Option<usize>,
    seed: u64,
) -> (AxleAnalysis, Vec<Finding>, [Vec<f64>; 2]) {
    let mut truly = drawn.clone();
    if let Some(loose) = loose {
        truly.axles[0].locating.links[loose].play_m = PLAY_M;
    }
    let it = rocked(&truly);
    let truth = [[Phase::RockForward, Phase::RockBack], [Phase::ShoveLeft, Phase::ShoveRight]]
        .map(|p| jumps(drawn, &it, p));
    let mut readings = Readings::new(it, rig, Some(seed)).expect("every sensor has something to read");
    let mut recording = record(&mut readings, rig);
    recording.facts.load_n = Some(PULL_N);
    let analysis = measure::analyse(drawn, rig, &recording).expect("it can be measured");
    let compared = against_design(drawn, analysis).expect("Bramble is well located");
    let axle = compared.axles.into_iter().next().expect("one axle");
    (axle.analysis, axle.findings, truth)
}

#[test]
fn play_is_measured_as_well_as_is_said_and_the_loose_link_is_named() {
    const RUNS: u64 = 12;
    // Four links a run err together, so the runs count: the mean of 24 squared errors, two loads a run, is below 2 by more than
    // three deviations of √(2/24).
    const MOST_SQUARE: f64 = 2.0;
    let runs = std::env::var("HINGELINE_COVERAGE_RUNS").ok().and_then(|v| v.parse().ok()).unwrap_or(RUNS);
    let (drawn, rig) = bramble();
    let rig = fine(&rig);
    let (mut square, mut count, mut named) = (0.0, 0.0, 0);
    for seed in 1..=runs {
        let loose = (seed % 4) as usize;
        let (axle, findings, truth) = analysed(&drawn, &rig, Some(loose), seed);
        assert_eq!(axle.turned.len(), 2, "rock and shove");
        // Play is the larger of two such jumps without its sign: that of a tight link is never below nothing.
        for (turned, truth) in axle.turned.iter().zip(&truth) {
            for (k, truth) in truth.iter().enumerate() {
                let u = turned.covariance[(k, k)].sqrt();
                square += ((turned.jump_m[k] - truth) / u).powi(2);
                count += 1.0;
            }
        }
        let name = &drawn.axles[0].locating.links[loose].name;
        for finding in &findings {
            assert_eq!(finding.kind, FindingKind::Play);
            assert!(finding.element.contains(name.as_str()), "{name} is loose: {finding:?}");
            named += u64::from(finding.element == *name);
        }
    }
    square /= count;
    println!("squared error over u²: {square:.2}, named {named} of {runs}");
    assert!(square < MOST_SQUARE, "{square}");
    assert!(named >= runs * 3 / 4, "{named} of {runs}");
}

#[test]
fn a_tight_axle_is_not_accused_and_coarse_wires_resolve_nothing_small() {
    let (drawn, rig) = bramble();
    for seed in 1..=4 {
        let (_, findings, _) = analysed(&drawn, &fine(&rig), None, seed);
        assert!(findings.is_empty(), "{findings:?}");
    }
    let mut coarse = rig;
    for sensor in &mut coarse.sensors {
        if let Kind::DrawWire(wire) = &mut sensor.kind {
            wire.reading.hysteresis = 2e-3;
        }
    }
    let (axle, findings, _) = analysed(&drawn, &coarse, None, 1);
    assert!(findings.is_empty(), "{findings:?}");
    for link in axle.links {
        assert_eq!(link.play_m.measured(), None, "{link:?}");
        assert!(link.play_m.u.is_some_and(|u| u > 1e-4), "{link:?}");
    }
}
