//! One file per command: what it does, returned as data. The command line parses before it and renders after it.

pub mod init;
pub mod new;
mod writing;

pub use writing::WriteError;
