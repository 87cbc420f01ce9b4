//! Sets what was measured beside what was designed: verdicts, and what explains a difference.

pub mod brackets;
pub mod built;
pub mod compare;
pub mod evidence;
pub mod findings;
pub mod give;
pub mod looseness;
mod odds;
pub mod place;
pub mod sensors;
pub mod verdict;

mod result;

pub use result::*;
