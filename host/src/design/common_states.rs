//! States at which every axle is told, whatever its file asks for, so that layouts can be set side by side: flexed by the same
//! angle, bounced by the same height.

use super::error::DesignError;
use super::mechanism::Mechanism;
use super::predict::states;
use super::prediction::AtState;
use super::tolerance::{Known, known_at};
use crate::vehicle::Vehicle;
use crate::vehicle::numbers::FLEX_RAD;

/// Bump and droop at which every axle is told, m.
pub const BUMP_M: f64 = 0.1;

/// An axle at the states that all axles have in common.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonStates {
    /// Articulated by [`FLEX_RAD`]: left wheel up, right wheel up.
    pub flex: Vec<Flexed>,
    /// [`BUMP_M`] of bump, then as much droop.
    pub bump: Vec<AtState>,
}

/// An articulated axle, with how well that is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Flexed {
    /// What is there.
    pub at: AtState,
    /// How well it is known; none where the state, or a state just beside it, is out of reach.
    pub u: Option<Known>,
}

/// Solves them, each from ride height.
///
/// # Errors
/// Those of [`Mechanism::new`]; a state out of reach is an answer.
pub fn common_states(vehicle: &Vehicle, axle_index: usize) -> Result<CommonStates, DesignError> {
    let mechanism = Mechanism::new(vehicle, axle_index)?;
    let flex = [FLEX_RAD, -FLEX_RAD]
        .into_iter()
        .flat_map(|roll_rad| states(&mechanism, [(0.0, roll_rad)]))
        .map(|at| {
            let known = |_| known_at(vehicle, axle_index, at.heave_m, at.roll_rad).ok();
            let u = at.outcome.as_ref().ok().and_then(known);
            Flexed { at, u }
        })
        .collect();
    let bump =
        [BUMP_M, -BUMP_M].into_iter().flat_map(|heave_m| states(&mechanism, [(heave_m, 0.0)])).collect();
    Ok(CommonStates { flex, bump })
}
