//! The energy of a bush between two bodies to second order in their coordinates, without the rows that it is made of: what a
//! solver that must be quick asks for.
//!
//! With force `f`, torque `g` on the other body, moves `a` of the joint per coordinate and turns `ω` (all in chassis axes) the
//! energy's gradient is `a·f + ω·g`, its second derivatives are `aᵀ·K·a + ωᵀ·(GᵀK_φG + B)·ω` and what `f` and `g` do along the
//! second derivatives of the joint's place and of the turns.

use super::{Pull, Relative};
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// Stiffness of a bush in the axes of the body that carries it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stiffness {
    /// Against shift, N/m.
    pub shift: Matrix3<f64>,
    /// Against rotation, N·m/rad.
    pub turn: Matrix3<f64>,
}

/// A bush with the energy that it holds.
pub struct Strain<'r> {
    relative: &'r Relative<'r>,
    /// Energy, J.
    pub energy_j: f64,
    pull: Pull,
    /// Stiffness against moves of the joint, chassis axes.
    across: Matrix3<f64>,
    /// Second derivative by turns, chassis axes.
    about: Matrix3<f64>,
}

impl Relative<'_> {
    /// The energy that a bush of this stiffness holds here.
    pub fn strain(&self, stiffness: &Stiffness) -> Strain<'_> {
        let (force, moment) = (stiffness.shift * self.shift, stiffness.turn * self.rotation);
        let slope = self.turn.slope();
        let about = slope.tr_mul(&(stiffness.turn * slope)) + self.turn.bend(&moment);
        Strain {
            relative: self,
            energy_j: 0.5 * (force.dot(&self.shift) + moment.dot(&self.rotation)),
            pull: self.pull(&force, &moment),
            across: self.in_chassis(&stiffness.shift),
            about: self.in_chassis(&about),
        }
    }

    /// Moves of the joint as the other body turns.
    fn other_moves(&self) -> [Vector3<f64>; 3] {
        self.other.turns().map(|t| t.cross(&self.arm))
    }

    /// Moves of the joint, seen from the carrier, as the carrier turns.
    fn carrier_moves(&self) -> [Vector3<f64>; 3] {
        self.carrier.turns().map(|t| -t.cross(&self.reach))
    }
}

