//! A piece of paper in CSS pixels, and how metres of a view fall on it.

use crate::geometry::Vector3;
use crate::show::font::FAMILY;
use crate::show::palette::{self, Colour};
use crate::show::plot::escaped;
use std::fmt::Write as _;

/// Size of all text, CSS px per em: 9.6 pt.
pub const TEXT_PX: f64 = 12.8;

/// From where an axle is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum View {
    /// From the right, the vehicle's nose to the right.
    Side,
    /// From behind.
    Rear,
    /// From above, the nose upwards.
    Plan,
}

impl View {
    /// To the right and up on paper, m.
    pub fn flat(self, p: &Vector3<f64>) -> [f64; 2] {
        match self {
            View::Side => [p.x, p.z],
            View::Rear => [-p.y, p.z],
            View::Plan => [-p.y, p.x],
        }
    }
}

/// A rectangle, m on paper: left, bottom, right, top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    pub left: f64,
    pub bottom: f64,
    pub right: f64,
    pub top: f64,
}

impl Window {
    /// The least that holds all points.
    pub fn around(points: impl IntoIterator<Item = [f64; 2]>) -> Option<Self> {
        points.into_iter().filter(|p| p.iter().all(|v| v.is_finite())).fold(
            None,
            |w: Option<Self>, [x, y]| {
                Some(w.map_or(Self { left: x, bottom: y, right: x, top: y }, |w| Self {
                    left: w.left.min(x),
                    bottom: w.bottom.min(y),
                    right: w.right.max(x),
                    top: w.top.max(y),
                }))
            },
        )
    }

    /// With a margin on every side.
    pub fn with_margin(self, m: f64) -> Self {
        Self { left: self.left - m, bottom: self.bottom - m, right: self.right + m, top: self.top + m }
    }

    /// Its lower left and its upper right corner.
    pub fn corners(self) -> [[f64; 2]; 2] {
        [[self.left, self.bottom], [self.right, self.top]]
    }

    /// Whether a point lies within.
    pub fn holds(&self, [x, y]: [f64; 2]) -> bool {
        (self.left..=self.right).contains(&x) && (self.bottom..=self.top).contains(&y)
    }
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Colour.
    pub colour: Colour,
    /// Width, px.
    pub width_px: f64,
    /// SVG dash pattern; empty for a solid line.
    pub dash: &'static str,
}

impl Stroke {
    /// As drawn.
    pub const DRAWN: Stroke = Stroke { colour: palette::INK, width_px: 1.6, dash: "6 3.5" };
    /// As measured.
    pub const MEASURED: Stroke = Stroke { colour: palette::PETROL, width_px: 3.0, dash: "" };

    /// A thin line of the same kind, for constructions.
    pub fn thin(self) -> Self {
        if self.dash.is_empty() {
            Self { width_px: 1.8, ..self }
        } else {
            Self { width_px: 1.1, dash: "4 3", ..self }
        }
    }
}

/// The paper.
#[derive(Debug)]
pub struct Canvas {
    view: View,
    window: Window,
    scale_px_per_m: f64,
    width_px: f64,
    body: String,
}

impl Canvas {
    /// Paper of a width that shows a window whole.
    pub fn new(view: View, window: Window, width_px: f64) -> Self {
        let scale_px_per_m = width_px / (window.right - window.left);
        Self { view, window, scale_px_per_m, width_px, body: String::new() }
    }

    /// Height of the drawing, px.
    pub fn height_px(&self) -> f64 {
        (self.window.top - self.window.bottom) * self.scale_px_per_m
    }

    /// Width of the drawing, px.
    pub fn width_px(&self) -> f64 {
        self.width_px
    }

    /// px per m.
    pub fn scale_px_per_m(&self) -> f64 {
        self.scale_px_per_m
    }

    /// What is shown.
    pub fn window(&self) -> Window {
        self.window
    }

    /// Where a point of space falls, px from the upper left corner.
    pub fn at(&self, p: &Vector3<f64>) -> [f64; 2] {
        self.on_paper(self.view.flat(p))
    }

    /// Where a point of the view falls, px.
    pub fn on_paper(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [(x - self.window.left) * self.scale_px_per_m, (self.window.top - y) * self.scale_px_per_m]
    }

    /// A line through pixels.
    pub fn line(&mut self, points: &[[f64; 2]], stroke: Stroke) {
        let mut list = String::new();
        for [x, y] in points {
            let _ = write!(list, "{x:.1},{y:.1} ");
        }
        let _ = writeln!(
            self.body,
            "<polyline fill=\"none\" points=\"{}\" {}/>",
            list.trim_end(),
            attributes(stroke)
        );
    }

    /// A circle, px.
    pub fn circle(&mut self, [x, y]: [f64; 2], radius_px: f64, stroke: Stroke, fill: Option<Colour>) {
        let fill = fill.map_or_else(|| "none".to_owned(), Colour::hex);
        let _ = writeln!(
            self.body,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius_px:.1}\" fill=\"{fill}\" {}/>",
            attributes(stroke)
        );
    }

    /// A rounded rectangle about its middle, turned by an angle on paper (anticlockwise, rad), px.
    pub fn rounded(&mut self, [x, y]: [f64; 2], [width, height]: [f64; 2], angle_rad: f64, stroke: Stroke) {
        let degrees = -angle_rad.to_degrees();
        let _ = writeln!(
            self.body,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" rx=\"{:.1}\" fill=\"none\" \
             transform=\"rotate({degrees:.2} {x:.1} {y:.1})\" {}/>",
            x - width / 2.0,
            y - height / 2.0,
            0.22 * width.min(height),
            attributes(stroke)
        );
    }

    /// Text, its middle or its left end at a point; `y` is its middle height.
    pub fn text(&mut self, [x, y]: [f64; 2], text: &str, anchor: &str, colour: Colour) {
        let _ = writeln!(
            self.body,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" dy=\"0.36em\" text-anchor=\"{anchor}\" font-family=\"{FAMILY}\" \
             font-size=\"{TEXT_PX}\" fill=\"{}\">{}</text>",
            colour.hex(),
            escaped(text)
        );
    }

    /// The picture: what was drawn so far, cut at the window, with `below` under it, `below_px` high.
    pub fn finish(self, slug: &str, title: &str, description: &str, below: &str, below_px: f64) -> String {
        let (width, height) = (self.width_px, self.height_px());
        let whole = height + below_px;
        let (title, description) = (escaped(title), escaped(description));
        let paper = palette::PAPER.hex();
        format!(
            "<svg viewBox=\"0 0 {width:.0} {whole:.1}\" role=\"img\" aria-labelledby=\"{slug}-t {slug}-d\">\
             <title id=\"{slug}-t\">{title}</title><desc id=\"{slug}-d\">{description}</desc>\
             <clipPath id=\"{slug}-c\"><rect width=\"{width:.0}\" height=\"{height:.1}\"/></clipPath>\
             <rect width=\"{width:.0}\" height=\"{whole:.1}\" fill=\"{paper}\"/>\n\
             <g clip-path=\"url(#{slug}-c)\">\n{}</g>\n<g transform=\"translate(0 {height:.1})\">\n{below}</g></svg>",
            self.body
        )
    }

    /// What was drawn so far, for a strip that stands under another canvas.
    pub fn into_body(self) -> String {
        self.body
    }
}

fn attributes(stroke: Stroke) -> String {
    let dash =
        if stroke.dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", stroke.dash) };
    format!(
        "stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\"{dash}",
        stroke.colour.hex(),
        stroke.width_px
    )
}
