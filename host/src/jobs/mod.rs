//! One file per command's work: from paths and choices to a result type. Nothing here prints.

pub mod analyse;
pub mod compare;
pub mod init;
pub mod new;
pub mod predict;
pub mod sensors;
pub mod source;
mod writing;

pub use writing::WriteError;
