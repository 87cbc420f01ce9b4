//! Tells bounce, left wheel up and right wheel up apart in a recording that does not say what was done when.
//!
//! This is a guess at what the test was, good to a few degrees, and no measurement: readings are taken as linear in the pose
//! about ride height.

use super::still::median_and_scatter;
use super::{Phase, PhaseSpan, Series};
use crate::geometry::pose::COORDINATES;
use crate::geometry::{Pose, Vector3, placed::PlacedBody};
use crate::rig::inertial::{Levelling, STANDARD_GRAVITY, UnitErrors};
use crate::rig::model::Model;
use crate::rig::{Carrier, Kind, Rig, Sensor};
use nalgebra::{Matrix6, Vector6};

/// Step in which the motion is looked at, s.
const STEP_S: f64 = 0.1;
/// Longest stretch that is looked at: a day, longer than any test, s.
const LONGEST_S: f64 = 86_400.0;
/// How far each coordinate of a pose usually goes, one standard deviation: x, y, z in m; roll, pitch, yaw in rad.
const USUAL_TRAVEL: [f64; COORDINATES] = [0.03, 0.02, 0.1, 0.2, 0.1, 0.05];
/// How well readings are linear over that travel: m for lengths, rad for angles and for inclination from gravity.
const LINEAR_WITHIN: f64 = 0.02;
/// Articulation is told from heave if it is known this well (2.9°), rad.
const ROLL_KNOWN_RAD: f64 = 0.05;
/// Heave is seen if it is known this well, m.
const HEAVE_KNOWN_M: f64 = 0.03;
/// A wheel is on a ramp while the articulation goes beyond this (4.6°), rad …
const ON_THE_RAMP_RAD: f64 = 0.08;
/// … and leaves the flat where it goes beyond this (0.6°), rad.
const OFF_THE_FLAT_RAD: f64 = 0.01;
/// Less heave than this is no bounce, m …
const BOUNCE_M: f64 = 0.02;
/// … which begins and ends where it goes beyond this, m.
const OFF_RIDE_M: f64 = 0.004;

/// Heave and articulation about an axle, coarsely.
struct Motion {
    t_s: Vec<f64>,
    heave_m: Vec<f64>,
    roll_rad: Vec<f64>,
}

/// A reading that is linear in the pose: its derivative and its change since the still at each step.
struct Linear {
    gradient: Vector6<f64>,
    change: Vec<f64>,
}

/// Ramp phases after the still: each excursion of articulation is a ramp to the side of its sign.
///
/// # Errors
/// Why they cannot be told, as a part of a sentence.
pub fn ramps(
    rig: &Rig,
    centres: &[Vector3<f64>],
    series: &[Vec<Series>],
    still: [f64; 2],
) -> Result<Vec<PhaseSpan>, String> {
    let motion = observe(rig, centres, series, still)?;
    let spans = lobes(&motion);
    if spans.is_empty() {
        return Err("no wheel goes up a ramp in it".into());
    }
    Ok(spans)
}

/// Whatever follows the still: ramps where the articulation says so, a bounce wherever else the axle travels.
///
/// # Errors
/// Why it cannot be told, as a part of a sentence.
pub fn phases(
    rig: &Rig,
    centres: &[Vector3<f64>],
    series: &[Vec<Series>],
    still: [f64; 2],
) -> Result<Vec<PhaseSpan>, String> {
    let motion = observe(rig, centres, series, still)?;
    let mut spans = lobes(&motion);
    spans.extend(bounces(&motion, &spans));
    spans.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    if spans.is_empty() {
        return Err("the axle hardly moves".into());
    }
    Ok(spans)
}

/// Bounces: before, between and after the ramps, from where each leaves ride height to where the last of it comes back.
fn bounces(motion: &Motion, ramps: &[PhaseSpan]) -> Vec<PhaseSpan> {
    let free = |k: &usize| {
        let t_s = motion.t_s.get(*k).copied().unwrap_or(f64::NAN);
        !ramps.iter().any(|r| r.from_s <= t_s && t_s <= r.to_s)
    };
    let heave_m = |k: usize| motion.heave_m.get(k).copied().unwrap_or(0.0).abs();
    let steps: Vec<usize> = (0..motion.t_s.len()).filter(free).collect();
    let mut spans = Vec::new();
    for stretch in steps.chunk_by(|a, b| a + 1 == *b) {
        let travelled = stretch.iter().any(|k| heave_m(*k) > BOUNCE_M);
        let first = stretch.iter().position(|k| heave_m(*k) > OFF_RIDE_M);
        let last = stretch.iter().rposition(|k| heave_m(*k) > OFF_RIDE_M);
        if let (true, Some(first), Some(last)) = (travelled, first, last) {
            // One step of ride height at either end, where there is one.
            let at = |place: usize| stretch.get(place).and_then(|k| motion.t_s.get(*k)).copied();
            let from_s = at(first.saturating_sub(1));
            let to_s = at((last + 1).min(stretch.len() - 1));
            if let (Some(from_s), Some(to_s)) = (from_s, to_s) {
                spans.push(PhaseSpan { phase: Phase::Bounce, from_s, to_s });
            }
        }
    }
    spans
}

/// The motion of the first axle whose sensors tell heave and articulation.
fn observe(
    rig: &Rig,
    centres: &[Vector3<f64>],
    series: &[Vec<Series>],
    still: [f64; 2],
) -> Result<Motion, String> {
    let end_s = series.iter().flatten().filter_map(|s| s.t_s.last().copied()).fold(still[1], f64::max);
    if end_s - still[1] > LONGEST_S {
        return Err("its times span more than a day".into());
    }
    let steps = ((end_s - still[1]) / STEP_S).floor() as usize;
    let t_s: Vec<f64> = (0..steps).map(|k| still[1] + k as f64 * STEP_S).collect();
    for (axle, centre) in centres.iter().enumerate() {
        let readings = linear_readings(rig, axle, *centre, series, still, &t_s);
        if let Some(motion) = solve(&readings, &t_s) {
            return Ok(motion);
        }
    }
    Err("the sensors do not tell heave and articulation apart".into())
}

