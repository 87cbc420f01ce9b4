//! Six positions and more of an accelerometer at rest: bias, scale and misalignment of its axes, with gravity as the gauge.
//!
//! At rest the length of the true force is that of gravity whatever way the unit lies, so positions need not be exact:
//! `‖K·(a − b)‖ = g` with a symmetric K (scales on its diagonal, beside it half of what two axes are short of a right angle) and
//! a bias b, nine unknowns, by non-linear least squares. This is the ten-element model of NXP's application note AN5286,
//! "Precision Accelerometer Calibration", 2016 (title and abstract seen, the model from memory), with gravity held; the multi-
//! position method for which six faces are the least is that of Won and Golnaraghi, IEEE Trans. Instrum. Meas. 59, 2010 (from
//! memory). Six faces leave the misalignment to what data sheets promise; edges and corners find it.

use super::rest::Rest;
use super::{CalibrateError, mean_u};
use crate::geometry::least_squares::{self, Options, Residuals};
use crate::geometry::{DMatrix, DVector, Matrix3, Vector3};
use crate::rig::calibration::TumbleFound;
use crate::rig::calibration::file::symmetric;
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::rig::{Inertial, Sensor};

/// Least positions: each face once.
pub const LEAST_POSITIONS: usize = 6;

/// Part of gravity that an axis must have seen each way: it pointed there within 50°.
const POINTED: f64 = 0.64;

/// What is believed of a unit before, one standard deviation: biases as wide as anything sold, scales likewise, and the cross-axis
/// sensitivity of data sheets, 1 %. From memory.
const BIAS_PRIOR: f64 = 2.0;
const SCALE_PRIOR: f64 = 0.1;
const SKEW_PRIOR_RAD: f64 = 0.01;

/// What a unit that lies on a bench moves by itself, m/s²: the rest of a hand, a floor that gives, warmth. From memory.
const UNREST: f64 = 2e-3;

/// Local gravity differs from the standard one by this part from equator to pole, one standard deviation: common to all axes, and so
/// of no effect on directions, which is all that the force is used for.
const GRAVITY_U: f64 = 1.5e-3;

/// Positions that contradict one another by more than this, m/s², are no calibration.
const CONTRADICT: f64 = 0.15;

/// Unknowns: bias x, y, z; scale x, y, z; misalignment yz, zx, xy.
const UNKNOWNS: usize = 9;

struct Gauge<'a> {
    forces: &'a [Vector3<f64>],
    sigma: f64,
}

fn matrix(x: &DVector<f64>) -> Matrix3<f64> {
    symmetric(&Vector3::new(1.0 + x[3], 1.0 + x[4], 1.0 + x[5]), &Vector3::new(x[6], x[7], x[8]))
}

/// Derivative of the matrix by each of its six unknowns.
fn parts() -> [Matrix3<f64>; 6] {
    let zero = Vector3::zeros();
    let axis = |k: usize| Vector3::from_fn(|i, _| if i == k { 1.0 } else { 0.0 });
    std::array::from_fn(|k| if k < 3 { symmetric(&axis(k), &zero) } else { symmetric(&zero, &axis(k - 3)) })
}

impl Residuals for Gauge<'_> {
    fn unknowns(&self) -> usize {
        UNKNOWNS
    }

    fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let (bias, k) = (Vector3::new(x[0], x[1], x[2]), matrix(x));
        let rows = self.forces.len() + UNKNOWNS;
        let (mut r, mut j) = (DVector::zeros(rows), DMatrix::zeros(rows, UNKNOWNS));
        for (row, read) in self.forces.iter().enumerate() {
            let from_bias = read - bias;
            let force = k * from_bias;
            let up = force.normalize();
            r[row] = (force.norm() - STANDARD_GRAVITY) / self.sigma;
            let by_bias = -(k.tr_mul(&up)) / self.sigma;
            for axis in 0..3 {
                j[(row, axis)] = by_bias[axis];
            }
            for (column, part) in parts().iter().enumerate() {
                j[(row, 3 + column)] = up.dot(&(part * from_bias)) / self.sigma;
            }
        }
        for column in 0..UNKNOWNS {
            let prior = [BIAS_PRIOR, SCALE_PRIOR, SKEW_PRIOR_RAD][column / 3];
            r[self.forces.len() + column] = x[column] / prior;
            j[(self.forces.len() + column, column)] = 1.0 / prior;
        }
        (r, j)
    }
}

