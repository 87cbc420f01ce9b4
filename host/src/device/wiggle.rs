//! Each sensor is moved by hand in turn, and the row that moves is looked for: a plug on the wrong channel shows at once.
//!
//! A state machine that is fed the latest readings with their device time. One at a time: peace, a movement, peace again.

/// How long nothing may move before and after a movement, device time, µs.
const PEACE_US: u64 = 600_000;
/// Peace is a change below this part of what counts as a movement.
const PEACE_SHARE: f64 = 0.3;
/// The row that moves most is the one only if every other moves less than this part as far, each by its own measure.
const ALONE_SHARE: f64 = 0.5;

/// Where so many rows move alike, it is not a hand that moves them.
const TOO_MANY: usize = 3;

/// What came of moving one sensor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Moved {
    /// Not tried yet.
    Waiting,
    /// Its own row moved.
    Itself,
    /// Another sensor's row moved.
    Other(usize),
    /// Several rows moved alike.
    Several(Vec<usize>),
    /// It was left out.
    Skipped,
}

#[derive(Debug, Clone, PartialEq)]
enum State {
    /// Waits until nothing moves: since when, and where everything was then.
    Peace { since_us: u64, at: Vec<Vec<Option<f64>>> },
    /// Waits for a movement from where everything was.
    Armed { at: Vec<Vec<Option<f64>>> },
    /// Something moves: how far each went, and since when all is quiet around where it was last.
    Moving { from: Vec<Vec<Option<f64>>>, most: Vec<f64>, quiet_us: u64, around: Vec<Vec<Option<f64>>> },
}

/// The check.
#[derive(Debug, Clone, PartialEq)]
pub struct Wiggle {
    /// By sensor and channel: what counts as a movement, SI.
    threshold: Vec<Vec<f64>>,
    outcomes: Vec<Moved>,
    asked: usize,
    /// Rows that broke the peace last.
    restless: Vec<usize>,
    state: Option<State>,
}

impl Wiggle {
    /// A check of as many sensors as there are thresholds, in that order.
    pub fn new(threshold: Vec<Vec<f64>>) -> Self {
        Self {
            outcomes: vec![Moved::Waiting; threshold.len()],
            threshold,
            asked: 0,
            restless: Vec::new(),
            state: None,
        }
    }

    /// The sensor that is to be moved now; none when all had their turn.
    pub fn asked(&self) -> Option<usize> {
        (self.asked < self.outcomes.len()).then_some(self.asked)
    }

    /// Whether it waits for a movement, rather than for peace.
    pub fn is_armed(&self) -> bool {
        matches!(self.state, Some(State::Armed { .. } | State::Moving { .. }))
    }

    /// The row that moves most just now.
    pub fn moving(&self) -> Option<usize> {
        match &self.state {
            Some(State::Moving { most, .. }) => greatest(most).map(|(k, _)| k),
            _ => None,
        }
    }

    /// The rows that broke the peace last, while it is waited for.
    pub fn restless(&self) -> &[usize] {
        &self.restless
    }

    /// Rows that moved together though one sensor only was to be moved: the vehicle moves, it seems.
    pub fn moved_together(&self) -> Vec<usize> {
        let together = |moved: &Moved| match moved {
            Moved::Several(rows) if rows.len() >= TOO_MANY => rows.clone(),
            _ => Vec::new(),
        };
        let mut rows: Vec<usize> = self.outcomes.iter().flat_map(together).collect();
        rows.sort_unstable();
        rows.dedup();
        rows
    }

    /// What came of each sensor.
    pub fn outcomes(&self) -> &[Moved] {
        &self.outcomes
    }

    /// The sensor that is asked for cannot be moved.
    pub fn skip(&mut self) {
        self.end(Moved::Skipped);
    }

