//! Play of each link: how far its apparent length jumps when a load turns round, rock or shove.
//!
//! The poses that are held under the two loads are compared directly: what both share (mounts, zeros, most of every scale)
//! drops out. What does not is each sensor's hysteresis loop: a reading that moved has crossed it, and the axle moved by the
//! loop's width more; one that rests says only that the axle moved by less than that.

use super::instants::{Instant, Lag, SensorInstant, Smoothed, UnitSmoothed};
use super::links::Line;
use super::observe::{Observer, RelativeAcceleration};
use super::path::{Path, PathPoint};
use super::result::{Load, Measured, Status, Turned};
use crate::geometry::least_squares;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector, Pose, Vector3};
use crate::run::Phase;
use std::ops::Range;

/// Phases that load the links one way and the other.
pub(super) const TURNS: [(Load, [Phase; 2]); 2] = [
    (Load::Rock, [Phase::RockForward, Phase::RockBack]),
    (Load::Shove, [Phase::ShoveLeft, Phase::ShoveRight]),
];

/// Readings are looked at over so long, s: short beside a hold, so that little is lost where one begins and ends.
const BLOCK_S: f64 = 0.2;
/// How long a load is held at least, s.
pub(super) const HOLD_S: f64 = 1.0;
/// A change of a reading beyond this many standard deviations has crossed its hysteresis loop.
pub(super) const CROSSED: f64 = 4.0;
/// Standard deviation, in half loops, of each end of a change that did not show: evenly up to the whole loop either way.
pub(super) const RESTS_U: f64 = 0.816;
/// What another level must save of the squared residuals, by the logarithm of the number of blocks: its value and where it begins
/// are two numbers (BIC: Schwarz, Annals of Statistics 6, 1978).
const LEVEL_PRICE: f64 = 2.0;
/// Levels that differ by less than so many standard uncertainties of their difference are the same hold, made again.
const ALIKE: f64 = 2.0;
/// Most blocks of a phase, so that finding its levels stays quick: longer phases have longer blocks.
const MOST_BLOCKS: usize = 500;
/// Directions of the axle (m, rad) less sure than this are not seen.
pub(super) const UNSEEN: [f64; 6] = [0.1; 6];
/// A jump is resolved beyond this many standard uncertainties.
const RESOLVED: f64 = 2.0;

/// The loads that a run turned round with the whole axle in view.
pub(super) fn turned(path: &Path, instants: &[Instant], lines: &[Line], step_s: f64) -> Vec<Turned> {
    TURNS
        .iter()
        .filter_map(|(load, phases)| {
            let longest =
                phases.map(|phase| path.points.iter().filter(|p| p.phase == phase).count()).into_iter().max();
            let per_block =
                ((BLOCK_S / step_s).ceil() as usize).max(longest.unwrap_or(0).div_ceil(MOST_BLOCKS)).max(1);
            let least = (HOLD_S / (per_block as f64 * step_s)).ceil() as usize;
            let blocks = phases.map(|phase| blocks(path, instants, phase, per_block));
            jump(*load, path, &held(path, blocks, least)?, lines)
        })
        .collect()
}

/// Play of a line by the load that moved it most.
pub(super) fn of_line(path: &Path, turned: &[Turned], line: usize) -> Measured {
    let most = turned.iter().map(|t| t.of(line)).max_by(|a, b| a.0.total_cmp(&b.0));
    let loaded: Vec<&PathPoint> = path.points.iter().filter(|p| loads(p.phase)).collect();
    match most {
        Some((jump_m, u)) if jump_m >= RESOLVED * u => Measured::new(jump_m, u),
        Some((jump_m, u)) => Measured {
            value: Some(jump_m),
            u: Some(u),
            status: Status::NotResolved,
            why: Some("it is no more than the sensors' hysteresis and noise could make".into()),
        },
        None if loaded.is_empty() => Measured::without(Status::NotMeasured, "needs a rock or shove test"),
        None if loaded.iter().any(|p| p.estimate.seen.contains(&false)) => {
            Measured::without(Status::NotMeasured, "needs all six coordinates of the axle")
        }
        None => Measured::without(
            Status::NotExcited,
            "the load has to be held both ways, for at least a second each",
        ),
    }
}

