//! A solved state of a mechanism.

use crate::geometry::Pose;
use crate::geometry::pose::COORDINATES;
use crate::vehicle::numbers::Motion;

/// Where an axle stands for an imposed heave and roll, how it moves from there, and what its bushes hold.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// Pose of the axle; its heave and roll are the imposed ones.
    pub pose: Pose,
    /// The pose with its derivatives by heave and by roll.
    pub motion: Motion,
    /// Elastic energy `E` of members and bushes, J.
    pub strain_energy_j: f64,
    /// `dE/dheave` at constant roll, N: what binding adds to the springs.
    pub heave_force_n: f64,
    /// `dE/droll` at constant heave, N·m.
    pub roll_moment_nm: f64,
    /// `d²E/dheave²`, N/m.
    pub heave_stiffness_n_per_m: f64,
    /// `d²E/droll²`, N·m/rad.
    pub roll_stiffness_nm_per_rad: f64,
    /// Crank angles and arm poses (six each), with their derivatives.
    pub(super) inner: Inner,
    /// Which branch it is on; a change of sign means that a singular state was passed.
    pub(super) branch: f64,
}

/// Coordinates beside the axle's, none for a layout of links alone.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Inner {
    pub q: Vec<f64>,
    pub by_heave: Vec<f64>,
    pub by_roll: Vec<f64>,
    pub cranks: usize,
    /// Forces in the rigid members of a strained layout, N; empty where there is no strain.
    pub multipliers: Vec<f64>,
}

impl State {
    /// Pose of a radius arm, counted from 0; its reference point is the chassis joint.
    pub fn arm_pose(&self, arm: usize) -> Option<Pose> {
        let from = self.inner.cranks + COORDINATES * arm;
        let q = self.inner.q.get(from..from + COORDINATES)?;
        <[f64; COORDINATES]>::try_from(q).ok().map(Pose::from_array)
    }

    /// Angle of a Watts crank about its axis, counted from 0, rad.
    pub fn crank_rad(&self, crank: usize) -> Option<f64> {
        self.inner.q.get(..self.inner.cranks)?.get(crank).copied()
    }

    /// Where the bodies are about to be at a state nearby, to first order: their places only, what the bushes hold is as here.
    pub fn sketched_at(&self, heave_m: f64, roll_rad: f64) -> Self {
        let mut q = vec![0.0; COORDINATES + self.inner.q.len()];
        self.predicted(heave_m, roll_rad, &mut q);
        let mut sketch = self.clone();
        let mut axle = [0.0; COORDINATES];
        axle.iter_mut().zip(&q).for_each(|(to, from)| *to = *from);
        sketch.pose = Pose::from_array(axle);
        sketch.inner.q.iter_mut().zip(q.iter().skip(COORDINATES)).for_each(|(to, from)| *to = *from);
        sketch
    }

    /// All coordinates, moved by `heave` and `roll` along the derivatives.
    pub(super) fn predicted(&self, heave_m: f64, roll_rad: f64, out: &mut [f64]) {
        let (dh, dr) = (heave_m - self.pose.z_m, roll_rad - self.pose.roll_rad);
        let axle = self.pose.to_array();
        let Motion { by_heave, by_roll, .. } = &self.motion;
        let rates =
            by_heave.iter().chain(&self.inner.by_heave).zip(by_roll.iter().chain(&self.inner.by_roll));
        for ((o, q), (h, r)) in out.iter_mut().zip(axle.iter().chain(&self.inner.q)).zip(rates) {
            *o = q + h * dh + r * dr;
        }
    }
}
