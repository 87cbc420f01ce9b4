//! Walking from state to state: predict along the derivatives, settle, and go on only where the settled state lies close to
//! the prediction, so that a path never jumps to another branch.

use super::rows::Rows;
use super::settle::Settled;
use super::state::State;
use super::{Mechanism, just_determined, settle, strained};
use crate::design::error::{DesignError, OutOfReach};
use crate::geometry::DMatrix;

/// Longest step, m of heave plus roll at half the track.
const LONGEST_M: f64 = 0.1;
/// A path that needs shorter steps than this ends there.
const SHORTEST_M: f64 = 1e-7;
/// Largest correction after a prediction, as a fraction of the step: links bend paths by about step²/(2·length), 5 % of a
/// longest step with links of a metre.
const CLOSE: f64 = 0.3;
/// Corrections below this are rounding whatever the step, m.
const ROUNDING_M: f64 = 1e-9;

/// Settles one guess, the quick way where the layout allows it.
pub(super) fn settle_from(rows: &Rows, just_determined: bool, guess: &[f64]) -> Option<Settled> {
    match (just_determined, guess.len()) {
        (true, 6) => just_determined::settle::<4>(rows, guess),
        (true, 7) => just_determined::settle::<5>(rows, guess),
        (true, 8) => just_determined::settle::<6>(rows, guess),
        _ => strained::settle(rows, guess).or_else(|| settle::settle(rows, guess)),
    }
}

/// Follows a path of heave and roll, each state starting from the last: cheap for dense paths, safe for any step.
#[derive(Debug, Clone)]
pub struct Follower<'m> {
    mechanism: &'m Mechanism,
    state: State,
}

impl<'m> Follower<'m> {
    /// At ride height.
    pub fn new(mechanism: &'m Mechanism) -> Self {
        Self { mechanism, state: mechanism.ride.clone() }
    }

    /// At a state of this mechanism.
    pub fn from_state(mechanism: &'m Mechanism, state: State) -> Self {
        Self { mechanism, state }
    }

    /// Where it is.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// Goes to a heave and roll. Where the straight way from the present state is blocked it goes by ride height.
    ///
    /// # Errors
    /// [`OutOfReach`]; the follower then stays where it was.
    pub fn go(&mut self, heave_m: f64, roll_rad: f64) -> Result<&State, OutOfReach> {
        if let Some(next) = self.mechanism.step(&self.state, heave_m, roll_rad) {
            self.state = next;
            return Ok(&self.state);
        }
        let direct = self.mechanism.walk(&self.state, heave_m, roll_rad);
        self.state = match direct {
            Ok(state) => state,
            // From ride height there is no other way round.
            Err(stop) if self.state.pose == self.mechanism.ride.pose => return Err(stop),
            Err(_) => self.mechanism.walk(&self.mechanism.ride, heave_m, roll_rad)?,
        };
        Ok(&self.state)
    }

    /// [`Self::go`] for a single state.
    pub(super) fn into_state_at(mut self, heave_m: f64, roll_rad: f64) -> Result<State, OutOfReach> {
        self.go(heave_m, roll_rad)?;
        Ok(self.state)
    }
}

impl Mechanism {
    /// One step from `at`; `None` if it is too long or leads off the branch.
    fn step(&self, at: &State, heave_m: f64, roll_rad: f64) -> Option<State> {
        let length = self.path_length_m(at, heave_m, roll_rad);
        if length > LONGEST_M {
            return None;
        }
        let settle = |guess: &mut [f64]| {
            at.predicted(heave_m, roll_rad, guess);
            // Exactly what was asked for, not what rounding makes of it.
            (guess[2], guess[3]) = (heave_m, roll_rad);
            settle_from(&self.rows, self.just_determined, guess)
        };
        let settled = if at.inner.q.is_empty() {
            settle(&mut [0.0; 6])?
        } else {
            settle(&mut vec![0.0; self.rows.bodies.coordinates()])?
        };
        let near = settled.correction_m <= CLOSE * length + ROUNDING_M;
        (near && settled.state.branch == at.branch).then_some(settled.state)
    }

