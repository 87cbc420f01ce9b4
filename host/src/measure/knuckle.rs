//! Bump steer, as an inertial unit at a steered knuckle feels it.
//!
//! With the steering held the knuckle turns about its kingpin as the axle moves. What the unit on the axle and the one on the
//! knuckle turn alike drops out: with k the kingpin's direction on the axle, the rate of steer is `(ω_knuckle − ω_axle)·k`, exactly,
//! as a turn about k leaves the part along k alone (rigid bodies with one common axis; re-derived). Heave and roll rates come from
//! the measured motion, so that steer is a smooth function δ of heave and roll whose gradient the rates show:
//! `δ̇ = ∂δ/∂heave·heave˙ + ∂δ/∂roll·roll˙ + bias`. Nothing is integrated, and no drift gathers.

use super::instants::Instant;
use super::numbers::{Excitation, lacking};
use super::observe::{Observer, UnitRate};
use super::path::{Path, PathPoint};
use super::result::{Budget, Measured, Status};
use crate::geometry::{DMatrix, DVector, Vector3};
use crate::rig::Carrier;
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::vehicle::Axle;
use crate::vehicle::numbers::Key;

/// Scale of a gyro, relative standard deviation: data sheets say 1 %. From memory.
const GYRO_SCALE_U: f64 = 0.01;

/// What differences over two steps lose of a motion of 9 s a cycle, and windows of one step besides, as a part of the slope.
const DIFFERENCES_U: f64 = 0.004;

/// How far steer may go with heave and roll before anything is measured, one standard deviation, rad per m and per rad: worse than
/// any vehicle that was driven to the test. It keeps what a run cannot tell apart from being told.
const PER_HEAVE_PRIOR: f64 = 2.0;
const PER_ROLL_PRIOR: f64 = 1.0;

/// Highest total degree of the surface.
const HIGHEST_DEGREE: usize = 5;
/// Instants that a fit needs.
const LEAST_INSTANTS: usize = 20;

/// One instant: how fast the axle moves, and how fast the knuckle turns against it.
#[derive(Debug, Clone)]
struct Row {
    /// Heave, m, and roll, rad.
    state: [f64; 2],
    /// Their rates, per s.
    rates: [f64; 2],
    knuckle: UnitRate,
    axle: UnitRate,
}

/// Steer of a knuckle as a function of heave and roll.
#[derive(Debug, Clone)]
pub(super) struct KnuckleSteer {
    surface: Surface,
    beta: DVector<f64>,
    covariance: DMatrix<f64>,
    /// Change of the coefficients for one standard deviation of each error, with its part of the budget.
    effects: Vec<(Part, DVector<f64>)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Zero,
    Heading,
    Scale,
}

/// Polynomial terms in heave and roll, each scaled to about −1…1.
#[derive(Debug, Clone)]
struct Surface {
    terms: Vec<[i32; 2]>,
    scale: [f64; 2],
}

impl Surface {
    fn of_degree(degree: usize, rows: &[Row]) -> Self {
        let degree = degree as i32;
        let terms =
            (0..=degree).flat_map(|i| (0..=degree - i).map(move |j| [i, j])).filter(|t| t[0] + t[1] > 0);
        let largest = |k: usize| rows.iter().map(|r| r.state[k].abs()).fold(1e-4, f64::max);
        Self { terms: terms.collect(), scale: [largest(0), largest(1)] }
    }

    /// Derivatives of the terms by heave and by roll.
    fn gradient(&self, state: [f64; 2]) -> [DVector<f64>; 2] {
        let at = |k: usize, power: i32| (state[k] / self.scale[k]).powi(power);
        let slope = |k: usize, power: i32| match power {
            0 => 0.0,
            p => f64::from(p) * at(k, p - 1) / self.scale[k],
        };
        let of =
            |f: &dyn Fn(&[i32; 2]) -> f64| DVector::from_iterator(self.terms.len(), self.terms.iter().map(f));
        [of(&|[i, j]| slope(0, *i) * at(1, *j)), of(&|[i, j]| at(0, *i) * slope(1, *j))]
    }

    /// Standard deviation of each coefficient before anything is measured, rad.
    fn prior(&self) -> DVector<f64> {
        let [heave, roll] = [PER_HEAVE_PRIOR * self.scale[0], PER_ROLL_PRIOR * self.scale[1]];
        let of = |[i, j]: &[i32; 2]| match (i, j) {
            (_, 0) => heave,
            (0, _) => roll,
            _ => heave.min(roll),
        };
        DVector::from_iterator(self.terms.len(), self.terms.iter().map(of))
    }
}