/// Fits a unit's accelerometer to its rests, one per position, and takes its gyro's bias from the same.
///
/// # Errors
/// Where there are fewer than six positions, an axis was never up or never down, or the positions contradict one another.
pub fn fit(sensor: &Sensor, unit: &Inertial, rests: &[Rest]) -> Result<TumbleFound, CalibrateError> {
    let given = rests.len();
    if given < LEAST_POSITIONS {
        return Err(CalibrateError::TooFew {
            what: "tumble",
            least: LEAST_POSITIONS,
            given,
            points: "positions",
        });
    }
    let channel = |rest: &Rest, k: usize| rest.channels.get(k).map_or(0.0, |c| c.mean);
    let three = |rest: &Rest, from: usize| Vector3::from_fn(|k, _| channel(rest, from + k));
    let forces: Vec<Vector3<f64>> = rests.iter().map(|rest| three(rest, 0)).collect();
    pointed(sensor, &forces)?;
    let scatter = rests.iter().flat_map(|r| r.channels.iter().take(3)).map(|c| c.scatter).fold(0.0, f64::max);
    let count = rests.iter().flat_map(|r| r.channels.iter().take(3)).map(|c| c.count).min().unwrap_or(1);
    let sigma = mean_u(unit.accel_noise.max(scatter), count).hypot(UNREST);
    let problem = Gauge { forces: &forces, sigma };
    let solved = least_squares::solve(&problem, DVector::zeros(UNKNOWNS), Options::default());
    let residuals: Vec<f64> = (0..given).map(|k| solved.residuals[k] * sigma).collect();
    // Six faces tell bias and scale of each axis and nothing more; what is beyond them tells how well all fit.
    let freedom = given.saturating_sub(UNKNOWNS).max(1) as f64;
    let residual = (residuals.iter().map(|r| r * r).sum::<f64>() / freedom).sqrt();
    if residual > CONTRADICT {
        return Err(CalibrateError::Contradict { sensor: sensor.name.clone(), residual });
    }
    let birge = if given > UNKNOWNS { (residual / sigma).max(1.0) } else { 1.0 };
    let covariance = least_squares::covariance(&solved.jacobian, &[1.0; UNKNOWNS], 1e6).matrix;
    let u = |k: usize| birge * covariance[(k, k)].max(0.0).sqrt();
    let gyro = |k: usize| mean_and_u(rests.iter().map(|r| channel(r, 3 + k)), unit.gyro_noise, count);
    let gyro = [gyro(0), gyro(1), gyro(2)];
    Ok(TumbleFound {
        bias: Vector3::new(solved.x[0], solved.x[1], solved.x[2]),
        bias_u: Vector3::new(u(0), u(1), u(2)),
        matrix: matrix(&solved.x),
        scale_u: Vector3::new(u(3), u(4), u(5)).map(|u| u.hypot(GRAVITY_U)),
        misalignment_u_rad: Vector3::new(u(6), u(7), u(8)),
        gyro_bias: Vector3::from_fn(|k, _| gyro[k].0),
        gyro_bias_u: Vector3::from_fn(|k, _| gyro[k].1),
        residuals,
        residual,
    })
}

/// Each axis must have been up and down.
fn pointed(sensor: &Sensor, forces: &[Vector3<f64>]) -> Result<(), CalibrateError> {
    for (k, axis) in ['x', 'y', 'z'].into_iter().enumerate() {
        for (sign, way) in [(1.0, "up"), (-1.0, "down")] {
            if !forces.iter().any(|f| sign * f[k] > POINTED * STANDARD_GRAVITY) {
                return Err(CalibrateError::NeverPointed { sensor: sensor.name.clone(), axis, way });
            }
        }
    }
    Ok(())
}

/// Mean over positions, and the larger of what their spread and their noise say of it.
fn mean_and_u(values: impl Iterator<Item = f64> + Clone, noise: f64, count: usize) -> (f64, f64) {
    let n = values.clone().count().max(1) as f64;
    let mean = values.clone().sum::<f64>() / n;
    let square: f64 = values.map(|v| (v - mean).powi(2)).sum();
    let spread = (square / (n - 1.0).max(1.0) / n).sqrt();
    (mean, spread.max(mean_u(noise, count) / n.sqrt()))
}
