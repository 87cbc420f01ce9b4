//! Numbers, poses and ramp travel index of whole runs, four layouts on two rigs, with ideal sensors and with faulty ones.

use crate::bounds;
use crate::made::{Made, make};
use hingeline::geometry::Pose;
use hingeline::measure::PosePoint;

const CASES: [&str; 4] = ["T", "S", "W", "H"];

fn every_case_on(rig: &str, column: usize) {
    let mut wrong = Vec::new();
    let mut planted = Vec::new();
    for (k, case) in CASES.iter().enumerate() {
        for (faults, seed) in [("none", 100), ("planted", 200)] {
            let made = make(case, rig, faults, seed + k as u64, &[]);
            let scores = numbers_hold(&made, column, &mut wrong);
            if faults == "planted" {
                planted.extend(scores);
            }
            ramp_index_holds(&made, &mut wrong);
            poses_hold(&made, &mut wrong);
            let agreement = made.axle().analysis.fit.chi_square_per_dof;
            if agreement.is_none_or(|a| a > bounds::AGREEMENT) {
                wrong.push(format!("{}: the sensors agree to {agreement:?}", made.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let rms = (planted.iter().map(|z| z * z).sum::<f64>() / planted.len() as f64).sqrt();
    let [least, most] = bounds::HONEST_U;
    assert!(
        (least..most).contains(&rms),
        "{rig}: errors are {rms:.2} of their u over {} numbers",
        planted.len()
    );
}

#[test]
fn six_wires_and_two_units_tell_the_truth() {
    every_case_on("rich", 0);
}

#[test]
fn four_wires_and_two_units_tell_the_truth() {
    every_case_on("standard", 1);
}

/// Every number that the axle has is measured, near the truth, with a small enough u. Returns (measured − true)/u of each.
fn numbers_hold(made: &Made, column: usize, wrong: &mut Vec<String>) -> Vec<f64> {
    let mut scores = Vec::new();
    for (key, number) in &made.axle().analysis.measured {
        let Some(truth) = made.true_number(key.as_str()) else { continue };
        let largest_u = bounds::LARGEST_U.iter().find(|(k, _)| k == key).map(|(_, u)| u[column]);
        match number.measured() {
            Some((value, u)) => {
                let score = (value - truth) / u;
                scores.push(score);
                if score.abs() > bounds::COVERAGE || largest_u.is_some_and(|most| u > most) {
                    wrong.push(format!(
                        "{}: {} {value:.5} ± u {u:.5}, true {truth:.5}",
                        made.name,
                        key.as_str()
                    ));
                }
            }
            None if largest_u.is_some() => {
                wrong.push(format!("{}: {} is {}", made.name, key.as_str(), number.status.word()));
            }
            None => {}
        }
    }
    scores
}

fn ramp_index_holds(made: &Made, wrong: &mut Vec<String>) {
    for (found, side) in made.axle().analysis.ramp_travel_index.iter().zip(["left", "right"]) {
        let truth = made.truth["ramp_travel_index"][side]["index"].as_f64().unwrap();
        let holds = found.index.measured().is_some_and(|(value, u)| {
            (value - truth).abs() <= bounds::COVERAGE * u && u <= bounds::RAMP_INDEX_U
        });
        if !holds {
            wrong.push(format!("{}: ramp travel index {side} {:?}, true {truth:.1}", made.name, found.index));
        }
    }
}

fn coordinates(pose: &Pose) -> [f64; 6] {
    [pose.x_m, pose.y_m, pose.z_m, pose.roll_rad, pose.pitch_rad, pose.yaw_rad]
}

/// Coordinates at `t_s` through the four measured poses about it (Lagrange), with the u of the nearest; none in a gap.
fn at(path: &[PosePoint], t_s: f64) -> Option<([f64; 6], [Option<f64>; 6])> {
    let after = path.partition_point(|p| p.t_s < t_s);
    let four = path.get(after.checked_sub(2)?..after + 2)?;
    // Poses are taken ten times a second; across a gap or a change of phase nothing is said.
    if four[3].t_s - four[0].t_s > 1.0 || four.iter().any(|p| p.phase != four[0].phase) {
        return None;
    }
    let weight = |k: usize| -> f64 {
        (0..4).filter(|j| *j != k).map(|j| (t_s - four[j].t_s) / (four[k].t_s - four[j].t_s)).product()
    };
    let poses = four.iter().map(|p| coordinates(&p.pose));
    let mut value = [0.0; 6];
    for (k, pose) in poses.enumerate() {
        value.iter_mut().zip(pose).for_each(|(v, c)| *v += weight(k) * c);
    }
    Some((value, four[1].u))
}

/// The measured path against the true one, once a second.
fn poses_hold(made: &Made, wrong: &mut Vec<String>) {
    let names = ["x_m", "y_m", "heave_m", "roll_rad", "pitch_rad", "yaw_rad"];
    let truth = made.truth["poses"].as_array().unwrap();
    let mut beyond = [0; 6];
    let mut seen = 0;
    for row in truth {
        let Some((value, u)) = at(&made.axle().analysis.path, row["t_s"].as_f64().unwrap()) else { continue };
        seen += 1;
        for (k, name) in names.iter().enumerate() {
            let error = (value[k] - row[name].as_f64().unwrap()).abs();
            beyond[k] += usize::from(u[k].is_none_or(|u| error > bounds::COVERAGE * u));
        }
    }
    if seen * 10 < truth.len() * 8 {
        wrong.push(format!("{}: only {seen} of {} poses have a measured neighbour", made.name, truth.len()));
    }
    for (name, beyond) in names.iter().zip(beyond) {
        if beyond as f64 > bounds::POSES_BEYOND * seen as f64 {
            wrong.push(format!("{}: {name} is beyond at {beyond} of {seen} poses", made.name));
        }
    }
}
