//! How one body has moved as seen from another: the shift of a joint and the rotation vector, with first and second
//! derivatives. This is what a bush between the two bodies feels.
//!
//! Rotation vector by `φ = F(x)·w`, with `M = R₁ᵀR₂`, `w = vee(M − Mᵀ)/2`, `x = sin²(θ/2) = (3 − tr M)/4` and
//! `F = θ/sin θ = asin(z)/(z·√(1 − z²))`, `z² = x`; smooth at no rotation, good for less than half a turn.
//!
//! A small turn `ω` (carrier's axes) of the other body makes `δM = [ω]×·M`. By `[ω]×M + Mᵀ[ω]× = [(tr M·I − M)ω]×` and
//! `tr([ω]×M) = −2w·ω` this gives `δw = K·ω` with `K = (tr M·I − M)/2`, `δx = w·ω/2`, and so `δφ = (F·K + F′·w·wᵀ/2)·ω`.

mod strain;

pub use strain::{Stiffness, Strain};

use super::placed::PlacedBody;
use super::pose::COORDINATES;
use nalgebra::{Matrix3, Vector3};

/// Coordinates of the carrier, then those of the other body.
pub const PAIR: usize = 2 * COORDINATES;

/// The other body's movement in the carrier's axes, both zero where neither has moved.
#[derive(Debug, Clone)]
pub struct Relative<'a> {
    carrier: &'a PlacedBody,
    other: &'a PlacedBody,
    /// From the carrier's reference point to the joint on the other body, chassis axes, m.
    reach: Vector3<f64>,
    /// From the other body's reference point to the joint, chassis axes, m.
    arm: Vector3<f64>,
    turn: Turn,
    /// Shift of the joint, m, in the carrier's axes.
    pub shift: Vector3<f64>,
    /// Rotation vector, rad, in the carrier's axes.
    pub rotation: Vector3<f64>,
}

impl<'a> Relative<'a> {
    /// The movement of `other` against `carrier` at a `joint` (m, floor coordinates at ride height).
    pub fn new(carrier: &'a PlacedBody, other: &'a PlacedBody, joint: &Vector3<f64>) -> Self {
        let reach = other.position(joint) - carrier.moved_centre();
        let at_ride = carrier.rotation().transpose() * carrier.arm(joint);
        let shift = carrier.rotation().tr_mul(&reach) - at_ride;
        let turn = Turn::new(carrier.rotation().tr_mul(other.rotation()));
        let rotation = turn.vector();
        Self { carrier, other, reach, arm: other.arm(joint), turn, shift, rotation }
    }

    /// Derivatives of shift and rotation by the [`PAIR`] coordinates.
    pub fn gradients(&self) -> [(Vector3<f64>, Vector3<f64>); PAIR] {
        let back = self.carrier.rotation().transpose();
        let turned = self.turn.slope() * back;
        let mut out = [(Vector3::zeros(), Vector3::zeros()); PAIR];
        for axis in 0..3 {
            let step = back.column(axis).into_owned();
            out[axis].0 = -step;
            out[COORDINATES + axis].0 = step;
        }
        for k in 0..3 {
            let (own, theirs) = (&self.carrier.turns()[k], &self.other.turns()[k]);
            out[3 + k] = (-(back * own.cross(&self.reach)), -(turned * own));
            out[COORDINATES + 3 + k] = (back * theirs.cross(&self.arm), turned * theirs);
        }
        out
    }

    /// Adds `force·∂²shift + moment·∂²rotation` to `add(k, l, value)` for every pair `k ≤ l` of the [`PAIR`] coordinates;
    /// force and moment in the carrier's axes.
    pub fn curvature(
        &self,
        force: &Vector3<f64>,
        moment: &Vector3<f64>,
        mut add: impl FnMut(usize, usize, f64),
    ) {
        let pull = self.pull(force, moment);
        let twist = self.in_chassis(&self.turn.bend(moment));
        let (own, theirs) = (self.carrier.turns(), self.other.turns());
        let bent: [_; 3] = std::array::from_fn(|l| (twist * own[l], twist * theirs[l]));
        for k in 0..3 {
            let lever = pull.force.cross(&own[k]);
            for axis in 0..3 {
                add(axis, 3 + k, lever[axis]);
                add(3 + k, COORDINATES + axis, -lever[axis]);
            }
            for l in 0..3 {
                let value = lever.dot(&theirs[l].cross(&self.arm)) + own[k].dot(&bent[l].1);
                add(3 + k, COORDINATES + 3 + l, -value);
            }
            for l in k..3 {
                // k is the inner turn, l the outer one; transposing for the carrier swaps their order.
                let value = lever.dot(&own[l].cross(&self.reach)) + own[k].dot(&bent[l].0);
                add(3 + k, 3 + l, value);
                let carried = theirs[l].cross(&theirs[k]).dot(&pull.torque);
                let shift = pull.force.cross(&theirs[l]).dot(&theirs[k].cross(&self.arm));
                add(COORDINATES + 3 + k, COORDINATES + 3 + l, shift + carried + theirs[k].dot(&bent[l].1));
            }
        }
    }

