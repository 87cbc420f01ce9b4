//! Links that give under load, pulled in steps: what they really give, and what is measured of it.

use super::motion::record;
use super::{RAMP_RAD, bramble, scenario};
use crate::judge::give::with_give;
use crate::measure::{self, LinkMeasured, Status};
use crate::rig::{self, Kind, Rig};
use crate::run::Phase;
use crate::vehicle::{JointKind, Vehicle};
use crate::virtual_rig::readings::{Felt, Readings};
use crate::virtual_rig::{PULL_N, Test, VehicleOnRamp, VirtualRigError};

const ROCK: [Phase; 3] = [Phase::Still, Phase::RockForward, Phase::RockBack];
const ROCK_AND_SHOVE: [Phase; 5] =
    [Phase::Still, Phase::RockForward, Phase::RockBack, Phase::ShoveLeft, Phase::ShoveRight];
const ROCK_TWICE: [Phase; 5] =
    [Phase::Still, Phase::RockForward, Phase::RockBack, Phase::RockForward, Phase::RockBack];
/// A load cell on the strap.
const LOAD_CELL: &str = "\n[[sensor]]\nname = \"strap\"\nkind = \"force\"\n";

/// Bramble's rig with wires that are fit for the purpose, and a load cell on the strap.
fn fine(drawn: &Vehicle) -> Rig {
    with_loops(drawn, 1e-4)
}

/// The same with wires that say the same coming and going.
fn exact(drawn: &Vehicle) -> Rig {
    with_loops(drawn, 0.0)
}

fn with_loops(drawn: &Vehicle, hysteresis_m: f64) -> Rig {
    let text = format!("{}{LOAD_CELL}", scenario::RIG);
    let mut rig = rig::file::parse(&text, "rig.toml", drawn).expect("a good file");
    for sensor in &mut rig.sensors {
        if let Kind::DrawWire(wire) = &mut sensor.kind {
            wire.reading.hysteresis = hysteresis_m;
        }
    }
    rig
}

fn pulled(vehicle: &Vehicle, phases: &[Phase]) -> VehicleOnRamp {
    let test = Test { axle: 0, phases: phases.to_vec(), ramp_rad: RAMP_RAD };
    VehicleOnRamp::new(vehicle, &test).expect("it can be pulled")
}

/// What is measured of the links of `truly`, drawn as `drawn`.
fn links(
    drawn: &Vehicle,
    truly: &Vehicle,
    rig: &Rig,
    phases: &[Phase],
    seed: Option<u64>,
) -> Vec<LinkMeasured> {
    let mut readings =
        Readings::new(pulled(truly, phases), rig, seed).expect("sensors with something to read");
    let recording = record(&mut readings, rig);
    let analysis = measure::analyse(drawn, rig, &recording).expect("it can be measured");
    with_give(drawn, analysis).axles.remove(0).links
}

/// What every link truly gives, m/N: both its ends in series.
fn truth(vehicle: &Vehicle) -> Vec<f64> {
    let stiffness = vehicle.axles[0].locating.links.iter().map(|l| l.end_stiffness_n_per_m());
    stiffness.map(|k| k.map_or(0.0, |k| 1.0 / k)).collect()
}

#[test]
fn a_load_cell_on_the_strap_reads_every_step_of_the_pull() {
    let (drawn, _) = bramble();
    let rig = fine(&drawn);
    let cell = rig.sensors.len() - 1;
    let it = pulled(&drawn, &ROCK);
    let from_s = it.phases().nth(2).expect("the way back").from_s;
    let mut readings = Readings::new(it, &rig, None).expect("a load cell has a strap");
    for (after_s, part) in [(-0.5, 0.0), (4.0, 1.0 / 3.0), (9.0, 2.0 / 3.0), (14.0, 1.0), (19.5, 0.0)] {
        let Some(Felt::Scalar(n)) = readings.read(cell, from_s + after_s) else { panic!("a scalar") };
        assert!((n - part * PULL_N).abs() < 1e-9, "{after_s} s: {n}");
    }
    let in_link =
        format!("{}{LOAD_CELL}link = \"{}\"\n", scenario::RIG, drawn.axles[0].locating.links[0].name);
    let rig = rig::file::parse(&in_link, "rig.toml", &drawn).expect("a good file");
    let refused = Readings::new(pulled(&drawn, &ROCK), &rig, None);
    assert!(matches!(refused, Err(VirtualRigError::Force { .. })));
}

/// Hooke's law by perfect sensors: a link of stiffness k gives 1/k. What is left is second order of a movement of a millimetre
/// of links half a metre long.
#[test]
fn a_link_gives_as_hookes_law_says() {
    const SECOND_ORDER: f64 = 1e-3;
    let (drawn, _) = bramble();
    for k_n_per_m in [2e6, 5e6, 8e6] {
        let mut truly = drawn.clone();
        truly.axles[0].locating.links[0].stiffness_n_per_m = Some(k_n_per_m);
        let found = links(&drawn, &truly, &exact(&drawn), &ROCK, None);
        let (value, u) = found[0].compliance_m_per_n.measured().expect("a soft link");
        println!("{:.4} ± {:.4} mm/kN, truly {:.4}", 1e6 * value, 1e6 * u, 1e3 * 1e3 / k_n_per_m);
        assert!((value * k_n_per_m - 1.0).abs() < SECOND_ORDER, "{value} against {}", 1.0 / k_n_per_m);
    }
}

