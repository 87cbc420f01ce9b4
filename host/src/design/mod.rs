//! What a drawn axle does: its mechanism, its characteristic numbers, sweeps, and how well they follow from the points.

pub mod error;
pub mod mechanism;

pub use error::DesignError;
pub use mechanism::{Follower, Mechanism, State};

#[cfg(test)]
pub(crate) mod cases;
#[cfg(test)]
mod tests;
