//! The demonstration's own vehicle and rig, a scenario of our own.

/// Bramble as drawn.
pub const VEHICLE: &str = include_str!("scenario/vehicle.toml");
/// What is clipped to it.
pub const RIG: &str = include_str!("scenario/rig.toml");
