//! Distance between two points, the quantity that a link keeps and a draw-wire reads.
//!
//! Links (a distance with a stiffness) and draw-wires (a distance with a variance) share this one piece of code.

use nalgebra::{Matrix3, Vector3};

/// A distance with the unit vector from its first end to its second; that vector is the derivative by the second end,
/// its negative the derivative by the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Distance {
    /// Length, m.
    pub length_m: f64,
    /// Unit vector from the first end to the second; zero where the ends coincide.
    pub direction: Vector3<f64>,
}

/// The distance from `from` to `to`, both m in one frame.
pub fn distance(from: &Vector3<f64>, to: &Vector3<f64>) -> Distance {
    let span = to - from;
    let length_m = span.norm();
    let direction = if length_m > 0.0 { span / length_m } else { Vector3::zeros() };
    Distance { length_m, direction }
}

impl Distance {
    /// Second derivative by the second end, 1/m: `(I − uuᵀ)/ℓ`.
    pub fn curvature_per_m(&self) -> Matrix3<f64> {
        if self.length_m > 0.0 {
            (Matrix3::identity() - self.direction * self.direction.transpose()) / self.length_m
        } else {
            Matrix3::zeros()
        }
    }
}
