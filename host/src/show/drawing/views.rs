//! The three views: what each shows, and its constructions.

use super::canvas::{Canvas, Stroke, View, Window};
use super::elements::{Element, placed};
use super::labels::{self, Badge, Taken};
use super::{Drawing, Known, Size, Value};
use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::show::palette;
use crate::show::plot::slug;
use crate::show::words;
use crate::show::{Units, units::Scale};
use crate::vehicle::{Axle, Position, Vehicle};

/// Width of a tyre over its radius, only for the look: files do not give it.
const TYRE_WIDTH: f64 = 0.5;
/// Lines whose ends lie closer than this carry one badge, px.
const SAME_PX: f64 = 5.0;

/// A guide line.
const GUIDE: Stroke = Stroke { colour: palette::GRID, width_px: 1.2, dash: "" };
/// The floor and the other axle's wheel.
const AROUND: Stroke = Stroke { colour: palette::FAINT, width_px: 1.2, dash: "" };

/// What the views of one axle are drawn from.
struct Scene<'a> {
    vehicle: &'a Vehicle,
    axle: &'a Axle,
    /// As drawn and as measured, each with its look.
    known: Vec<(Known, Stroke, &'static str)>,
    units: Units,
    size: Size,
    slug: String,
}

/// Side view at ride height, rear view and plan at the articulation of the poses in `drawn` and `measured`.
pub fn views(
    vehicle: &Vehicle,
    axle_index: usize,
    drawn: Option<&Known>,
    measured: Option<&Known>,
    units: Units,
    size: Size,
) -> Vec<Drawing> {
    let Some(axle) = vehicle.axles.get(axle_index) else { return Vec::new() };
    let looks = [(drawn, Stroke::DRAWN, "drawn"), (measured, Stroke::MEASURED, "measured")];
    let known: Vec<_> = looks.into_iter().filter_map(|(k, s, n)| k.map(|k| (*k, s, n))).collect();
    let width = match size {
        Size::Narrow => "narrow",
        Size::Wide => "wide",
    };
    let slug = format!("{}-{width}", slug(&axle.name));
    let scene = Scene { vehicle, axle, known, units, size, slug };
    let mut drawings = vec![scene.side()];
    if scene.known.iter().any(|(k, ..)| k.pose.is_some()) {
        drawings.extend([scene.across(View::Rear), scene.across(View::Plan)]);
    }
    drawings
}