    /// What a force and a moment that answer shift and rotation do to the other body, in chassis axes.
    fn pull(&self, force: &Vector3<f64>, moment: &Vector3<f64>) -> Pull {
        let rotation = self.carrier.rotation();
        Pull { force: rotation * force, torque: rotation * self.turn.slope().tr_mul(moment) }
    }

    /// A bilinear form of turns from the carrier's axes to those of the chassis.
    fn in_chassis(&self, form: &Matrix3<f64>) -> Matrix3<f64> {
        let rotation = self.carrier.rotation();
        rotation * form * rotation.transpose()
    }
}

/// Force at the joint and torque on the other body, chassis axes.
struct Pull {
    force: Vector3<f64>,
    torque: Vector3<f64>,
}

/// The rotation vector of a matrix `M` and how it changes with small turns.
#[derive(Debug, Clone)]
struct Turn {
    m: Matrix3<f64>,
    /// `w`.
    vee: Vector3<f64>,
    /// `F` and its first two derivatives by `x`.
    f: [f64; 3],
}

impl Turn {
    fn new(m: Matrix3<f64>) -> Self {
        let vee = 0.5 * Vector3::new(m[(2, 1)] - m[(1, 2)], m[(0, 2)] - m[(2, 0)], m[(1, 0)] - m[(0, 1)]);
        let f = angle_over_sine(0.25 * (3.0 - m.trace()));
        Self { m, vee, f }
    }

    fn vector(&self) -> Vector3<f64> {
        self.vee * self.f[0]
    }

    /// `K`: derivative of `w` by a small turn.
    fn vee_slope(&self) -> Matrix3<f64> {
        0.5 * (Matrix3::from_diagonal_element(self.m.trace()) - self.m)
    }

    /// Derivative of the rotation vector by a small turn, `G = F·K + F′·w·wᵀ/2`.
    fn slope(&self) -> Matrix3<f64> {
        self.vee_slope() * self.f[0] + self.vee * self.vee.transpose() * (0.5 * self.f[1])
    }

    /// The form `B` with `moment·δ(G)·ω = ωᵀ·B·ω′` for the change of `G` by a small turn `ω′`, product rule term by term.
    fn bend(&self, moment: &Vector3<f64>) -> Matrix3<f64> {
        let [f, f1, f2] = self.f;
        let (w, k) = (&self.vee, self.vee_slope());
        let along = k.tr_mul(moment);
        let lift = moment.dot(w);
        (along * w.transpose() + w * along.transpose() + k * lift) * (0.5 * f1)
            + w * w.transpose() * (0.25 * f2 * lift)
            - (moment * w.transpose() + 0.5 * self.m.tr_mul(&moment.cross_matrix())) * f
    }
}