/// Fits the steer of whichever knuckle carries a unit; says why there is none.
pub(super) fn fit(
    path: &Path,
    instants: &[Instant],
    axle: &Axle,
    step_s: f64,
) -> Result<KnuckleSteer, &'static str> {
    let observer = &path.observer;
    let Some(carrier) = [Carrier::KnuckleLeft, Carrier::KnuckleRight].into_iter().find(|c| observer.has(*c))
    else {
        return Err("needs a sensor at the knuckle");
    };
    if !observer.has(Carrier::Axle) {
        return Err("needs an inertial unit on the axle beside the one at the knuckle");
    }
    let rows = rows(path, observer, instants, carrier, step_s);
    if rows.len() < LEAST_INSTANTS {
        return Err("the axle did not move while both units were read");
    }
    let kingpin = kingpin(axle, carrier);
    let fits = (1..=HIGHEST_DEGREE).filter_map(|degree| {
        let fitted = Fitted::of(Surface::of_degree(degree, &rows), &rows, &kingpin)?;
        (rows.len() > 3 * fitted.surface.terms.len()).then_some(fitted)
    });
    let best = fits.min_by(|a, b| a.information.total_cmp(&b.information));
    best.map(|f| f.result(&rows, &kingpin)).ok_or("the axle did not move while both units were read")
}

/// The kingpin's direction, upward: as the file has it for one side, mirrored for the other; without one the vertical.
fn kingpin(axle: &Axle, carrier: Carrier) -> Vector3<f64> {
    let Some(link) = &axle.drag_link else { return Vector3::z() };
    let drawn = link.kingpin_direction.normalize();
    let drawn = if drawn.z < 0.0 { -drawn } else { drawn };
    let drawn_left = link.kingpin_point.y > 0.0;
    let left = carrier == Carrier::KnuckleLeft;
    if drawn_left == left { drawn } else { Vector3::new(drawn.x, -drawn.y, drawn.z) }
}

/// Every instant of the travel with its neighbours on both sides.
fn rows(path: &Path, observer: &Observer, instants: &[Instant], carrier: Carrier, step_s: f64) -> Vec<Row> {
    let state = |p: &PathPoint| [p.estimate.pose.z_m, p.estimate.pose.roll_rad];
    let of = |w: &[PathPoint]| {
        let [before, here, after] = w else { return None };
        let even = [before, here]
            .iter()
            .zip([here, after])
            .all(|(a, b)| a.phase == b.phase && (b.t_s - a.t_s - step_s).abs() < 0.01 * step_s);
        if !here.phase.travels() || !even {
            return None;
        }
        let (a, b) = (state(before), state(after));
        let rates = [0, 1].map(|k| (b[k] - a[k]) / (2.0 * step_s));
        let instant = instants.get(here.instant)?;
        let (knuckle, axle) =
            (observer.unit_rate(carrier, instant)?, observer.unit_rate(Carrier::Axle, instant)?);
        Some(Row { state: state(here), rates, knuckle, axle })
    };
    path.points.windows(3).filter_map(of).collect()
}

/// A fit of one degree.
struct Fitted {
    surface: Surface,
    beta: DVector<f64>,
    inverse: DMatrix<f64>,
    design: DMatrix<f64>,
    sigma: f64,
    information: f64,
}

