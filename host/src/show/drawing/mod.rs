//! Drawings true to scale: an axle from the side, from behind and from above, as drawn and as measured over each other.

mod canvas;
mod designed;
pub(in crate::show) mod elements;
mod labels;
mod scene;
mod views;

#[cfg(test)]
mod tests;

pub use designed::{Designed, designed};
pub use views::views;

use super::font;
use crate::geometry::Pose;

/// How wide a drawing is made: its text keeps its size, the rest follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// For the column of a phone.
    Narrow,
    /// For a page.
    Wide,
}

impl Size {
    /// Width of the drawing, CSS px.
    pub fn width_px(self) -> f64 {
        match self {
            Size::Narrow => 336.0,
            Size::Wide => 680.0,
        }
    }
}

/// One drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// Name for files and anchors.
    pub slug: String,
    /// What it shows.
    pub title: String,
    /// What a person who cannot see it should know.
    pub description: String,
    /// For a page that carries the font.
    pub svg: String,
    /// Width and height with the key, CSS px.
    pub size_px: [f64; 2],
}

impl Drawing {
    /// A picture file of its own, with the font in it.
    pub fn file(&self) -> String {
        let (head, body) = self.svg.split_once('>').unwrap_or((&self.svg, ""));
        let [width, height] = self.size_px;
        format!(
            "{head} width=\"{width:.0}\" height=\"{height:.0}\" xmlns=\"http://www.w3.org/2000/svg\"><style>{}</style>{body}",
            font::picture_css()
        )
    }
}

/// What is known of an axle's motion: as drawn, or as measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Known {
    /// Pose at the articulation shown; none where nothing is known there.
    pub pose: Option<Pose>,
    /// Side-view instant centre at ride height, x and z, m.
    pub centre_m: Option<[Value; 2]>,
    /// Height of the roll centre at ride height, m.
    pub roll_centre_m: Option<Value>,
    /// Rise of the roll axis at ride height, rad.
    pub roll_axis_rise_rad: Option<f64>,
}

/// A value with the half-width of its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// SI.
    pub value: f64,
    /// SI; zero where there is none.
    pub half: f64,
}
