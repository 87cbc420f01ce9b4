//! How far each link's apparent length goes with a load that is held at several known levels: its slope by the pull, and the
//! jump that is left between both directions when the pull is taken out.
//!
//! Every hold is a pose; the poses of one direction lie on a straight line over the pull, those of the other direction on one
//! as steep beside it. One weighted least squares over all readings of all holds finds both. What the holds share (mounts,
//! zeros, scales, loops that stay on one flank) is in the covariance, so that it drops out where it should.

use super::instants::{Instant, Lag, SensorInstant, Smoothed};
use super::links::Line;
use super::observe::{Observer, Rows};
use super::path::{Path, PathPoint};
use super::play::{AT_REST, CROSSED, HOLD_S, RESTS_U, TURNS, UNSEEN, lengths_by_pose, loads, mean};
use super::result::{Load, Measured, Status, Stepped};
use crate::geometry::least_squares;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, DVector, Pose};
use crate::rig::{Kind, Reading, Rig};
use crate::run::Phase;

/// A load is steady while it stays within this part of the greatest pull, …
const STEADY: f64 = 0.03;
/// … and within so many standard deviations of the sensor's noise.
const STEADY_NOISE: f64 = 4.0;
/// Less than this part of the greatest pull is no load: it need not have taken the play up.
const LEAST_PART: f64 = 0.1;
/// Two levels differ by at least this part of the greatest pull.
const ANOTHER_LEVEL: f64 = 0.15;
/// Rounds of the fit: what errors of mounts and scales do is read off at the poses that the first one found.
const ROUNDS: usize = 2;

/// The force sensors that read the pull on an axle, and what they read at the still.
struct PullSensors<'a> {
    /// Place in the rig, reading, zero.
    of: Vec<(usize, &'a Reading, f64)>,
}

impl<'a> PullSensors<'a> {
    /// Those of an axle that have data in the still.
    fn of(rig: &'a Rig, axle: usize, instants: &[Instant]) -> Self {
        let found =
            rig.sensors.iter().enumerate().filter(|(_, s)| s.axle == axle).filter_map(|(k, sensor)| {
                let Kind::Force(force) = &sensor.kind else { return None };
                let still: Vec<f64> = instants
                    .iter()
                    .filter(|i| i.phase == Phase::Still)
                    .filter_map(|i| scalar_at(i, k))
                    .map(|at| at.value)
                    .collect();
                let zero = still.iter().sum::<f64>() / still.len() as f64;
                (sensor.kind.reads_pull() && !still.is_empty()).then_some((k, &force.reading, zero))
            });
        Self { of: found.collect() }
    }

    /// How hard the axle is pulled at an instant, N: straps on both sides add up, a slack one adds nothing.
    fn pull_n(&self, instant: &Instant) -> Option<f64> {
        self.of.iter().map(|(k, _, zero)| Some((scalar_at(instant, *k)?.value - zero).abs())).sum()
    }

    /// Standard deviation of one such pull's noise, N.
    fn noise_n(&self, instant: &Instant) -> f64 {
        let variance = |(k, reading, _): &(usize, &Reading, f64)| {
            let count = scalar_at(instant, *k).map_or(1, |at| at.count);
            reading.noise.powi(2) / count.max(1) as f64
        };
        self.of.iter().map(variance).sum::<f64>().sqrt()
    }

    /// Relative standard uncertainty of every pull: sensors of one make are off alike.
    fn scale_u(&self) -> f64 {
        self.of.iter().map(|(_, reading, _)| reading.scale_u).fold(0.0, f64::max)
    }

    /// Standard uncertainty of one pull apart from the scale, N: a rectangular departure from a straight line, and where in its
    /// loop the sensor stands (JCGM 100:2008, 4.3.7).
    fn bow_u_n(&self) -> f64 {
        let variance = |(_, reading, _): &(usize, &Reading, f64)| {
            reading.linearity.powi(2) / 3.0 + reading.drag().0.powi(2) + reading.drag().1.powi(2)
        };
        self.of.iter().map(variance).sum::<f64>().sqrt()
    }
}

fn scalar_at(instant: &Instant, sensor: usize) -> Option<&Smoothed> {
    match instant.sensors.get(sensor) {
        Some(SensorInstant::Scalar(at)) => Some(at),
        _ => None,
    }
}

/// A stretch in which nothing moves.
struct Hold {
    /// Which of the test's two directions.
    direction: usize,
    /// Pull, N, the first direction positive.
    pull_n: f64,
    instant: Instant,
}

