//! What the virtual builder does, when: one phase after another, slowly, with holds.

use super::ease::Move;
use crate::run::{Phase, PhaseSpan};

/// How long the still lasts, s.
const STILL_S: f64 = 8.0;
/// Bounce: cycles, and cycles per s at most.
const CYCLES: f64 = 3.0;
const CYCLES_PER_S: f64 = 1.0 / 9.0;
/// Time to gather speed and to lose it: the jack's, and the vehicle's on the ramp, s.
const BOUNCE_GATHERS_S: f64 = 3.0;
const CLIMB_GATHERS_S: f64 = 0.6;
/// Speed along the ramp, m/s.
const CLIMB_M_PER_S: f64 = 0.14;
/// A hold of this long, s …
const HOLD_S: f64 = 3.0;
/// … every so much of rise, m.
const HOLD_EVERY_M: f64 = 0.1;
/// A pull: parts of the load a second, time to gather and lose speed, s, and how long each part of the load is held, s.
const PULL_PER_S: f64 = 0.5;
const PULL_GATHERS_S: f64 = 1.0;
const PULL_HOLDS_S: [(f64, f64); 3] = [(1.0 / 3.0, 3.0), (2.0 / 3.0, 3.0), (1.0, 4.0)];
/// How long a drive over rough ground takes, s, and the time to gather speed and to lose it.
const OBSTACLE_S: f64 = 45.0;
const OBSTACLE_GATHERS_S: f64 = 2.0;
/// Rest at the end of a phase before the next begins, s.
const REST_S: f64 = 1.0;

/// Moves along a phase's own course, in order of time.
#[derive(Debug, Clone, PartialEq)]
struct Leg {
    span: PhaseSpan,
    /// Start of each move, s, and the move.
    moves: Vec<(f64, Move)>,
}

/// The phases in their order.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Script {
    legs: Vec<Leg>,
}

impl Script {
    /// The course's parameter at `t_s` with the place of its leg; none before the script and after it.
    pub fn at(&self, t_s: f64) -> Option<(usize, f64)> {
        let leg = self.legs.iter().position(|l| (l.span.from_s..l.span.to_s).contains(&t_s))?;
        let moves = &self.legs.get(leg)?.moves;
        let current = moves.iter().rev().find(|(from_s, _)| *from_s <= t_s).or(moves.first());
        Some((leg, current.map_or(0.0, |(from_s, it)| it.at(t_s - from_s))))
    }

    /// The phases.
    pub fn phases(&self) -> impl Iterator<Item = &PhaseSpan> {
        self.legs.iter().map(|l| &l.span)
    }

    /// When it ends, s.
    pub fn end_s(&self) -> f64 {
        self.legs.last().map_or(0.0, |l| l.span.to_s)
    }

    /// Nothing moves.
    pub fn still(&mut self) {
        let from_s = self.end_s();
        self.legs.push(Leg {
            span: PhaseSpan { phase: Phase::Still, from_s, to_s: from_s + STILL_S },
            moves: Vec::new(),
        });
    }

    /// Up and down; the parameter counts cycles.
    pub fn bounce(&mut self) {
        self.leg(Phase::Bounce, [(Move::new(0.0, CYCLES, CYCLES_PER_S, BOUNCE_GATHERS_S), 0.0)]);
    }

    /// Over rough ground; the parameter is the part of the way.
    pub fn obstacle(&mut self) {
        let drive = Move::new(0.0, 1.0, 1.0 / OBSTACLE_S, OBSTACLE_GATHERS_S);
        self.leg(Phase::Obstacle, [(drive, 0.0)]);
    }

    /// Up a ramp and back; the parameter is the way along the ramp, from `from_m` to `to_m`. `rise` tells the wheel's rise at
    /// a way, m.
    pub fn climb(&mut self, phase: Phase, from_m: f64, to_m: f64, rise: impl Fn(f64) -> f64) {
        let holds = (1..).map(|k| f64::from(k) * HOLD_EVERY_M).take_while(|r| *r < rise(to_m));
        let mut stops: Vec<f64> = holds.map(|r| way_at_rise(&rise, [from_m, to_m], r)).collect();
        stops.push(to_m);
        let mut at_m = from_m;
        let mut moves: Vec<(Move, f64)> = Vec::new();
        for stop in stops {
            moves.push((Move::new(at_m, stop, CLIMB_M_PER_S, CLIMB_GATHERS_S), HOLD_S));
            at_m = stop;
        }
        moves.push((Move::new(at_m, from_m, CLIMB_M_PER_S, CLIMB_GATHERS_S), 0.0));
        self.leg(phase, moves);
    }

    /// A pull that comes on slowly, is held at each part of the load, the whole last and longest, and goes again; the parameter
    /// is the part of the load.
    pub fn pull(&mut self, phase: Phase) {
        let mut at = 0.0;
        let mut moves: Vec<(Move, f64)> = Vec::new();
        for (part, hold_s) in PULL_HOLDS_S {
            moves.push((Move::new(at, part, PULL_PER_S, PULL_GATHERS_S), hold_s));
            at = part;
        }
        moves.push((Move::new(at, 0.0, PULL_PER_S, PULL_GATHERS_S), 0.0));
        self.leg(phase, moves);
    }

    /// Moves, each with the hold after it.
    fn leg(&mut self, phase: Phase, moves: impl IntoIterator<Item = (Move, f64)>) {
        let from_s = self.end_s();
        let mut at_s = from_s;
        let mut timed = Vec::new();
        for (it, hold_s) in moves {
            timed.push((at_s, it));
            at_s += it.duration_s() + hold_s;
        }
        self.legs.push(Leg { span: PhaseSpan { phase, from_s, to_s: at_s + REST_S }, moves: timed });
    }
}

/// Where along the ramp the wheel has risen so far, by bisection.
fn way_at_rise(rise: &impl Fn(f64) -> f64, [mut low, mut high]: [f64; 2], wanted_m: f64) -> f64 {
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if rise(middle) < wanted_m { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_climb_holds_every_hundred_millimetres_and_keeps_below_the_speed_limit() {
        let mut script = Script::default();
        script.still();
        script.climb(Phase::RampLeft, 0.1, 1.1, |way| 0.35 * (way - 0.1));
        let span = *script.phases().nth(1).expect("a climb");
        let (mut t, mut held_s, mut holds, mut top) = (span.from_s, 0.0, Vec::new(), 0.0_f64);
        let step = 0.01;
        while t + step < span.to_s - REST_S {
            let (before, after) = (script.at(t).expect("in it").1, script.at(t + step).expect("in it").1);
            assert!((after - before).abs() <= 0.15 * step, "too fast at {t}");
            top = top.max(after);
            held_s = if after == before { held_s + step } else { 0.0 };
            if held_s > 2.9 && holds.last() != Some(&before) {
                holds.push(before);
            }
            t += step;
        }
        let rises: Vec<f64> = holds.iter().map(|way| 0.35 * (way - 0.1)).collect();
        for (rise, wanted) in rises.iter().zip([0.1, 0.2, 0.3, 0.35]) {
            assert!((rise - wanted).abs() < 1e-9, "{rises:?}");
        }
        assert_eq!((rises.len(), top), (4, 1.1));
        assert_eq!(script.at(span.to_s - 0.5).expect("in it").1, 0.1, "and back");
        assert_eq!(script.at(span.to_s), None);
    }
}