/// `F(x) = θ/sin θ` for `x = sin²(θ/2)`, with its first two derivatives by `x`.
///
/// Series `Σ 4ⁿ(n!)²/(2n+1)!·xⁿ` for small x (ratio of terms `2(n+1)/(2n+3)·x`); elsewhere the closed form, and the
/// derivatives from its differential equation `2x(1 − x)F′ + (1 − 2x)F = 1`.
fn angle_over_sine(x: f64) -> [f64; 3] {
    /// Below this the series reaches rounding within [`TERMS`] terms, and the closed form's derivatives would lose digits.
    const SMALL: f64 = 0.05;
    const TERMS: usize = 14;
    if x < SMALL {
        let (mut coefficient, mut power) = (1.0, [0.0, 0.0, 1.0]);
        let mut f = [0.0; 3];
        for n in 0..TERMS {
            let order = n as f64;
            f[0] += coefficient * power[2];
            f[1] += coefficient * order * power[1];
            f[2] += coefficient * order * (order - 1.0) * power[0];
            power = [power[1], power[2], power[2] * x];
            coefficient *= 2.0 * (order + 1.0) / (2.0 * order + 3.0);
        }
        return f;
    }
    let z = x.min(1.0).sqrt();
    let f = z.asin() / (z * (1.0 - z * z).sqrt());
    let spread = 2.0 * x * (1.0 - x);
    let f1 = (1.0 - (1.0 - 2.0 * x) * f) / spread;
    [f, f1, (2.0 * f - 3.0 * (1.0 - 2.0 * x) * f1) / spread]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Pose;
    use nalgebra::Rotation3;
    use proptest::prelude::*;

    /// Central differences with a step of 1e-5 on entries of order one: truncation 1e-10 times fourth derivatives.
    const FINITE_DIFFERENCE: f64 = 1e-8;

    fn bodies(q: &[f64; PAIR]) -> (PlacedBody, PlacedBody) {
        let half = |from: usize| Pose::from_array(std::array::from_fn(|k| q[from + k]));
        (
            PlacedBody::new(&half(0), Vector3::new(0.0, 0.0, 0.46)),
            PlacedBody::new(&half(COORDINATES), Vector3::new(-0.9, 0.4, 0.5)),
        )
    }

    proptest! {
        #[test]
        fn rotation_is_the_logarithm(q in prop::array::uniform12(-0.5..0.5f64)) {
            let (carrier, other) = bodies(&q);
            let relative = Relative::new(&carrier, &other, &Vector3::new(0.1, 0.4, 0.47));
            let log = Rotation3::from_matrix_unchecked(carrier.rotation().tr_mul(other.rotation())).scaled_axis();
            // Rotation3 takes the angle by arccosine, which loses half the digits near zero.
            prop_assert!((relative.rotation - log).norm() < 1e-7);
        }

        #[test]
        fn derivatives_match_differences(q in prop::array::uniform12(-0.4..0.4f64)) {
            let joint = Vector3::new(0.1, 0.42, 0.47);
            let (force, moment) = (Vector3::new(0.7, -0.2, 0.4), Vector3::new(-0.3, 0.5, 0.9));
            let moved = |k: usize, step: f64| {
                let mut q = q;
                q[k] += step;
                bodies(&q)
            };
            let gradient_at = |k: usize, step: f64| {
                let (a, b) = moved(k, step);
                Relative::new(&a, &b, &joint).gradients().map(|(s, r)| force.dot(&s) + moment.dot(&r))
            };
            let value_at = |k: usize, step: f64| {
                let (a, b) = moved(k, step);
                let relative = Relative::new(&a, &b, &joint);
                (relative.shift, relative.rotation)
            };
            let (a, b) = bodies(&q);
            let here = Relative::new(&a, &b, &joint);
            let gradients = here.gradients();
            let mut curvature = [[0.0; PAIR]; PAIR];
            here.curvature(&force, &moment, |k, l, v| {
                curvature[k][l] += v;
                if k != l {
                    curvature[l][k] += v;
                }
            });
            let step = 1e-5;
            for k in 0..PAIR {
                let (up, down) = (value_at(k, step), value_at(k, -step));
                prop_assert!(((up.0 - down.0) / (2.0 * step) - gradients[k].0).norm() < FINITE_DIFFERENCE);
                prop_assert!(((up.1 - down.1) / (2.0 * step) - gradients[k].1).norm() < FINITE_DIFFERENCE);
                let (up, down) = (gradient_at(k, step), gradient_at(k, -step));
                for l in 0..PAIR {
                    let difference = (up[l] - down[l]) / (2.0 * step);
                    prop_assert!((difference - curvature[k][l]).abs() < FINITE_DIFFERENCE, "{k} {l}");
                }
            }
        }

        #[test]
        fn series_and_closed_form_meet(theta in 0.0..2.5f64) {
            let x = (0.5 * theta).sin().powi(2);
            let exact = if theta > 1e-4 { theta / theta.sin() } else { 1.0 + theta * theta / 6.0 };
            prop_assert!((angle_over_sine(x)[0] - exact).abs() < 1e-12 * exact);
        }
    }
}