/// What a run's pulls say of the links, by test; empty where none was held at several known levels.
pub(super) fn stepped(
    path: &Path,
    instants: &[Instant],
    lines: &[Line],
    rig: &Rig,
    axle: usize,
    step_s: f64,
) -> Vec<Stepped> {
    let sensors = PullSensors::of(rig, axle, instants);
    if sensors.of.is_empty() {
        return Vec::new();
    }
    TURNS
        .iter()
        .filter_map(|(load, phases)| {
            let holds = holds(path, instants, &sensors, *phases, step_s);
            if !several_levels(&holds) {
                return None;
            }
            let line = fit(&path.observer, &path.knowledge, &holds)?;
            Some(line.told(*load, &sensors, &holds, &lengths_by_pose(&path.observer, lines)))
        })
        .collect()
}

/// Why nothing is said of what links give, and what would help.
pub(super) fn why_not(path: &Path, rig: &Rig, axle: usize) -> Measured {
    let loaded: Vec<&PathPoint> = path.points.iter().filter(|p| loads(p.phase)).collect();
    let (status, why) = if loaded.is_empty() {
        (Status::NotMeasured, "needs a rock or shove test, held at several known loads")
    } else if loaded.iter().all(|p| p.estimate.seen.contains(&false)) {
        (Status::NotMeasured, "needs all six coordinates of the axle")
    } else if !rig.sensors.iter().any(|s| s.axle == axle && s.kind.reads_pull()) {
        (
            Status::NotMeasured,
            "needs several known loads: a force sensor on the strap or the jack (kind = \"force\" in rig.toml), and the pull held at a third, at two thirds and at all of it",
        )
    } else {
        (
            Status::NotExcited,
            "the pull has to be held at two or more levels, a second or more each: at a third, at two thirds and at all of it",
        )
    };
    Measured::without(status, why)
}

/// The holds of a test, in order of time within each direction.
fn holds(
    path: &Path,
    instants: &[Instant],
    sensors: &PullSensors<'_>,
    phases: [Phase; 2],
    step_s: f64,
) -> Vec<Hold> {
    let of = |phase: Phase| -> Vec<&Instant> {
        let points = path.points.iter().filter(|p| p.phase == phase);
        let whole = points.filter(|p| p.estimate.seen.iter().all(|s| *s));
        whole.map(|p| &instants[p.instant]).collect()
    };
    let pulled = |of: &[&Instant]| of.iter().filter_map(|i| sensors.pull_n(i)).fold(0.0, f64::max);
    let both = phases.map(of);
    let greatest_n = both.iter().map(|of| pulled(of)).fold(0.0, f64::max);
    let mut found = Vec::new();
    for (direction, all) in both.iter().enumerate() {
        let sign = if direction == 0 { 1.0 } else { -1.0 };
        let mut last: Option<(f64, Instant, f64)> = None;
        for stretch in steady(all, sensors, greatest_n, step_s) {
            let pulls: Vec<f64> = stretch.iter().filter_map(|i| sensors.pull_n(i)).collect();
            let pull_n = pulls.iter().sum::<f64>() / pulls.len() as f64;
            let Some(instant) = mean(&stretch).filter(|_| pull_n > LEAST_PART * greatest_n) else { continue };
            let until_s = last.as_ref().map_or(f64::NEG_INFINITY, |(until_s, ..)| *until_s);
            let lesser_n = last.as_ref().map_or(pull_n, |(.., last_n)| last_n.min(pull_n));
            let released =
                released(all, sensors, [until_s, instant.t_s], lesser_n - ANOTHER_LEVEL * greatest_n);
            let came_from = released.or(last.map(|(_, hold, _)| hold));
            let instant = on_flanks(&path.observer, came_from.as_ref(), instant);
            let ends_s = stretch.last().map_or(instant.t_s, |i| i.t_s);
            last = Some((ends_s, instant.clone(), pull_n));
            found.push(Hold { direction, pull_n: sign * pull_n, instant });
        }
    }
    found
}

/// Where a pull came on from: the instant of the least pull between two times, if it is below `below_n`. Its readings may stand
/// anywhere in their loops.
fn released(
    all: &[&Instant],
    sensors: &PullSensors<'_>,
    [from_s, to_s]: [f64; 2],
    below_n: f64,
) -> Option<Instant> {
    let between = all.iter().filter(|i| from_s < i.t_s && i.t_s < to_s);
    let pulled = between.filter_map(|i| Some((i, sensors.pull_n(i)?)));
    let (least, _) = pulled.filter(|(_, n)| *n < below_n).min_by(|a, b| a.1.total_cmp(&b.1))?;
    let mut least = (*least).clone();
    for sensor in &mut least.sensors {
        if let SensorInstant::Scalar(at) = sensor {
            at.lag = Lag::on(0.0, RESTS_U);
        }
    }
    Some(least)
}

