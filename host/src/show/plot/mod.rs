//! Plots: a description that knows no picture format, drawn as SVG or PNG in the project's own look.

mod chart;
mod draw;
mod figures;
mod layouts;
mod legend;
mod rows;
mod run;
mod time;

#[cfg(test)]
mod tests;

pub use draw::{PlotError, escaped, inline_svg, png, svg};
pub use figures::{Curves, of_axle};
pub use layouts::{Named, first_of_layouts, more_of_layouts};
pub use run::{climbs, holds, loops, percent, residuals};
pub use time::{Chart, of_assessment, of_joint, over_time};

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
    /// Names of rows from top to bottom where those stand instead of numbers upwards: a point's `y` is then its row, its `half`
    /// goes to the left and the right.
    pub rows: Vec<String>,
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
    /// One of several layouts, counted from 0.
    Layout(usize),
    /// What is allowed: a band without a line.
    Allowed,
    /// What lies beyond: crosses without a line.
    Beyond,
    /// A moment: a dotted line upwards.
    Moment,
}

/// The mark on a line's points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Marker {
    /// No mark.
    None,
    /// A filled disc.
    Disc,
    /// A filled triangle.
    Triangle,
    /// A cross.
    Cross,
    /// A ring.
    Ring,
}

/// Dash and gap of a broken line, CSS px.
pub type Dash = (f64, f64);

/// How many layouts can be told apart.
pub const MOST_LAYOUTS: usize = 8;

impl Look {
    /// Its colour.
    pub fn colour(self) -> Colour {
        const LAYOUTS: [Colour; 4] = [palette::PETROL, palette::RUST, palette::PLUM, palette::INK];
        match self {
            Look::Drawn | Look::Allowed | Look::Moment => palette::INK,
            Look::Beyond => palette::RUST,
            Look::Up | Look::First => palette::PETROL,
            Look::Down | Look::Second => palette::RUST,
            Look::Layout(k) => LAYOUTS[k % LAYOUTS.len()],
        }
    }

    /// How it is broken; none for a solid line.
    pub fn dash(self) -> Option<Dash> {
        // The second four layouts have the colours of the first and another dash each.
        const LAYOUTS: [Option<Dash>; 4] = [None, Some((9.0, 4.0)), Some((2.0, 2.5)), Some((5.0, 3.0))];
        match self {
            Look::Drawn | Look::Second => Some((6.0, 3.5)),
            Look::Layout(k) => LAYOUTS[(k + k / LAYOUTS.len()) % LAYOUTS.len()],
            Look::Moment => Some((2.0, 2.5)),
            Look::Up | Look::Down | Look::First | Look::Allowed | Look::Beyond => None,
        }
    }

    /// The mark on its points.
    pub fn marker(self) -> Marker {
        const LAYOUTS: [Marker; 4] = [Marker::Disc, Marker::Triangle, Marker::Cross, Marker::Ring];
        match self {
            Look::Up => Marker::Disc,
            Look::Down => Marker::Triangle,
            Look::Beyond => Marker::Cross,
            Look::Drawn | Look::First | Look::Second | Look::Allowed | Look::Moment => Marker::None,
            Look::Layout(k) => LAYOUTS[(k + k / LAYOUTS.len()) % LAYOUTS.len()],
        }
    }

    /// Whether it is a band and nothing else.
    pub fn is_band(self) -> bool {
        self == Look::Allowed
    }

    /// Whether its points are joined.
    pub fn is_line(self) -> bool {
        !matches!(self, Look::Allowed | Look::Beyond)
    }

    /// Which of a line's points carry the mark: the first, and every how manyth. Layouts' marks stand apart from each other.
    fn marked(self) -> (usize, usize) {
        match self {
            Look::Layout(k) => (1 + 2 * k % 8, 8),
            _ => (0, 1),
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
        let with_half = |v: f64, p: &Point| [v - p.half.unwrap_or(0.0), v + p.half.unwrap_or(0.0)];
        if !self.rows.is_empty() {
            let x = range(&mut points().flat_map(|p| with_half(p.x, p)))?;
            return Some([x, (0.0, self.rows.len() as f64)]);
        }
        let y = range(&mut points().flat_map(|p| with_half(p.y, p)))?;
        Some([x, y])
    }
}

/// A name for files and anchors.
pub fn slug(name: &str) -> String {
    let letters = name.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' });
    letters.collect::<String>().split('-').filter(|s| !s.is_empty()).collect::<Vec<_>>().join("-")
}
