//! What a drawing is made of: an axle, its wheels and links placed for a pose, and the constructions at ride height.

use super::canvas::{Canvas, Stroke, View, Window};
use super::elements::{Element, placed};
use super::labels::{self, Badge, Taken};
use super::{Drawing, Known, Size, Value};
use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::show::palette;
use crate::show::words;
use crate::show::{Units, units::Scale};
use crate::vehicle::{Axle, Position, Vehicle};

/// Width of a tyre over its radius, only for the look: files do not give it.
pub const TYRE_WIDTH: f64 = 0.5;
/// Lines whose ends lie closer than this carry one badge, px.
const SAME_PX: f64 = 5.0;

/// A guide line.
const GUIDE: Stroke = Stroke { colour: palette::GRID, width_px: 1.2, dash: "" };
/// The floor and the other axle's wheel.
pub const AROUND: Stroke = Stroke { colour: palette::FAINT, width_px: 1.2, dash: "" };

/// The outline of a box that must stay free.
pub const KEEP_OUT: Stroke = Stroke { colour: palette::FAINT, width_px: 1.3, dash: "1.5 2.5" };

/// What the views of one axle are drawn from.
pub struct Scene<'a> {
    /// The vehicle as drawn.
    pub vehicle: &'a Vehicle,
    /// The axle that is shown.
    pub axle: &'a Axle,
    /// As drawn and as measured, each with its look.
    pub known: Vec<(Known, Stroke, &'static str)>,
    /// Units of people.
    pub units: Units,
    /// How wide.
    pub size: Size,
    /// Beginning of names.
    pub slug: String,
}

