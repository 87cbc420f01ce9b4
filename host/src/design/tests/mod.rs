//! Tests of the predictor as a whole.

mod facts_of_the_trade;
mod location;
mod tolerance;
mod worked_values;