    /// Pairs of sensors that answer for each other.
    pub fn swaps(&self) -> Vec<(usize, usize)> {
        let other = |k: usize| match self.outcomes.get(k) {
            Some(Moved::Other(other)) => Some(*other),
            _ => None,
        };
        (0..self.outcomes.len())
            .filter_map(|k| {
                other(k).filter(|other_k| k < *other_k && other(*other_k) == Some(k)).map(|o| (k, o))
            })
            .collect()
    }

    /// Takes the latest readings, by sensor and channel, at a device time, µs.
    pub fn take(&mut self, now_us: u64, latest: &[Vec<Option<f64>>]) {
        if self.asked().is_none() {
            return;
        }
        let next = match self.state.take() {
            None => State::Peace { since_us: now_us, at: latest.to_vec() },
            Some(State::Peace { since_us, at }) => {
                let far = self.indices(&at, latest);
                let restless: Vec<usize> =
                    (0..).zip(far).filter(|(_, far)| *far > PEACE_SHARE).map(|(k, _)| k).collect();
                if !restless.is_empty() {
                    self.restless = restless;
                    State::Peace { since_us: now_us, at: latest.to_vec() }
                } else if now_us.saturating_sub(since_us) >= PEACE_US {
                    State::Armed { at }
                } else {
                    State::Peace { since_us, at }
                }
            }
            Some(State::Armed { at }) => {
                let most = self.indices(&at, latest);
                if most.iter().any(|index| *index >= 1.0) {
                    State::Moving { from: at, most, quiet_us: now_us, around: latest.to_vec() }
                } else {
                    State::Armed { at }
                }
            }
            Some(State::Moving { from, mut most, quiet_us, around }) => {
                let far = self.indices(&from, latest);
                most.iter_mut().zip(far).for_each(|(most, far)| *most = most.max(far));
                if self.indices(&around, latest).iter().any(|index| *index > PEACE_SHARE) {
                    State::Moving { from, most, quiet_us: now_us, around: latest.to_vec() }
                } else if now_us.saturating_sub(quiet_us) >= PEACE_US {
                    self.decide(&most);
                    return;
                } else {
                    State::Moving { from, most, quiet_us, around }
                }
            }
        };
        self.state = Some(next);
    }

    /// How far each sensor is from where it was, in thresholds: its channel that moved most. What reads nothing does not move.
    fn indices(&self, from: &[Vec<Option<f64>>], to: &[Vec<Option<f64>>]) -> Vec<f64> {
        let moved = |from: &[Option<f64>], to: &[Option<f64>], threshold: &[f64]| {
            let channels = from.iter().zip(to).zip(threshold);
            channels.filter_map(|((a, b), t)| Some(((*b)? - (*a)?).abs() / t)).fold(0.0, f64::max)
        };
        from.iter().zip(to).zip(&self.threshold).map(|((from, to), t)| moved(from, to, t)).collect()
    }

    fn decide(&mut self, most: &[f64]) {
        let Some((first, far)) = greatest(most) else { return };
        let alike: Vec<usize> = (0..most.len()).filter(|k| most[*k] >= ALONE_SHARE * far).collect();
        let outcome = match alike.as_slice() {
            [_] if first == self.asked => Moved::Itself,
            [_] => Moved::Other(first),
            _ => Moved::Several(alike),
        };
        self.end(outcome);
    }

    fn end(&mut self, outcome: Moved) {
        if let Some(at) = self.outcomes.get_mut(self.asked) {
            *at = outcome;
            self.asked += 1;
        }
        self.restless.clear();
        self.state = None;
    }
}

