//! The states that the solver is timed at.

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// Files of `tests/data/layouts`.
pub const LAYOUTS: [&str; 7] = ["t", "s", "w", "h", "q", "p", "r"];
/// Heaves of one sweep, and sweeps.
const HEAVES: usize = 41;
const ROLLS: usize = 21;
/// Heaves and rolls of the grid that random states start from.
const NODES: usize = 9;
/// Droop and bump, m.
const HEAVE_M: [f64; 2] = [-0.10, 0.08];
/// Articulation to either side, rad.
const ROLL_RAD: [f64; 2] = [-0.25, 0.25];
const SEED: u64 = 7;

fn part([low, high]: [f64; 2], k: usize, of: usize) -> f64 {
    low + (high - low) * k as f64 / (of - 1) as f64
}

/// Sweeps of heave, up and down in turn, from one articulation to the other: heave (m) and roll (rad).
fn sweeps(heaves: usize, rolls: usize) -> Vec<(f64, f64)> {
    let sweep = |roll: usize| {
        let turned = roll % 2 == 1;
        (0..heaves).map(move |k| {
            let heave = if turned { heaves - 1 - k } else { k };
            (part(HEAVE_M, heave, heaves), part(ROLL_RAD, roll, rolls))
        })
    };
    (0..rolls).flat_map(sweep).collect()
}

/// Every state, each next to the one before.
pub fn in_order() -> Vec<(f64, f64)> {
    sweeps(HEAVES, ROLLS)
}

/// The same states in an order of chance.
pub fn shuffled() -> Vec<(f64, f64)> {
    let mut states = in_order();
    states.shuffle(&mut ChaCha8Rng::seed_from_u64(SEED));
    states
}

/// The grid that random states start from.
pub fn nodes() -> Vec<(f64, f64)> {
    sweeps(NODES, NODES)
}

/// Which of the [`nodes`] lies nearest.
pub fn nearest_node((heave_m, roll_rad): (f64, f64)) -> usize {
    let index =
        |[low, high]: [f64; 2], at: f64| ((at - low) / (high - low) * (NODES - 1) as f64).round() as usize;
    let (heave, roll) = (index(HEAVE_M, heave_m), index(ROLL_RAD, roll_rad));
    roll * NODES + if roll % 2 == 1 { NODES - 1 - heave } else { heave }
}
