//! Points of a body put where a pose puts them, with their first and second derivatives by the pose's coordinates.
//!
//! With `R = Rz(yaw)·Ry(pitch)·Rx(roll)` each Euler angle turns the body about an axis of its own: yaw about z, pitch about
//! the yawed y axis, roll about the yawed and pitched x axis. So `∂R/∂angle = [turn]×·R`, and a second derivative is
//! `[outer turn]×·[inner turn]×·R`, because an outer angle carries the axes of the inner ones with it.

use super::pose::{COORDINATES, Pose};
use nalgebra::{Matrix3, SMatrix, Vector3};

/// Derivative of a position by the six coordinates of its body, 3 × 6.
pub type PositionJacobian = SMatrix<f64, 3, COORDINATES>;

/// A body at a pose: `p ↦ R(p − c) + c + t`, with `c` its reference point (the axle centre for the axle).
#[derive(Debug, Clone)]
pub struct PlacedBody {
    centre: Vector3<f64>,
    moved_centre: Vector3<f64>,
    rotation: Matrix3<f64>,
    turns: [Vector3<f64>; 3],
}

impl PlacedBody {
    /// The body with reference point `centre` (m, floor coordinates) at `pose`.
    pub fn new(pose: &Pose, centre: Vector3<f64>) -> Self {
        let (rotation, turns) = pose.rotation_and_turns();
        Self { centre, moved_centre: centre + pose.translation(), rotation, turns }
    }

    /// From the body to the chassis.
    pub fn rotation(&self) -> &Matrix3<f64> {
        &self.rotation
    }

    /// Unit axes about which roll, pitch and yaw turn the body, in the chassis frame.
    pub fn turns(&self) -> &[Vector3<f64>; 3] {
        &self.turns
    }

    /// The reference point now, m in the chassis frame.
    pub fn moved_centre(&self) -> &Vector3<f64> {
        &self.moved_centre
    }

    /// From the reference point to the body's point `p`, turned as the body is, m in the chassis frame.
    pub fn arm(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.rotation * (p - self.centre)
    }

    /// Where the body's point `p` (m, floor coordinates at ride height) is now, m in the chassis frame.
    pub fn position(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.arm(p) + self.moved_centre
    }

    /// The body's point that is now at `at` (m in the chassis frame), in floor coordinates at ride height, m.
    pub fn floor_coordinates(&self, at: &Vector3<f64>) -> Vector3<f64> {
        self.rotation.tr_mul(&(at - self.moved_centre)) + self.centre
    }

    /// Derivative of [`Self::position`] by the six coordinates.
    pub fn jacobian(&self, p: &Vector3<f64>) -> PositionJacobian {
        let mut j = self.direction_jacobian(&(p - self.centre));
        j.fixed_view_mut::<3, 3>(0, 0).fill_with_identity();
        j
    }

    /// Derivative of `direction · position` by the six coordinates, for a constant `direction`; `arm` is [`Self::arm`].
    pub fn gradient_along(&self, arm: &Vector3<f64>, direction: &Vector3<f64>) -> [f64; COORDINATES] {
        let moment = arm.cross(direction);
        let [roll, pitch, yaw] = &self.turns;
        [direction.x, direction.y, direction.z, roll.dot(&moment), pitch.dot(&moment), yaw.dot(&moment)]
    }

    /// Derivative of the direction `R·v` of a body-fixed vector `v` by the six coordinates (translations give zero).
    pub fn direction_jacobian(&self, v: &Vector3<f64>) -> PositionJacobian {
        let turned = self.rotation * v;
        let mut j = PositionJacobian::zeros();
        for (k, turn) in self.turns.iter().enumerate() {
            j.set_column(3 + k, &turn.cross(&turned));
        }
        j
    }

    /// Second derivative of a turned vector (such as [`Self::arm`]) by two angles, counted 0 roll, 1 pitch, 2 yaw.
    pub fn bend(&self, turned: &Vector3<f64>, one: usize, other: usize) -> Vector3<f64> {
        let (inner, outer) = (one.min(other), one.max(other));
        self.turns[outer].cross(&self.turns[inner].cross(turned))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Central differences with a step of 1e-5 on entries of order one: truncation 1e-10, rounding 1e-11.
    const FINITE_DIFFERENCE: f64 = 1e-9;

    proptest! {
        #[test]
        fn derivatives_match_differences(
            q in prop::array::uniform6(-0.6..0.6f64),
            p in prop::array::uniform3(-1.0..1.0f64),
        ) {
            let (centre, p) = (Vector3::new(0.1, -0.2, 0.46), Vector3::from(p));
            let at = |k: usize, step: f64| {
                let mut moved = q;
                moved[k] += step;
                PlacedBody::new(&Pose::from_array(moved), centre)
            };
            let here = PlacedBody::new(&Pose::from_array(q), centre);
            let step = 1e-5;
            for k in 0..COORDINATES {
                let difference = (at(k, step).position(&p) - at(k, -step).position(&p)) / (2.0 * step);
                prop_assert!((difference - here.jacobian(&p).column(k)).norm() < FINITE_DIFFERENCE);
                prop_assert!((here.floor_coordinates(&here.position(&p)) - p).norm() < 1e-14);
                let direction = Vector3::new(0.3, -0.5, 0.8);
                let along = here.gradient_along(&here.arm(&p), &direction)[k];
                prop_assert!((along - direction.dot(&difference)).abs() < FINITE_DIFFERENCE);
            }
            for k in 0..3 {
                let slope = |step: f64| at(3 + k, step).jacobian(&p);
                let difference = (slope(step) - slope(-step)) / (2.0 * step);
                for l in 0..3 {
                    let bend = here.bend(&here.arm(&p), k, l);
                    prop_assert!((difference.column(3 + l) - bend).norm() < FINITE_DIFFERENCE);
                }
            }
        }
    }
}
