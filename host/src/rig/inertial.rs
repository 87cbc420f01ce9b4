//! Inertial units: from raw axes to the vehicle's, levelled by the still period.
//!
//! A unit at rest reads +g along up. The still period on level ground fixes a unit's tilt (and the part of its bias that
//! looks like tilt), not its heading about the vertical.

use super::Inertial;
use crate::geometry::{Matrix3, Vector3};
use nalgebra::{Rotation3, UnitVector3};

/// Standard acceleration of free fall, m/s² (CGPM 1901).
pub const STANDARD_GRAVITY: f64 = 9.80665;

/// What the still period found out about one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Levelling {
    /// Mean specific force during the still, sensor axes, m/s².
    pub still_force: Vector3<f64>,
    /// Mean rate during the still, sensor axes, rad/s: the gyro's bias.
    pub still_rate: Vector3<f64>,
}

/// A unit's small errors, each zero for a perfect unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitErrors {
    /// Heading about the vertical, rad.
    pub heading_rad: f64,
    /// Relative scale error of each accelerometer axis (sensor axes).
    pub scale: Vector3<f64>,
    /// Accelerometer bias (sensor axes), m/s².
    pub bias: Vector3<f64>,
    /// Slope of the still's floor about x and y, rad: common to all units of the vehicle.
    pub slope_rad: [f64; 2],
    /// Error of the still's mean (sensor axes), m/s²: it is an average of finitely many readings.
    pub still: Vector3<f64>,
}

impl Default for UnitErrors {
    fn default() -> Self {
        Self {
            heading_rad: 0.0,
            scale: Vector3::zeros(),
            bias: Vector3::zeros(),
            slope_rad: [0.0, 0.0],
            still: Vector3::zeros(),
        }
    }
}

impl UnitErrors {
    /// These errors and `size` times others.
    pub fn plus(&self, other: &UnitErrors, size: f64) -> UnitErrors {
        UnitErrors {
            heading_rad: self.heading_rad + size * other.heading_rad,
            scale: self.scale + other.scale * size,
            bias: self.bias + other.bias * size,
            slope_rad: std::array::from_fn(|k| self.slope_rad[k] + size * other.slope_rad[k]),
            still: self.still + other.still * size,
        }
    }
}

impl Levelling {
    /// From the sensor's axes to the axes of the body that carries it, for a unit with the given errors: the rotation that
    /// puts the still's (corrected) specific force along up, turned by the heading error.
    pub fn mounting(&self, unit: &Inertial, errors: &UnitErrors) -> Matrix3<f64> {
        let still = unit.axes * self.still(errors);
        let up = UnitVector3::new_normalize(still);
        let slope = Rotation3::from_euler_angles(errors.slope_rad[0], errors.slope_rad[1], 0.0);
        let vertical = slope.inverse() * Vector3::z();
        // The shortest rotation: it adds no heading of its own. A unit upside down has no shortest one.
        let level =
            Rotation3::rotation_between(&up.into_inner(), &vertical).unwrap_or_else(Rotation3::identity);
        let heading = Rotation3::from_euler_angles(0.0, 0.0, unit.found.heading_rad + errors.heading_rad);
        (heading * level).matrix() * unit.axes
    }

    /// The still's specific force without the errors, sensor axes.
    fn still(&self, errors: &UnitErrors) -> Vector3<f64> {
        corrected(&(self.still_force - errors.still), errors)
    }

    /// How specific force in the sensor's axes becomes force in the axes of the carrying body, for a unit with the given errors.
    pub fn levelled(&self, unit: &Inertial, errors: &UnitErrors) -> Levelled {
        let turned = self.mounting(unit, errors) * (STANDARD_GRAVITY / self.still(errors).norm());
        let scale = errors.scale.add_scalar(1.0);
        let inverse = turned.transpose() * (self.still(errors).norm() / STANDARD_GRAVITY).powi(2);
        Levelled {
            matrix: turned * Matrix3::from_diagonal(&scale.map(f64::recip)),
            inverse: Matrix3::from_diagonal(&scale) * inverse,
            bias: errors.bias,
        }
    }

    /// Specific force in the axes of the carrying body, m/s², scaled so that the still reads standard gravity.
    pub fn force(&self, unit: &Inertial, errors: &UnitErrors, raw: &Vector3<f64>) -> Vector3<f64> {
        self.levelled(unit, errors).force(raw)
    }