fn greatest(values: &[f64]) -> Option<(usize, f64)> {
    values.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP_US: u64 = 50_000;

    /// Three wires with 10 mm as a movement; `moves` gives where each is at a time, s.
    fn run(check: &mut Wiggle, seconds: f64, moves: impl Fn(f64) -> [f64; 3]) {
        for step in 0..(seconds * 1e6) as u64 / STEP_US {
            let t_us = step * STEP_US;
            let latest: Vec<_> = moves(t_us as f64 * 1e-6).iter().map(|x| vec![Some(*x)]).collect();
            check.take(t_us, &latest);
        }
    }

    /// 80 mm out and back within a second from `at_s`.
    fn pull(t_s: f64, at_s: f64) -> f64 {
        if (at_s..at_s + 1.0).contains(&t_s) {
            0.08 * (std::f64::consts::PI * (t_s - at_s)).sin()
        } else {
            0.0
        }
    }

    fn three() -> Wiggle {
        Wiggle::new(vec![vec![0.01]; 3])
    }

    #[test]
    fn each_in_turn_is_found_and_swapped_plugs_are_named() {
        let mut check = three();
        run(&mut check, 12.0, |t| [pull(t, 1.0), pull(t, 4.0), pull(t, 7.0)]);
        assert_eq!(check.outcomes(), [Moved::Itself, Moved::Itself, Moved::Itself]);
        assert!(check.asked().is_none() && check.swaps().is_empty());

        let mut check = three();
        run(&mut check, 12.0, |t| [pull(t, 7.0), pull(t, 4.0), pull(t, 1.0)]);
        assert_eq!(check.outcomes(), [Moved::Other(2), Moved::Itself, Moved::Other(0)]);
        assert_eq!(check.swaps(), [(0, 2)]);
    }

    #[test]
    fn a_neighbour_that_shakes_along_is_not_taken_for_it() {
        let mut check = three();
        run(&mut check, 5.0, |t| [pull(t, 1.0), 0.4 * pull(t, 1.0), 0.0]);
        assert_eq!(check.outcomes()[0], Moved::Itself);
        let mut check = three();
        run(&mut check, 5.0, |t| [pull(t, 1.0), 0.0, 0.9 * pull(t, 1.0)]);
        assert_eq!(check.outcomes()[0], Moved::Several(vec![0, 2]));
    }

    #[test]
    fn a_vehicle_that_moves_is_told_from_a_hand() {
        let mut check = three();
        run(&mut check, 5.0, |t| [pull(t, 1.0), -pull(t, 1.0), 0.9 * pull(t, 1.0)]);
        assert_eq!(check.moved_together(), [0, 1, 2]);
        // One that never rests leaves no peace to begin with.
        let mut check = three();
        run(&mut check, 10.0, |t| [0.08 * t.sin(), 0.0, 0.08 * t.sin()]);
        assert_eq!((check.is_armed(), check.restless(), check.asked()), (false, &[0, 2][..], Some(0)));
        let mut check = three();
        run(&mut check, 5.0, |t| [pull(t, 1.0), 0.0, 0.9 * pull(t, 1.0)]);
        assert!(check.moved_together().is_empty(), "two are a hand on a cable");
    }

    #[test]
    fn a_wire_that_is_left_pulled_out_and_small_movements_are_borne() {
        let mut check = three();
        run(&mut check, 8.0, |t| {
            [if t > 1.0 { 0.05 } else { 0.0 }, 0.05 * f64::from(t > 4.0), 0.002 * t.sin()]
        });
        assert_eq!(check.outcomes()[..2], [Moved::Itself, Moved::Itself]);
        assert_eq!(check.asked(), Some(2));
        check.skip();
        assert_eq!(check.outcomes()[2], Moved::Skipped);
        // All had their turn: nothing more happens.
        check.skip();
        run(&mut check, 3.0, |t| [pull(t, 1.0); 3]);
        assert_eq!(check.outcomes()[2], Moved::Skipped);
    }

    #[test]
    fn what_reads_nothing_does_not_move() {
        let mut check = three();
        for step in 0..100 {
            let t_us = step * STEP_US;
            let t_s = t_us as f64 * 1e-6;
            check.take(t_us, &[vec![None], vec![Some(pull(t_s, 1.0))], vec![Some(0.0)]]);
        }
        assert_eq!(check.outcomes()[0], Moved::Other(1));
    }
}
