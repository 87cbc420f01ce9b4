//! Where the entries of a legend stand: side by side as far as they fit, then on the next line.

use super::Line;
use crate::show::font;

/// Length of a line's sample, px.
pub const SAMPLE_PX: f64 = 26.0;
/// Between a sample and its word, px.
pub const GAP_PX: f64 = 5.0;
/// Between entries, px.
const APART_PX: f64 = 14.0;
/// Height of a line of the legend, px.
pub const ROW_PX: f64 = 17.0;

/// Left end and row of each entry.
pub fn places(lines: &[Line], width_px: f64, text_px: f64) -> Vec<(f64, usize)> {
    let (mut x, mut row) = (0.0, 0);
    lines
        .iter()
        .map(|line| {
            let width = SAMPLE_PX + GAP_PX + font::width_px(&line.name, text_px);
            if x > 0.0 && x + width > width_px {
                (x, row) = (0.0, row + 1);
            }
            let place = (x, row);
            x += width + APART_PX;
            place
        })
        .collect()
}