    /// Angular rate in the axes of the carrying body, rad/s, without the bias that the still showed.
    pub fn rate(&self, unit: &Inertial, raw: &Vector3<f64>) -> Vector3<f64> {
        self.mounting(unit, &UnitErrors::default()) * (raw - self.still_rate)
    }
}

/// A unit's way from raw specific force to force in the axes of its body, and back: made once for many readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levelled {
    /// From raw axes to the body's, scale and gravity with it.
    pub matrix: Matrix3<f64>,
    inverse: Matrix3<f64>,
    bias: Vector3<f64>,
}

impl Levelled {
    /// Specific force in the axes of the carrying body, m/s², scaled so that the still reads standard gravity.
    pub fn force(&self, raw: &Vector3<f64>) -> Vector3<f64> {
        self.matrix * (raw - self.bias)
    }

    /// The raw specific force (sensor axes) that [`Self::force`] turns into `force`.
    pub fn raw(&self, force: &Vector3<f64>) -> Vector3<f64> {
        self.inverse * force + self.bias
    }
}

/// A raw specific force without the scale and bias errors.
fn corrected(raw: &Vector3<f64>, errors: &UnitErrors) -> Vector3<f64> {
    (raw - errors.bias).component_div(&errors.scale.add_scalar(1.0))
}

#[cfg(test)]
mod tests {
    use super::super::{Carrier, UnitFound};
    use super::*;

    fn unit() -> Inertial {
        Inertial {
            carrier: Carrier::Axle,
            at: Vector3::zeros(),
            axes: Matrix3::new(0.0, -1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0),
            heading_u_rad: 0.05,
            scale_u: 0.01,
            accel_bias_u: 0.2,
            gyro_bias_u: 3e-4,
            accel_noise: 0.02,
            gyro_noise: 0.002,
            found: UnitFound::default(),
        }
    }

    #[test]
    fn the_still_reads_straight_up_whatever_the_tilt() {
        let levelling = Levelling { still_force: Vector3::new(0.4, -0.9, 9.6), still_rate: Vector3::zeros() };
        let force = levelling.force(&unit(), &UnitErrors::default(), &levelling.still_force);
        assert!((force - Vector3::new(0.0, 0.0, STANDARD_GRAVITY)).norm() < 1e-12);
    }

    #[test]
    fn raw_undoes_force() {
        let levelling = Levelling { still_force: Vector3::new(0.4, -0.9, 9.6), still_rate: Vector3::zeros() };
        let errors = UnitErrors {
            heading_rad: 0.07,
            scale: Vector3::new(0.01, -0.02, 0.005),
            bias: Vector3::new(0.1, -0.2, 0.15),
            slope_rad: [0.01, -0.005],
            still: Vector3::new(0.002, 0.001, -0.003),
        };
        let raw = Vector3::new(2.0, -1.0, 9.3);
        let levelled = levelling.levelled(&unit(), &errors);
        assert!((levelled.raw(&levelled.force(&raw)) - raw).norm() < 1e-12);
    }

    #[test]
    fn a_tilted_unit_reports_the_bodys_rotation() {
        // A unit tilted by a few degrees about axes in the horizontal plane, body then rolled by 0.2: the levelled force
        // must be that of an untilted unit (the shortest rotation carries no heading).
        let tilt = Rotation3::from_axis_angle(&UnitVector3::new_normalize(Vector3::new(1.0, 0.5, 0.0)), 0.07);
        let u = unit();
        let sense = |body: &Rotation3<f64>| {
            let in_body = body.inverse() * Vector3::new(0.0, 0.0, STANDARD_GRAVITY);
            u.axes.transpose() * (tilt.inverse() * in_body)
        };
        let levelling =
            Levelling { still_force: sense(&Rotation3::identity()), still_rate: Vector3::zeros() };
        let roll = Rotation3::from_euler_angles(0.2, 0.0, 0.0);
        let force = levelling.force(&u, &UnitErrors::default(), &sense(&roll));
        let expected = roll.inverse() * Vector3::new(0.0, 0.0, STANDARD_GRAVITY);
        assert!((force - expected).norm() < 1e-9, "{force} against {expected}");
    }
}
