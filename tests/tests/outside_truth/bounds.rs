//! How closely each published number must be met, and why not more closely.
//!
//! In significant digits that agree, `−log10 |found − published| / |published|`, where it does not say otherwise.

/// Of an estimate's certified standard deviation. A sum of squares is flat at its bottom: where a few roundings of 1e-16 of
/// it hide the step, that step is below 1e-6 standard deviations. Reached: 4.3e-7 (Thurber's b2 from its second start).
pub const NONLINEAR_ESTIMATE_DEVIATIONS: f64 = 1e-6;
/// The least sum itself feels such a step only in the second order.
pub const NONLINEAR_RESIDUAL: f64 = 10.0;
/// The Jacobian moves with the estimate: what is left of the latter shows here too. Reached: 6.7 (Thurber).
pub const NONLINEAR_DEVIATION: f64 = 6.0;
/// Norris is well conditioned: 15 digits are certified, the data have rounding of 1e-16 times a condition of 1e3.
pub const NORRIS: f64 = 10.0;
/// Longley's columns of length one have the condition 4e4: its square, 2e9, times a rounding of 1e-16 leaves seven digits of
/// the covariance; the estimate itself is refined by the solver's further steps.
pub const LONGLEY_ESTIMATE: f64 = 9.0;
/// As above.
pub const LONGLEY_DEVIATION: f64 = 6.0;
