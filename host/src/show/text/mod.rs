//! Plain text for a terminal of 80 columns or fewer: a verdict first, then numbers by question. Colour only repeats what a word or
//! a sign already says.

mod analyse;
mod calibrate;
mod compare;
mod device;
mod export;
mod folders;
mod guide;
mod history;
mod joints;
mod loads;
mod page;
mod parts;
mod predict;
mod recording;
mod runs;
mod sensors;
mod side_by_side;
mod table;
mod tune;
mod wear;

pub use analyse::analysis;
pub use calibrate::{calibrated, calibration};
pub use compare::comparison;
pub use device::{device, moving as device_moving, turn as device_turn};
pub use export::exported;
pub use folders::{mended, verified};
pub use guide::{cut, now, resolved, said};
pub use history::{history, service};
pub use page::{Ink, WIDTH};
pub use predict::prediction;
pub use recording::{fetched, imported, recorded, recording};
pub use runs::runs;
pub use sensors::sensors;
pub use tune::tuning;
pub use wear::{fleet, wear};

#[cfg(test)]
mod predict_tests;
#[cfg(test)]
mod tests;

use super::Units;

/// Text with its paragraphs on lines of a screen of so many columns, and no wider than a usual one; what follows a dash hangs under
/// its first word.
pub fn wrapped_to(columns: usize, text: &str) -> String {
    let width = columns.clamp(page::LEAST, WIDTH);
    let line = |line: &str| match line.strip_prefix("  - ") {
        Some(item) => {
            let lines = page::wrap(item, width - 4);
            format!("  - {}", lines.join("\n    "))
        }
        None => page::wrap(line, width).join("\n"),
    };
    text.lines().map(line).collect::<Vec<_>>().join("\n")
}

/// Text with its lines broken where a screen of so many columns has no room for them; what is broken off hangs under the line's
/// beginning. A line that is a command stays whole, to be pasted.
pub fn fitted(text: &str, columns: usize) -> String {
    let columns = columns.max(page::LEAST);
    let fit = |line: &str| {
        let bare = line.trim_start();
        if line.chars().count() <= columns || bare.starts_with("hingeline ") {
            return line.to_owned();
        }
        let indent = " ".repeat(line.chars().count() - bare.chars().count());
        let lines = page::wrap(bare, columns.saturating_sub(indent.len()));
        lines.iter().map(|part| format!("{indent}{part}")).collect::<Vec<_>>().join("\n")
    };
    text.split('\n').map(fit).collect::<Vec<_>>().join("\n")
}

/// How text is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Units of the screen.
    pub units: Units,
    /// Whether colours are wanted.
    pub styled: bool,
    /// Columns of the screen; what there are beyond a usual one's stay empty.
    pub columns: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { units: Units::default(), styled: false, columns: WIDTH }
    }
}
