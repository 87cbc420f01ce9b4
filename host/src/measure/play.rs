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

/// Phases that load the links one way and the other.
pub(super) const TURNS: [(Load, [Phase; 2]); 2] = [
    (Load::Rock, [Phase::RockForward, Phase::RockBack]),
    (Load::Shove, [Phase::ShoveLeft, Phase::ShoveRight]),
];

/// How long a load is held at least, s.
pub(super) const HOLD_S: f64 = 1.0;
/// A change of a reading beyond this many standard deviations has crossed its hysteresis loop.
pub(super) const CROSSED: f64 = 4.0;
/// Standard deviation, in half loops, of each end of a change that did not show: evenly up to the whole loop either way.
pub(super) const RESTS_U: f64 = 0.816;
/// Blocks that differ from the chosen one by less than this, standard deviations per reading, belong to the same hold.
const SAME_HOLD: f64 = 3.0;
/// Directions of the axle (m, rad) less sure than this are not seen.
pub(super) const UNSEEN: [f64; 6] = [0.1; 6];
/// A jump is resolved beyond this many standard uncertainties.
const RESOLVED: f64 = 2.0;

/// The loads that a run turned round with the whole axle in view.
pub(super) fn turned(path: &Path, instants: &[Instant], lines: &[Line], step_s: f64) -> Vec<Turned> {
    let per_block = (HOLD_S / step_s).ceil().max(1.0) as usize;
    TURNS
        .iter()
        .filter_map(|(load, phases)| {
            let blocks = phases.map(|phase| blocks(path, instants, phase, per_block));
            jump(*load, path, &held(path, blocks)?, lines)
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

/// How far two blocks are apart, in standard deviations, by reading.
fn apart(a: &Said, b: &Said) -> Option<DVector<f64>> {
    (a.residuals.len() == b.residuals.len()).then(|| {
        let sigma = a.sigma.zip_map(&b.sigma, f64::hypot);
        (&a.residuals - &b.residuals).component_div(&sigma)
    })
}

/// The two holds: the pair of blocks that are furthest apart, each with the blocks that say the same. A run without any play
/// has only one hold a phase then, and chance picks nothing.
fn held(path: &Path, blocks: [Vec<Instant>; 2]) -> Option<[Instant; 2]> {
    let said_by = blocks.each_ref().map(|b| b.iter().map(|i| said(&path.observer, i)).collect::<Vec<_>>());
    let mut furthest: Option<(usize, usize, f64)> = None;
    for (i, one) in said_by[0].iter().enumerate() {
        for (k, other) in said_by[1].iter().enumerate() {
            let Some(distance) = apart(one, other).map(|d| d.norm_squared()) else { continue };
            if furthest.is_none_or(|f| distance > f.2) {
                furthest = Some((i, k, distance));
            }
        }
    }
    let (i, k, _) = furthest?;
    let across = apart(&said_by[0][i], &said_by[1][k])?.normalize();
    // A lesser pull, held on the way to the whole one, hides in each reading's noise but not in all of them together.
    let same = |d: DVector<f64>| d.amax() < SAME_HOLD && d.dot(&across).abs() < SAME_HOLD;
    let hold = |phase: usize, chosen: usize| {
        let same: Vec<&Instant> = blocks[phase]
            .iter()
            .zip(&said_by[phase])
            .filter(|(_, it)| apart(it, &said_by[phase][chosen]).is_some_and(same))
            .map(|(block, _)| block)
            .collect();
        mean(&same)
    };
    Some([hold(0, i)?, hold(1, k)?])
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
