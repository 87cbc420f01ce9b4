//! Sets what was measured beside what was designed: verdicts, and what explains a difference.

mod result;

pub use result::*;
