//! Tests of the predictor as a whole.

mod closed_forms;
mod facts_of_the_trade;
mod location;
mod tolerance;
mod worked_values;