/// Stretches of a second or more in which the pull stays where it is. The first instant of each is left out: the axle may still
/// be coming to rest.
fn steady<'a>(
    all: &[&'a Instant],
    sensors: &PullSensors<'_>,
    greatest_n: f64,
    step_s: f64,
) -> Vec<Vec<&'a Instant>> {
    let least = (HOLD_S / step_s).ceil().max(1.0) as usize;
    let mut stretches: Vec<Vec<&Instant>> = Vec::new();
    let (mut sum_n, mut last_s) = (0.0, f64::NEG_INFINITY);
    for instant in all {
        let Some(pull_n) = sensors.pull_n(instant) else { continue };
        let within_n = STEADY * greatest_n + STEADY_NOISE * sensors.noise_n(instant);
        let goes_on = instant.t_s - last_s < 1.5 * step_s;
        match stretches.last_mut() {
            Some(stretch) if goes_on && (pull_n - sum_n / stretch.len() as f64).abs() < within_n => {
                stretch.push(instant);
                sum_n += pull_n;
            }
            _ => {
                stretches.push(vec![instant]);
                sum_n = pull_n;
            }
        }
        last_s = instant.t_s;
    }
    let settled = stretches.into_iter().map(|s| s.into_iter().skip(1).collect::<Vec<_>>());
    settled.filter(|s| s.len() >= least).collect()
}

/// A hold with every wire's place in its loop: on the flank that its reading moved along to get there; where the reading stayed,
/// still there or anywhere behind.
fn on_flanks(observer: &Observer, came_from: Option<&Instant>, mut hold: Instant) -> Instant {
    for scalar in observer.scalars() {
        let plain = |at: &Smoothed| Smoothed { lag: Lag::on(0.0, 0.0), ..*at };
        let Some(at) = scalar_at(&hold, scalar.sensor).map(plain) else { continue };
        let before = came_from.and_then(|from| scalar_at(from, scalar.sensor));
        let noise = before.map_or(0.0, |b| (scalar.variance(&plain(b)) + scalar.variance(&at)).sqrt());
        let moved = before.map_or(0.0, |b| at.value - b.value);
        let lag = if moved.abs() > CROSSED * noise {
            Lag::on(moved.signum(), 0.0)
        } else {
            Lag::on(before.map_or(0.0, |b| b.lag.flank), RESTS_U)
        };
        hold.sensors[scalar.sensor] = SensorInstant::Scalar(Smoothed { lag, ..at });
    }
    hold
}

/// Whether one direction at least was held at two levels that differ.
fn several_levels(holds: &[Hold]) -> bool {
    let greatest_n = holds.iter().map(|h| h.pull_n.abs()).fold(0.0, f64::max);
    (0..2).any(|direction| {
        let of = holds.iter().filter(|h| h.direction == direction).map(|h| h.pull_n.abs());
        let [least, most] = of.fold([f64::INFINITY, 0.0], |[l, m], n| [n.min(l), n.max(m)]);
        most - least > ANOTHER_LEVEL * greatest_n
    })
}

/// Poses on two parallel straight lines over the pull.
struct Parallel {
    /// The directions that were held.
    directions: Vec<usize>,
    /// Pull that the slope is told for, N.
    unit_n: f64,
    /// A pose without pull for each direction, then the change of the pose by `unit_n`.
    unknowns: DVector<f64>,
    covariance: DMatrix<f64>,
}

fn fit(observer: &Observer, knowledge: &DMatrix<f64>, holds: &[Hold]) -> Option<Parallel> {
    let directions: Vec<usize> = (0..2).filter(|d| holds.iter().any(|h| h.direction == *d)).collect();
    let unit_n = holds.iter().map(|h| h.pull_n.abs()).fold(0.0, f64::max);
    let count = COORDINATES * (directions.len() + 1);
    let mut line =
        Parallel { directions, unit_n, unknowns: DVector::zeros(count), covariance: DMatrix::zeros(0, 0) };
    for _ in 0..ROUNDS {
        line = line.improved(observer, knowledge, holds)?;
    }
    Some(line)
}

impl Parallel {
    /// How the pose of a hold depends on the unknowns, 6 × n.
    fn design(&self, hold: &Hold) -> DMatrix<f64> {
        let mut design = DMatrix::zeros(COORDINATES, self.unknowns.len());
        let slopes = self.directions.len();
        let own = self.directions.iter().position(|d| *d == hold.direction).unwrap_or(slopes);
        for k in 0..COORDINATES {
            design[(k, COORDINATES * own + k)] = 1.0;
            design[(k, COORDINATES * slopes + k)] = hold.pull_n / self.unit_n;
        }
        design
    }

