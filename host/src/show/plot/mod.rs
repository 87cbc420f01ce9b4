//! Plots: a description that knows no picture format, drawn as SVG or PNG in the project's own look.

mod draw;
mod figures;
mod legend;

#[cfg(test)]
mod tests;

pub use draw::{PlotError, escaped, inline_svg, png, svg};
pub use figures::of_axle;

use super::palette::{self, Colour};

/// One plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Name for files and anchors: small letters and hyphens.
    pub slug: String,
    /// What it shows.
    pub title: String,
    /// What a person who cannot see it should know.
    pub description: String,
    /// What runs to the right, with its unit.
    pub x: String,
    /// What runs up, with its unit.
    pub y: String,
    /// Lines, in the order of the legend.
    pub lines: Vec<Line>,
    /// Height over width.
    pub aspect: f64,
}

/// One line with its band.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// As the legend says it.
    pub name: String,
    /// Its look.
    pub look: Look,
    /// Points in screen units, in order; a gap is a new entry.
    pub pieces: Vec<Vec<Point>>,
}

/// A point of a line with the half-width of its 95 % interval, screen units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// To the right.
    pub x: f64,
    /// Up.
    pub y: f64,
    /// Half-width, where there is one.
    pub half: Option<f64>,
}

/// How lines look: colour, stroke and marker differ together, so that any one of them is enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// As drawn: dashed, no marker.
    Drawn,
    /// Measured going up: solid, discs.
    Up,
    /// Measured coming down: solid, open triangles.
    Down,
    /// The first of two things over time: solid.
    First,
    /// The second of two things over time: dashed.
    Second,
}

/// The mark on a line's points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Marker {
    None,
    Disc,
    Triangle,
}

impl Look {
    fn colour(self) -> Colour {
        match self {
            Look::Drawn => palette::INK,
            Look::Up | Look::First => palette::PETROL,
            Look::Down | Look::Second => palette::RUST,
        }
    }

    fn dashed(self) -> bool {
        matches!(self, Look::Drawn | Look::Second)
    }

    fn marker(self) -> Marker {
        match self {
            Look::Up => Marker::Disc,
            Look::Down => Marker::Triangle,
            Look::Drawn | Look::First | Look::Second => Marker::None,
        }
    }
}

impl Plot {
    /// Least and greatest x and y, bands included; none without points.
    fn ranges(&self) -> Option<[(f64, f64); 2]> {
        let points = || self.lines.iter().flat_map(|l| l.pieces.iter().flatten());
        let range = |values: &mut dyn Iterator<Item = f64>| {
            values
                .filter(|v| v.is_finite())
                .fold(None, |r: Option<(f64, f64)>, v| Some(r.map_or((v, v), |(l, h)| (l.min(v), h.max(v)))))
        };
        let x = range(&mut points().map(|p| p.x))?;
        let y = range(&mut points().flat_map(|p| {
            let half = p.half.unwrap_or(0.0);
            [p.y - half, p.y + half]
        }))?;
        Some([x, y])
    }
}

/// A name for files and anchors.
pub fn slug(name: &str) -> String {
    let letters = name.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' });
    letters.collect::<String>().split('-').filter(|s| !s.is_empty()).collect::<Vec<_>>().join("-")
}
