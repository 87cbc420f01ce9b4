//! The pose of the axle relative to the chassis, and the angles that people ask about.

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

/// Number of coordinates of a pose; the order is x, y, z, roll, pitch, yaw.
pub const COORDINATES: usize = 6;

/// Pose of a body relative to the chassis frame: translation of its reference point and Euler angles,
/// `R = Rz(yaw)·Ry(pitch)·Rx(roll)`. Positive roll lifts the left side, positive pitch drops the nose, positive yaw turns left.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Pose {
    /// Forward, m.
    pub x_m: f64,
    /// To the left, m.
    pub y_m: f64,
    /// Up (bump), m.
    pub z_m: f64,
    /// Articulation, rad.
    pub roll_rad: f64,
    /// Nose down positive, rad.
    pub pitch_rad: f64,
    /// To the left positive, rad.
    pub yaw_rad: f64,
}

impl Pose {
    /// A pose from its coordinates in order.
    pub fn from_array(q: [f64; COORDINATES]) -> Self {
        let [x_m, y_m, z_m, roll_rad, pitch_rad, yaw_rad] = q;
        Self { x_m, y_m, z_m, roll_rad, pitch_rad, yaw_rad }
    }

    /// The coordinates in order x, y, z, roll, pitch, yaw.
    pub fn to_array(self) -> [f64; COORDINATES] {
        [self.x_m, self.y_m, self.z_m, self.roll_rad, self.pitch_rad, self.yaw_rad]
    }

    /// A pose with only heave and roll.
    pub fn heave_roll(heave_m: f64, roll_rad: f64) -> Self {
        Self { z_m: heave_m, roll_rad, ..Self::default() }
    }

    /// Translation of the reference point, m.
    pub fn translation(&self) -> Vector3<f64> {
        Vector3::new(self.x_m, self.y_m, self.z_m)
    }

    /// `R = Rz(yaw)·Ry(pitch)·Rx(roll)`, from the body to the chassis.
    pub fn rotation(&self) -> Matrix3<f64> {
        rot_z(self.yaw_rad) * rot_y(self.pitch_rad) * rot_x(self.roll_rad)
    }

    /// `R` and the unit axes about which roll, pitch and yaw turn the body, in the chassis frame: `∂R/∂angle = [axis]×·R`.
    pub fn rotation_and_turns(&self) -> (Matrix3<f64>, [Vector3<f64>; 3]) {
        let (sr, cr) = self.roll_rad.sin_cos();
        let (sp, cp) = self.pitch_rad.sin_cos();
        let (sy, cy) = self.yaw_rad.sin_cos();
        let roll_axis = Vector3::new(cy * cp, sy * cp, -sp);
        let pitch_axis = Vector3::new(-sy, cy, 0.0);
        // Rz·Ry·Rx written out: Rx turns the pitched pair (left, up) by roll.
        let up = Vector3::new(cy * sp, sy * sp, cp);
        let rotation =
            Matrix3::from_columns(&[roll_axis, pitch_axis * cr + up * sr, up * cr - pitch_axis * sr]);
        (rotation, [roll_axis, pitch_axis, Vector3::z()])
    }

    /// Heading of the wheels' spin axis, rad: `δ = atan2(−R01, R11)`. This, not Euler yaw, is what steers the vehicle.
    pub fn axle_steer_rad(&self) -> f64 {
        let r = self.rotation();
        (-r[(0, 1)]).atan2(r[(1, 1)])
    }

    /// `a_z = R21 = cos pitch · sin roll`: the vertical component of the spin axis.
    pub fn inclination(&self) -> f64 {
        self.pitch_rad.cos() * self.roll_rad.sin()
    }

    /// Wheel travel of the left and the right wheel, m: `z ± (track/2)·R21`.
    pub fn wheel_travel_m(&self, track_m: f64) -> [f64; 2] {
        let half = 0.5 * track_m * self.inclination();
        [self.z_m + half, self.z_m - half]
    }

