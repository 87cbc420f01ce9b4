//! Where a reading stands in its sensor's hysteresis loop, followed along the run.
//!
//! A wire's drum, a pot's wiper and a magnet's bearing lag behind: the play operator (backlash), which every loop of
//! friction and slack comes down to. Its half-width is a nuisance; its course follows from the motion. The reading itself
//! cannot tell it: while a loop is crossed the reading rests, and a wire that moves by millimetres crosses its loop for much of
//! the test. The fitted surfaces can: there every wire's length is a smooth function of heave and articulation, which the long
//! moves show far better than a loop is wide.

use super::instants::{Instant, Lag, SensorInstant};
use super::numbers::FREE;
use super::observe::Observer;
use super::path::PathPoint;
use super::surface::SurfaceFit;
use crate::geometry::Pose;
use crate::geometry::placed::PlacedBody;
use crate::run::Phase;

/// A length that comes back by less than this many of its standard deviations, as seen in the still, has not turned.
const NOISE_BAND: f64 = 4.0;

/// Standard deviation of the lag on a flank, in half widths, beside that of the width: flanks are not quite straight.
const FLANK_U: f64 = 0.1;
/// Standard deviation, in half widths, of the lag of a reading that rests while its loop is crossed, evenly between both flanks.
/// Such a reading says no more than that, however long it rests: all readings of one rest count as one.
const ANYWHERE: f64 = 0.577;

/// A quantity's place in its sensor's loop.
#[derive(Debug, Clone)]
struct Play {
    half: f64,
    last: Option<f64>,
    lag: f64,
    flank: f64,
}

impl Play {
    fn new(half: f64) -> Self {
        Self { half, last: None, lag: 0.0, flank: 0.0 }
    }

    /// Takes the next value and gives the lag. The first stands in the middle: where it really stood is part of the
    /// uncertainty of the zero.
    fn follow(&mut self, value: f64) -> Lag {
        let moved = value - self.last.replace(value).unwrap_or(value);
        if moved != 0.0 {
            let share = if self.half > 0.0 { moved / self.half } else { 2.0 * moved.signum() };
            self.lag = (self.lag + share).clamp(-1.0, 1.0);
            if self.lag.abs() == 1.0 {
                self.flank = self.lag;
            }
        }
        Lag { behind: self.half * self.lag, half: self.half, flank: self.flank, u: FLANK_U }
    }
}

/// A course of lengths without its noise: rising or falling from each turn to the next, a turn being where it comes back by more
/// than `band`. Every way is the monotone course nearest to the values, so that nothing comes late.
fn without_noise(lengths: &[f64], band: f64) -> Vec<f64> {
    let mut clean = lengths.to_vec();
    let ends = turns(lengths, band);
    for way in ends.windows(2) {
        let rising = lengths[way[1]] >= lengths[way[0]];
        monotone(&mut clean[way[0]..=way[1]], rising);
    }
    clean
}

/// Places of the turns, the first and the last value with them.
fn turns(values: &[f64], band: f64) -> Vec<usize> {
    let (mut ends, mut low, mut high) = (vec![0], 0, 0);
    let mut rising = None;
    for (k, value) in values.iter().enumerate() {
        low = if *value <= values[low] { k } else { low };
        high = if *value >= values[high] { k } else { high };
        if rising != Some(false) && values[high] - value > band {
            ends.push(high);
            (rising, low) = (Some(false), k);
        } else if rising != Some(true) && value - values[low] > band {
            ends.push(low);
            (rising, high) = (Some(true), k);
        }
    }
    ends.push(values.len().saturating_sub(1));
    ends.dedup();
    ends
}

/// Replaces values by the rising (or falling) course that is nearest to them in the mean square: neighbours that go the wrong
/// way share their mean (pool adjacent violators; Ayer and others, Ann. Math. Statist. 26, 1955, from memory).
fn monotone(values: &mut [f64], rising: bool) {
    let sign = if rising { 1.0 } else { -1.0 };
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for value in values.iter() {
        let mut pool = (sign * value, 1);
        while let Some(&(mean, count)) = pools.last().filter(|(mean, _)| *mean > pool.0) {
            pools.pop();
            let together = count + pool.1;
            pool = ((mean * count as f64 + pool.0 * pool.1 as f64) / together as f64, together);
        }
        pools.push(pool);
    }
    let course = pools.into_iter().flat_map(|(mean, count)| std::iter::repeat_n(sign * mean, count));
    values.iter_mut().zip(course).for_each(|(value, clean)| *value = clean);
}

