//! Pure renderers of result types: text for terminals, JSON for scripts, plots, drawings and the report for people.
//! Nothing here computes a result, prints or reads a file; everything returns a string or bytes.

pub mod beside;
pub mod binding;
pub mod calibration;
pub mod clearances;
pub mod csv;
pub mod drawing;
pub mod driveshaft;
pub mod entries;
pub mod flex;
pub mod font;
mod hand;
pub mod json;
pub mod page;
pub mod palette;
pub mod phrases;
pub mod plot;
pub mod qr;
pub mod questions;
pub mod ramp;
pub mod report;
pub mod rows;
pub mod sweeps;
pub mod text;
pub mod told;
pub mod trade;
pub mod tuning;
pub mod units;
pub mod verdict;
pub mod wear;
pub mod words;

#[cfg(test)]
mod sample;

pub use units::Units;
