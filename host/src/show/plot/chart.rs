//! A plot with two axes of numbers: its axes, bands and lines.

use super::draw::{Drawn, Pen, TEXT_PX, WIDTH_PX, rgb};
use super::{Line, Marker, Plot, Point};
use crate::show::{font, palette};
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

/// Least room for the numbers left of the axis, CSS px.
const LEFT_PX: f64 = 50.0;
/// Room for the numbers and the name under the axis, CSS px.
pub const BELOW_PX: f64 = 36.0;
/// Room for the name of the upward axis above the plot, clear of the highest number beside the axis, CSS px.
const ABOVE_PX: f64 = 28.0;
/// Middle of that name, CSS px.
const NAME_PX: f64 = 9.0;
/// Room on the right, so that the last number does not stick out, CSS px.
const RIGHT_PX: f64 = 14.0;
/// Two bands over each other are still lighter than their lines.
pub const OPACITY: f64 = 0.16;

type Chart<'a, DB> = ChartContext<'a, DB, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// The axes with their numbers, the bands, the lines.
pub fn paint<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    plot: &Plot,
    [x, y]: [(f64, f64); 2],
    pen: &Pen,
) -> Drawn<DB> {
    let (x, y) = (widened(x), widened(y));
    let style = pen.text(palette::INK, HPos::Left, VPos::Center);
    area.draw(&Text::new(plot.y.clone(), (pen.px(2.0), pen.px(NAME_PX)), style))?;
    let mut chart = ChartBuilder::on(area)
        .margin_top(pen.px(ABOVE_PX))
        .margin_right(pen.px(RIGHT_PX))
        .set_label_area_size(LabelAreaPosition::Left, pen.px(left_px(y)))
        .set_label_area_size(LabelAreaPosition::Bottom, pen.px(BELOW_PX))
        .build_cartesian_2d(x.0..x.1, y.0..y.1)?;
    let numbers = pen.text(palette::INK, HPos::Right, VPos::Center);
    chart
        .configure_mesh()
        .disable_x_mesh()
        .disable_y_mesh()
        .axis_style(pen.stroke(palette::FAINT, 1.0))
        .set_all_tick_mark_size(pen.px(4.0))
        .x_labels(most_numbers(x, y))
        .y_labels(6)
        .x_label_formatter(&|v| number(*v, x))
        .y_label_formatter(&|v| number(*v, y))
        .x_desc(plot.x.clone())
        .axis_desc_style(pen.text(palette::INK, HPos::Center, VPos::Center))
        .label_style(numbers)
        .draw()?;
    guides(&mut chart, (x, y), pen)?;
    for line in &plot.lines {
        band(&mut chart, line)?;
    }
    // Dashed lines lie on top, so that both show where they agree.
    let (dashed, solid): (Vec<&Line>, Vec<&Line>) = plot.lines.iter().partition(|l| l.look.dash().is_some());
    for line in solid.into_iter().chain(dashed) {
        stroke(&mut chart, line, pen)?;
    }
    Ok(())
}

/// Room around the data, so that no mark is cut; a range of nothing gets one of its own.
pub fn widened((low, high): (f64, f64)) -> (f64, f64) {
    let span = high - low;
    let room = if span > 0.0 { 0.06 * span } else { 0.5 * low.abs().max(1.0) };
    (low - room, high + room)
}

/// Width of the widest number beside an axis, CSS px.
pub fn widest_px(range: (f64, f64)) -> f64 {
    [range.0, range.1].map(|v| font::width_px(&number(v, range), TEXT_PX)).into_iter().fold(0.0, f64::max)
}

/// Room for the numbers left of the axis, CSS px: its tick stands between.
fn left_px(y: (f64, f64)) -> f64 {
    (widest_px(y) + 14.0).max(LEFT_PX)
}

/// How many numbers have room side by side under the plot.
fn most_numbers(x: (f64, f64), y: (f64, f64)) -> usize {
    numbers_in(WIDTH_PX - left_px(y) - RIGHT_PX, x)
}

/// How many numbers of a range have room side by side in so many CSS px.
pub fn numbers_in(room: f64, x: (f64, f64)) -> usize {
    /// Between two numbers, CSS px.
    const APART_PX: f64 = 18.0;
    (room / (widest_px(x) + APART_PX)).floor().clamp(2.0, 8.0) as usize
}