/// Writes the lag of every scalar sensor of an axle into the instants of a path.
pub(super) fn follow(observer: &Observer, fit: &SurfaceFit, points: &[PathPoint], instants: &mut [Instant]) {
    let bodies: Vec<PlacedBody> = points
        .iter()
        .map(|p| PlacedBody::new(&on_surface(fit, &p.estimate.pose), observer.centre()))
        .collect();
    for scalar in observer.scalars() {
        let lengths: Vec<f64> = bodies.iter().map(|body| scalar.model.value(body)).collect();
        let still = points.iter().zip(&lengths).filter(|(p, _)| p.phase == Phase::Still).map(|(_, l)| *l);
        let lengths = without_noise(&lengths, NOISE_BAND * deviation(still));
        let mut play = Play::new(scalar.half_loop());
        let mut lags: Vec<Lag> = lengths.iter().map(|length| play.follow(*length)).collect();
        for rest in lags.chunk_by_mut(|a, b| a.rests() && b.rests()).filter(|c| c[0].rests()) {
            let u = ANYWHERE * (rest.len() as f64).sqrt();
            rest.iter_mut().for_each(|lag| lag.u = u);
        }
        for (point, lag) in points.iter().zip(lags) {
            if let Some(SensorInstant::Scalar(at)) = instants[point.instant].sensors.get_mut(scalar.sensor) {
                at.lag = lag;
            }
        }
    }
}

/// The pose that the surfaces have at a measured heave and articulation.
fn on_surface(fit: &SurfaceFit, pose: &Pose) -> Pose {
    let mut q = pose.to_array();
    for (coordinate, value) in FREE.into_iter().zip(fit.free_at(pose.z_m, pose.roll_rad)) {
        q[coordinate] = value;
    }
    Pose::from_array(q)
}

fn deviation(values: impl Iterator<Item = f64>) -> f64 {
    let (n, sum, square) =
        values.fold((0.0, 0.0, 0.0), |(n, s, q): (f64, f64, f64), v| (n + 1.0, s + v, q + v * v));
    if n > 1.0 { ((square - sum * sum / n) / (n - 1.0)).max(0.0).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_lags_behind_as_backlash_does() {
        // Against the play operator written out: `held = clamp(held, x − r, x + r)`.
        const ROUNDING: f64 = 1e-12;
        let half = 5e-4;
        let mut play = Play::new(half);
        let mut held = 0.0_f64;
        for k in 0..400 {
            let t = f64::from(k) * 0.05;
            let x = 3e-3 * t.sin() * (0.31 * t).cos();
            held = held.clamp(x - half, x + half);
            let lag = play.follow(x).behind;
            assert!((x - held - lag).abs() < ROUNDING, "at {t}: {} against {lag}", x - held);
        }
    }

    #[test]
    fn what_another_width_does_is_foreseen() {
        // Followed with one width, told for another: the play operator of that other width, wherever the loop was left on the
        // flank that both had reached.
        let (half, wider) = (5e-4, 5.5e-4);
        let (mut followed, mut other) = (Play::new(half), Play::new(wider));
        for k in 0..400 {
            let t = f64::from(k) * 0.05;
            let x = 3e-3 * t.sin();
            let (told, truth) = (followed.follow(x).in_loop(wider), other.follow(x));
            if t > 2.0 && truth.flank == followed.flank {
                assert!((told - truth.behind).abs() <= 1e-12, "at {t}: {told} against {}", truth.behind);
            }
        }
    }

    #[test]
    fn noise_turns_nothing_and_delays_nothing() {
        // A course with noise of a twentieth of its size: the clean one has less of it (of 71 µm 45 are left), and is unbiased on
        // the way up and on the way down.
        let truth = |k: usize| 2e-3 * (k as f64 * 0.02).sin();
        let noise = |k: usize| 1e-4 * (1.7 * k as f64 * k as f64).sin();
        let values: Vec<f64> = (0..700).map(|k| truth(k) + noise(k)).collect();
        let clean = without_noise(&values, 4e-4);
        let mean = |from: usize, to: usize| {
            (from..to).map(|k| clean[k] - truth(k)).sum::<f64>() / (to - from) as f64
        };
        assert_eq!(turns(&values, 4e-4).len(), 6, "four turns between both ends");
        assert!(
            mean(20, 60).abs() < 2e-5 && mean(100, 200).abs() < 2e-5,
            "{} {}",
            mean(20, 60),
            mean(100, 200)
        );
        let square = clean.iter().enumerate().map(|(k, c)| (c - truth(k)).powi(2)).sum::<f64>() / 700.0;
        assert!(square.sqrt() < 5e-5, "{}", square.sqrt());
    }
}
