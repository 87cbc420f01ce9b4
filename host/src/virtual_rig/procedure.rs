//! A builder who calibrates a sensor: one position after another, each held through a phase of the test. A wire is held at lengths, a
//! unit lies on its faces, or its body is tilted.
//!
//! Hands are not exact: a length is off by what a tape is off, a face by some degrees, a named tilt by what a protractor is off.

use crate::geometry::Vector3;
use crate::run::PhaseSpan;
use nalgebra::Rotation3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// What hands are off by, one standard deviation: a tape, m; a face that lies on a bench that is not level, rad; a digital
/// protractor, rad.
pub const TAPE_U_M: f64 = 5e-4;
pub const FACE_U_RAD: f64 = 0.03;
pub const PROTRACTOR_U_RAD: f64 = 0.2 * std::f64::consts::PI / 180.0;

/// From one position to the next, s, at the beginning of the later one's phase.
const MOVE_S: f64 = 2.0;
/// Time step of the difference that gives a rate from directions, s.
const STEP_S: f64 = 1e-3;
/// A stream of numbers that no sensor draws from.
const HANDS: u64 = u64::MAX;

/// A position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Held {
    /// A scalar sensor at this true value, m or rad.
    Value(f64),
    /// A unit with this direction of its own axes up.
    Up(Vector3<f64>),
    /// A unit whose body has this roll and pitch against the level, rad.
    Tilt([f64; 2]),
}

/// The six faces of a unit, each up in turn; two that follow one another are never opposite.
pub const FACES: [Held; 6] = [
    Held::Up(Vector3::new(1.0, 0.0, 0.0)),
    Held::Up(Vector3::new(0.0, 1.0, 0.0)),
    Held::Up(Vector3::new(0.0, 0.0, 1.0)),
    Held::Up(Vector3::new(-1.0, 0.0, 0.0)),
    Held::Up(Vector3::new(0.0, -1.0, 0.0)),
    Held::Up(Vector3::new(0.0, 0.0, -1.0)),
];

/// Half of a right angle, as a part of the unit vector along each of two axes.
const HALF: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Six edges of a unit, which find what the faces leave open.
pub const EDGES: [Held; 6] = [
    Held::Up(Vector3::new(HALF, HALF, 0.0)),
    Held::Up(Vector3::new(0.0, HALF, HALF)),
    Held::Up(Vector3::new(HALF, 0.0, HALF)),
    Held::Up(Vector3::new(HALF, -HALF, 0.0)),
    Held::Up(Vector3::new(0.0, -HALF, HALF)),
    Held::Up(Vector3::new(-HALF, 0.0, HALF)),
];

/// The positions of one sensor, one per phase of the test.
#[derive(Debug, Clone, PartialEq)]
pub struct Procedure {
    /// The sensor, by its place in the rig.
    pub sensor: usize,
    /// Where it is truly held.
    positions: Vec<Held>,
}

impl Procedure {
    /// Positions as a builder means them, held as hands hold them; without a seed exactly.
    pub fn new(sensor: usize, meant: &[Held], seed: Option<u64>) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed.unwrap_or(0));
        rng.set_stream(HANDS);
        let mut off = |sigma: f64| {
            let z: f64 = StandardNormal.sample(&mut rng);
            if seed.is_some() { sigma * z } else { 0.0 }
        };
        let held = |meant: &Held| match *meant {
            Held::Value(value) => Held::Value(value + off(TAPE_U_M)),
            Held::Up(up) => {
                let turn = Vector3::from_fn(|_, _| off(FACE_U_RAD));
                Held::Up(Rotation3::from_scaled_axis(turn) * up)
            }
            // Level is what the others count from.
            Held::Tilt([roll, pitch]) if roll == 0.0 && pitch == 0.0 => *meant,
            Held::Tilt(angles) => Held::Tilt(angles.map(|a| a + off(PROTRACTOR_U_RAD))),
        };
        Self { sensor, positions: meant.iter().map(held).collect() }
    }

    /// Where the sensor is held at `t_s`; `phases` are those of the test.
    pub fn at<'a>(&self, phases: impl Iterator<Item = &'a PhaseSpan>, t_s: f64) -> Option<Held> {
        let (mut place, mut since_s) = (0, 0.0);
        for (k, span) in phases.enumerate().take(self.positions.len()) {
            if t_s >= span.from_s {
                (place, since_s) = (k, t_s - span.from_s);
            }
        }
        let now = *self.positions.get(place)?;
        let before = place.checked_sub(1).and_then(|k| self.positions.get(k)).copied().unwrap_or(now);
        Some(between(before, now, (since_s / MOVE_S).clamp(0.0, 1.0)))
    }

    /// Up direction (sensor axes, for a unit that lies on its faces) and rate of turning at `t_s`, rad/s.
    pub fn turning(up_at: impl Fn(f64) -> Vector3<f64>, t_s: f64) -> [Vector3<f64>; 2] {
        let (up, after) = (up_at(t_s), up_at(t_s + STEP_S));
        [up, after.cross(&up) / STEP_S]
    }
}

/// A part of the way from one position to another, slow at both ends.
fn between(from: Held, to: Held, part: f64) -> Held {
    let part = part * part * (3.0 - 2.0 * part);
    let mix = |a: f64, b: f64| a + (b - a) * part;
    match (from, to) {
        (Held::Value(a), Held::Value(b)) => Held::Value(mix(a, b)),
        (Held::Up(a), Held::Up(b)) => Held::Up((a + (b - a) * part).normalize()),
        (Held::Tilt(a), Held::Tilt(b)) => Held::Tilt([mix(a[0], b[0]), mix(a[1], b[1])]),
        _ => to,
    }
}
