//! JSON for scripts: SI, keys end in their unit, every key always present, null where there is no value.

pub mod predict;
