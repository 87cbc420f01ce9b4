//! hingeline: measures how a straight axle really moves, and sets it beside its design.
//!
//! Data flows one way: `files` and `geometry` carry `vehicle` and `rig`; `design` predicts from a vehicle, `run` holds what
//! sensors saw, `measure` turns it into motion and numbers without looking at the design, `judge` sets the two side by side,
//! `jobs` is one file per command, `show` renders results. Everything inside is SI; other units exist only in files and on screens.

pub mod calibrate;
pub mod cli;
pub mod design;
pub mod device;
pub mod explain;
pub mod files;
pub mod geometry;
pub mod history;
pub mod jobs;
pub mod judge;
pub mod measure;
pub mod rig;
pub mod run;
pub mod serve;
pub mod show;
pub mod vehicle;
pub mod virtual_rig;