impl Scene<'_> {
    /// Towards the other axle, m.
    fn other_wheels_m(&self) -> f64 {
        match self.axle.position {
            Position::Rear => self.vehicle.wheelbase_m,
            Position::Front => -self.vehicle.wheelbase_m,
        }
    }

    pub fn side_window(&self) -> Window {
        let r = self.axle.tyre_radius_m;
        let reach = self.vehicle.wheelbase_m * if self.size == Size::Wide { 2.0 } else { 1.35 };
        let elements = placed(self.axle, &Pose::default());
        let points = elements.iter().flat_map(|e| &e.points).map(|p| View::Side.flat(p));
        let wheels = [[-r, 0.0], [r, 2.0 * r], [self.other_wheels_m(), 0.0]];
        let centres = self.known.iter().filter_map(|(k, ..)| k.centre_m).map(|[x, z]| [x.value, z.value]);
        let near = centres.filter(|[x, z]| x.abs() < reach && (-r..4.0 * r).contains(z));
        let all = Window::around(points.chain(wheels).chain(near));
        all.unwrap_or(Window { left: -1.0, bottom: 0.0, right: 1.0, top: 1.0 }).with_margin(0.14)
    }

    pub fn across_window(&self, view: View, poses: &[Pose]) -> Window {
        let half_m = 0.5 * self.axle.track_m;
        let r = self.axle.tyre_radius_m;
        let reach = Vector3::new(r, TYRE_WIDTH * r, r);
        let corners = poses.iter().copied().chain([Pose::default()]).flat_map(|pose| {
            let body = PlacedBody::new(&pose, self.axle.centre());
            [1.0, -1.0].map(|side| body.position(&(self.axle.centre() + Vector3::y() * (side * half_m))))
        });
        let wheels: Vec<Vector3<f64>> = corners.flat_map(|c| [c - reach, c + reach]).collect();
        let links: Vec<Vector3<f64>> =
            poses.iter().flat_map(|pose| placed(self.axle, pose)).flat_map(|e| e.points).collect();
        let all = Window::around(wheels.iter().chain(&links).map(|p| view.flat(p)));
        all.unwrap_or(Window { left: -1.0, bottom: 0.0, right: 1.0, top: 1.0 }).with_margin(0.06)
    }

    pub fn floor(&self, canvas: &mut Canvas) {
        let window = canvas.window();
        let [from, to] = [window.left, window.right].map(|x| canvas.on_paper([x, 0.0]));
        canvas.line(&[from, to], AROUND);
    }

    /// Upright lines through both axles' wheel centres, and the other wheel.
    pub fn wheel_centrelines(&self, canvas: &mut Canvas) {
        let window = canvas.window();
        for x in [0.0, self.other_wheels_m()] {
            let ends = [0.0, window.top].map(|z| canvas.on_paper([x, z]));
            canvas.line(&ends, GUIDE);
        }
        let r = self.axle.tyre_radius_m;
        let other = canvas.on_paper([self.other_wheels_m(), r]);
        canvas.circle(other, r * canvas.scale_px_per_m(), GUIDE, None);
    }

    /// Boxes that must stay free, as they stand at ride height; whether there are any.
    pub fn keep_outs(&self, canvas: &mut Canvas) -> bool {
        for keep_out in &self.axle.keep_outs {
            let [[left, low], [right, high]] = [&keep_out.min, &keep_out.max].map(|p| canvas.at(p));
            let corners = [[left, low], [right, low], [right, high], [left, high], [left, low]];
            canvas.line(&corners, KEEP_OUT);
        }
        !self.axle.keep_outs.is_empty()
    }

    pub fn lines(&self, canvas: &mut Canvas, elements: &[Element], stroke: Stroke, taken: &mut Taken) {
        for element in elements {
            let points: Vec<[f64; 2]> = element.points.iter().map(|p| canvas.at(p)).collect();
            canvas.line(&points, stroke);
            for at in points {
                canvas.circle(at, 2.6, Stroke { dash: "", width_px: 1.2, ..stroke }, Some(palette::PAPER));
                taken.add(at, 1.0);
            }
        }
    }

    pub fn wheels(&self, canvas: &mut Canvas, view: View, pose: &Pose, stroke: Stroke) {
        let body = PlacedBody::new(pose, self.axle.centre());
        let (r, scale) = (self.axle.tyre_radius_m, canvas.scale_px_per_m());
        let [right, left] = [-0.5, 0.5]
            .map(|side| body.position(&(self.axle.centre() + Vector3::y() * (side * self.axle.track_m))));
        let ends = [canvas.at(&left), canvas.at(&right)];
        let [from, to] = [view.flat(&left), view.flat(&right)];
        let angle = (to[1] - from[1]).atan2(to[0] - from[0]);
        canvas.line(&ends, stroke.thin());
        for at in ends {
            canvas.rounded(at, [TYRE_WIDTH * r * scale, 2.0 * r * scale], angle, stroke.thin());
        }
    }

    /// One badge for each line, or for lines that lie on each other.
    pub fn badges(&self, canvas: &Canvas, elements: &[Element], taken: &mut Taken) -> Vec<Badge> {
        let mut groups: Vec<(Vec<&str>, Vec<[f64; 2]>)> = Vec::new();
        for element in elements {
            let line: Vec<[f64; 2]> = element.points.iter().map(|p| canvas.at(p)).collect();
            let same = |(_, other): &(Vec<&str>, Vec<[f64; 2]>)| {
                other.len() == line.len()
                    && other.iter().zip(&line).all(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1]) < SAME_PX)
            };
            match groups.iter().position(same) {
                Some(k) => groups[k].0.push(&element.name),
                None => groups.push((vec![&element.name], line)),
            }
        }
        groups
            .iter()
            .enumerate()
            .map(|(k, (names, line))| Badge {
                sign: (k + 1).to_string(),
                meaning: words::list(names),
                colour: palette::INK,
                at: labels::place(line, canvas, taken),
            })
            .collect()
    }

    /// The instant centre, its ±, the swing arm and the line from the contact patch whose slope makes the anti numbers.
    pub fn swing_arm(&self, canvas: &mut Canvas, known: &Known, stroke: Stroke, taken: &mut Taken) {
        let Some([x, z]) = known.centre_m else { return };
        let at = canvas.on_paper([x.value, z.value]);
        let axle = canvas.at(&self.axle.centre());
        let contact = canvas.on_paper([0.0, 0.0]);
        canvas.line(&[axle, at], stroke.thin());
        canvas.line(&[contact, at], stroke.thin());
        if canvas.window().holds([x.value, z.value]) {
            cross(canvas, at, [x, z].map(|v| v.half * canvas.scale_px_per_m()), stroke);
            taken.add(at, 6.0);
        } else {
            arrow(canvas, axle, clipped(axle, at, canvas), stroke);
        }
    }

    fn axis_line(&self, canvas: &Canvas, known: &Known) -> Option<[[f64; 2]; 2]> {
        let (centre, rise) = (known.roll_centre_m?, known.roll_axis_rise_rad?);
        let window = canvas.window();
        let height = |x: f64| centre.value + x * rise.tan();
        Some([window.left, window.right].map(|x| canvas.on_paper([x, height(x)])))
    }

    pub fn roll_axis(&self, canvas: &mut Canvas, known: &Known, stroke: Stroke) {
        if let Some(line) = self.axis_line(canvas, known) {
            canvas.line(&line, Stroke { width_px: 1.6, dash: "10 3 2 3", ..stroke });
        }
    }

    pub fn construction_badges(&self, canvas: &Canvas, taken: &mut Taken) -> Vec<Badge> {
        let Some((known, stroke, _)) = self.known.last() else { return Vec::new() };
        let mut badges = Vec::new();
        let mut add = |sign: &str, meaning: String, line: &[[f64; 2]], taken: &mut Taken| {
            let at = labels::place(line, canvas, taken);
            badges.push(Badge { sign: sign.into(), meaning, colour: stroke.colour, at });
        };
        if let Some([x, z]) = known.centre_m {
            let at = canvas.on_paper([x.value, z.value]);
            let axle = canvas.at(&self.axle.centre());
            let shown = canvas.window().holds([x.value, z.value]);
            let away = if shown { String::new() } else { format!(", {}", self.off_paper(x)) };
            // The part of the arm that the paper shows; off the paper, the mark stands by the arrow that points to the centre.
            let end = if shown { at } else { clipped(axle, at, canvas) };
            let by = if shown { at } else { towards(end, axle, ARROW_PX + labels::BADGE_PX) };
            add("A", format!("instant centre{away}"), &[[by[0] - 1.0, by[1]], [by[0] + 1.0, by[1]]], taken);
            add("B", "swing arm".into(), &[axle, end], taken);
        }
        if let Some(line) = self.axis_line(canvas, known) {
            add("C", "roll axis".into(), &line, taken);
        }
        badges
    }

    fn off_paper(&self, x: Value) -> String {
        let scale: Scale = self.units.length();
        let way = if x.value > 0.0 { "ahead" } else { "behind" };
        format!("{} {way}, off the paper where the arrow points", scale.set_to(x.value.abs(), 0))
    }

    pub fn roll_centre(&self, canvas: &mut Canvas, known: &Known, stroke: Stroke, taken: &mut Taken) {
        let Some(centre) = known.roll_centre_m else { return };
        let at = canvas.on_paper([0.0, centre.value]);
        cross(canvas, at, [0.0, centre.half * canvas.scale_px_per_m()], stroke);
        taken.add(at, 5.0);
    }

    pub fn roll_centre_badge(&self, canvas: &Canvas, taken: &mut Taken) -> Option<Badge> {
        let (known, stroke, _) = self.known.last()?;
        let at = canvas.on_paper([0.0, known.roll_centre_m?.value]);
        let line = [[at[0] - 1.0, at[1]], [at[0] + 1.0, at[1]]];
        Some(Badge {
            sign: "D".into(),
            meaning: "roll centre at ride height".into(),
            colour: stroke.colour,
            at: labels::place(&line, canvas, taken),
        })
    }

    pub fn side_words(&self) -> String {
        let length = self.units.length();
        let mut text = format!("Links of the {} axle at ride height, to scale.", self.axle.name);
        for (known, _, name) in &self.known {
            if let Some([x, z]) = known.centre_m {
                let show = |v: Value| length.set_to(v.value, 0);
                text += &format!(
                    " Instant centre as {name}: {} ahead of the axle, {} above the floor.",
                    show(x),
                    show(z)
                );
            }
        }
        text
    }

    /// The picture with its key: the looks of its lines, then the badges.
    pub fn finish(
        &self,
        mut canvas: Canvas,
        (name, title, description): (&str, &str, &str),
        badges: &[Badge],
        looks: &[(&str, Stroke)],
    ) -> Drawing {
        labels::draw(badges, &mut canvas);
        let shown: Vec<Badge> = badges.iter().filter(|b| b.at.is_some() || b.sign == "A").cloned().collect();
        let floor = (name != "plan").then_some(("floor at ride height", AROUND));
        let looks: Vec<(&str, Stroke)> = looks.iter().copied().chain(floor).collect();
        let (key, key_px) = labels::key(scale_bar(&canvas, self.units), &looks, &shown, canvas.width_px());
        let slug = format!("{}-{name}", self.slug);
        let size_px = [canvas.width_px(), canvas.height_px() + key_px];
        let svg = canvas.finish(&slug, title, description, &key, key_px);
        Drawing { slug, title: title.into(), description: description.into(), svg, size_px }
    }
}

