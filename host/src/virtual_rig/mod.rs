//! A virtual vehicle on a virtual ramp, the sensors on it, and the parts that the real logger reads them through.
//!
//! `vehicle_on_ramp` knows where the true vehicle is at any time, `readings` what each sensor feels there, `parts` the
//! registers that it shows itself in, and `logger` runs the real firmware against them in virtual time.

mod contact;
pub mod deviation;
mod ease;
mod error;
pub mod hands;
#[cfg(unix)]
pub mod image;
pub mod logger;
mod memory;
pub mod pace;
pub mod parts;
pub mod procedure;
#[cfg(unix)]
pub mod pty;
mod pull;
pub mod readings;
pub mod scenario;
mod script;
mod spline;
mod springs;
pub mod stage;
mod stand;
mod vehicle_on_ramp;
pub mod wiring;

#[cfg(test)]
mod tests;

pub use error::VirtualRigError;
pub use pull::PULL_N;
pub use vehicle_on_ramp::{Lift, Stance, Test, VehicleOnRamp};
