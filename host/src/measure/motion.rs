//! The fitted motion of a path: which coordinates it sees, what is fitted to what, and the links' apparent lengths with it.

use super::links::Line;
use super::nuisance::Knowledge;
use super::numbers::FREE;
use super::observe::Observer;
use super::path::PathPoint;
use super::pose::PoseEstimate;
use super::surface::{Derived, Samples, SurfaceFit};
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, DVector};
use nalgebra::Matrix6;

/// Share of the travel's poses that must see a coordinate for it to count as seen.
const SEEN_MOSTLY: f64 = 0.8;
/// Which coordinates the sensors see in most of a travel: x, y, z, roll, pitch, yaw.
pub(super) fn seen(travelling: &[&PathPoint]) -> [bool; 6] {
    std::array::from_fn(|k| {
        let count = travelling.iter().filter(|p| p.estimate.seen[k]).count();
        !travelling.is_empty() && count as f64 >= SEEN_MOSTLY * travelling.len() as f64
    })
}

/// Responses x, y, pitch, yaw, with what noise and each nuisance do to them.
pub(super) fn samples(observer: &Observer, travelling: &[&PathPoint], seen: [bool; 6]) -> Samples {
    let nuisances = observer.nuisances().len();
    let rows = travelling.len();
    let mut responses = DMatrix::zeros(rows, FREE.len());
    let mut state_effects = vec![DMatrix::zeros(rows, 2); nuisances];
    let mut response_effects = vec![DMatrix::zeros(rows, FREE.len()); nuisances];
    for (row, point) in travelling.iter().enumerate() {
        let q = point.estimate.pose.to_array();
        let systematic = &point.estimate.systematic;
        for (column, coordinate) in FREE.into_iter().enumerate() {
            responses[(row, column)] = q[coordinate];
        }
        for k in 0..nuisances {
            state_effects[k][(row, 0)] = systematic[(2, k)];
            state_effects[k][(row, 1)] = systematic[(3, k)];
            for (column, coordinate) in FREE.into_iter().enumerate() {
                response_effects[k][(row, column)] = systematic[(coordinate, k)];
            }
        }
    }
    let noise = travelling.iter().map(|p| noise(&p.estimate)).collect();
    let choosing = (0..FREE.len()).filter(|k| seen[FREE[*k]]).collect();
    Samples { states: states(travelling), responses, noise, state_effects, response_effects, choosing }
}

/// Covariance of a pose from its readings' noise; coordinates that nothing sees at this instant have none.
fn noise(estimate: &PoseEstimate) -> Matrix6<f64> {
    let seen = |k: usize| estimate.seen[k] && estimate.noise_covariance[(k, k)] > 0.0;
    Matrix6::from_fn(|a, b| if seen(a) && seen(b) { estimate.noise_covariance[(a, b)] } else { 0.0 })
}

/// The change of every apparent length at the measured poses.
fn lengths(observer: &Observer, lines: &[Line], travelling: &[&PathPoint]) -> Vec<Derived> {
    lines
        .iter()
        .map(|line| {
            let rows = travelling.len();
            let (mut value, mut gradient) = (DVector::zeros(rows), DMatrix::zeros(rows, COORDINATES));
            let mut effects = DMatrix::zeros(rows, observer.nuisances().len());
            for (row, point) in travelling.iter().enumerate() {
                let body = PlacedBody::new(&point.estimate.pose, observer.centre());
                let (length_m, by_pose) = line.apparent(&body);
                value[row] = length_m - line.nominal_m();
                gradient.row_mut(row).copy_from(&by_pose.transpose());
                effects.row_mut(row).copy_from(&point.estimate.systematic.tr_mul(&by_pose).transpose());
            }
            Derived { value, gradient, effects }
        })
        .collect()
}

/// The fitted motion, and the links' apparent lengths with it where the whole pose is seen.
pub(super) fn fitted(
    observer: &Observer,
    travelling: &[&PathPoint],
    samples: &Samples,
    knowledge: &Knowledge,
    lines: &[Line],
) -> Option<SurfaceFit> {
    let fit = SurfaceFit::fit(samples, observer.nuisances(), knowledge)?;
    let whole = seen(travelling).iter().all(|s| *s);
    Some(if whole { fit.appended(samples, &lengths(observer, lines, travelling)) } else { fit })
}

/// Heave (m) and articulation (rad) of poses.
pub(super) fn states(travelling: &[&PathPoint]) -> Vec<(f64, f64)> {
    travelling.iter().map(|p| (p.estimate.pose.z_m, p.estimate.pose.roll_rad)).collect()
}