impl Fitted {
    /// Weighted least squares with the priors; the last unknown is the bias of the two gyros against each other.
    fn of(surface: Surface, rows: &[Row], kingpin: &Vector3<f64>) -> Option<Self> {
        let (n, k) = (rows.len(), surface.terms.len());
        let (mut x, mut y) = (DMatrix::zeros(n, k + 1), DVector::zeros(n));
        for (r, row) in rows.iter().enumerate() {
            let [by_heave, by_roll] = surface.gradient(row.state);
            let along = by_heave * row.rates[0] + by_roll * row.rates[1];
            x.view_mut((r, 0), (1, k)).copy_from(&along.transpose());
            x[(r, k)] = 1.0;
            y[r] = (row.knuckle.rate - row.axle.rate).dot(kingpin);
        }
        let stated = rows.iter().map(|r| r.knuckle.noise.hypot(r.axle.noise)).fold(0.0, f64::max);
        let prior = surface.prior();
        let solve = |sigma: f64| {
            let mut normal = x.tr_mul(&x) / (sigma * sigma);
            for (i, sd) in prior.iter().enumerate() {
                normal[(i, i)] += 1.0 / (sd * sd);
            }
            let cholesky = normal.cholesky()?;
            let beta = cholesky.solve(&(x.tr_mul(&y) / (sigma * sigma)));
            Some((beta, cholesky.inverse()))
        };
        let (beta, _) = solve(stated)?;
        let left_over = (&y - &x * beta).norm_squared() / n.saturating_sub(k + 1).max(1) as f64;
        // Never better than the units state, and as bad as what the surface leaves over.
        let sigma = stated.max(left_over.sqrt());
        let (beta, inverse) = solve(sigma)?;
        let square = (&y - &x * &beta).norm_squared() / n as f64;
        let information = n as f64 * square.max(f64::MIN_POSITIVE).ln() + (k + 1) as f64 * (n as f64).ln();
        Some(Self { surface, beta, inverse, design: x, sigma, information })
    }

    fn result(self, rows: &[Row], kingpin: &Vector3<f64>) -> KnuckleSteer {
        let gain = &self.inverse * self.design.transpose() / (self.sigma * self.sigma);
        let through = |of: &dyn Fn(&Row) -> f64| {
            let change = DVector::from_iterator(rows.len(), rows.iter().map(of));
            &gain * change
        };
        let mut effects = Vec::new();
        for axis in 0..3 {
            let turn = Vector3::from_fn(|k, _| if k == axis { 1.0 } else { 0.0 });
            let (part, size): (Part, fn(&UnitRate) -> f64) = match axis {
                2 => (Part::Heading, |u| u.heading_u_rad),
                _ => (Part::Zero, |u| u.accel_bias_u / STANDARD_GRAVITY),
            };
            // A unit that sits turned by a little reads the axle's own turning turned by as much.
            let turned = |u: &UnitRate| turn.cross(&u.rate).dot(kingpin) * size(u);
            effects.push((part, through(&|row: &Row| turned(&row.knuckle))));
            effects.push((part, through(&|row: &Row| turned(&row.axle))));
            let scaled = |u: &UnitRate| kingpin[axis] * u.rate[axis] * GYRO_SCALE_U;
            effects.push((Part::Scale, through(&|row: &Row| scaled(&row.knuckle))));
            effects.push((Part::Scale, through(&|row: &Row| scaled(&row.axle))));
        }
        KnuckleSteer { surface: self.surface, beta: self.beta, covariance: self.inverse, effects }
    }
}

impl KnuckleSteer {
    /// Steer per heave and per roll at a state, each with its budget.
    pub(super) fn at(
        &self,
        heave_m: f64,
        roll_rad: f64,
        excitation: &Excitation,
    ) -> [(Key, Measured, Option<Budget>); 2] {
        let [by_heave, by_roll] = self.surface.gradient([heave_m, roll_rad]);
        [(Key::BumpSteerHeave, by_heave), (Key::BumpSteerRoll, by_roll)].map(|(key, gradient)| {
            if let Some(reason) = lacking(key, excitation) {
                return (key, reason, None);
            }
            let functional = gradient.push(0.0);
            let value = functional.dot(&self.beta);
            let budget = self.budget(&functional, value);
            (key, Measured::new(value, budget.total()), Some(budget))
        })
    }

    fn budget(&self, functional: &DVector<f64>, value: f64) -> Budget {
        let noise = functional.dot(&(&self.covariance * functional)).max(0.0).sqrt();
        let mut budget = Budget { noise, model: DIFFERENCES_U * value.abs(), ..Budget::default() };
        for (part, effect) in &self.effects {
            let line = match part {
                Part::Zero => &mut budget.zero,
                Part::Heading => &mut budget.heading,
                Part::Scale => &mut budget.scale,
            };
            *line = line.hypot(functional.dot(effect));
        }
        budget
    }
}

/// Both numbers without a value.
pub(super) fn without(why: &str) -> [(Key, Measured, Option<Budget>); 2] {
    [Key::BumpSteerHeave, Key::BumpSteerRoll]
        .map(|key| (key, Measured::without(Status::NotMeasured, why), None))
}
