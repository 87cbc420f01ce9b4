//! Draws a plot with plotters, onto SVG or pixels.
//!
//! Lengths are CSS pixels of a plot that is [`WIDTH_PX`] wide, the width of a phone's column; the drawing itself is done in
//! units [`FINE`] times smaller, since the plotter rounds to whole ones.

use super::legend::{self, GAP_PX, ROW_PX, SAMPLE_PX};
use super::{Line, Marker, Plot, Point};
use crate::explain::{Explain, Status};
use crate::show::font::{self, FAMILY};
use crate::show::palette::{self, Colour};
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::element::DashedPathElement;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use thiserror::Error;

/// Width of a plot, CSS px.
pub const WIDTH_PX: f64 = 336.0;
/// Drawing units per CSS px.
const FINE: f64 = 4.0;
/// Size of all text, CSS px per em: 9.6 pt, so that print at nine tenths still has 9 pt less a hair's breadth of shrinking.
pub const TEXT_PX: f64 = 12.8;
/// The plotter writes its font size into SVG divided by this.
const SIZE_PER_EM: f64 = 1.24;
/// Least room for the numbers left of the axis, CSS px.
const LEFT_PX: f64 = 50.0;
/// Room for the numbers and the name under the axis, CSS px.
const BELOW_PX: f64 = 36.0;
/// Room for the name of the upward axis above the plot, clear of the highest number beside the axis, CSS px.
const ABOVE_PX: f64 = 28.0;
/// Middle of that name, CSS px.
const NAME_PX: f64 = 9.0;
/// Room on the right, so that the last number does not stick out, CSS px.
const RIGHT_PX: f64 = 14.0;