    /// One Gauss-Newton step over all holds at once; none where the readings leave a part of it open.
    fn improved(self, observer: &Observer, knowledge: &DMatrix<f64>, holds: &[Hold]) -> Option<Self> {
        let said: Vec<(Rows, DMatrix<f64>)> = holds
            .iter()
            .map(|hold| {
                let design = self.design(hold);
                let pose =
                    Pose::from_array(std::array::from_fn(|k| design.row(k).dot(&self.unknowns.transpose())));
                (observer.rows(&hold.instant, &AT_REST, &pose), design)
            })
            .collect();
        let total: usize = said.iter().map(|(rows, _)| rows.residuals.len()).sum();
        let mut residuals = DVector::zeros(total);
        let mut jacobian = DMatrix::zeros(total, self.unknowns.len());
        let mut effects = DMatrix::zeros(total, knowledge.nrows());
        let mut noise = DVector::zeros(total);
        let mut at = 0;
        for (rows, design) in &said {
            let n = rows.residuals.len();
            residuals.rows_mut(at, n).copy_from(&rows.residuals);
            jacobian.rows_mut(at, n).copy_from(&(&rows.jacobian * design));
            effects.rows_mut(at, n).copy_from(&rows.effects);
            noise.rows_mut(at, n).copy_from(&rows.noise);
            at += n;
        }
        let covariance = &effects * knowledge * effects.transpose() + DMatrix::from_diagonal(&noise);
        let whitener = covariance.cholesky()?.l();
        let jacobian = whitener.solve_lower_triangular(&jacobian)?;
        let residuals = whitener.solve_lower_triangular(&residuals)?;
        let seen = least_squares::covariance(&jacobian, &UNSEEN.repeat(self.directions.len() + 1), 1.0);
        if !seen.unseen.is_empty() {
            return None;
        }
        let step = -(&seen.matrix * jacobian.tr_mul(&residuals));
        let left_over = &residuals + &jacobian * &step;
        let freedom = total.saturating_sub(self.unknowns.len()).max(1) as f64;
        // Holds that scatter about their line more than the readings should tell of more than the readings' noise.
        let scatter = (left_over.norm_squared() / freedom).max(1.0);
        Some(Self { unknowns: &self.unknowns + step, covariance: seen.matrix * scatter, ..self })
    }

    fn told(&self, load: Load, sensors: &PullSensors<'_>, holds: &[Hold], lengths: &DMatrix<f64>) -> Stepped {
        let slopes = COORDINATES * self.directions.len();
        let count = self.unknowns.len();
        let mut by_slope = DMatrix::zeros(lengths.nrows(), count);
        by_slope.columns_mut(slopes, COORDINATES).copy_from(&(lengths / self.unit_n));
        let mut by_jump = DMatrix::zeros(lengths.nrows(), count);
        if self.directions.len() == 2 {
            by_jump.columns_mut(0, COORDINATES).copy_from(lengths);
            by_jump.columns_mut(COORDINATES, COORDINATES).copy_from(&-lengths);
        }
        let u = |by: &DMatrix<f64>| {
            (by * &self.covariance * by.transpose()).diagonal().map(|v| v.max(0.0).sqrt())
        };
        let per_pull_m_per_n = &by_slope * &self.unknowns;
        let spread_n = spread_n(holds);
        let bow_u_n = sensors.bow_u_n();
        let both = self.directions.len() == 2;
        Stepped {
            load,
            pulls_n: holds.iter().map(|h| h.pull_n).collect(),
            per_pull_u_m_per_n: u(&by_slope),
            jump_m: both.then(|| &by_jump * &self.unknowns),
            // A pull that is off by so much in both directions moves both lines apart.
            jump_u_m: u(&by_jump).zip_map(&per_pull_m_per_n, |u, slope| u.hypot(2.0 * slope * bow_u_n)),
            per_pull_m_per_n,
            pull_u: sensors.scale_u().hypot(bow_u_n * 2f64.sqrt() / spread_n),
        }
    }
}

/// Greatest difference between two levels of one direction, N.
fn spread_n(holds: &[Hold]) -> f64 {
    let spread = |direction: usize| {
        let of = holds.iter().filter(|h| h.direction == direction).map(|h| h.pull_n.abs());
        let [least, most] = of.fold([f64::INFINITY, 0.0], |[l, m], n| [n.min(l), n.max(m)]);
        most - least
    };
    (0..2).map(spread).fold(0.0, f64::max)
}
