//! The quick way for a layout whose members just determine the free coordinates: Newton's method on the elongations, on the
//! stack. Strain energy is zero at such a state whatever the stiffness, so every member counts as rigid here.

use super::bodies::{HEAVE, ROLL};
use super::locate::RANK_TOLERANCE;
use super::rows::Rows;
use super::settle::{SETTLED_M, Settled};
use crate::geometry::pose::COORDINATES;
use crate::geometry::square::Factored;

/// Coordinates that the quick way has room for: the axle and two cranks.
pub(super) const ROOM: usize = COORDINATES + 2;
/// Newton steps before a state counts as not found; from a nearby state it takes two or three.
const STEPS: usize = 12;

/// Elongations at `q` with their derivatives by the free and by the imposed coordinates.
struct Elongations<const N: usize> {
    values: [f64; N],
    free: [[f64; N]; N],
    imposed: [[f64; N]; 2],
}

/// The coordinate behind a free one: x, y, pitch, yaw, cranks.
pub(super) fn free_coordinate(k: usize) -> usize {
    if k < HEAVE { k } else { k + 2 }
}

fn elongations<const N: usize>(rows: &Rows, q: &[f64; ROOM]) -> Elongations<N> {
    let placed = rows.bodies.place(q);
    let mut out = Elongations { values: [0.0; N], free: [[0.0; N]; N], imposed: [[0.0; N]; 2] };
    for (row, member) in rows.members.iter().enumerate().take(N) {
        let mut gradient = [0.0; ROOM];
        out.values[row] = member.elongation(&placed, &mut gradient);
        out.free[row] = std::array::from_fn(|k| gradient[free_coordinate(k)]);
        out.imposed[0][row] = gradient[HEAVE];
        out.imposed[1][row] = gradient[ROLL];
    }
    out
}

/// Whether the members at `q` are certain to determine the free coordinates, to the tolerance that ranks are counted with.
/// Norms bound the singular values, `1/‖A⁻¹‖ ≤ σ_min` and `σ_max ≤ ‖A‖`: a `false` means that a rank must be counted.
pub(super) fn certainly_determined<const N: usize>(rows: &Rows, q: &[f64]) -> bool {
    let mut at = [0.0; ROOM];
    at[..q.len()].copy_from_slice(q);
    let mut a = elongations::<N>(rows, &at).free;
    for row in &mut a {
        for (k, value) in row.iter_mut().enumerate() {
            *value /= rows.bodies.size_m(free_coordinate(k), rows.half_track_m);
        }
    }
    let Some(factored) = Factored::new(a) else { return false };
    let square = |rows: [[f64; N]; N]| rows.iter().flatten().map(|v| v * v).sum::<f64>();
    let inverse: [[f64; N]; N] =
        std::array::from_fn(|k| factored.solve(&std::array::from_fn(|l| if k == l { 1.0 } else { 0.0 })));
    RANK_TOLERANCE.powi(2) * square(a) * square(inverse) < 1.0
}

/// Brings every member to its length from the guess `q`, heave and roll held; `None` if that fails.
pub(super) fn settle<const N: usize>(rows: &Rows, guess: &[f64]) -> Option<Settled> {
    let mut q = [0.0; ROOM];
    q[..guess.len()].copy_from_slice(guess);
    for _ in 0..STEPS {
        let e = elongations::<N>(rows, &q);
        let factored = Factored::new(e.free)?;
        let step = factored.solve(&e.values);
        let mut longest = 0.0_f64;
        for (k, s) in step.iter().enumerate() {
            let coordinate = free_coordinate(k);
            q[coordinate] -= s;
            let size = rows.bodies.size_m(coordinate, rows.half_track_m);
            longest = longest.max((s * size).abs());
        }
        if !longest.is_finite() {
            return None;
        }
        if longest < SETTLED_M {
            return Some(settled(rows, guess, &q, &e, &factored));
        }
    }
    None
}

/// With the Jacobian of the last step, one step of size [`SETTLED_M`] away at the most.
fn settled<const N: usize>(
    rows: &Rows,
    guess: &[f64],
    q: &[f64; ROOM],
    e: &Elongations<N>,
    factored: &Factored<N>,
) -> Settled {
    // Elongation stays zero along the motion: J_free·dq = −J_imposed.
    let rates = |which: usize| {
        let solved = factored.solve(&e.imposed[which]);
        let mut all = [0.0; ROOM];
        for (k, s) in solved.iter().enumerate() {
            all[free_coordinate(k)] = -s;
        }
        all[[HEAVE, ROLL][which]] = 1.0;
        all
    };
    let (by_heave, by_roll) = (rates(0), rates(1));
    let n = rows.bodies.coordinates();
    let rates = [&by_heave[..n], &by_roll[..n]];
    let state = Settled::unstrained(&rows.bodies, &q[..n], rates, factored.sign);
    Settled::new(rows, guess, &q[..n], state)
}
