//! One corner of the vehicle is pushed down, and each sensor must move the way that the rig file makes it move: a scale with
//! the wrong sign shows.
//!
//! A state machine that is fed the latest readings with their device time. First all must rest: beside a vehicle that moves, a push
//! tells nothing.

/// How long nothing may move before the push, device time, µs, and what counts as nothing: a change below this part of a movement.
const PEACE_US: u64 = 600_000;
const PEACE_SHARE: f64 = 0.3;
/// What need not move has moved as well if it went this part as far, by its own measure, as what moved most.
const ALSO_SHARE: f64 = 0.5;
/// The movement is judged where it was greatest within so long of its beginning, device time, µs.
const WITHIN_US: u64 = 2_500_000;
/// A sensor that shall move less than this part of the one that shall move most says nothing.
const TELLS_SHARE: f64 = 0.3;
/// A sensor that moved less than this part of what counts as a movement says nothing either.
const MOVED_SHARE: f64 = 0.3;

/// What a sensor did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// It moved the way that it should.
    Right,
    /// It moved the other way.
    Wrong,
    /// It moved too little, or it need not move.
    Silent,
}

/// The check.
#[derive(Debug, Clone, PartialEq)]
pub struct Push {
    /// What each sensor's scalar should change by, SI; none where nothing can be told.
    expected: Vec<Option<f64>>,
    /// Whether each sensor reads the pose: one of these that is not expected to move should rest.
    posed: Vec<bool>,
    /// What counts as a movement, SI.
    threshold: Vec<f64>,
    /// Where all were when they came to rest, and since when they have been there, µs.
    from: Option<Vec<Option<f64>>>,
    since_us: u64,
    /// Rows that broke the peace last.
    restless: Vec<usize>,
    armed: bool,
    begun_us: Option<u64>,
    /// How far the one that moved most was, in thresholds, and where all were then.
    most: (f64, Vec<Option<f64>>),
    over: bool,
}

impl Push {
    /// Of sensors that should change by `expected` in the push; a change of `threshold` counts as a movement.
    pub fn new(expected: Vec<Option<f64>>, threshold: Vec<f64>) -> Self {
        let tells = TELLS_SHARE * expected.iter().flatten().fold(0.0, |most: f64, e| most.max(e.abs()));
        let posed = expected.iter().map(Option::is_some).collect();
        let expected = expected.into_iter().map(|e| e.filter(|e| e.abs() >= tells && *e != 0.0)).collect();
        let (since_us, restless) = (0, Vec::new());
        let most = (0.0, Vec::new());
        Self {
            expected,
            posed,
            threshold,
            from: None,
            since_us,
            restless,
            armed: false,
            begun_us: None,
            most,
            over: false,
        }
    }

    /// Whether it waits for the push, rather than for peace.
    pub fn is_armed(&self) -> bool {
        self.armed
    }

    /// The rows that broke the peace last.
    pub fn restless(&self) -> &[usize] {
        &self.restless
    }

    /// Whether any sensor can be told by it.
    pub fn tells(&self) -> bool {
        self.expected.iter().any(Option::is_some)
    }

    /// Whether it is over.
    pub fn is_over(&self) -> bool {
        self.over
    }

    /// The corner cannot be pushed.
    pub fn skip(&mut self) {
        (self.over, self.most) = (true, (0.0, Vec::new()));
    }

    /// Takes the latest reading of each sensor's scalar at a device time, µs.
    pub fn take(&mut self, now_us: u64, latest: &[Option<f64>]) {
        if self.over {
            return;
        }
        if !self.armed {
            return self.wait_for_peace(now_us, latest);
        }
        let index = (0..self.expected.len())
            .filter(|k| self.expected.get(*k).is_some_and(Option::is_some))
            .filter_map(|k| self.far(k, latest))
            .fold(0.0, f64::max);
        if index > self.most.0 {
            self.most = (index, latest.to_vec());
        }
        let begun_us = match self.begun_us {
            None if index >= 1.0 => *self.begun_us.insert(now_us),
            None => return,
            Some(begun_us) => begun_us,
        };
        self.over = now_us.saturating_sub(begun_us) >= WITHIN_US;
    }

    /// How far a sensor is from where it rested, in thresholds.
    fn far(&self, k: usize, latest: &[Option<f64>]) -> Option<f64> {
        let from = self.from.as_ref()?.get(k).copied()??;
        Some((latest.get(k).copied()?? - from).abs() / self.threshold.get(k)?)
    }

    fn wait_for_peace(&mut self, now_us: u64, latest: &[Option<f64>]) {
        let posed = (0..self.posed.len()).filter(|k| self.posed.get(*k) == Some(&true));
        let restless: Vec<usize> =
            posed.filter(|k| self.far(*k, latest).is_some_and(|far| far > PEACE_SHARE)).collect();
        if self.from.is_none() || !restless.is_empty() {
            (self.from, self.since_us) = (Some(latest.to_vec()), now_us);
            self.restless = restless;
        }
        self.armed = now_us.saturating_sub(self.since_us) >= PEACE_US;
    }