pub(super) fn loads(phase: Phase) -> bool {
    TURNS.iter().any(|(_, phases)| phases.contains(&phase))
}

/// Averages of the readings over stretches of a phase.
fn blocks(path: &Path, instants: &[Instant], phase: Phase, per_block: usize) -> Vec<Instant> {
    let of_phase: Vec<&PathPoint> = path.points.iter().filter(|p| p.phase == phase).collect();
    of_phase
        .chunks_exact(per_block)
        .filter(|c| c.iter().all(|p| p.estimate.seen.iter().all(|s| *s)))
        .filter_map(|c| mean(&c.iter().map(|p| &instants[p.instant]).collect::<Vec<_>>()))
        .collect()
}

/// One instant that stands for several in which nothing moves.
pub(super) fn mean(of: &[&Instant]) -> Option<Instant> {
    let first = of.first()?;
    let sensors = (0..first.sensors.len()).map(|k| mean_sensor(of, k)).collect();
    Some(Instant { t_s: first.t_s, phase: first.phase, sensors })
}

fn mean_sensor(of: &[&Instant], sensor: usize) -> SensorInstant {
    let (mut scalars, mut units) = (Vec::new(), Vec::new());
    for instant in of {
        match instant.sensors.get(sensor) {
            Some(SensorInstant::Scalar(at)) => scalars.push(*at),
            Some(SensorInstant::Unit(at)) => units.push(*at),
            _ => {}
        }
    }
    let n = of.len();
    if scalars.len() == n {
        let value = scalars.iter().map(|s| s.value).sum::<f64>() / n as f64;
        let count = scalars.iter().map(|s| s.count).sum();
        return SensorInstant::Scalar(Smoothed { value, slope: 0.0, lag: Lag::on(0.0, 0.0), count });
    }
    if units.len() == n {
        let mean =
            |of: fn(&UnitSmoothed) -> Vector3<f64>| units.iter().map(of).sum::<Vector3<f64>>() / n as f64;
        return SensorInstant::Unit(UnitSmoothed {
            force: mean(|u| u.force),
            force_slope: Vector3::zeros(),
            rate: mean(|u| u.rate),
            count: units.iter().map(|u| u.count).sum(),
        });
    }
    SensorInstant::Missing
}

/// Residuals at ride height with everything that their uncertainty needs: two instants are compared where they differ least
/// from the still.
struct Said {
    residuals: DVector<f64>,
    sigma: DVector<f64>,
}

fn said(observer: &Observer, instant: &Instant) -> Said {
    let rows = observer.rows(instant, &AT_REST, &Pose::default());
    Said { residuals: rows.residuals, sigma: rows.noise.map(f64::sqrt) }
}

/// Nothing moves while a load is held.
pub(super) const AT_REST: RelativeAcceleration =
    RelativeAcceleration { value: Vector3::new(0.0, 0.0, 0.0), u: 0.0 };

/// The two holds: of each phase the level that goes furthest its way, with others that are as far, since a pull may be repeated.
/// Which way that is, both phases as wholes say: a single block, chosen because it lies far out, would take its own noise for
/// the way.
fn held(path: &Path, blocks: [Vec<Instant>; 2], least: usize) -> Option<[Instant; 2]> {
    let said = blocks.each_ref().map(|b| b.iter().map(|i| said(&path.observer, i)).collect::<Vec<_>>());
    let readings = said.iter().flatten().map(|s| s.residuals.len()).max()?;
    let whole = |phase: usize| {
        let of: Vec<(&Instant, &Said)> =
            blocks[phase].iter().zip(&said[phase]).filter(|(_, s)| s.residuals.len() == readings).collect();
        let sum = of.iter().fold(DVector::zeros(readings), |sum, (_, s)| sum + &s.residuals);
        (!of.is_empty()).then(|| (sum / of.len() as f64, of))
    };
    let ((mean_one, one), (mean_other, other)) = (whole(0)?, whole(1)?);
    let sigma = &one.first()?.1.sigma;
    let across = (mean_one - mean_other).component_div(sigma).try_normalize(0.0)?;
    let hold = |of: &[(&Instant, &Said)], way: f64| {
        let far: Vec<f64> =
            of.iter().map(|(_, s)| way * across.dot(&s.residuals.component_div(sigma))).collect();
        let blocks: Vec<&Instant> =
            furthest(&far, least).into_iter().flatten().filter_map(|k| of.get(k)).map(|(b, _)| *b).collect();
        mean(&blocks)
    };
    Some([hold(&one, 1.0)?, hold(&other, -1.0)?])
}

