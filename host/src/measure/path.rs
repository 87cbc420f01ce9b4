//! The measured motion: the pose at every instant, with the acceleration of one inertial unit against the other taken out.

use super::instants::Instant;
use super::nuisance::Knowledge;
use super::observe::{Observer, RelativeAcceleration};
use super::pose::{PoseEstimate, Weighting, estimate, redundant};
use super::result::Direction;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector, Pose, Vector3};
use crate::run::Phase;
use statrs::statistics::{Data, OrderStatistics};

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

/// The path of a run with what the run taught of the rig.
#[derive(Debug, Clone)]
pub struct Path {
    /// The poses.
    pub points: Vec<PathPoint>,
    /// The sensors, their nuisances at the best estimate.
    pub observer: Observer,
    /// What the run taught of the nuisances, in prior standard deviations.
    pub theta: DVector<f64>,
    /// Covariance of the nuisances that is left.
    pub knowledge: Knowledge,
    /// How one inertial unit moved against the other, by instant, as the last pass took it out.
    pub against: Vec<RelativeAcceleration>,
}

/// Rounds of learning. Nuisances are small, so two Gauss-Newton steps reach rounding.
const ROUNDS: usize = 3;
/// Rounds of learning from a path whose readings have changed a little since.
const ROUNDS_AGAIN: usize = 2;

/// The pose at every instant that has readings enough, and the rig's nuisances with them: one weighted least squares over
/// the run with every pose free and every nuisance held by its prior.
///
/// The poses are eliminated instant by instant, so the cost is linear in the length of the run. The first pass takes the
/// motion as quasi-static; its path gives the acceleration of the axle's unit against the chassis' unit, which later passes
/// take out.
pub fn follow(observer: &Observer, instants: &[Instant], step_s: f64) -> Path {
    let count = observer.nuisances().len();
    let against = vec![RelativeAcceleration::SLOW; instants.len()];
    let points = pass(observer, instants, &against, &[], Weighting::Alone);
    let (theta, knowledge) = (DVector::zeros(count), DMatrix::identity(count, count));
    let start = Path { points, observer: observer.clone(), theta, knowledge, against };
    learn(observer, instants, step_s, start, ROUNDS)
}

/// The same from a path of the same run and rig, whose readings stand elsewhere in their hysteresis loops by now.
pub(super) fn follow_again(observer: &Observer, instants: &[Instant], step_s: f64, before: Path) -> Path {
    learn(observer, instants, step_s, before, ROUNDS_AGAIN)
}

/// Gauss-Newton steps of the nuisances from a path whose nuisances, as far as they are learnt, are those of `observer` at `theta`.
fn learn(observer: &Observer, instants: &[Instant], step_s: f64, start: Path, rounds: usize) -> Path {
    let mut path = start;
    for _ in 0..rounds {
        if let Some(places) = observer.unit_places() {
            path.against = accelerations(&path.observer, instants, &path.points, places, step_s);
        }
        path.points = pass(&path.observer, instants, &path.against, &path.points, Weighting::InRun);
        let Some((step, covariance)) = teach(&path, instants) else { break };
        path.theta += step;
        path.knowledge = covariance;
        path.observer = observer.corrected(&path.theta);
    }
    for point in &mut path.points {
        let estimate = &mut point.estimate;
        let systematic = &estimate.systematic * &path.knowledge * estimate.systematic.transpose();
        estimate.known(&estimate.noise_covariance + systematic);
    }
    path
}

/// Rows of left-overs that are multiplied with one another at once.
const AT_ONCE: usize = 512;

/// One Gauss-Newton step of the nuisances (in prior standard deviations) and their covariance.
fn teach(path: &Path, instants: &[Instant]) -> Option<(DVector<f64>, Knowledge)> {
    let count = path.theta.len();
    let mut left_over = Vec::new();
    // Effects and left-overs side by side: the Gram matrix of all rows holds the information and the gradient.
    let mut gram = DMatrix::zeros(count + 1, count + 1);
    let mut rows = DMatrix::zeros(count + 1, AT_ONCE);
    let mut filled = 0;
    for point in path.points.iter().filter(|p| p.phase.travels()) {
        let at = point.instant;
        let said = redundant(&path.observer, &instants[at], &path.against[at], &point.estimate.pose);
        let weight = robust_weight(&said.residuals, point.estimate.redundancy).sqrt();
        if filled + said.residuals.len() > AT_ONCE {
            gram += &rows * rows.transpose();
            rows.fill(0.0);
            filled = 0;
        }
        let here = said.residuals.len();
        rows.view_mut((0, filled), (count, here)).copy_from(&(said.effects.transpose() * weight));
        rows.view_mut((count, filled), (1, here)).copy_from(&(said.residuals.transpose() * weight));
        filled += here;
        left_over.push(said.residuals);
    }
    gram += &rows * rows.transpose();
    // Left-overs that resemble their neighbours are no independent witnesses: their word counts for less.
    let independent = 1.0 / alike(&left_over);
    let normal = gram.view((0, 0), (count, count)) * independent + DMatrix::identity(count, count);
    let cholesky = normal.cholesky()?;
    let gradient = gram.view((0, count), (count, 1)).column(0) * independent + &path.theta;
    Some((-cholesky.solve(&gradient), cholesky.inverse()))
}

/// Instants over which left-overs are asked whether they resemble one another: longer than a wire takes to cross its loop.
const MEMORY: usize = 25;

