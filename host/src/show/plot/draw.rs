//! Draws a plot with plotters, onto SVG or pixels.
//!
//! Lengths are CSS pixels of a plot that is [`WIDTH_PX`] wide, the width of a phone's column; the drawing itself is done in
//! units [`FINE`] times smaller, since the plotter rounds to whole ones.

use super::legend::{self, GAP_PX, ROW_PX, SAMPLE_PX};
use super::{Look, Marker, Plot, chart, rows};
use crate::explain::{Explain, Status};
use crate::show::font::{self, FAMILY};
use crate::show::palette::{self, Colour};
use plotters::coord::Shift;
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
    let body = if plot.rows.is_empty() { WIDTH_PX * plot.aspect } else { rows::height_px(plot) };
    body + legend_px(plot)
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
pub(super) struct Pen {
    scale: f64,
    text_scale: f64,
}

impl Pen {
    pub(super) fn px(&self, px: f64) -> i32 {
        (px * self.scale).round() as i32
    }

    pub(super) fn width(&self, px: f64) -> u32 {
        self.px(px).max(1) as u32
    }

    pub(super) fn text(&self, colour: Colour, h: HPos, v: VPos) -> TextStyle<'static> {
        let size = TEXT_PX * SIZE_PER_EM * self.text_scale;
        let font = FontDesc::new(FontFamily::Name(FAMILY), size, FontStyle::Normal);
        font.color(&rgb(colour)).pos(Pos::new(h, v))
    }

    pub(super) fn stroke(&self, colour: Colour, px: f64) -> ShapeStyle {
        rgb(colour).stroke_width(self.width(px))
    }
}

pub(super) fn rgb(colour: Colour) -> RGBColor {
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
    let painted = if plot.rows.is_empty() {
        chart::paint(&body, plot, ranges, &pen)
    } else {
        rows::paint(&body, plot, ranges[0], &pen)
    };
    painted.map_err(|e| failed(e.to_string()))?;
    area.present().map_err(|e| failed(e.to_string()))
}

pub(super) type Drawn<DB> = Result<(), DrawingAreaErrorKind<<DB as DrawingBackend>::ErrorType>>;

fn paint_legend<DB: DrawingBackend>(area: &DrawingArea<DB, Shift>, plot: &Plot, pen: &Pen) -> Drawn<DB> {
    let places = legend::places(&plot.lines, WIDTH_PX, TEXT_PX);
    for (line, (x, row)) in plot.lines.iter().zip(places) {
        let y = pen.px(ROW_PX * (row as f64 + 0.5));
        sample(area, line.look, (pen.px(x), pen.px(x + SAMPLE_PX)), y, pen)?;
        let style = pen.text(palette::INK, HPos::Left, VPos::Center);
        area.draw(&Text::new(line.name.clone(), (pen.px(x + SAMPLE_PX + GAP_PX), y), style))?;
    }
    Ok(())
}

/// What a line looks like, from one place to another at a height.
fn sample<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    look: Look,
    (from, to): (i32, i32),
    y: i32,
    pen: &Pen,
) -> Drawn<DB> {
    let stroke = pen.stroke(look.colour(), 2.0);
    if look.is_band() {
        let half = pen.px(5.0);
        let ground = rgb(look.colour()).mix(chart::OPACITY).filled();
        return area.draw(&Rectangle::new([(from, y - half), (to, y + half)], ground));
    }
    if look.is_line() {
        let ends = [(from, y), (to, y)];
        match look.dash() {
            Some((dash, gap)) => {
                area.draw(&DashedPathElement::new(ends, pen.px(dash), pen.px(gap), stroke))?;
            }
            None => area.draw(&PathElement::new(ends, stroke))?,
        }
    }
    mark(area, look.marker(), ((from + to) / 2, y), stroke, pen)
}

/// One mark at a place.
pub(super) fn mark<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    marker: Marker,
    at: (i32, i32),
    stroke: ShapeStyle,
    pen: &Pen,
) -> Drawn<DB> {
    match marker {
        Marker::None => Ok(()),
        Marker::Disc => area.draw(&Circle::new(at, pen.px(3.0), stroke.filled())),
        Marker::Triangle => area.draw(&TriangleMarker::new(at, pen.px(4.0), stroke.filled())),
        Marker::Cross => area.draw(&Cross::new(at, pen.px(3.4), stroke)),
        Marker::Ring => {
            area.draw(&Circle::new(at, pen.px(3.4), rgb(palette::PAPER).filled()))?;
            area.draw(&Circle::new(at, pen.px(3.4), stroke))
        }
    }
}
