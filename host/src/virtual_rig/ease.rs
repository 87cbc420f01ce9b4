//! Smooth moves: how a careful builder goes from one place to the next, without a jerk at either end.

use std::f64::consts::PI;

/// A move at a steady speed that begins and ends at rest; the acceleration is continuous.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    from: f64,
    to: f64,
    speed: f64,
    ramp_s: f64,
}

impl Move {
    /// From `from` to `to` at no more than `speed` (same unit per s), gathering and losing speed over `ramp_s` each.
    pub fn new(from: f64, to: f64, speed: f64, ramp_s: f64) -> Self {
        // A short way is gone so slowly that there is still time to gather speed and lose it.
        let speed = speed.min((to - from).abs() / ramp_s);
        Self { from, to, speed, ramp_s }
    }

    /// How long it takes, s.
    pub fn duration_s(&self) -> f64 {
        if self.speed > 0.0 { (self.to - self.from).abs() / self.speed + self.ramp_s } else { 0.0 }
    }

    /// Where it is `t_s` after its start; at its ends before and after.
    pub fn at(&self, t_s: f64) -> f64 {
        let whole = (self.to - self.from).abs();
        let left_s = self.duration_s() - t_s;
        let gone = if t_s <= 0.0 {
            return self.from;
        } else if left_s <= 0.0 {
            return self.to;
        } else if t_s < self.ramp_s {
            self.gathered(t_s)
        } else if left_s < self.ramp_s {
            whole - self.gathered(left_s)
        } else {
            self.speed * (t_s - 0.5 * self.ramp_s)
        };
        self.from + (self.to - self.from).signum() * gone
    }

    /// Way gone while gathering speed: the integral of `speed·(1 − cos(πt/ramp))/2`.
    fn gathered(&self, t_s: f64) -> f64 {
        0.5 * self.speed * (t_s - self.ramp_s / PI * (PI * t_s / self.ramp_s).sin())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of times and ways of order ten.
    const ROUNDING: f64 = 1e-12;

    #[test]
    fn it_arrives_keeps_its_speed_and_never_jerks() {
        for it in
            [Move::new(1.0, 3.0, 0.15, 0.6), Move::new(2.0, -1.0, 0.5, 1.0), Move::new(0.0, 0.02, 0.15, 0.6)]
        {
            assert_eq!(it.at(0.0), it.from);
            assert!((it.at(it.duration_s()) - it.to).abs() < ROUNDING);
            let step = 1e-3;
            let mut before: Option<(f64, f64)> = None;
            let mut t = 0.0;
            while t < it.duration_s() {
                let speed = (it.at(t + step) - it.at(t)) / step;
                assert!(speed.abs() <= it.speed + 1e-9, "{speed} at {t}");
                if let Some((_, last)) = before {
                    // Greatest acceleration of the cosine ramp is speed·π/(2·ramp).
                    assert!(((speed - last) / step).abs() < 1.05 * it.speed * PI / (2.0 * it.ramp_s));
                }
                before = Some((t, speed));
                t += step;
            }
        }
    }

    #[test]
    fn no_way_takes_no_time() {
        let it = Move::new(1.0, 1.0, 0.15, 0.6);
        assert_eq!((it.duration_s(), it.at(0.0), it.at(5.0)), (0.0, 1.0, 1.0));
    }
}