    /// Velocity of the reference point and angular velocity for given rates of the coordinates:
    /// `ω = Rz(yaw)·Ry(pitch)·(roll′,0,0) + Rz(yaw)·(0,pitch′,0) + (0,0,yaw′)`.
    pub fn twist(&self, rates: [f64; COORDINATES]) -> Twist {
        let [x, y, z, roll, pitch, yaw] = rates;
        let rz = rot_z(self.yaw_rad);
        let omega = rz
            * (rot_y(self.pitch_rad) * Vector3::new(roll, 0.0, 0.0) + Vector3::new(0.0, pitch, 0.0))
            + Vector3::new(0.0, 0.0, yaw);
        Twist { velocity: Vector3::new(x, y, z), omega }
    }
}

/// Velocity of a body's reference point and its angular velocity, per unit of the imposed motion, in the chassis frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Twist {
    /// Velocity of the reference point, m per unit.
    pub velocity: Vector3<f64>,
    /// Angular velocity, rad per unit.
    pub omega: Vector3<f64>,
}

/// Rotation about x by `a` rad.
pub fn rot_x(a: f64) -> Matrix3<f64> {
    let (s, c) = a.sin_cos();
    Matrix3::new(1.0, 0.0, 0.0, 0.0, c, -s, 0.0, s, c)
}

/// Rotation about y by `a` rad.
pub fn rot_y(a: f64) -> Matrix3<f64> {
    let (s, c) = a.sin_cos();
    Matrix3::new(c, 0.0, s, 0.0, 1.0, 0.0, -s, 0.0, c)
}

/// Rotation about z by `a` rad.
pub fn rot_z(a: f64) -> Matrix3<f64> {
    let (s, c) = a.sin_cos();
    Matrix3::new(c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Central differences with a step of 1e-6 are good to about 1e-9 on entries of order one.
    const FINITE_DIFFERENCE: f64 = 1e-8;

    fn any_pose() -> impl Strategy<Value = Pose> {
        prop::array::uniform6(-0.6..0.6f64).prop_map(Pose::from_array)
    }

    proptest! {
        #[test]
        fn turns_are_the_derivatives_of_the_rotation(pose in any_pose()) {
            let (rotation, turns) = pose.rotation_and_turns();
            prop_assert!((rotation - pose.rotation()).norm() < 1e-15);
            for (k, turn) in turns.iter().enumerate() {
                let step = 1e-6;
                let mut up = pose.to_array();
                let mut down = up;
                up[3 + k] += step;
                down[3 + k] -= step;
                let difference = (Pose::from_array(up).rotation() - Pose::from_array(down).rotation()) / (2.0 * step);
                prop_assert!((difference - turn.cross_matrix() * rotation).norm() < FINITE_DIFFERENCE);
            }
        }

        #[test]
        fn axle_steer_has_its_closed_form(pose in any_pose()) {
            // δ = yaw − atan(sin pitch · tan roll), from R01 and R11 written out.
            let closed = pose.yaw_rad - (pose.pitch_rad.sin() * pose.roll_rad.tan()).atan();
            prop_assert!((pose.axle_steer_rad() - closed).abs() < 1e-12);
        }

        #[test]
        fn twist_is_the_rate_of_the_rotation(pose in any_pose(), rates in prop::array::uniform6(-1.0..1.0f64)) {
            // Ṙ Rᵀ = [ω]×
            let (r, turns) = pose.rotation_and_turns();
            let spin = turns[0] * rates[3] + turns[1] * rates[4] + turns[2] * rates[5];
            let skew = spin.cross_matrix() * r * r.transpose();
            let omega = pose.twist(rates).omega;
            prop_assert!((skew - omega.cross_matrix()).norm() < 1e-12);
        }
    }

    #[test]
    fn signs_follow_iso_8855() {
        let left = Vector3::new(0.0, 1.0, 0.0);
        let nose = Vector3::new(1.0, 0.0, 0.0);
        assert!(
            (Pose { roll_rad: 0.1, ..Pose::default() }.rotation() * left).z > 0.0,
            "positive roll lifts the left side"
        );
        assert!(
            (Pose { pitch_rad: 0.1, ..Pose::default() }.rotation() * nose).z < 0.0,
            "positive pitch drops the nose"
        );
        assert!(
            (Pose { yaw_rad: 0.1, ..Pose::default() }.rotation() * nose).y > 0.0,
            "positive yaw turns left"
        );
    }
}
