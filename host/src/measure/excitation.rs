//! How much a run moved, and whether that is enough for a number to be told.

use super::result::Travel;
use crate::geometry::DMatrix;
use nalgebra::DVector;

/// Independent heave (not explained by roll) that heave numbers need, standard deviation, m.
pub const LEAST_HEAVE_M: f64 = 0.010;
/// Independent roll that roll numbers need, standard deviation, rad: about ±2°.
pub const LEAST_ROLL_RAD: f64 = 0.025;

/// What a run's motion allows.
#[derive(Debug, Clone, Copy)]
pub struct Excitation {
    /// Standard deviation of heave that roll does not explain, m.
    pub heave_m: f64,
    /// Standard deviation of roll that heave does not explain, rad.
    pub roll_rad: f64,
    /// Roll that came along with heave in a run that moves no roll by itself, rad/m: what an axle does in roll is then unknown
    /// and in every number of heave.
    pub lean_rad_per_m: f64,
    /// Which coordinates the sensors see.
    pub seen: [bool; 6],
}

impl Excitation {
    /// From the states of the travel.
    pub fn of(states: &[(f64, f64)], seen: [bool; 6]) -> Self {
        let heave: Vec<f64> = states.iter().map(|s| s.0).collect();
        let roll: Vec<f64> = states.iter().map(|s| s.1).collect();
        let heave_m =
            if spread(&roll) < STILL_ROLL_RAD { spread(&heave) } else { unexplained(&heave, &roll) };
        let roll_rad =
            if spread(&heave) < STILL_HEAVE_M { spread(&roll) } else { unexplained(&roll, &heave) };
        Self { heave_m, roll_rad, lean_rad_per_m: lean(&heave, &roll), seen }
    }

    /// What a roll that came along with heave leaves unsure of a function of the motion, by its derivatives by what x, y, pitch
    /// and yaw do with heave.
    pub(super) fn lean_u(&self, by_heave: &[f64]) -> f64 {
        let parts = by_heave.iter().zip(PER_ROLL).map(|(by_heave, per_roll)| by_heave * per_roll);
        self.lean_rad_per_m * parts.map(|p| p * p).sum::<f64>().sqrt()
    }
}

/// Slope of a roll that counts as still by the heave that it came along with, rad/m; 0 where roll was moved by itself. The
/// sensors' errors make such a roll, or a jack that is not in the middle: which of them, the run cannot tell.
fn lean(heave: &[f64], roll: &[f64]) -> f64 {
    let (across, n) = (spread(heave), heave.len().max(1) as f64);
    if spread(roll) >= STILL_ROLL_RAD || across < STILL_HEAVE_M {
        return 0.0;
    }
    let middle = |values: &[f64]| values.iter().sum::<f64>() / n;
    let (h0, r0) = (middle(heave), middle(roll));
    heave.iter().zip(roll).map(|(h, r)| (h - h0) * (r - r0)).sum::<f64>() / (n * across * across)
}

/// How far x, y (m), pitch and yaw (rad) of an axle usually go per rad of roll, one standard deviation: a roll centre within
/// 0.2 m of the wheel centres, a tenth of roll steer (common practice, no source).
const PER_ROLL: [f64; 4] = [0.05, 0.2, 0.05, 0.1];

/// Roll and heave that are only what the sensors' errors make of the other motion, standard deviations: they explain nothing.
/// A wire clipped 3 mm off makes some 0.3° of roll of a bounce of ±100 mm.
const STILL_ROLL_RAD: f64 = 0.006;
/// See [`STILL_ROLL_RAD`].
const STILL_HEAVE_M: f64 = 0.003;

/// Standard deviation.
fn spread(values: &[f64]) -> f64 {
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt()
}

/// Part of the travel's range, to each side, in which the motion that excites a number at a state must lie, …
const NEAR: f64 = 0.25;
/// … and in which the other motion must stand still meanwhile.
const STEADY: f64 = 0.05;

impl Excitation {
    /// What the motion near one state allows there. Along a ramp heave goes with articulation, and in a bounce there is none:
    /// how the axle would answer to the one alone is then seen at ride height only, where both tests pass.
    pub fn near(
        states: &[(f64, f64)],
        travel: &Travel,
        heave_m: f64,
        roll_rad: f64,
        seen: [bool; 6],
    ) -> Self {
        let range = |[low, high]: [f64; 2]| high - low;
        let (heave_range, roll_range) = (range(travel.heave_m), range(travel.roll_rad));
        let within = |heave_part: f64, roll_part: f64| -> Vec<(f64, f64)> {
            let near = |(h, r): &(f64, f64)| {
                (h - heave_m).abs() <= heave_part * heave_range
                    && (r - roll_rad).abs() <= roll_part * roll_range
            };
            states.iter().copied().filter(near).collect()
        };
        // Roll that was moved anywhere in the run is known here too.
        let lean_rad_per_m = Self::of(states, seen).lean_rad_per_m;
        let heave_m = Self::of(&within(NEAR, STEADY), seen).heave_m;
        let roll_rad = Self::of(&within(STEADY, NEAR), seen).roll_rad;
        Self { heave_m, roll_rad, lean_rad_per_m, seen }
    }
}

/// Standard deviation of `a` that a cubic of `b` leaves over.
fn unexplained(a: &[f64], b: &[f64]) -> f64 {
    if a.len() < 8 {
        return 0.0;
    }
    let scale = b.iter().fold(1e-9_f64, |m, v| m.max(v.abs()));
    let x = DMatrix::from_fn(b.len(), 4, |row, power| (b[row] / scale).powi(power as i32));
    let y = DVector::from_column_slice(a);
    let svd = x.clone().svd(true, true);
    let cut = 1e-6 * svd.singular_values.max();
    match svd.solve(&y, cut) {
        Ok(beta) => ((y - x * beta).norm_squared() / a.len() as f64).sqrt(),
        Err(_) => 0.0,
    }
}