impl Strain<'_> {
    /// Gradient and second derivatives by the six coordinates of the other body.
    pub fn by_other(&self) -> (Vector6<f64>, Matrix6<f64>) {
        let (Pull { force, torque }, turns) = (&self.pull, self.relative.other.turns());
        let moves = self.relative.other_moves();
        let (mut gradient, mut hessian) = (Vector6::zeros(), Matrix6::zeros());
        gradient.fixed_rows_mut::<3>(0).copy_from(force);
        hessian.fixed_view_mut::<3, 3>(0, 0).copy_from(&self.across);
        for l in 0..3 {
            gradient[3 + l] = moves[l].dot(force) + turns[l].dot(torque);
            let (pushed, twisted) = (self.across * moves[l], self.about * turns[l]);
            // Seen from an inner turn, the outer one carries joint and axis along.
            let lever = force.cross(&turns[l]);
            for k in 0..=l {
                let carried = turns[l].cross(&turns[k]).dot(torque);
                let value = moves[k].dot(&(pushed + lever)) + turns[k].dot(&twisted) + carried;
                (hessian[(3 + k, 3 + l)], hessian[(3 + l, 3 + k)]) = (value, value);
            }
            for axis in 0..3 {
                (hessian[(axis, 3 + l)], hessian[(3 + l, axis)]) = (pushed[axis], pushed[axis]);
            }
        }
        (gradient, hessian)
    }

    /// Gradient and second derivatives by the six coordinates of the carrier.
    pub fn by_carrier(&self) -> (Vector6<f64>, Matrix6<f64>) {
        let (Pull { force, torque }, turns) = (&self.pull, self.relative.carrier.turns());
        let moves = self.relative.carrier_moves();
        let (mut gradient, mut hessian) = (Vector6::zeros(), Matrix6::zeros());
        gradient.fixed_rows_mut::<3>(0).copy_from(&-force);
        hessian.fixed_view_mut::<3, 3>(0, 0).copy_from(&self.across);
        for k in 0..3 {
            gradient[3 + k] = moves[k].dot(force) - turns[k].dot(torque);
            let (pushed, twisted) = (self.across * moves[k], self.about.tr_mul(&turns[k]));
            let lever = force.cross(&turns[k]);
            for l in k..3 {
                let value = moves[l].dot(&(pushed - lever)) + turns[l].dot(&twisted);
                (hessian[(3 + k, 3 + l)], hessian[(3 + l, 3 + k)]) = (value, value);
            }
            let beside = lever - pushed;
            for axis in 0..3 {
                (hessian[(axis, 3 + k)], hessian[(3 + k, axis)]) = (beside[axis], beside[axis]);
            }
        }
        (gradient, hessian)
    }

    /// Second derivatives by a coordinate of the carrier (rows) and one of the other body (columns).
    pub fn between(&self) -> Matrix6<f64> {
        let (own, theirs) = (self.relative.carrier.turns(), self.relative.other.turns());
        let (own_moves, their_moves) = (self.relative.carrier_moves(), self.relative.other_moves());
        let mut hessian = Matrix6::zeros();
        hessian.fixed_view_mut::<3, 3>(0, 0).copy_from(&-self.across);
        for k in 0..3 {
            hessian.fixed_view_mut::<3, 1>(0, 3 + k).copy_from(&-(self.across * their_moves[k]));
            let push = self.across * own_moves[k] - self.pull.force.cross(&own[k]);
            let twisted = self.about.tr_mul(&own[k]);
            for l in 0..3 {
                hessian[(3 + k, l)] = push[l];
                hessian[(3 + k, 3 + l)] = push.dot(&their_moves[l]) - twisted.dot(&theirs[l]);
            }
        }
        hessian
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::placed::PlacedBody;
    use crate::geometry::pose::{COORDINATES, Pose};
    use crate::geometry::relative::PAIR;
    use proptest::prelude::*;

    /// Two sums of some hundred products of order one.
    const ROUNDING: f64 = 1e-12;

    proptest! {
        /// Rows know nothing of this file's forms; both must hold the same energy to second order.
        #[test]
        fn agrees_with_the_rows(q in prop::array::uniform12(-0.4..0.4f64)) {
            let half = |from: usize| Pose::from_array(std::array::from_fn(|k| q[from + k]));
            let carrier = PlacedBody::new(&half(0), Vector3::new(0.0, 0.0, 0.46));
            let other = PlacedBody::new(&half(COORDINATES), Vector3::new(-0.9, 0.4, 0.5));
            let relative = Relative::new(&carrier, &other, &Vector3::new(0.1, 0.42, 0.47));
            let stiffness = Stiffness {
                shift: Matrix3::new(3.0, 0.2, -0.1, 0.2, 2.0, 0.4, -0.1, 0.4, 1.0),
                turn: Matrix3::new(1.0, 0.1, 0.3, 0.1, 0.7, -0.2, 0.3, -0.2, 0.5),
            };
            let (force, moment) = (stiffness.shift * relative.shift, stiffness.turn * relative.rotation);
            let rows = relative.gradients();
            let mut hessian = [[0.0; PAIR]; PAIR];
            for (k, (shift, turn)) in rows.iter().enumerate() {
                for (l, (other_shift, other_turn)) in rows.iter().enumerate() {
                    hessian[k][l] = shift.dot(&(stiffness.shift * other_shift)) + turn.dot(&(stiffness.turn * other_turn));
                }
            }
            relative.curvature(&force, &moment, |k, l, v| {
                hessian[k][l] += v;
                if k != l {
                    hessian[l][k] += v;
                }
            });
            let strain = relative.strain(&stiffness);
            prop_assert!((strain.energy_j - 0.5 * (force.dot(&relative.shift) + moment.dot(&relative.rotation))).abs() < ROUNDING);
            let ((own, own_own), (theirs, their_their)) = (strain.by_carrier(), strain.by_other());
            let between = strain.between();
            for k in 0..COORDINATES {
                let gradient = |k: usize| force.dot(&rows[k].0) + moment.dot(&rows[k].1);
                prop_assert!((own[k] - gradient(k)).abs() < ROUNDING);
                prop_assert!((theirs[k] - gradient(COORDINATES + k)).abs() < ROUNDING);
                for l in 0..COORDINATES {
                    prop_assert!((own_own[(k, l)] - hessian[k][l]).abs() < ROUNDING, "own {k} {l}");
                    prop_assert!((their_their[(k, l)] - hessian[COORDINATES + k][COORDINATES + l]).abs() < ROUNDING, "their {k} {l}");
                    prop_assert!((between[(k, l)] - hessian[k][COORDINATES + l]).abs() < ROUNDING, "between {k} {l}");
                }
            }
        }
    }
}