/// A cross whose arms are the 95 % intervals, at least large enough to be seen.
fn cross(canvas: &mut Canvas, [x, y]: [f64; 2], half_px: [f64; 2], stroke: Stroke) {
    let [a, b] = half_px.map(|h| h.max(4.0));
    let solid = Stroke { dash: "", width_px: 2.0, ..stroke };
    canvas.line(&[[x - a, y], [x + a, y]], solid);
    canvas.line(&[[x, y - b], [x, y + b]], solid);
    canvas.circle([x, y], 3.2, solid, Some(palette::PAPER));
}

/// Length of an arrow's head, px.
const ARROW_PX: f64 = 9.0;

/// The point so many px from `from` towards `to`.
fn towards(from: [f64; 2], to: [f64; 2], px: f64) -> [f64; 2] {
    let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
    let share = px / dx.hypot(dy).max(px);
    [from[0] + share * dx, from[1] + share * dy]
}

/// The head of an arrow from `from`, whose tip is at `tip`.
fn arrow(canvas: &mut Canvas, from: [f64; 2], tip: [f64; 2], stroke: Stroke) {
    let tip = towards(tip, from, 1.5);
    let [bx, by] = towards(tip, from, ARROW_PX);
    let [nx, ny] = [0.45 * (by - tip[1]), -0.45 * (bx - tip[0])];
    canvas.line(&[[bx + nx, by + ny], tip, [bx - nx, by - ny]], Stroke { dash: "", width_px: 2.0, ..stroke });
}

/// The last point of a line from `from` (on paper) towards `to` that is still on the paper, px.
fn clipped(from: [f64; 2], to: [f64; 2], canvas: &Canvas) -> [f64; 2] {
    let share = |from: f64, to: f64, end: f64| {
        if to < 0.0 {
            from / (from - to)
        } else if to > end {
            (end - from) / (to - from)
        } else {
            1.0
        }
    };
    let s = share(from[0], to[0], canvas.width_px()).min(share(from[1], to[1], canvas.height_px()));
    [from[0] + s * (to[0] - from[0]), from[1] + s * (to[1] - from[1])]
}

/// A round length that the key shows to scale: its words and its length, px.
fn scale_bar(canvas: &Canvas, units: Units) -> (&'static str, f64) {
    let (length_m, text) = match units {
        Units::Mm => (0.5, "500 mm"),
        Units::In => (0.508, "20 in"),
    };
    (text, length_m * canvas.scale_px_per_m())
}