/// Springs in series, any handbook of mechanics: their compliances add.
#[test]
fn the_bushes_of_both_ends_give_one_after_the_other() {
    const SECOND_ORDER: f64 = 1e-3;
    let (drawn, _) = bramble();
    for joints in [[JointKind::Rubber, JointKind::Rubber], [JointKind::Rubber, JointKind::Polyurethane]] {
        let mut truly = drawn.clone();
        let link = &mut truly.axles[0].locating.links[1];
        (link.joints, link.stiffness_n_per_m) = (Some(joints), None);
        let found = links(&drawn, &truly, &exact(&drawn), &ROCK, None);
        let (value, _) = found[1].compliance_m_per_n.measured().expect("a soft link");
        let sum: f64 = joints.iter().map(|kind| 1.0 / kind.assumed().radial_n_per_m).sum();
        assert!((value / sum - 1.0).abs() < SECOND_ORDER, "{value} against {sum}");
    }
}

#[test]
fn play_and_give_of_one_link_are_told_apart() {
    const PLAY_M: f64 = 8e-4;
    const STIFFNESS_N_PER_M: f64 = 4e6;
    const SECOND_ORDER: f64 = 1e-3;
    /// The last of the play at the lightest hold, and second order, m.
    const LEFT_M: f64 = 2e-6;
    let (drawn, _) = bramble();
    let mut truly = drawn.clone();
    let link = &mut truly.axles[0].locating.links[0];
    (link.play_m, link.stiffness_n_per_m) = (PLAY_M, Some(STIFFNESS_N_PER_M));
    let found = &links(&drawn, &truly, &exact(&drawn), &ROCK, None)[0];
    let (play_m, _) = found.play_m.measured().expect("play");
    let (give, _) = found.compliance_m_per_n.measured().expect("give");
    println!("{:.3} mm, {:.4} mm/kN", 1e3 * play_m, 1e6 * give);
    assert!((play_m - PLAY_M).abs() < LEFT_M, "{play_m}");
    assert!((give * STIFFNESS_N_PER_M - 1.0).abs() < SECOND_ORDER, "{give}");
    // A run without steps, or without a load cell, has both in one: the play and what it gives both ways.
    let mut blind = exact(&drawn);
    blind.sensors.retain(|s| !matches!(s.kind, Kind::Force(_)));
    let both = &links(&drawn, &truly, &blind, &ROCK, None)[0];
    assert!(both.play_m.value.is_some_and(|m| m > PLAY_M + 4e-4), "{:?}", both.play_m);
}

/// Squared errors over u², with every error of the sensors drawn: about 1 if u is the error made.
#[test]
fn give_and_play_are_measured_as_well_as_is_said() {
    const RUNS: u64 = 16;
    /// Four links a run err together, so the runs count: a mean of 16 squared errors lies within 1 ± 5·√(2/16) almost surely, and
    /// below a tenth an uncertainty would be three times the error made.
    const BAND: [f64; 2] = [0.1, 2.8];
    let (drawn, _) = bramble();
    let rig = fine(&drawn);
    let (mut square, mut count) = ([0.0; 2], 0.0);
    let mut resolved = 0;
    for seed in 1..=RUNS {
        let mut truly = drawn.clone();
        let soft = (seed % 4) as usize;
        let link = &mut truly.axles[0].locating.links[soft];
        (link.play_m, link.stiffness_n_per_m) = (5e-4, Some(4e6));
        let phases = if seed % 2 == 0 { ROCK_AND_SHOVE } else { ROCK_TWICE };
        let found = links(&drawn, &truly, &rig, &phases, Some(seed));
        for (k, (link, give)) in found.iter().zip(truth(&truly)).enumerate() {
            let it = &link.compliance_m_per_n;
            let (value, u) = it.value.zip(it.u).expect("a rock loads every link");
            println!(
                "seed {seed} {}: {:.3} ± {:.3} mm/kN, truly {:.3}; play {:?}",
                link.name,
                1e6 * value,
                1e6 * u,
                1e6 * give,
                link.play_m
            );
            square[0] += ((value - give) / u).powi(2);
            count += 1.0;
            if k == soft {
                assert_eq!(it.status, Status::Measured, "{link:?}");
                let (play_m, u) = link.play_m.value.zip(link.play_m.u).expect("both ways");
                square[1] += ((play_m - 5e-4) / u).powi(2) / RUNS as f64;
                resolved += 1;
            }
        }
    }
    square[0] /= count;
    println!(
        "squared error over u²: give {:.2}, play {:.2}; {resolved} of {RUNS} resolved",
        square[0], square[1]
    );
    for s in square {
        assert!((BAND[0]..BAND[1]).contains(&s), "{square:?}");
    }
}

#[test]
fn what_is_missing_is_said() {
    let (drawn, rig) = bramble();
    let found = links(&drawn, &drawn, &rig, &ROCK, Some(1));
    for link in found {
        assert_eq!(link.compliance_m_per_n.status, Status::NotMeasured);
        assert!(link.compliance_m_per_n.why.is_some_and(|w| w.contains("force sensor on the strap")));
    }
    let rig = fine(&drawn);
    let still = links(&drawn, &drawn, &rig, &[Phase::Still, Phase::Bounce], Some(1));
    assert!(
        still.iter().all(|l| l
            .compliance_m_per_n
            .why
            .as_deref()
            .is_some_and(|w| w.contains("rock or shove")))
    );
}