/// A number beside an axis, with as many decimals as six steps of this range need.
pub fn number(value: f64, (low, high): (f64, f64)) -> String {
    let step = (high - low) / 6.0;
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(size) if size.chars().any(|c| ('1'..='9').contains(&c)) => format!("−{size}"),
        Some(size) => size.to_owned(),
        None => text,
    }
}

/// Lines through zero, where zero is within the plot.
fn guides<DB: DrawingBackend>(
    chart: &mut Chart<'_, DB>,
    (x, y): ((f64, f64), (f64, f64)),
    pen: &Pen,
) -> Drawn<DB> {
    let style = pen.stroke(palette::GRID, 1.0);
    if y.0 < 0.0 && y.1 > 0.0 {
        chart.draw_series([PathElement::new([(x.0, 0.0), (x.1, 0.0)], style)])?;
    }
    if x.0 < 0.0 && x.1 > 0.0 {
        chart.draw_series([PathElement::new([(0.0, y.0), (0.0, y.1)], style)])?;
    }
    Ok(())
}

fn band<DB: DrawingBackend>(chart: &mut Chart<'_, DB>, line: &Line) -> Drawn<DB> {
    for piece in &line.pieces {
        let known: Vec<(&Point, f64)> = piece.iter().filter_map(|p| Some((p, p.half?))).collect();
        let above = known.iter().map(|(p, half)| (p.x, p.y + half));
        let below = known.iter().rev().map(|(p, half)| (p.x, p.y - half));
        let outline: Vec<(f64, f64)> = above.chain(below).collect();
        if known.len() > 1 {
            chart.draw_series([Polygon::new(outline, rgb(line.look.colour()).mix(OPACITY).filled())])?;
        }
    }
    Ok(())
}

fn stroke<DB: DrawingBackend>(chart: &mut Chart<'_, DB>, line: &Line, pen: &Pen) -> Drawn<DB> {
    if line.look.is_band() {
        return Ok(());
    }
    let style = pen.stroke(line.look.colour(), 2.0);
    for piece in &line.pieces {
        let points: Vec<(f64, f64)> = piece.iter().map(|p| (p.x, p.y)).collect();
        if let [alone] = piece.as_slice() {
            whisker(chart, alone, style, pen)?;
            let marker = if line.look.marker() == Marker::None { Marker::Disc } else { line.look.marker() };
            marks(chart, marker, points.into_iter(), style, pen)?;
            continue;
        }
        if line.look.is_line() {
            match line.look.dash() {
                Some((dash, gap)) => {
                    let dashed = DashedLineSeries::new(points.clone(), pen.px(dash), pen.px(gap), style);
                    chart.draw_series(dashed)?;
                }
                None => {
                    chart.draw_series([PathElement::new(points.clone(), style)])?;
                }
            }
        }
        let (first, every) = line.look.marked();
        marks(chart, line.look.marker(), points.into_iter().skip(first).step_by(every), style, pen)?;
    }
    Ok(())
}

/// The interval of a point that stands alone, which no band can show.
fn whisker<DB: DrawingBackend>(
    chart: &mut Chart<'_, DB>,
    point: &Point,
    style: ShapeStyle,
    pen: &Pen,
) -> Drawn<DB> {
    let Some(half) = point.half else { return Ok(()) };
    let bar = ErrorBar::new_vertical(point.x, point.y - half, point.y, point.y + half, style, pen.width(7.0));
    chart.draw_series([bar])?;
    Ok(())
}

fn marks<DB: DrawingBackend>(
    chart: &mut Chart<'_, DB>,
    marker: Marker,
    points: impl Iterator<Item = (f64, f64)>,
    style: ShapeStyle,
    pen: &Pen,
) -> Drawn<DB> {
    match marker {
        Marker::None => {}
        Marker::Disc => {
            chart.draw_series(points.map(|p| Circle::new(p, pen.px(3.0), style.filled())))?;
        }
        Marker::Triangle => {
            chart.draw_series(points.map(|p| TriangleMarker::new(p, pen.px(4.0), style.filled())))?;
        }
        Marker::Cross => {
            chart.draw_series(points.map(|p| Cross::new(p, pen.px(3.4), style)))?;
        }
        Marker::Ring => {
            let ground = rgb(palette::PAPER).filled();
            for p in points {
                chart.draw_series([Circle::new(p, pen.px(3.4), ground)])?;
                chart.draw_series([Circle::new(p, pen.px(3.4), style)])?;
            }
        }
    }
    Ok(())
}