    /// Straight from `at` in as many steps as it takes.
    fn walk(&self, at: &State, heave_m: f64, roll_rad: f64) -> Result<State, OutOfReach> {
        let (h0, r0) = (at.pose.z_m, at.pose.roll_rad);
        let whole = self.path_length_m(at, heave_m, roll_rad);
        let mut at = at.clone();
        let (mut done, mut stride) = (0.0, 1.0_f64);
        while done < 1.0 {
            let next = (done + stride).min(1.0);
            let (heave, roll) = if next < 1.0 {
                (h0 + (heave_m - h0) * next, r0 + (roll_rad - r0) * next)
            } else {
                (heave_m, roll_rad)
            };
            if let Some(state) = self.step(&at, heave, roll) {
                (at, done) = (state, next);
                stride *= 2.0;
            } else {
                stride *= 0.5;
                if stride * whole <= SHORTEST_M || !whole.is_finite() {
                    return Err(self.out_of_reach(&at, heave_m, roll_rad));
                }
            }
        }
        Ok(at)
    }

    fn path_length_m(&self, at: &State, heave_m: f64, roll_rad: f64) -> f64 {
        (heave_m - at.pose.z_m).abs() + self.rows.half_track_m * (roll_rad - at.pose.roll_rad).abs()
    }

    fn out_of_reach(&self, at: &State, heave_m: f64, roll_rad: f64) -> OutOfReach {
        let mut q = vec![0.0; self.rows.bodies.coordinates()];
        at.predicted(at.pose.z_m, at.pose.roll_rad, &mut q);
        OutOfReach {
            axle: self.axle.clone(),
            heave_m,
            roll_rad,
            reached_heave_m: at.pose.z_m,
            reached_roll_rad: at.pose.roll_rad,
            member: stopper(&self.rows, &q),
        }
    }
}

/// The member that stops a motion at `q`. Where rigid members alone determine the coordinates, their Jacobian is singular at
/// a limit: some combination of forces in them balances without moving the axle, and the member that carries most of it
/// stops the axle. Otherwise it is the row that carries most force.
fn stopper(rows: &Rows, q: &[f64]) -> String {
    let (residuals, j) = rows.evaluate(q);
    let rigid = rows.rigid();
    let row = if rigid > 0 {
        let c: DMatrix<f64> = j.rows_range(..rigid).select_columns(rows.bodies.free().iter());
        let eigen = (&c * c.transpose()).symmetric_eigen();
        eigen.eigenvectors.column(eigen.eigenvalues.imin()).iamax()
    } else {
        let force_n = |row: usize| (rows.weight(row) * residuals[row]).abs();
        (0..residuals.len()).max_by(|&a, &b| force_n(a).total_cmp(&force_n(b))).unwrap_or(0)
    };
    rows.name(row).to_string()
}

/// Solves the ride pose (heave and roll 0): members go from their drawn lengths to the stated ones.
pub(super) fn join(
    axle: &str,
    rows: &mut Rows,
    just_determined: bool,
    stated_m: &[Option<f64>],
) -> Result<State, DesignError> {
    let drawn_m: Vec<f64> = rows.members.iter().map(|m| m.length_m).collect();
    let changes: Vec<f64> = drawn_m.iter().zip(stated_m).map(|(d, s)| s.map_or(0.0, |s| s - d)).collect();
    let whole = changes.iter().fold(0.0_f64, |a, c| a.max(c.abs()));
    let no_join =
        |rows: &Rows, q: &[f64]| DesignError::RidePose { axle: axle.to_string(), member: stopper(rows, q) };
    let mut q = vec![0.0; rows.bodies.coordinates()];
    let mut state = settle_from(rows, just_determined, &q).ok_or_else(|| no_join(rows, &q))?.state;
    let (mut done, mut stride) = (0.0, 1.0_f64);
    while done < 1.0 && whole > 0.0 {
        let next = (done + stride).min(1.0);
        for (member, (drawn, change)) in rows.members.iter_mut().zip(drawn_m.iter().zip(&changes)) {
            member.length_m = drawn + change * next;
        }
        state.predicted(0.0, 0.0, &mut q);
        let settled = settle_from(rows, just_determined, &q);
        // Without a prediction the axle moves by a few times the change of length.
        let near = |s: &Settled| s.correction_m <= 10.0 * (next - done) * whole + ROUNDING_M;
        match settled.filter(|s| near(s) && s.state.branch == state.branch) {
            Some(settled) => {
                (state, done) = (settled.state, next);
                stride *= 2.0;
            }
            None => {
                stride *= 0.5;
                if stride * whole < SHORTEST_M {
                    return Err(no_join(rows, &q));
                }
            }
        }
    }
    Ok(state)
}
