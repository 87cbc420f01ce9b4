//! What a drawn axle does: its mechanism, its characteristic numbers, sweeps, and how well they follow from the points.

pub mod clearance;
pub mod common_states;
pub mod drag_link;
pub mod driveshaft;
pub mod error;
pub mod file;
pub mod loads;
pub mod mechanism;
pub mod misalignment;
pub mod over_travel;
pub mod predict;
pub mod prediction;
pub mod ramp;
pub mod springs;
pub mod tolerance;
mod travel_ends;
pub mod tune;

pub use common_states::{CommonStates, common_states};
pub use error::{DesignError, OutOfReach};
pub use mechanism::{Follower, Mechanism, State};
pub use predict::{Wanted, predict, predict_wanted};
pub use prediction::Prediction;

#[cfg(test)]
pub(crate) mod cases;
#[cfg(test)]
mod tests;
