//! One file per command's work: from paths and choices to a result type. Nothing here prints.

pub mod analyse;
pub mod by_hand;
pub mod calibrate;
pub mod catalogue;
pub mod cautions;
pub mod compare;
pub mod demo;
pub mod device;
pub mod export;
pub mod history;
pub mod import;
pub mod init;
pub mod new;
pub mod own_copy;
pub mod predict;
pub mod record;
pub mod runs;
pub mod sensors;
pub mod service;
#[cfg(unix)]
pub mod simulate;
pub mod source;
pub mod subject;
pub mod tune;
pub mod vehicle_folder;
mod virtual_line;
pub mod wear;
pub mod what_if;
mod writing;

pub use writing::WriteError;
