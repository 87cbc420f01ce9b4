//! The zero of a wire or an angle sensor: what its reading is short of the taped length at the still.
//!
//! Where lengths between ride marks were taped instead, they say how the axle stands at the still: heave and roll by least squares,
//! the rest as drawn within what a parked axle strays. The sensor's own length follows from that and from its ends.

use super::rest::Rest;
use super::{CalibrateError, mean_u};
use crate::geometry::least_squares::{self, Options, Residuals};
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector, Pose, Vector3};
use crate::rig::calibration::ZeroFound;
use crate::rig::model::Model;
use crate::rig::{Reading, Sensor};
use crate::vehicle::RideMark;

/// Standard uncertainty of a length taped between ride marks, m.
pub const RIDE_MARK_U_M: f64 = 2e-3;

/// How far a parked axle strays from where it was drawn, one standard deviation: heave and roll are what the marks tell; fore and
/// aft, sideways, pitch and yaw follow from the links within these. From memory.
const PARKED_U: [f64; 6] = [5e-3, 5e-3, 0.2, 0.2, 0.01, 0.01];

/// The true value at the still, and its standard uncertainty: m or rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// m or rad.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// The zero of a sensor whose true value at the still is known.
pub fn fit(reading: &Reading, rest: &Rest, truth: Truth) -> Result<ZeroFound, CalibrateError> {
    let settled = rest.channels.first().copied();
    let settled = settled.ok_or_else(|| CalibrateError::NoReadings { sensor: String::new() })?;
    // The rest was read by the scale in use: with `gain` in it.
    let noise = reading.noise.max(settled.scatter);
    Ok(ZeroFound {
        offset: truth.value - settled.mean,
        u: truth.u.hypot(mean_u(noise, settled.count)).hypot(reading.start_u()),
        reading: settled.mean,
        factor: reading.gain,
    })
}

/// How much a sensor's reading at a still differs from that of its zero, and the standard uncertainty of the difference, SI. Where its
/// ends are does not matter: they are the same both times.
pub fn since(reading: &Reading, rest: &Rest, zero: &ZeroFound) -> Option<(f64, f64)> {
    let now = rest.channels.first()?;
    let noise = mean_u(reading.noise.max(now.scatter), now.count);
    Some((now.mean - zero.reading, 2f64.sqrt() * noise.hypot(reading.start_u())))
}

/// A ride mark with what the tape said today, m.
pub type Taped<'a> = (&'a RideMark, f64);

/// What a sensor must read at a still at which these ride marks were taped. `centre` is the axle centre at ride height, m;
/// `mark_mount_m` is how well the marks' ends are known.
///
/// # Errors
/// Where the sensor is none that reads a length or an angle of the pose.
pub fn from_marks(
    sensor: &Sensor,
    reading: &Reading,
    centre: Vector3<f64>,
    marks: &[Taped<'_>],
    mark_mount_m: f64,
) -> Result<Truth, CalibrateError> {
    let none = || CalibrateError::NoReadings { sensor: sensor.name.clone() };
    let model = Model::of(&sensor.kind).ok_or_else(none)?;
    let problem = Standing { centre, marks, sigma_m: RIDE_MARK_U_M.hypot(mark_mount_m * 2f64.sqrt()) };
    let solved = least_squares::solve(&problem, DVector::zeros(6), Options::default());
    let covariance = least_squares::covariance(&solved.jacobian, &[1.0; 6], 10.0).matrix;
    let pose = Pose::from_array(std::array::from_fn(|k| solved.x[k]));
    let body = PlacedBody::new(&pose, centre);
    let (value, gradient) = model.value_and_gradient(&body);
    let pose_part = (gradient.transpose() * &covariance * gradient)[(0, 0)];
    let ends = model.end_gradients(&body).iter().map(|g| g.norm_squared()).sum::<f64>();
    Ok(Truth { value, u: (pose_part + ends * reading.mount_m.powi(2)).sqrt() })
}

struct Standing<'a> {
    centre: Vector3<f64>,
    marks: &'a [Taped<'a>],
    sigma_m: f64,
}

impl Residuals for Standing<'_> {
    fn unknowns(&self) -> usize {
        6
    }

    fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let body = PlacedBody::new(&Pose::from_array(std::array::from_fn(|k| x[k])), self.centre);
        let rows = self.marks.len() + 6;
        let (mut r, mut j) = (DVector::zeros(rows), DMatrix::zeros(rows, 6));
        for (row, (mark, taped_m)) in self.marks.iter().enumerate() {
            let end = body.position(&mark.axle);
            let span = end - mark.chassis;
            let direction = span.normalize();
            r[row] = (span.norm() - taped_m) / self.sigma_m;
            j.row_mut(row)
                .copy_from(&(body.jacobian(&mark.axle).tr_mul(&direction) / self.sigma_m).transpose());
        }
        for k in 0..6 {
            r[self.marks.len() + k] = x[k] / PARKED_U[k];
            j[(self.marks.len() + k, k)] = 1.0 / PARKED_U[k];
        }
        (r, j)
    }
}
