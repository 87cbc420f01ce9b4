//! Files that people write: TOML read with the place of every value, units converted once, and every mistake of a file
//! told at once with how to mend it. Text becomes types only here and in each module's `file.rs`.

mod comma;
mod diagnostic;
mod instant;
mod item;
pub mod logbook;
mod names;
mod reader;
mod section;
pub mod starters;
mod suggest;
mod units;
pub mod written;

pub(crate) use comma::with_point;
pub(crate) use diagnostic::locate;
pub use diagnostic::{Diagnostic, FileErrors, LoadError, read_text};
pub use instant::instant_us;
pub use item::{Bound, Item};
pub use names::Names;
pub use reader::{FORMAT, Reader, read};
pub use section::{Example, Section};
pub(crate) use suggest::{did_you_mean, nearest};
pub use units::{LENGTH_UNITS, Quantity, Unit, Units, parse_inches};