type Chart<'a, DB> = ChartContext<'a, DB, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// Why a plot cannot be drawn.
#[derive(Debug, Error)]
pub enum PlotError {
    /// No line has a point.
    #[error("the plot \"{0}\" has no points")]
    Empty(String),
    /// The plotter gave up.
    #[error("the plot \"{0}\" cannot be drawn: {1}")]
    Drawing(String, String),
    /// The pixels cannot be coded.
    #[error("the plot \"{0}\" cannot be coded as PNG: {1}")]
    Coding(String, #[source] png::EncodingError),
}

// A plot without points is left out before it is drawn; what is left is trouble inside the plotter, and says so.
impl Explain for PlotError {
    fn status(&self) -> Status {
        Status::Device
    }
}

/// Height of the whole picture, CSS px.
fn height_px(plot: &Plot) -> f64 {
    WIDTH_PX * plot.aspect + legend_px(plot)
}

fn legend_px(plot: &Plot) -> f64 {
    let rows = legend::places(&plot.lines, WIDTH_PX, TEXT_PX).iter().map(|(_, row)| row + 1).max();
    ROW_PX * rows.unwrap_or(0) as f64 + 4.0
}

/// A picture file of its own, with the font in it.
///
/// # Errors
/// Without points, or if the plotter fails.
pub fn svg(plot: &Plot) -> Result<String, PlotError> {
    let style = format!("<style>{}</style>", font::picture_css());
    let (width, height) = size(plot, 1.0);
    let attributes = format!("xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" ");
    wrapped(plot, &attributes, &style)
}

/// For a page that carries the font.
///
/// # Errors
/// As for [`svg`].
pub fn inline_svg(plot: &Plot) -> Result<String, PlotError> {
    wrapped(plot, "", "")
}

fn wrapped(plot: &Plot, attributes: &str, style: &str) -> Result<String, PlotError> {
    let (width, height) = size(plot, FINE);
    let mut raw = String::new();
    paint(plot, SVGBackend::with_string(&mut raw, (width, height)), FINE, FINE)?;
    // The plotter's own opening tag fixes a width in pixels and has neither title nor description.
    let body = raw.split_once('>').map_or("", |(_, body)| body);
    let id = &plot.slug;
    let (title, description) = (escaped(&plot.title), escaped(&plot.description));
    Ok(format!(
        "<svg {attributes}viewBox=\"0 0 {width} {height}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\
         <title id=\"{id}-t\">{title}</title><desc id=\"{id}-d\">{description}</desc>{style}{body}"
    ))
}

/// Pixels, `scale` per CSS px.
///
/// # Errors
/// As for [`svg`], and if the pixels cannot be coded.
pub fn png(plot: &Plot, scale: f64) -> Result<Vec<u8>, PlotError> {
    let (width, height) = size(plot, scale);
    let mut pixels = vec![0; 3 * width as usize * height as usize];
    // The rasteriser counts a font's size from ascent to descent.
    let text = scale * font::HEIGHT_PER_EM / SIZE_PER_EM;
    paint(plot, BitMapBackend::with_buffer(&mut pixels, (width, height)), scale, text)?;
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let coding = |e| PlotError::Coding(plot.slug.clone(), e);
    let mut writer = encoder.write_header().map_err(coding)?;
    writer.write_image_data(&pixels).map_err(coding)?;
    writer.finish().map_err(coding)?;
    Ok(bytes)
}

fn size(plot: &Plot, scale: f64) -> (u32, u32) {
    ((WIDTH_PX * scale).round() as u32, (height_px(plot) * scale).round() as u32)
}

/// The letters that XML keeps for itself, written so that it takes them as text.
pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// `scale` drawing units per CSS px, `text_scale` of the plotter's font sizes per CSS px of em.
struct Pen {
    scale: f64,
    text_scale: f64,
}

impl Pen {
    fn px(&self, px: f64) -> i32 {
        (px * self.scale).round() as i32
    }

    fn width(&self, px: f64) -> u32 {
        self.px(px).max(1) as u32
    }

    fn text(&self, colour: Colour, h: HPos, v: VPos) -> TextStyle<'static> {
        let size = TEXT_PX * SIZE_PER_EM * self.text_scale;
        let font = FontDesc::new(FontFamily::Name(FAMILY), size, FontStyle::Normal);
        font.color(&rgb(colour)).pos(Pos::new(h, v))
    }

    fn stroke(&self, colour: Colour, px: f64) -> ShapeStyle {
        rgb(colour).stroke_width(self.width(px))
    }
}

fn rgb(colour: Colour) -> RGBColor {
    RGBColor(colour.0, colour.1, colour.2)
}

fn paint<DB: DrawingBackend>(plot: &Plot, backend: DB, scale: f64, text_scale: f64) -> Result<(), PlotError> {
    font::register();
    let Some(ranges) = plot.ranges() else { return Err(PlotError::Empty(plot.slug.clone())) };
    let pen = Pen { scale, text_scale };
    let failed = |e: String| PlotError::Drawing(plot.slug.clone(), e);
    let area = backend.into_drawing_area();
    area.fill(&rgb(palette::PAPER)).map_err(|e| failed(e.to_string()))?;
    let (head, body) = area.split_vertically(pen.px(legend_px(plot)));
    paint_legend(&head, plot, &pen).map_err(|e| failed(e.to_string()))?;
    paint_chart(&body, plot, ranges, &pen).map_err(|e| failed(e.to_string()))?;
    area.present().map_err(|e| failed(e.to_string()))
}

type Drawn<DB> = Result<(), DrawingAreaErrorKind<<DB as DrawingBackend>::ErrorType>>;

fn paint_legend<DB: DrawingBackend>(area: &DrawingArea<DB, Shift>, plot: &Plot, pen: &Pen) -> Drawn<DB> {
    let places = legend::places(&plot.lines, WIDTH_PX, TEXT_PX);
    for (line, (x, row)) in plot.lines.iter().zip(places) {
        let y = pen.px(ROW_PX * (row as f64 + 0.5));
        let (from, to) = (pen.px(x), pen.px(x + SAMPLE_PX));
        let stroke = pen.stroke(line.look.colour(), 2.0);
        match line.look.dash() {
            Some((dash, gap)) => {
                let ends = [(from, y), (to, y)];
                area.draw(&DashedPathElement::new(ends, pen.px(dash), pen.px(gap), stroke))?;
            }
            None => area.draw(&PathElement::new([(from, y), (to, y)], stroke))?,
        }
        let middle = ((from + to) / 2, y);
        match line.look.marker() {
            Marker::None => {}
            Marker::Disc => area.draw(&Circle::new(middle, pen.px(3.0), stroke.filled()))?,
            Marker::Triangle => area.draw(&TriangleMarker::new(middle, pen.px(4.0), stroke.filled()))?,
            Marker::Cross => area.draw(&Cross::new(middle, pen.px(3.4), stroke))?,
            Marker::Ring => {
                area.draw(&Circle::new(middle, pen.px(3.4), rgb(palette::PAPER).filled()))?;
                area.draw(&Circle::new(middle, pen.px(3.4), stroke))?;
            }
        }
        let style = pen.text(palette::INK, HPos::Left, VPos::Center);
        area.draw(&Text::new(line.name.clone(), (pen.px(x + SAMPLE_PX + GAP_PX), y), style))?;
    }
    Ok(())
}

fn paint_chart<DB: DrawingBackend>(
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
fn widened((low, high): (f64, f64)) -> (f64, f64) {
    let span = high - low;
    let room = if span > 0.0 { 0.06 * span } else { 0.5 * low.abs().max(1.0) };
    (low - room, high + room)
}

/// Width of the widest number beside an axis, CSS px.
fn widest_px(range: (f64, f64)) -> f64 {
    [range.0, range.1].map(|v| font::width_px(&number(v, range), TEXT_PX)).into_iter().fold(0.0, f64::max)
}

/// Room for the numbers left of the axis, CSS px: its tick stands between.
fn left_px(y: (f64, f64)) -> f64 {
    (widest_px(y) + 14.0).max(LEFT_PX)
}

/// How many numbers have room side by side under the plot.
fn most_numbers(x: (f64, f64), y: (f64, f64)) -> usize {
    /// Between two numbers, CSS px.
    const APART_PX: f64 = 18.0;
    let room = WIDTH_PX - left_px(y) - RIGHT_PX;
    (room / (widest_px(x) + APART_PX)).floor().clamp(2.0, 8.0) as usize
}

/// A number beside an axis, with as many decimals as six steps of this range need.
fn number(value: f64, (low, high): (f64, f64)) -> String {
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
    /// Two bands over each other are still lighter than their lines.
    const OPACITY: f64 = 0.16;
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
    let style = pen.stroke(line.look.colour(), 2.0);
    for piece in &line.pieces {
        let points: Vec<(f64, f64)> = piece.iter().map(|p| (p.x, p.y)).collect();
        match line.look.dash() {
            Some((dash, gap)) => {
                let dashed = DashedLineSeries::new(points.clone(), pen.px(dash), pen.px(gap), style);
                chart.draw_series(dashed)?;
            }
            None => {
                chart.draw_series([PathElement::new(points.clone(), style)])?;
            }
        }
        let (first, every) = line.look.marked();
        marks(chart, line.look.marker(), points.into_iter().skip(first).step_by(every), style, pen)?;
    }
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