/// How many left-overs make one independent one, at least 1: the variance of their sums over windows against that of
/// independent ones (the integrated autocorrelation with Bartlett's weights; Newey and West, Econometrica 55, 1987, from
/// memory).
pub(super) fn alike(left_over: &[DVector<f64>]) -> f64 {
    let square: f64 = left_over.iter().map(DVector::norm_squared).sum();
    let mut sums = 0.0;
    // Where a sensor drops out the left-overs change their meaning: each stretch stands alone.
    for stretch in left_over.chunk_by(|a, b| a.len() == b.len()) {
        let mut running = DVector::zeros(stretch[0].len());
        for k in 0..stretch.len() + MEMORY {
            if let Some(new) = stretch.get(k) {
                running += new;
            }
            if let Some(old) = k.checked_sub(MEMORY).and_then(|k| stretch.get(k)) {
                running -= old;
            }
            sums += running.norm_squared();
        }
    }
    if square > 0.0 { (sums / (MEMORY as f64 * square)).max(1.0) } else { 1.0 }
}

/// Square of the residual, in variances, where Cauchy's loss turns from a parabola into a logarithm: three standard deviations.
const ROBUST: f64 = 9.0;

/// Weight of an instant whose redundant readings contradict one another: 1 within what noise allows, falling as the inverse
/// square beyond.
fn robust_weight(residuals: &DVector<f64>, redundancy: usize) -> f64 {
    let excess = residuals.norm_squared() / redundancy.max(1) as f64;
    1.0 / (1.0 + excess / ROBUST)
}

/// The loss whose weight that is: half the square within what noise allows.
pub(super) fn robust_loss(residuals: &DVector<f64>, redundancy: usize) -> f64 {
    let count = redundancy.max(1) as f64;
    0.5 * ROBUST * count * (residuals.norm_squared() / (ROBUST * count)).ln_1p()
}

/// The pose at every instant, each from the one that `before` had there, or from its neighbour.
pub(super) fn pass(
    observer: &Observer,
    instants: &[Instant],
    against: &[RelativeAcceleration],
    before: &[PathPoint],
    weighting: Weighting,
) -> Vec<PathPoint> {
    let mut start = Pose::default();
    let mut path = Vec::with_capacity(instants.len());
    let mut before = before.iter().peekable();
    for (index, (instant, against)) in instants.iter().zip(against).enumerate() {
        if let Some(there) = before.next_if(|p| p.instant == index) {
            start = there.estimate.pose;
        }
        if let Some(found) = estimate(observer, instant, against, &start, weighting) {
            start = found.pose;
            path.push(PathPoint { instant: index, t_s: instant.t_s, phase: instant.phase, estimate: found });
        }
    }
    path
}

/// Least-squares parabola through five equally spaced values: first and second derivative at the middle, and by how much
/// the second derivative may be wrong, judged by what the parabola leaves over
/// (Savitzky and Golay, Anal. Chem. 36, 1964, table of convoluting integers).
fn five_point(values: &[Vector3<f64>; 5], step_s: f64) -> (Vector3<f64>, Vector3<f64>, f64) {
    let [a, b, c, d, e] = values;
    let first = ((e - a) * 2.0 + (d - b)) / (10.0 * step_s);
    let second = ((a + e) * 2.0 - b - c * 2.0 - d) / (7.0 * step_s * step_s);
    let middle = ((b + d) * 12.0 + c * 17.0 - (a + e) * 3.0) / 35.0;
    let left_over = |k: usize| {
        let t = (k as f64 - 2.0) * step_s;
        (values[k] - (middle + first * t + second * (0.5 * t * t))).norm_squared()
    };
    let scatter = ((0..5).map(left_over).sum::<f64>() / 2.0).sqrt();
    (first, second, scatter * (2.0f64 / 7.0).sqrt() / (step_s * step_s))
}

/// How far a parabola through a kink in its middle, `(0, 0, 0, 1, 2)`, is off in the second derivative, 3/7, against what it
/// says of itself by its scatter, 0.0903: starts and stops are kinks, and worse than noise.
const KINK: f64 = 4.75;
/// Misfits beyond so many times the usual one are no noise: three directions with two degrees of freedom each exceed it once in
/// some thousand millions of times.
const NO_NOISE: f64 = 3.0;

/// `a_rel = ω̇×Δ + ω×(ω×Δ) + 2ω×Δ̇ + Δ̈` in the chassis frame, with Δ from the chassis' unit to the axle's and ω the
/// chassis' angular rate: rigid-body kinematics in a turning frame. Where the path is too short or broken, only that
/// tests are slow is known.
fn accelerations(
    observer: &Observer,
    instants: &[Instant],
    path: &[PathPoint],
    [axle_at, chassis_at]: [Vector3<f64>; 2],
    step_s: f64,
) -> Vec<RelativeAcceleration> {
    let mut result = vec![RelativeAcceleration::SLOW; instants.len()];
    let mut misfits = Vec::new();
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
        let (velocity, acceleration, misfit) = five_point(&offsets, step_s);
        let (spin_up, ..) = five_point(&rates, step_s);
        let (offset, rate) = (offsets[2], rates[2]);
        let value = spin_up.cross(&offset)
            + rate.cross(&rate.cross(&offset))
            + rate.cross(&velocity) * 2.0
            + acceleration;
        let at = window[2].instant;
        result[at].value = value;
        misfits.push((at, misfit));
    }
    let usual = Data::new(misfits.iter().map(|m| m.1).collect::<Vec<f64>>()).median();
    for (at, misfit) in misfits {
        // A parabola that does not fit has met a start, a stop or a jolt; the usual misfit is noise, the same in three directions.
        let kink = misfit > NO_NOISE * usual;
        result[at].u = if kink { KINK * misfit } else { usual / 3f64.sqrt() };
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
