//! How well an axle is located: mobility, redundancy, and the motions that nothing holds.
//!
//! Read off the Jacobian at ride height, angles scaled by half the track, ranks to 1e-4 of the largest singular value.

use super::bodies::Bodies;
use super::rows::{PER_BUSH, Rows};
use crate::design::error::Loose;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, DVector};

/// A singular value below this fraction of the largest counts as zero.
pub(super) const RANK_TOLERANCE: f64 = 1e-4;
/// Below this fraction a motion is held, but weakly: three-links, triangulated links and wishbones of usual size lie above 0.1,
/// four links splayed by two degrees at 0.007.
const WEAK: f64 = 0.02;

/// Counts at ride height.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Location {
    /// Degrees of freedom that distances and bush translations leave; 2 is just right.
    pub mobility: usize,
    /// Distances and bush translations beyond what the free coordinates need.
    pub redundant: usize,
}

/// Unweighted rows at `q`, angles scaled: every distance and bush translation, then every bush rotation with a stiffness.
struct Scaled {
    translations: DMatrix<f64>,
    with_rotations: DMatrix<f64>,
}

fn scaled(rows: &Rows, q: &[f64]) -> Scaled {
    let (_, mut j) = rows.evaluate(q);
    for k in 0..j.ncols() {
        let size = rows.bodies.size_m(k, rows.half_track_m);
        j.column_mut(k).scale_mut(1.0 / size);
    }
    let mut translations = Vec::new();
    let mut rotations = Vec::new();
    for (row, member) in rows.members.iter().enumerate() {
        let weight = member.stiffness_n_per_m.map_or(1.0, f64::sqrt);
        translations.push(j.row(row) / weight);
    }
    for (index, bush) in rows.bushes.iter().enumerate() {
        let first = rows.members.len() + PER_BUSH * index;
        for k in 0..3 {
            if bush.shift_weights[k] > 0.0 {
                translations.push(j.row(first + k) / bush.shift_weights[k]);
            }
            if bush.turn_weights[k] > 0.0 {
                // rad per (m at half the track) × half the track: a pure number, as the translations are.
                rotations.push(j.row(first + 3 + k) * (rows.half_track_m / bush.turn_weights[k]));
            }
        }
    }
    let matrix = |rows: &[nalgebra::RowDVector<f64>]| {
        if rows.is_empty() { DMatrix::zeros(0, j.ncols()) } else { DMatrix::from_rows(rows) }
    };
    let with_rotations = matrix(&[translations.as_slice(), rotations.as_slice()].concat());
    Scaled { translations: matrix(&translations), with_rotations }
}

fn rank(m: &DMatrix<f64>) -> usize {
    if m.is_empty() {
        return 0;
    }
    let values = m.singular_values();
    let least = RANK_TOLERANCE * values.max();
    values.iter().filter(|&&s| s > least).count()
}

/// Mobility and redundancy at `q`.
pub(super) fn location(rows: &Rows, q: &[f64]) -> Location {
    let j = scaled(rows, q).translations;
    let free = j.select_columns(rows.bodies.free().iter());
    Location { mobility: j.ncols() - rank(&j), redundant: j.nrows() - rank(&free) }
}

/// How many of the rigid members at `q` are more than the free coordinates need.
pub(super) fn rigid_redundancy(rows: &Rows, q: &[f64]) -> usize {
    let rigid = rows.rigid();
    let j = scaled(rows, q).translations.rows_range(..rigid).into_owned();
    rigid - rank(&j.select_columns(rows.bodies.free().iter()))
}

/// Motions without heave and roll that nothing holds at `q`; `names` are those of arms and cranks.
pub(super) fn loose_motions(rows: &Rows, q: &[f64], names: &Names) -> Vec<Loose> {
    motions_below(RANK_TOLERANCE, rows, q, names)
}

/// Motions that are held only by links nearly square to them.
pub(super) fn weakly_held(rows: &Rows, q: &[f64], names: &Names) -> Vec<Loose> {
    motions_below(WEAK, rows, q, names)
}

fn motions_below(tolerance: f64, rows: &Rows, q: &[f64], names: &Names) -> Vec<Loose> {
    let free = rows.bodies.free();
    let j = scaled(rows, q).with_rotations.select_columns(free.iter());
    // Padded to at least as many rows as columns, so that the decomposition gives every right singular vector.
    let tall = j.nrows().max(j.ncols());
    let padded = j.resize_vertically(tall, 0.0);
    let svd = padded.svd(false, true);
    let Some(v_t) = svd.v_t else { return Vec::new() };
    let least = tolerance * svd.singular_values.max();
    let mut null: Vec<DVector<f64>> = svd
        .singular_values
        .iter()
        .enumerate()
        .filter(|(_, s)| **s <= least)
        .map(|(k, _)| v_t.row(k).transpose())
        .collect();
    let mut loose = Vec::new();
    // Name the coordinate that moves most over all loose motions, take that motion out, and go on with what is left.
    while !null.is_empty() {
        let movement = |k: usize| null.iter().map(|v| v[k] * v[k]).sum::<f64>();
        let Some(k) = (0..free.len()).max_by(|&a, &b| movement(a).total_cmp(&movement(b))) else { break };
        loose.push(name(&rows.bodies, free[k], names));
        let size = movement(k).sqrt();
        let named: DVector<f64> = null.iter().map(|v| v * (v[k] / size)).sum();
        for v in &mut null {
            *v -= &named * v.dot(&named);
        }
        null = orthonormal(null);
    }
    loose.dedup();
    loose
}

/// Names of the bodies beside the axle.
pub(super) struct Names {
    pub arms: Vec<String>,
    pub cranks: Vec<String>,
}

fn name(bodies: &Bodies, coordinate: usize, names: &Names) -> Loose {
    if let Some(of_arms) = coordinate.checked_sub(bodies.core()) {
        return Loose::Arm(names.arms.get(of_arms / COORDINATES).cloned().unwrap_or_default());
    }
    match coordinate {
        0 => Loose::ForeAft,
        1 => Loose::Sideways,
        4 => Loose::Pitch,
        5 => Loose::Yaw,
        k => {
            let crank = k.saturating_sub(bodies.crank_at(0));
            Loose::Crank(names.cranks.get(crank).cloned().unwrap_or_default())
        }
    }
}

/// Gram-Schmidt; what is left of a vector already spanned is dropped.
fn orthonormal(vectors: Vec<DVector<f64>>) -> Vec<DVector<f64>> {
    const SPANNED: f64 = 1e-6;
    let mut out: Vec<DVector<f64>> = Vec::new();
    for mut v in vectors {
        for o in &out {
            v -= o * v.dot(o);
        }
        if v.norm() > SPANNED {
            out.push(v.normalize());
        }
    }
    out
}
