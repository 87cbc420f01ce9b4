//! One scalar sensor as a run sees it: its change since the still, the errors of its reading, and what each of them would
//! do to its residual.

use super::instants::Smoothed;
use super::nuisance::What;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DVector, Vector3};
use crate::rig::Reading;
use crate::rig::model::Model;
use std::f64::consts::TAU;

/// Nuisances of a scalar sensor: six coordinates of its ends, scale, two of linearity, hysteresis, zero, time.
const NUISANCES_OF_A_SCALAR: usize = 12;

/// A scalar sensor with its zero.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ScalarObserver {
    pub(super) sensor: usize,
    pub(super) name: String,
    pub(super) model: Model,
    pub(super) reading: Reading,
    /// How well the place of its chassis end and of its axle end are known, m.
    pub(super) mounts_m: [f64; 2],
    pub(super) zero: f64,
    pub(super) zero_u: f64,
    pub(super) sigma: f64,
    pub(super) span: [f64; 2],
    pub(super) ride: f64,
    pub(super) ride_ends: [Vector3<f64>; 2],
    pub(super) first: usize,
    /// What the run has taught of the errors of its reading.
    pub(super) learnt: ReadingErrors,
}

/// Errors of a scalar reading: `reading = change·(1 + scale) + linearity − lag(drag) + zero + slope·time`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct ReadingErrors {
    scale: f64,
    /// Amplitudes of the sine and the cosine that go once over the range.
    linearity: [f64; 2],
    /// Half the width of the hysteresis loop.
    drag: f64,
    zero: f64,
    time_s: f64,
}

impl ReadingErrors {
    /// As the rig file leads to expect them, before the run has taught anything.
    pub(super) fn expected(reading: &Reading) -> Self {
        Self { drag: reading.drag().0, ..Self::default() }
    }
}

impl ScalarObserver {
    /// Takes over `theta` (standard deviations) on top of what `plain` already knew.
    pub(super) fn learn(
        &mut self,
        plain: &ScalarObserver,
        theta: &DVector<f64>,
        time_u_s: f64,
        ride: &PlacedBody,
    ) {
        let own = theta.rows(self.first, NUISANCES_OF_A_SCALAR);
        for axis in 0..3 {
            self.model.ends.chassis[axis] = plain.model.ends.chassis[axis] + own[axis] * self.mounts_m[0];
            self.model.ends.axle[axis] = plain.model.ends.axle[axis] + own[3 + axis] * self.mounts_m[1];
        }
        self.ride = self.model.value(ride);
        self.ride_ends = self.model.end_gradients(ride);
        let sizes = self.sizes(time_u_s);
        let before = plain.learnt;
        self.learnt = ReadingErrors {
            scale: before.scale + own[6] * sizes.scale,
            linearity: [
                before.linearity[0] + own[7] * sizes.linearity[0],
                before.linearity[1] + own[8] * sizes.linearity[1],
            ],
            drag: before.drag + own[9] * sizes.drag,
            zero: before.zero + own[10] * sizes.zero,
            time_s: before.time_s + own[11] * sizes.time_s,
        };
    }

    /// Its nuisances in their order, each with its standard deviation before the run, SI.
    pub(super) fn nuisances(&self, time_u_s: f64) -> [(What, f64); NUISANCES_OF_A_SCALAR] {
        let [chassis, axle] = self.mounts_m;
        let sizes = self.sizes(time_u_s);
        [
            (What::ChassisEnd(0), chassis),
            (What::ChassisEnd(1), chassis),
            (What::ChassisEnd(2), chassis),
            (What::AxleEnd(0), axle),
            (What::AxleEnd(1), axle),
            (What::AxleEnd(2), axle),
            (What::Scale, sizes.scale),
            (What::Linearity(0), sizes.linearity[0]),
            (What::Linearity(1), sizes.linearity[1]),
            (What::Hysteresis, sizes.drag),
            (What::Zero, sizes.zero),
            (What::Time, sizes.time_s),
        ]
    }

    /// One standard deviation of each error of the reading.
    fn sizes(&self, time_u_s: f64) -> ReadingErrors {
        // A wave of any phase: its amplitude has the stated bound as rectangular half-width (JCGM 100, 4.3.7), and sine and cosine
        // share its variance.
        let linearity = self.reading.linearity / 6f64.sqrt();
        ReadingErrors {
            scale: self.reading.scale_u,
            linearity: [linearity; 2],
            drag: self.reading.drag().1,
            zero: self.zero_u,
            time_s: time_u_s,
        }
    }

    /// Half the width of its hysteresis loop as far as the run has told, SI.
    pub(super) fn half_loop(&self) -> f64 {
        self.learnt.drag.max(0.0)
    }

    /// Variance of a smoothed reading: its noise, and what is not known of its lag.
    pub(super) fn variance(&self, at: &Smoothed) -> f64 {
        self.sigma.powi(2) / at.count as f64 + (self.reading.drag().0 * at.lag.u).powi(2)
    }

    /// Change of the quantity since the still, as far as the reading's errors are known.
    pub(super) fn change(&self, at: &Smoothed) -> f64 {
        let e = &self.learnt;
        let [sine, cosine] = self.bow(at);
        let error = e.linearity[0] * sine + e.linearity[1] * cosine - at.lag.in_loop(e.drag)
            + e.zero
            + at.slope * e.time_s;
        (at.value - self.zero - error) / (1.0 + e.scale)
    }

    /// Effect of each of its nuisances on its residual, for one standard deviation, in the order of the nuisances.
    ///
    /// Taken at the reading that the pose predicts, not at the one that was read: the noise of a reading would else be
    /// correlated with the effect of its own scale, and a run of many readings would learn a scale from its noise.
    pub(super) fn effects(&self, body: &PlacedBody, at: &Smoothed, time_u_s: f64) -> Vec<f64> {
        let mut effects = Vec::with_capacity(NUISANCES_OF_A_SCALAR);
        let ends = self.model.end_gradients(body);
        for ((now, ride), mount_m) in ends.iter().zip(&self.ride_ends).zip(self.mounts_m) {
            effects.extend((now - ride).iter().map(|d| d * mount_m));
        }
        let sizes = self.sizes(time_u_s);
        let change = self.model.value(body) - self.ride;
        let predicted =
            Smoothed { value: at.value + (change - self.change(at)) * (1.0 + self.learnt.scale), ..*at };
        let [sine, cosine] = self.bow(&predicted);
        effects.extend([
            change * sizes.scale,
            sizes.linearity[0] * sine,
            sizes.linearity[1] * cosine,
            -sizes.drag * at.lag.flank,
            sizes.zero,
            at.slope * sizes.time_s,
        ]);
        effects
    }

    /// The two shapes of its departure from a straight line, less their values at the still: a wave as long as the range. Wherever
    /// in its range a sensor works, its local slope is then equally uncertain; a polynomial would trust the middle most.
    fn bow(&self, at: &Smoothed) -> [f64; 2] {
        let span = self.span[1] - self.span[0];
        let wave = |value: f64| if span > 0.0 { (TAU * value / span).sin_cos() } else { (0.0, 0.0) };
        let (now, still) = (wave(at.value), wave(self.zero));
        [now.0 - still.0, now.1 - still.1]
    }
}