    /// Sensors that need not move in a push and did: more than the corner has moved, perhaps.
    pub fn also_moved(&self) -> Vec<usize> {
        let (most, at) = &self.most;
        let should_rest = |k: &usize| {
            self.posed.get(*k) == Some(&true) && self.expected.get(*k).is_some_and(Option::is_none)
        };
        let moved =
            |k: &usize| self.far(*k, at).is_some_and(|far| far >= ALSO_SHARE * most && far > MOVED_SHARE);
        (0..self.expected.len()).filter(should_rest).filter(moved).collect()
    }

    /// What each sensor did.
    pub fn senses(&self) -> Vec<Sense> {
        let sense = |k: usize| -> Option<Sense> {
            let (from, to) = (self.from.as_ref()?.get(k).copied()??, self.most.1.get(k).copied()??);
            let (expected, threshold) = (self.expected.get(k).copied()??, self.threshold.get(k)?);
            let change = to - from;
            (change.abs() >= MOVED_SHARE * threshold).then_some(if change * expected > 0.0 {
                Sense::Right
            } else {
                Sense::Wrong
            })
        };
        (0..self.expected.len()).map(|k| sense(k).unwrap_or(Sense::Silent)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The readings of a push of 40 mm by the shares of it that three sensors feel.
    fn push(expected: [f64; 3], shares: [f64; 3]) -> Vec<Sense> {
        let mut check = Push::new(expected.map(Some).to_vec(), vec![0.01; 3]);
        for step in 0..100_u64 {
            let t_s = step as f64 * 0.05;
            let down_m =
                if t_s < 1.0 { 0.0 } else { 0.04 * (std::f64::consts::PI * (t_s - 1.0)).sin().max(0.0) };
            check.take(step * 50_000, &shares.map(|share| Some(0.5 + share * down_m)));
        }
        assert!(check.is_over());
        check.senses()
    }

    #[test]
    fn a_sign_that_is_wrong_shows_and_who_need_not_move_says_nothing() {
        assert_eq!(
            push([-0.03, 0.02, -0.001], [-1.0, 0.7, 0.3]),
            [Sense::Right, Sense::Right, Sense::Silent]
        );
        assert_eq!(
            push([-0.03, 0.02, -0.02], [1.0, 0.7, -0.01]),
            [Sense::Wrong, Sense::Right, Sense::Silent]
        );
    }

    #[test]
    fn beside_a_vehicle_that_moves_it_waits_and_says_who_does_not_rest() {
        let mut check = Push::new(vec![Some(-0.03), Some(0.001), None], vec![0.01; 3]);
        // Two rows go up and down by 80 mm and never rest; the third is no row of the pose.
        for step in 0..200_u64 {
            let up_m = 0.08 * (step as f64 * 0.05).sin();
            check.take(step * 50_000, &[Some(up_m), Some(-up_m), Some(1e3 * up_m)]);
        }
        assert!(!check.is_armed() && !check.is_over());
        assert_eq!(check.restless(), [0, 1]);
        assert_eq!(check.senses(), vec![Sense::Silent; 3]);
        // It comes to rest, and then the corner is pushed.
        for step in 200..300_u64 {
            let down_m = 0.04 * (0.05 * (step as f64 - 230.0)).clamp(0.0, 1.0);
            check.take(step * 50_000, &[Some(-down_m), Some(0.0), Some(0.0)]);
        }
        assert_eq!(check.senses()[0], Sense::Right);
        assert!(check.also_moved().is_empty());
    }

    #[test]
    fn rows_that_need_not_move_and_do_are_told() {
        let mut check = Push::new(vec![Some(-0.03), Some(0.001), Some(0.0), None], vec![0.01; 4]);
        for step in 0..100_u64 {
            let down_m = 0.04 * (0.05 * (step as f64 - 20.0)).clamp(0.0, 1.0);
            check.take(step * 50_000, &[Some(down_m), Some(0.9 * down_m), Some(0.2 * down_m), Some(down_m)]);
        }
        assert_eq!((check.senses()[0], check.also_moved()), (Sense::Wrong, vec![1]));
    }

    #[test]
    fn without_a_push_nothing_is_said() {
        let mut check = Push::new(vec![Some(0.03), None], vec![0.01; 2]);
        assert!(check.tells() && !Push::new(vec![None], vec![0.01]).tells());
        (0..50).for_each(|k| check.take(k * 50_000, &[Some(1.0), None]));
        assert!(!check.is_over());
        check.skip();
        assert_eq!((check.is_over(), check.senses()), (true, vec![Sense::Silent; 2]));
    }
}
