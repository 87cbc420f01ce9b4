//! A plot with a name for each row instead of numbers upwards: values of several things beside one another, each with its
//! interval, on one axis.

use super::chart::{BELOW_PX, number, numbers_in, widened, widest_px};
use super::draw::{Drawn, Pen, WIDTH_PX, mark};
use super::{Line, Plot, Point};
use crate::show::palette;
use plotters::coord::Shift;
use plotters::coord::ranged1d::Ranged;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

/// Height of a row: its name, and its marks under it, CSS px.
const ROW_PX: f64 = 44.0;
/// Middle of a row's name below its upper edge, CSS px.
const NAME_PX: f64 = 10.0;
/// Middle of its first mark below its upper edge; each further line stands this much lower, CSS px.
const MARKS_PX: (f64, f64) = (24.0, 10.0);
/// Least room beside the axis, CSS px.
const BESIDE_PX: f64 = 14.0;
/// Half the height of an interval's ends, CSS px.
const END_PX: f64 = 3.5;

/// Height without the legend, CSS px.
pub fn height_px(plot: &Plot) -> f64 {
    ROW_PX * plot.rows.len() as f64 + BELOW_PX
}

/// Room beside the axis, so that no number at its ends sticks out, CSS px.
fn beside_px(x: (f64, f64)) -> f64 {
    (0.5 * widest_px(x) + 2.0).max(BESIDE_PX)
}

/// Rows from top to bottom, the axis under them.
pub fn paint<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    plot: &Plot,
    x: (f64, f64),
    pen: &Pen,
) -> Drawn<DB> {
    let x = widened(x);
    let (left, right) = (pen.px(beside_px(x)), pen.px(WIDTH_PX - beside_px(x)));
    let across = |value: f64| left + (f64::from(right - left) * (value - x.0) / (x.1 - x.0)).round() as i32;
    let bottom = pen.px(ROW_PX * plot.rows.len() as f64);
    let faint = pen.stroke(palette::FAINT, 1.0);
    axis(area, plot, x, (left, right, bottom), &across, pen)?;
    area.draw(&PathElement::new([(left, bottom), (right, bottom)], faint))?;
    for (row, name) in plot.rows.iter().enumerate() {
        let top = ROW_PX * row as f64;
        let style = pen.text(palette::INK, HPos::Left, VPos::Center);
        area.draw(&Text::new(name.clone(), (left, pen.px(top + NAME_PX)), style))?;
        if x.0 < 0.0 && x.1 > 0.0 {
            // It stops short of the names.
            let ends = [top + MARKS_PX.0 - MARKS_PX.1 / 2.0, top + ROW_PX].map(|y| (across(0.0), pen.px(y)));
            area.draw(&PathElement::new(ends, pen.stroke(palette::GRID, 1.0)))?;
        }
        for (k, line) in plot.lines.iter().enumerate() {
            let y = pen.px(top + MARKS_PX.0 + MARKS_PX.1 * k as f64);
            for point in line.pieces.iter().flatten().filter(|p| p.y as usize == row) {
                interval(area, line, point, y, &across, pen)?;
            }
        }
    }
    Ok(())
}

fn interval<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    line: &Line,
    point: &Point,
    y: i32,
    across: &dyn Fn(f64) -> i32,
    pen: &Pen,
) -> Drawn<DB> {
    let stroke = pen.stroke(line.look.colour(), 1.6);
    if let Some(half) = point.half {
        let (from, to, end) = (across(point.x - half), across(point.x + half), pen.px(END_PX));
        area.draw(&PathElement::new([(from, y), (to, y)], stroke))?;
        for x in [from, to] {
            area.draw(&PathElement::new([(x, y - end), (x, y + end)], stroke))?;
        }
    }
    mark(area, line.look.marker(), (across(point.x), y), stroke, pen)
}

fn axis<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    plot: &Plot,
    x: (f64, f64),
    (left, right, bottom): (i32, i32, i32),
    across: &dyn Fn(f64) -> i32,
    pen: &Pen,
) -> Drawn<DB> {
    let most = numbers_in(WIDTH_PX - 2.0 * beside_px(x), x);
    let range = RangedCoordf64::from(x.0..x.1);
    for value in range.key_points(most) {
        let at = across(value);
        area.draw(&PathElement::new(
            [(at, bottom), (at, bottom + pen.px(4.0))],
            pen.stroke(palette::FAINT, 1.0),
        ))?;
        let style = pen.text(palette::INK, HPos::Center, VPos::Top);
        area.draw(&Text::new(number(value, x), (at, bottom + pen.px(6.0)), style))?;
    }
    let style = pen.text(palette::INK, HPos::Center, VPos::Bottom);
    area.draw(&Text::new(plot.x.clone(), ((left + right) / 2, bottom + pen.px(BELOW_PX)), style))
}
