//! Points of a body put where a pose puts them, with their derivatives by the pose's coordinates.

use super::pose::{COORDINATES, Pose};
use nalgebra::{Matrix3, SMatrix, Vector3};

/// Derivative of a position by the six coordinates of its body, 3 × 6.
pub type PositionJacobian = SMatrix<f64, 3, COORDINATES>;

/// A body at a pose: `p ↦ R(p − c) + c + t`, with `c` its reference point (the axle centre for the axle).
#[derive(Debug, Clone)]
pub struct PlacedBody {
    centre: Vector3<f64>,
    translation: Vector3<f64>,
    rotation: Matrix3<f64>,
    derivatives: [Matrix3<f64>; 3],
}

impl PlacedBody {
    /// The body with reference point `centre` (m, floor coordinates) at `pose`.
    pub fn new(pose: &Pose, centre: Vector3<f64>) -> Self {
        let (rotation, derivatives) = pose.rotation_derivatives();
        Self { centre, translation: pose.translation(), rotation, derivatives }
    }

    /// From the body to the chassis.
    pub fn rotation(&self) -> &Matrix3<f64> {
        &self.rotation
    }

    /// Derivatives of the rotation by roll, pitch and yaw.
    pub fn rotation_derivatives(&self) -> &[Matrix3<f64>; 3] {
        &self.derivatives
    }

    /// Where the body's point `p` (m, floor coordinates at ride height) is now, m in the chassis frame.
    pub fn position(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.rotation * (p - self.centre) + self.centre + self.translation
    }

    /// Derivative of [`Self::position`] by the six coordinates.
    pub fn jacobian(&self, p: &Vector3<f64>) -> PositionJacobian {
        let arm = p - self.centre;
        let mut j = PositionJacobian::zeros();
        j.fixed_view_mut::<3, 3>(0, 0).fill_with_identity();
        for (k, d) in self.derivatives.iter().enumerate() {
            j.set_column(3 + k, &(d * arm));
        }
        j
    }

    /// Derivative of the direction `R·v` of a body-fixed vector `v` by the six coordinates (translations give zero).
    pub fn direction_jacobian(&self, v: &Vector3<f64>) -> PositionJacobian {
        let mut j = PositionJacobian::zeros();
        for (k, d) in self.derivatives.iter().enumerate() {
            j.set_column(3 + k, &(d * v));
        }
        j
    }
}