/// Heave and articulation at each step by least squares with the usual travel as prior; `None` if they stay unknown.
fn solve(readings: &[Linear], t_s: &[f64]) -> Option<Motion> {
    let mut information = Matrix6::from_diagonal(&Vector6::from(USUAL_TRAVEL.map(|s| s.powi(-2))));
    for r in readings {
        information += r.gradient * r.gradient.transpose() / LINEAR_WITHIN.powi(2);
    }
    let covariance = information.try_inverse()?;
    if covariance[(3, 3)].sqrt() > ROLL_KNOWN_RAD || covariance[(2, 2)].sqrt() > HEAVE_KNOWN_M {
        return None;
    }
    let mut motion = Motion { t_s: t_s.to_vec(), heave_m: Vec::new(), roll_rad: Vec::new() };
    for k in 0..t_s.len() {
        let right: Vector6<f64> = readings
            .iter()
            .map(|r| r.gradient * (r.change.get(k).copied().unwrap_or(0.0) / LINEAR_WITHIN.powi(2)))
            .sum();
        let pose = covariance * right;
        motion.heave_m.push(pose[2]);
        motion.roll_rad.push(pose[3]);
    }
    Some(motion)
}

fn linear_readings(
    rig: &Rig,
    axle: usize,
    centre: Vector3<f64>,
    series: &[Vec<Series>],
    still: [f64; 2],
    t_s: &[f64],
) -> Vec<Linear> {
    let ride = PlacedBody::new(&Pose::default(), centre);
    let here = || rig.sensors.iter().zip(series).filter(move |(s, _)| s.axle == axle);
    let mut readings: Vec<Linear> = here()
        .filter_map(|(sensor, all)| {
            let gradient = Model::of(&sensor.kind)?.value_and_gradient(&ride).1;
            Some(Linear { gradient, change: change(all.first()?, still, t_s)? })
        })
        .collect();
    let inclination = |carrier: Carrier| here().find_map(|(s, all)| side_slope(s, carrier, all, still, t_s));
    if let (Some(of_axle), Some(of_chassis)) = (inclination(Carrier::Axle), inclination(Carrier::Chassis)) {
        let change = of_axle.iter().zip(&of_chassis).map(|(a, c)| a - c).collect();
        readings.push(Linear { gradient: Vector6::ith(3, 1.0), change });
    }
    readings
}

/// How much a series differs from its still at each step: the median of a step, or the step before where there is none.
fn change(series: &Series, still: [f64; 2], t_s: &[f64]) -> Option<Vec<f64>> {
    let (rest, _) = median_and_scatter(series, still[0], still[1])?;
    let mut last = 0.0;
    Some(
        t_s.iter()
            .map(|t| {
                if let Some((middle, _)) = median_and_scatter(series, *t, t + 2.0 * STEP_S) {
                    last = middle - rest;
                }
                last
            })
            .collect(),
    )
}

/// Inclination to the side of a carrier from its unit's specific force, rad, at each step.
fn side_slope(
    sensor: &Sensor,
    carrier: Carrier,
    all: &[Series],
    still: [f64; 2],
    t_s: &[f64],
) -> Option<Vec<f64>> {
    let Kind::Inertial(unit) = &sensor.kind else { return None };
    if unit.carrier != carrier {
        return None;
    }
    let [x, y, z, ..] = all else { return None };
    let rest = |s: &Series| median_and_scatter(s, still[0], still[1]).map(|(m, _)| m);
    let still_force = Vector3::new(rest(x)?, rest(y)?, rest(z)?);
    let levelling = Levelling { still_force, still_rate: Vector3::zeros() };
    let mounting = levelling.mounting(unit, &UnitErrors::default());
    let axes = [change(x, still, t_s)?, change(y, still, t_s)?, change(z, still, t_s)?];
    let [dx, dy, dz] = &axes;
    let forces =
        dx.iter().zip(dy).zip(dz).map(|((x, y), z)| mounting * (still_force + Vector3::new(*x, *y, *z)));
    Some(forces.map(|f| (f.y / STANDARD_GRAVITY).clamp(-1.0, 1.0).asin()).collect())
}

/// Excursions of articulation: from where each leaves the flat to where it comes back.
fn lobes(motion: &Motion) -> Vec<PhaseSpan> {
    let mut spans = Vec::new();
    let mut open: Option<(usize, f64, f64)> = None; // first step, sign, furthest
    let mut close = |open: Option<(usize, f64, f64)>, last: usize| {
        if let Some((first, sign, furthest)) = open
            && furthest > ON_THE_RAMP_RAD
            && let (Some(&from_s), Some(&to_s)) = (motion.t_s.get(first), motion.t_s.get(last))
        {
            let phase = if sign > 0.0 { Phase::RampLeft } else { Phase::RampRight };
            spans.push(PhaseSpan { phase, from_s, to_s });
        }
    };
    for (k, roll) in motion.roll_rad.iter().enumerate() {
        let off = roll.abs() > OFF_THE_FLAT_RAD;
        open = match open {
            Some((first, sign, furthest)) if off && sign == roll.signum() => {
                Some((first, sign, furthest.max(roll.abs())))
            }
            other => {
                close(other, k);
                off.then(|| (k, roll.signum(), roll.abs()))
            }
        };
    }
    close(open, motion.t_s.len().saturating_sub(1));
    spans
}
