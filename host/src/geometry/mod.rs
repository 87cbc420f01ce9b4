//! Pure functions on numbers: poses, bodies in space, distances, and the one least-squares solver.
//!
//! Axes are those of ISO 8855:2011: x forward, y left, z up, right-handed.

pub mod clearance;
pub mod distance;
pub mod least_squares;
pub mod on_ramp;
pub mod placed;
pub mod pose;
pub mod relative;
pub mod square;

pub use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
pub use pose::Pose;
