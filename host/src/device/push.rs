//! One corner of the vehicle is pushed down, and each sensor must move the way that the rig file makes it move: a scale with
//! the wrong sign shows.
//!
//! A state machine that is fed the latest readings with their device time.

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
    /// What counts as a movement, SI.
    threshold: Vec<f64>,
    from: Option<Vec<Option<f64>>>,
    begun_us: Option<u64>,
    /// How far the one that moved most was, in thresholds, and where all were then.
    most: (f64, Vec<Option<f64>>),
    over: bool,
}

impl Push {
    /// Of sensors that should change by `expected` in the push; a change of `threshold` counts as a movement.
    pub fn new(expected: Vec<Option<f64>>, threshold: Vec<f64>) -> Self {
        let tells = TELLS_SHARE * expected.iter().flatten().fold(0.0, |most: f64, e| most.max(e.abs()));
        let expected = expected.into_iter().map(|e| e.filter(|e| e.abs() >= tells && *e != 0.0)).collect();
        Self { expected, threshold, from: None, begun_us: None, most: (0.0, Vec::new()), over: false }
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
        let from = self.from.get_or_insert_with(|| latest.to_vec());
        let far = |k: usize| {
            Some((latest.get(k).copied()?? - from.get(k).copied()??).abs() / self.threshold.get(k)?)
        };
        let index = (0..self.expected.len())
            .filter(|k| self.expected.get(*k).is_some_and(Option::is_some))
            .filter_map(far)
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
            let down_m = 0.04 * (std::f64::consts::PI * (t_s - 1.0)).sin().max(0.0);
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
    fn without_a_push_nothing_is_said() {
        let mut check = Push::new(vec![Some(0.03), None], vec![0.01; 2]);
        assert!(check.tells() && !Push::new(vec![None], vec![0.01]).tells());
        (0..50).for_each(|k| check.take(k * 50_000, &[Some(1.0), None]));
        assert!(!check.is_over());
        check.skip();
        assert_eq!((check.is_over(), check.senses()), (true, vec![Sense::Silent; 2]));
    }
}
