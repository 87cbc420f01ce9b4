//! Numbered badges that do not lie on each other, and the key under the drawing that says what they stand for.

use super::canvas::{Canvas, Stroke, TEXT_PX, View, Window};
use crate::show::font;
use crate::show::palette::{self, Colour};

/// Radius of a badge, px.
pub const BADGE_PX: f64 = 9.0;
/// Height of a line of the key, px.
const ROW_PX: f64 = 23.0;
/// Between entries of the key, px.
const APART_PX: f64 = 16.0;

/// A badge with what it stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Badge {
    /// A number or letter.
    pub sign: String,
    /// What it stands for.
    pub meaning: String,
    /// Its colour.
    pub colour: Colour,
    /// Its middle, px; none where the drawing has no free place for it.
    pub at: Option<[f64; 2]>,
}

/// Places that are taken: middles with their radii, px.
#[derive(Debug, Default)]
pub struct Taken(Vec<([f64; 2], f64)>);

impl Taken {
    /// Keeps badges off a mark.
    pub fn add(&mut self, at: [f64; 2], radius_px: f64) {
        self.0.push((at, radius_px));
    }

    fn free(&self, [x, y]: [f64; 2], canvas: &Canvas) -> bool {
        let inside = |v: f64, end: f64| v >= BADGE_PX + 1.0 && v <= end - BADGE_PX - 1.0;
        let apart = |([a, b], r): &([f64; 2], f64)| (x - a).hypot(y - b) >= r + BADGE_PX + 1.0;
        inside(x, canvas.width_px()) && inside(y, canvas.height_px()) && self.0.iter().all(apart)
    }
}

/// Puts a badge on a line of pixels or close beside it: the first free place from its middle outwards.
pub fn place(line: &[[f64; 2]], canvas: &Canvas, taken: &mut Taken) -> Option<[f64; 2]> {
    const ALONG: [f64; 9] = [0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82];
    const BESIDE_PX: [f64; 7] = [0.0, 13.0, -13.0, 22.0, -22.0, 34.0, -34.0];
    for beside in BESIDE_PX {
        for share in ALONG {
            let Some(at) = point_on(line, share, beside) else { continue };
            if taken.free(at, canvas) {
                taken.add(at, BADGE_PX);
                return Some(at);
            }
        }
    }
    None
}

/// The point at a share of a line's length, moved off it at a right angle.
fn point_on(line: &[[f64; 2]], share: f64, beside_px: f64) -> Option<[f64; 2]> {
    let length = |w: &[[f64; 2]]| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]);
    let mut left = share * line.windows(2).map(length).sum::<f64>();
    for w in line.windows(2) {
        let piece = length(w);
        if left <= piece && piece > 0.0 {
            let (dx, dy) = ((w[1][0] - w[0][0]) / piece, (w[1][1] - w[0][1]) / piece);
            return Some([w[0][0] + dx * left - dy * beside_px, w[0][1] + dy * left + dx * beside_px]);
        }
        left -= piece;
    }
    line.first().map(|p| [p[0], p[1] - beside_px])
}

/// Draws the badges that have a place.
pub fn draw(badges: &[Badge], canvas: &mut Canvas) {
    for badge in badges {
        if let Some(at) = badge.at {
            one(badge, at, canvas);
        }
    }
}

fn one(badge: &Badge, at: [f64; 2], canvas: &mut Canvas) {
    let stroke = Stroke { colour: badge.colour, width_px: 1.4, dash: "" };
    canvas.circle(at, BADGE_PX, stroke, Some(palette::PAPER));
    canvas.text(at, &badge.sign, "middle", badge.colour);
}

/// The key: a scale bar (words, px), looks of lines, then the badges. Returns its SVG and its height, px.
pub fn key(bar: (&str, f64), looks: &[(&str, Stroke)], badges: &[Badge], width_px: f64) -> (String, f64) {
    // A strip of paper on which a metre is a pixel.
    let strip = Window { left: 0.0, bottom: 0.0, right: width_px, top: 1.0 };
    let mut paper = Canvas::new(View::Side, strip, width_px);
    let mut flow = Flow { x: 0.0, y: 4.0 + ROW_PX / 2.0, width_px };
    scale_bar(&mut paper, &mut flow, bar);
    for (name, stroke) in looks {
        const SAMPLE_PX: f64 = 28.0;
        let [x, y] = flow.entry(&mut paper, name, SAMPLE_PX + 6.0);
        paper.line(&[[x, y], [x + SAMPLE_PX, y]], *stroke);
    }
    flow.new_row();
    for badge in badges {
        let [x, y] = flow.entry(&mut paper, &badge.meaning, 2.0 * BADGE_PX + 6.0);
        one(badge, [x + BADGE_PX + 1.0, y], &mut paper);
    }
    let height = flow.y + ROW_PX / 2.0 + 2.0;
    (paper.into_body(), height)
}

fn scale_bar(paper: &mut Canvas, flow: &mut Flow, (text, length_px): (&str, f64)) {
    let [x, y] = flow.next(length_px + 6.0 + font::width_px(text, TEXT_PX));
    let bar = Stroke { colour: palette::FAINT, width_px: 2.0, dash: "" };
    for (from, to) in [
        ([x + 1.0, y - 4.0], [x + 1.0, y + 4.0]),
        ([x + 1.0, y], [x + length_px, y]),
        ([x + length_px, y - 4.0], [x + length_px, y + 4.0]),
    ] {
        paper.line(&[from, to], bar);
    }
    paper.text([x + length_px + 6.0, y], text, "start", palette::FAINT);
}

/// Where the next entry goes.
struct Flow {
    x: f64,
    y: f64,
    width_px: f64,
}

impl Flow {
    fn next(&mut self, width: f64) -> [f64; 2] {
        if self.x > 0.0 && self.x + width > self.width_px {
            self.new_row();
        }
        let place = [self.x, self.y];
        self.x += width + APART_PX;
        place
    }

    /// Writes words behind a mark of a width, broken where a line does not hold them; where the mark goes.
    fn entry(&mut self, paper: &mut Canvas, words: &str, mark_px: f64) -> [f64; 2] {
        let lines = broken(words, self.width_px - mark_px - 2.0);
        let widest = lines.iter().map(|l| font::width_px(l, TEXT_PX)).fold(0.0, f64::max);
        let [x, y] = self.next(mark_px + widest);
        for (k, line) in lines.iter().enumerate() {
            let below = k as f64 * 0.75 * ROW_PX;
            paper.text([x + mark_px, y + below], line, "start", palette::INK);
        }
        self.y += 0.75 * ROW_PX * lines.len().saturating_sub(1) as f64;
        [x, y]
    }

    fn new_row(&mut self) {
        if self.x > 0.0 {
            (self.x, self.y) = (0.0, self.y + ROW_PX);
        }
    }
}

/// Text in lines of a width, px.
fn broken(text: &str, width_px: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if font::width_px(&format!("{line} {word}"), TEXT_PX) <= width_px => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
