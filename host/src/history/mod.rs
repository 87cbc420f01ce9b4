//! Runs over time: what each run measured, what was done to the vehicle in between, and which joint wears.

pub mod chart;
pub mod comparable;
pub mod growth;
pub mod quantity;
pub mod record;
pub mod service;
pub mod service_file;
pub mod store;
pub mod wear;