/// The levels of at least so many blocks that go furthest; `far` in standard deviations of one block.
fn furthest(far: &[f64], least: usize) -> Vec<Range<usize>> {
    let long = levels(far).into_iter().filter(|level| level.len() >= least);
    let means: Vec<(f64, Range<usize>)> =
        long.map(|level| (far[level.clone()].iter().sum::<f64>() / level.len() as f64, level)).collect();
    let Some((most, best)) = means.iter().max_by(|a, b| a.0.total_cmp(&b.0)) else { return Vec::new() };
    let u = |level: &Range<usize>| (1.0 / level.len() as f64 + 1.0 / best.len() as f64).sqrt();
    means
        .iter()
        .filter(|(mean, level)| most - mean <= ALIKE * u(level))
        .map(|(_, level)| level.clone())
        .collect()
}

/// The stretches of constant level that a series with noise of standard deviation 1 consists of: least squares with a price on
/// every level, by dynamic programming (optimal partitioning: Jackson et al., IEEE Signal Processing Letters 12, 2005).
fn levels(far: &[f64]) -> Vec<Range<usize>> {
    let price = LEVEL_PRICE * (far.len().max(2) as f64).ln();
    let mut sums = vec![(0.0, 0.0)];
    for value in far {
        let (sum, squares) = sums[sums.len() - 1];
        sums.push((sum + value, squares + value * value));
    }
    // Least cost of what lies before each place, and where its last level begins.
    let mut best = vec![(0.0, 0)];
    for to in 1..=far.len() {
        let with_last_from = |from: usize| {
            let (sum, squares) = (sums[to].0 - sums[from].0, sums[to].1 - sums[from].1);
            (best[from].0 + squares - sum * sum / (to - from) as f64 + price, from)
        };
        let least = (0..to).map(with_last_from).min_by(|a, b| a.0.total_cmp(&b.0));
        best.extend(least);
    }
    let mut found = Vec::new();
    let mut to = far.len();
    while to > 0 {
        let from = best[to].1;
        found.push(from..to);
        to = from;
    }
    found
}

/// The apparent lengths under both holds, their change from the second hold to the first, and its covariance.
fn jump(load: Load, path: &Path, held: &[Instant; 2], lines: &[Line]) -> Option<Turned> {
    let Path { observer, knowledge, .. } = path;
    let held = crossed(observer, held);
    let rows = held.each_ref().map(|i| observer.rows(i, &AT_REST, &Pose::default()));
    let [one, other] = &rows;
    if one.residuals.len() != other.residuals.len() {
        return None;
    }
    let effects = &one.effects - &other.effects;
    let mut covariance = &effects * knowledge * effects.transpose();
    for k in 0..one.residuals.len() {
        covariance[(k, k)] += one.noise[k] + other.noise[k];
    }
    let whitener = covariance.cholesky()?.l();
    let jacobian = whitener.solve_lower_triangular(&((&one.jacobian + &other.jacobian) * 0.5))?;
    let seen = least_squares::covariance(&jacobian, &UNSEEN, 1.0);
    if !seen.unseen.is_empty() {
        return None;
    }
    let lengths = lengths_by_pose(observer, lines);
    // Both holds are read with the weights that suit their difference, so that they differ by the jump.
    let whitening =
        whitener.solve_lower_triangular(&DMatrix::identity(whitener.nrows(), whitener.nrows()))?;
    let gain = -(&lengths * &seen.matrix * jacobian.transpose() * whitening);
    let held_m = rows.each_ref().map(|rows| &gain * &rows.residuals);
    let held_u_m = rows.each_ref().map(|rows| {
        let systematic = &gain * &rows.effects;
        let noise = &gain * DMatrix::from_diagonal(&rows.noise) * gain.transpose();
        (&systematic * knowledge * systematic.transpose() + noise).diagonal().map(|v| v.max(0.0).sqrt())
    });
    Some(Turned {
        load,
        jump_m: &held_m[0] - &held_m[1],
        covariance: &lengths * seen.matrix * lengths.transpose(),
        held_m,
        held_u_m,
    })
}

