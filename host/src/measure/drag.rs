//! Where a reading stands in its sensor's hysteresis loop, followed along the run.
//!
//! A wire's drum, a pot's wiper and a magnet's bearing lag behind: the play operator (backlash), which every loop of
//! friction and slack comes down to. Its half-width is a nuisance; its course follows from the motion. The reading itself
//! cannot tell it: while a loop is crossed the reading rests, and a wire that moves by millimetres crosses its loop for much of
//! the test. The fitted surfaces can: there every wire's length is a smooth function of heave and articulation, which the long
//! moves show far better than a loop is wide.

use super::instants::{Instant, SensorInstant};
use super::numbers::FREE;
use super::observe::Observer;
use super::path::PathPoint;
use super::surface::SurfaceFit;
use crate::geometry::Pose;
use crate::geometry::placed::PlacedBody;
use crate::run::Phase;

/// A change of a length below this many standard deviations of it, as seen in the still, is noise and turns nothing.
const NOISE_BAND: f64 = 4.0;

/// Standard deviation of a lag that the surfaces gave, in half widths: what differs where the loop is wider or narrower
/// than expected.
const LAG_U: f64 = 0.3;

/// A quantity's place in its sensor's loop.
#[derive(Debug, Clone)]
struct Play {
    half: f64,
    band: f64,
    last: Option<f64>,
    lag: f64,
}

impl Play {
    fn new(half: f64, band: f64) -> Self {
        Self { half, band, last: None, lag: 0.0 }
    }

    /// Takes the next value and gives the lag, −1…1. The first stands in the middle: where it really stood is part of the
    /// uncertainty of the zero.
    fn follow(&mut self, value: f64) -> f64 {
        let moved = value - *self.last.get_or_insert(value);
        if moved.abs() > self.band {
            self.last = Some(value);
            self.lag = if self.half > 0.0 {
                (self.lag + moved / self.half).clamp(-1.0, 1.0)
            } else {
                moved.signum()
            };
        }
        self.lag
    }
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
        let mut play = Play::new(scalar.half_loop(), NOISE_BAND * deviation(still));
        for (point, length) in points.iter().zip(&lengths) {
            let lag = play.follow(*length);
            if let Some(SensorInstant::Scalar(at)) = instants[point.instant].sensors.get_mut(scalar.sensor) {
                (at.lag, at.lag_u) = (lag, LAG_U);
            }
        }
    }
}

/// The pose that the surfaces have at a measured heave and articulation.
fn on_surface(fit: &SurfaceFit, pose: &Pose) -> Pose {
    let terms = &fit.basis.at(pose.z_m, pose.roll_rad)[0];
    let mut q = pose.to_array();
    for (response, coordinate) in FREE.into_iter().enumerate() {
        q[coordinate] = fit.beta.column(response).dot(terms);
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
        let mut play = Play::new(half, 0.0);
        let mut held = 0.0_f64;
        for k in 0..400 {
            let t = f64::from(k) * 0.05;
            let x = 3e-3 * t.sin() * (0.31 * t).cos();
            held = held.clamp(x - half, x + half);
            let lag = play.follow(x);
            assert!((x - held - half * lag).abs() < ROUNDING, "at {t}: {} against {}", x - held, half * lag);
        }
    }

    #[test]
    fn noise_turns_nothing() {
        let mut play = Play::new(2.5e-4, 1.5e-4);
        play.follow(0.0);
        assert_eq!(play.follow(0.01), 1.0);
        for k in 0..50 {
            assert_eq!(play.follow(0.01 + if k % 2 == 0 { 1e-4 } else { -1e-4 }), 1.0, "a hold");
        }
        assert_eq!(play.follow(0.005), -1.0, "the way back");
    }
}