impl Scene<'_> {
    /// Towards the other axle, m.
    fn other_wheels_m(&self) -> f64 {
        match self.axle.position {
            Position::Rear => self.vehicle.wheelbase_m,
            Position::Front => -self.vehicle.wheelbase_m,
        }
    }

    fn side_window(&self) -> Window {
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

    /// From the right at ride height: links, instant centre with its swing arm, roll axis.
    fn side(&self) -> Drawing {
        let mut canvas = Canvas::new(View::Side, self.side_window(), self.size.width_px());
        let mut taken = Taken::default();
        self.floor(&mut canvas);
        self.wheel_centrelines(&mut canvas);
        let elements = placed(self.axle, &Pose::default());
        let outline = Stroke { dash: "", ..Stroke::DRAWN };
        let r_px = self.axle.tyre_radius_m * canvas.scale_px_per_m();
        let centre = canvas.at(&self.axle.centre());
        canvas.circle(centre, r_px, outline.thin(), None);
        canvas.circle(centre, 3.0, outline, Some(palette::INK));
        taken.add(centre, 4.0);
        self.lines(&mut canvas, &elements, outline, &mut taken);
        let mut badges = self.badges(&canvas, &elements, &mut taken);
        for (known, stroke, _) in self.known.iter().rev() {
            self.swing_arm(&mut canvas, known, *stroke, &mut taken);
            self.roll_axis(&mut canvas, known, *stroke);
        }
        badges.extend(self.construction_badges(&canvas, &mut taken));
        self.finish(canvas, "side-view", "From the right side, at ride height", &self.side_words(), &badges)
    }

    /// From behind or from above, at the articulation of the poses.
    fn across(&self, view: View) -> Drawing {
        let poses: Vec<(Pose, Stroke)> =
            self.known.iter().filter_map(|(k, stroke, _)| k.pose.map(|pose| (pose, *stroke))).collect();
        let mut canvas = Canvas::new(view, self.across_window(view, &poses), self.size.width_px());
        let mut taken = Taken::default();
        if view == View::Rear {
            self.floor(&mut canvas);
        }
        // What is drawn lies on top, dashed, so that both show where they agree.
        for (pose, stroke) in poses.iter().rev() {
            let elements = placed(self.axle, pose);
            self.wheels(&mut canvas, view, pose, *stroke);
            self.lines(&mut canvas, &elements, *stroke, &mut taken);
        }
        if view == View::Rear {
            for (known, stroke, _) in self.known.iter().rev() {
                self.roll_centre(&mut canvas, known, *stroke, &mut taken);
            }
        }
        let last = poses.last().map_or_else(Vec::new, |(pose, _)| placed(self.axle, pose));
        let mut badges = self.badges(&canvas, &last, &mut taken);
        if view == View::Rear {
            badges.extend(self.roll_centre_badge(&canvas, &mut taken));
        }
        let state =
            poses.last().map_or_else(String::new, |(p, _)| words::state(p.z_m, p.roll_rad, self.units));
        let (name, from) = match view {
            View::Plan => ("plan", "From above, nose upwards"),
            View::Side | View::Rear => ("rear-view", "From behind"),
        };
        let description = format!("{from}: links and wheels of the {} axle at {state}.", self.axle.name);
        self.finish(canvas, name, &format!("{from}, at {state}"), &description, &badges)
    }

    fn across_window(&self, view: View, poses: &[(Pose, Stroke)]) -> Window {
        let half_m = 0.5 * self.axle.track_m;
        let r = self.axle.tyre_radius_m;
        let reach = Vector3::new(r, TYRE_WIDTH * r, r);
        let corners = poses.iter().map(|(pose, _)| *pose).chain([Pose::default()]).flat_map(|pose| {
            let body = PlacedBody::new(&pose, self.axle.centre());
            [1.0, -1.0].map(|side| body.position(&(self.axle.centre() + Vector3::y() * (side * half_m))))
        });
        let wheels: Vec<Vector3<f64>> = corners.flat_map(|c| [c - reach, c + reach]).collect();
        let links: Vec<Vector3<f64>> =
            poses.iter().flat_map(|(pose, _)| placed(self.axle, pose)).flat_map(|e| e.points).collect();
        let all = Window::around(wheels.iter().chain(&links).map(|p| view.flat(p)));
        all.unwrap_or(Window { left: -1.0, bottom: 0.0, right: 1.0, top: 1.0 }).with_margin(0.06)
    }

    fn floor(&self, canvas: &mut Canvas) {
        let window = canvas.window();
        let [from, to] = [window.left, window.right].map(|x| canvas.on_paper([x, 0.0]));
        canvas.line(&[from, to], AROUND);
    }

    /// Upright lines through both axles' wheel centres, and the other wheel.
    fn wheel_centrelines(&self, canvas: &mut Canvas) {
        let window = canvas.window();
        for x in [0.0, self.other_wheels_m()] {
            let ends = [0.0, window.top].map(|z| canvas.on_paper([x, z]));
            canvas.line(&ends, GUIDE);
        }
        let r = self.axle.tyre_radius_m;
        let other = canvas.on_paper([self.other_wheels_m(), r]);
        canvas.circle(other, r * canvas.scale_px_per_m(), GUIDE, None);
    }

    fn lines(&self, canvas: &mut Canvas, elements: &[Element], stroke: Stroke, taken: &mut Taken) {
        for element in elements {
            let points: Vec<[f64; 2]> = element.points.iter().map(|p| canvas.at(p)).collect();
            canvas.line(&points, stroke);
            for at in points {
                canvas.circle(at, 2.6, Stroke { dash: "", width_px: 1.2, ..stroke }, Some(palette::PAPER));
                taken.add(at, 1.0);
            }
        }
    }

    fn wheels(&self, canvas: &mut Canvas, view: View, pose: &Pose, stroke: Stroke) {
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
    fn badges(&self, canvas: &Canvas, elements: &[Element], taken: &mut Taken) -> Vec<Badge> {
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
    fn swing_arm(&self, canvas: &mut Canvas, known: &Known, stroke: Stroke, taken: &mut Taken) {
        let Some([x, z]) = known.centre_m else { return };
        let at = canvas.on_paper([x.value, z.value]);
        let axle = canvas.at(&self.axle.centre());
        let contact = canvas.on_paper([0.0, 0.0]);
        canvas.line(&[axle, at], stroke.thin());
        canvas.line(&[contact, at], stroke.thin());
        cross(canvas, at, [x, z].map(|v| v.half * canvas.scale_px_per_m()), stroke);
        taken.add(at, 6.0);
    }

    fn axis_line(&self, canvas: &Canvas, known: &Known) -> Option<[[f64; 2]; 2]> {
        let (centre, rise) = (known.roll_centre_m?, known.roll_axis_rise_rad?);
        let window = canvas.window();
        let height = |x: f64| centre.value + x * rise.tan();
        Some([window.left, window.right].map(|x| canvas.on_paper([x, height(x)])))
    }

    fn roll_axis(&self, canvas: &mut Canvas, known: &Known, stroke: Stroke) {
        if let Some(line) = self.axis_line(canvas, known) {
            canvas.line(&line, Stroke { width_px: 1.6, dash: "10 3 2 3", ..stroke });
        }
    }

    fn construction_badges(&self, canvas: &Canvas, taken: &mut Taken) -> Vec<Badge> {
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
            add("A", format!("instant centre{away}"), &[[at[0] - 1.0, at[1]], [at[0] + 1.0, at[1]]], taken);
            // The part of the arm that the paper shows.
            let end = if shown { at } else { clipped(axle, at, canvas) };
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
        format!("{} {way}, off the paper", scale.set_to(x.value.abs(), 0))
    }

    fn roll_centre(&self, canvas: &mut Canvas, known: &Known, stroke: Stroke, taken: &mut Taken) {
        let Some(centre) = known.roll_centre_m else { return };
        let at = canvas.on_paper([0.0, centre.value]);
        cross(canvas, at, [0.0, centre.half * canvas.scale_px_per_m()], stroke);
        taken.add(at, 5.0);
    }

    fn roll_centre_badge(&self, canvas: &Canvas, taken: &mut Taken) -> Option<Badge> {
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

    fn side_words(&self) -> String {
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

    fn finish(
        &self,
        mut canvas: Canvas,
        name: &str,
        title: &str,
        description: &str,
        badges: &[Badge],
    ) -> Drawing {
        labels::draw(badges, &mut canvas);
        let shown: Vec<Badge> = badges.iter().filter(|b| b.at.is_some() || b.sign == "A").cloned().collect();
        let side = name == "side-view";
        let look = |(known, stroke, name): &(Known, Stroke, &'static str)| {
            let stroke = if side { stroke.thin() } else { *stroke };
            (side || known.pose.is_some()).then_some((*name, stroke))
        };
        let mut looks: Vec<(&str, Stroke)> = self.known.iter().filter_map(look).collect();
        if name != "plan" {
            looks.push(("floor at ride height", AROUND));
        }
        let (key, key_px) = labels::key(scale_bar(&canvas, self.units), &looks, &shown, canvas.width_px());
        let slug = format!("{}-{name}", self.slug);
        let svg = canvas.finish(&slug, title, description, &key, key_px);
        Drawing { slug, title: title.into(), description: description.into(), svg }
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
