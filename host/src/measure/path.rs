//! The measured motion: the pose at every instant, with the acceleration of one inertial unit against the other taken out.

use super::instants::Instant;
use super::observe::Observer;
use super::pose::{PoseEstimate, estimate};
use super::result::Direction;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::run::Phase;

/// A pose of the path.
#[derive(Debug, Clone)]
pub struct PathPoint {
    /// Place in the list of instants.
    pub instant: usize,
    /// s
    pub t_s: f64,
    /// Part of the test.
    pub phase: Phase,
    /// The pose.
    pub estimate: PoseEstimate,
}

/// Coefficients that a typical surface has per coordinate: the instants of a run are shared among them.
const UNKNOWNS_OF_A_RUN: f64 = 10.0;

/// The pose at every instant that has readings enough.
///
/// Twice: the first pass takes the motion as quasi-static; its path gives the acceleration of the axle's unit against the
/// chassis' unit, which the second pass takes out.
pub fn follow(observer: &Observer, instants: &[Instant], step_s: f64) -> Vec<PathPoint> {
    let travelling = instants.iter().filter(|i| i.phase.travels()).count();
    let averaging = (travelling as f64 / UNKNOWNS_OF_A_RUN).max(1.0);
    let still = vec![Vector3::zeros(); instants.len()];
    let first = pass(observer, instants, &still, averaging);
    match observer.unit_places() {
        Some(places) => {
            pass(observer, instants, &accelerations(observer, instants, &first, places, step_s), averaging)
        }
        None => first,
    }
}

fn pass(
    observer: &Observer,
    instants: &[Instant],
    acceleration: &[Vector3<f64>],
    averaging: f64,
) -> Vec<PathPoint> {
    let mut start = Pose::default();
    let mut path = Vec::with_capacity(instants.len());
    for (index, (instant, acceleration)) in instants.iter().zip(acceleration).enumerate() {
        if let Some(found) = estimate(observer, instant, acceleration, &start, averaging) {
            start = found.pose;
            path.push(PathPoint { instant: index, t_s: instant.t_s, phase: instant.phase, estimate: found });
        }
    }
    path
}

/// Least-squares parabola through five equally spaced values: first and second derivative at the middle
/// (Savitzky and Golay, Anal. Chem. 36, 1964, table of convoluting integers).
fn five_point(values: &[Vector3<f64>; 5], step_s: f64) -> (Vector3<f64>, Vector3<f64>) {
    let [a, b, c, d, e] = values;
    let first = ((e - a) * 2.0 + (d - b)) / (10.0 * step_s);
    let second = ((a + e) * 2.0 - b - c * 2.0 - d) / (7.0 * step_s * step_s);
    (first, second)
}

/// `a_rel = ω̇×Δ + ω×(ω×Δ) + 2ω×Δ̇ + Δ̈` in the chassis frame, with Δ from the chassis' unit to the axle's and ω the
/// chassis' angular rate: rigid-body kinematics in a turning frame. Zero where the path is too short or broken.
fn accelerations(
    observer: &Observer,
    instants: &[Instant],
    path: &[PathPoint],
    [axle_at, chassis_at]: [Vector3<f64>; 2],
    step_s: f64,
) -> Vec<Vector3<f64>> {
    let mut result = vec![Vector3::zeros(); instants.len()];
    for window in path.windows(5) {
        let even = window.windows(2).all(|w| (w[1].t_s - w[0].t_s - step_s).abs() < 0.01 * step_s);
        let whole = window.iter().all(|p| p.estimate.seen.iter().all(|s| *s));
        if !even || !whole {
            continue;
        }
        let offsets: [Vector3<f64>; 5] = std::array::from_fn(|k| {
            PlacedBody::new(&window[k].estimate.pose, observer.centre()).position(&axle_at) - chassis_at
        });
        let rates: [Vector3<f64>; 5] = std::array::from_fn(|k| {
            observer.chassis_rate(&instants[window[k].instant]).unwrap_or_else(Vector3::zeros)
        });
        let (velocity, acceleration) = five_point(&offsets, step_s);
        let (spin_up, _) = five_point(&rates, step_s);
        let (offset, rate) = (offsets[2], rates[2]);
        result[window[2].instant] = spin_up.cross(&offset)
            + rate.cross(&rate.cross(&offset))
            + rate.cross(&velocity) * 2.0
            + acceleration;
    }
    result
}

/// Which half of the motion each pose of the path belongs to: rising in bounce, climbing on a ramp, or coming back.
pub fn directions(path: &[PathPoint]) -> Vec<Direction> {
    let extent = |p: &PathPoint| match p.phase {
        Phase::RampLeft | Phase::RampRight => p.estimate.pose.roll_rad.abs(),
        _ => p.estimate.pose.z_m,
    };
    let mut current = Direction::Up;
    (0..path.len())
        .map(|k| {
            let (before, after) = (&path[k.saturating_sub(1)], &path[(k + 1).min(path.len() - 1)]);
            let change = extent(after) - extent(before);
            // A hold changes nothing: it stays with the motion that led to it.
            if before.phase == after.phase && change.abs() > HOLD {
                current = if change > 0.0 { Direction::Up } else { Direction::Down };
            }
            current
        })
        .collect()
}

/// A change between neighbouring instants (m or rad) below which the vehicle counts as held.
const HOLD: f64 = 3e-4;