/// Change of each line's apparent length by the pose at ride height, lines × 6.
pub(super) fn lengths_by_pose(observer: &Observer, lines: &[Line]) -> DMatrix<f64> {
    let ride = PlacedBody::new(&Pose::default(), observer.centre());
    let mut gradients = DMatrix::zeros(lines.len(), 6);
    for (row, line) in lines.iter().enumerate() {
        gradients.row_mut(row).copy_from(&line.apparent(&ride).1.transpose());
    }
    gradients
}

/// The holds with every wire's place in its loop: on opposite flanks where its reading moved, anywhere where it rests.
fn crossed(observer: &Observer, held: &[Instant; 2]) -> [Instant; 2] {
    let mut held = held.clone();
    for scalar in observer.scalars() {
        let [one, other] = &mut held;
        let at = |instant: &Instant| match instant.sensors.get(scalar.sensor) {
            Some(SensorInstant::Scalar(at)) => Some(*at),
            _ => None,
        };
        let (Some(a), Some(b)) = (at(one), at(other)) else { continue };
        let noise = (scalar.variance(&a) + scalar.variance(&b)).sqrt();
        let moved = a.value - b.value;
        let (flank, u) = if moved.abs() > CROSSED * noise { (moved.signum(), 0.0) } else { (0.0, RESTS_U) };
        one.sensors[scalar.sensor] = SensorInstant::Scalar(Smoothed { lag: Lag::on(flank, u), ..a });
        other.sensors[scalar.sensor] = SensorInstant::Scalar(Smoothed { lag: Lag::on(-flank, u), ..b });
    }
    held
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pull in three steps with alternating noise of one standard deviation.
    fn steps(levels: &[(usize, f64)]) -> Vec<f64> {
        let clean = levels.iter().flat_map(|(count, level)| std::iter::repeat_n(*level, *count));
        clean.enumerate().map(|(k, level)| level + if k % 2 == 0 { 1.0 } else { -1.0 }).collect()
    }

    #[test]
    fn levels_are_found_where_they_change_and_noise_makes_none() {
        let ends = |found: Vec<Range<usize>>| found.iter().map(|r| (r.start, r.end)).collect::<Vec<_>>();
        let levels = |steps: &[f64]| ends(levels(steps));
        let furthest = |steps: &[f64]| ends(furthest(steps, 5));
        assert_eq!(levels(&steps(&[(60, 0.0)])), [(0, 60)], "nothing gives");
        let found = levels(&steps(&[(16, 0.0), (20, 4.0), (24, 8.0)]));
        assert_eq!(found, [(36, 60), (16, 36), (0, 16)]);
        assert_eq!(furthest(&steps(&[(16, 4.0), (20, 8.0), (24, 0.0)])), [(16, 36)]);
        // A jerk is no hold.
        assert_eq!(furthest(&steps(&[(16, 0.0), (4, 40.0), (20, 6.0)])), [(20, 40)]);
        assert_eq!(furthest(&[1.0, 2.0]), []);
        // The same pull three times is three holds of one.
        let again = steps(&[(10, 0.0), (16, 6.0), (10, 0.0), (16, 6.2), (10, 0.0), (16, 5.9)]);
        assert_eq!(furthest(&again), [(62, 78), (36, 52), (10, 26)]);
    }
}
