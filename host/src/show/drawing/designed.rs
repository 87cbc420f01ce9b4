//! Layouts as drawn: each from the side, from behind and from above, all to one scale, with the constructions that a builder
//! makes on paper and the axle at both ends of its travel.

use super::canvas::{Canvas, Stroke, View, Window};
use super::elements::{Element, placed};
use super::labels::{self, Badge, Taken};
use super::scene::{KEEP_OUT, Scene};
use super::{Drawing, Known, Size, Value};
use crate::design::prediction::{AtState, AxlePrediction};
use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::show::palette::{self, Colour};
use crate::show::units::HALF_95;
use crate::show::{Units, plot::slug};
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{Axle, Vehicle};

/// The axle at the ends of its travel.
const GHOST: Stroke = Stroke { colour: palette::FAINT, width_px: 1.1, dash: "4 3" };
/// A link's line drawn on to where it meets others.
const DRAWN_ON: Stroke = Stroke { colour: palette::FAINT, width_px: 1.1, dash: "12 3" };
/// A construction is drawn only where it meets the solved result this closely, m: the drawing never claims what is not so.
const MEETS_M: f64 = 0.004;
/// Coordinates of mirrored points agree to this, m.
const MIRRORED_M: f64 = 1e-6;
/// Crossings further from the axle than this share of the wheelbase are told by direction, not drawn.
const NEAR_WHEELBASES: f64 = 1.35;

/// What is shown of a layout.
#[derive(Debug, Clone)]
pub struct Designed<'a> {
    /// The vehicle as drawn.
    pub vehicle: &'a Vehicle,
    /// Which of its axles.
    pub axle_index: usize,
    /// Beginning of the drawings' names.
    pub slug: String,
    /// At ride height: instant centre, roll centre, roll axis.
    pub ride: Known,
    /// Poses at both ends of heave.
    pub heave: Vec<Pose>,
    /// Poses at both ends of articulation.
    pub roll: Vec<Pose>,
    /// Where the instant centre goes from droop to bump, side view, m.
    pub centre_path_m: Vec<[f64; 2]>,
    /// The layout's own colour.
    pub colour: Colour,
}

impl<'a> Designed<'a> {
    /// What a prediction of this axle shows.
    pub fn of(
        vehicle: &'a Vehicle,
        axle_index: usize,
        axle: &AxlePrediction,
        slug: String,
        colour: Colour,
    ) -> Self {
        let drawn = (&axle.ride.numbers, &axle.ride_u);
        Self::with((vehicle, axle_index), drawn, [&axle.sweeps.heave, &axle.sweeps.roll], slug, colour)
    }

    /// An axle by its numbers at ride height with their u, and its states from droop to bump and from right to left wheel up.
    pub fn with(
        (vehicle, axle_index): (&'a Vehicle, usize),
        drawn: (&Numbers, &Numbers),
        [heave, roll]: [&[AtState]; 2],
        slug: String,
        colour: Colour,
    ) -> Self {
        Self {
            vehicle,
            axle_index,
            slug,
            ride: at_ride(drawn),
            heave: ends(heave),
            roll: ends(roll),
            centre_path_m: centre_path(heave),
            colour,
        }
    }
}

fn at_ride((numbers, u): (&Numbers, &Numbers)) -> Known {
    let value = |key: Key| {
        let value = numbers.get(key)?;
        Some(Value { value, half: HALF_95 * u.get(key).unwrap_or(0.0) })
    };
    Known {
        pose: None,
        centre_m: value(Key::SideViewInstantCentreX)
            .zip(value(Key::SideViewInstantCentreZ))
            .map(|(x, z)| [x, z]),
        roll_centre_m: value(Key::RollCentreZ),
        roll_axis_rise_rad: value(Key::RollAxisRise).map(|v| v.value),
    }
}

/// The furthest poses that a sweep reaches on both sides.
fn ends(sweep: &[AtState]) -> Vec<Pose> {
    let reached = || sweep.iter().filter_map(|at| Some((at, at.outcome.as_ref().ok()?)));
    let far = |at: &AtState| at.heave_m.abs().max(at.roll_rad.abs()) > 0.0;
    let ends = [reached().next(), reached().next_back()];
    ends.into_iter().flatten().filter(|(at, _)| far(at)).map(|(_, r)| r.pose).collect()
}

fn centre_path(heave: &[AtState]) -> Vec<[f64; 2]> {
    let at = |at: &AtState| {
        let numbers = &at.outcome.as_ref().ok()?.numbers;
        Some([numbers.get(Key::SideViewInstantCentreX)?, numbers.get(Key::SideViewInstantCentreZ)?])
    };
    heave.iter().filter_map(at).collect()
}

/// The views of each layout, in their order: side, rear, plan. Each view has one scale for all layouts: it is as wide for
/// each, and as high as the layout needs.
pub fn designed(layouts: &[Designed], units: Units, size: Size) -> Vec<Vec<Drawing>> {
    let sheets: Vec<Sheet> = layouts.iter().filter_map(|layout| Sheet::new(layout, units, size)).collect();
    let windows = |view| -> Vec<Window> {
        let own: Vec<Window> = sheets.iter().map(|s| s.window(view)).collect();
        let all = Window::around(own.iter().flat_map(|w| w.corners()));
        own.iter().map(|w| all.map_or(*w, |all| Window { left: all.left, right: all.right, ..*w })).collect()
    };
    let [side, rear, plan] = [View::Side, View::Rear, View::Plan].map(windows);
    let of =
        |(s, ((a, b), c)): (&Sheet, ((&Window, &Window), &Window))| vec![s.side(*a), s.rear(*b), s.plan(*c)];
    sheets.iter().zip(side.iter().zip(&rear).zip(&plan)).map(of).collect()
}

/// Where the lines of a mirrored pair meet the vehicle's centre plane.
#[derive(Debug, Clone, PartialEq)]
struct Crossing {
    /// The pair's names without their sides.
    name: String,
    at: Vector3<f64>,
    /// The axle ends or chassis ends from which the lines are drawn on.
    from: [Vector3<f64>; 2],
}

struct Sheet<'a> {
    layout: &'a Designed<'a>,
    scene: Scene<'a>,
    elements: Vec<Element>,
    crossings: Vec<Crossing>,
    own: Stroke,
}

impl<'a> Sheet<'a> {
    fn new(layout: &'a Designed<'a>, units: Units, size: Size) -> Option<Self> {
        let axle = layout.vehicle.axles.get(layout.axle_index)?;
        let width = if size == Size::Wide { "wide" } else { "narrow" };
        let own = Stroke { colour: layout.colour, width_px: 2.4, dash: "" };
        let slug = format!("{}-{}-{width}", layout.slug, slug(&axle.name));
        let known = vec![(layout.ride, own, "at ride height")];
        let scene = Scene { vehicle: layout.vehicle, axle, known, units, size, slug };
        let elements = placed(axle, &Pose::default());
        let crossings = crossings(axle, &elements);
        Some(Self { layout, scene, elements, crossings, own })
    }

    fn near(&self, x_m: f64) -> bool {
        x_m.abs() < NEAR_WHEELBASES * self.layout.vehicle.wheelbase_m
    }

    fn window(&self, view: View) -> Window {
        let empty = Window { left: -1.0, bottom: 0.0, right: 1.0, top: 1.0 };
        match view {
            View::Side => self.scene.side_window(),
            View::Rear => self.scene.across_window(view, &self.layout.roll),
            View::Plan => {
                let around = self.scene.across_window(view, &self.layout.roll);
                let near = self.crossings.iter().filter(|c| self.near(c.at.x));
                let points = near.map(|c| view.flat(&c.at)).map(|[x, y]| [x, y + 0.1_f64.copysign(y)]);
                Window::around(around.corners().into_iter().chain(points)).unwrap_or(empty)
            }
        }
    }

    fn ghost(&self, canvas: &mut Canvas, view: View, pose: &Pose) {
        let elements = placed(self.scene.axle, pose);
        for element in &elements {
            let points: Vec<[f64; 2]> = element.points.iter().map(|p| canvas.at(p)).collect();
            canvas.line(&points, GHOST);
        }
        match view {
            View::Side => {
                let body = PlacedBody::new(pose, self.scene.axle.centre());
                let at = canvas.at(&body.position(&self.scene.axle.centre()));
                canvas.circle(at, self.scene.axle.tyre_radius_m * canvas.scale_px_per_m(), GHOST, None);
                canvas.circle(at, 2.0, Stroke { dash: "", ..GHOST }, None);
            }
            View::Rear | View::Plan => self.scene.wheels(canvas, view, pose, GHOST),
        }
    }

    /// Lines of links drawn on to the instant centre, where they do meet there.
    fn drawn_on_to_centre(&self, canvas: &mut Canvas) -> bool {
        let Some([x, z]) = self.layout.ride.centre_m.map(|c| c.map(|v| v.value)) else { return false };
        let mut met = false;
        // Links and wishbones; arms and cranks are no lines that a builder draws on.
        for element in self.elements.iter().filter(|e| e.points.len() < 4) {
            for pair in element.points.windows(2) {
                let [a, b] = [View::Side.flat(&pair[0]), View::Side.flat(&pair[1])];
                if off_line(a, b, [x, z]).is_some_and(|off| off < MEETS_M) {
                    let nearer = if (a[0] - x).hypot(a[1] - z) < (b[0] - x).hypot(b[1] - z) { a } else { b };
                    canvas.line(&[canvas.on_paper(nearer), canvas.on_paper([x, z])], DRAWN_ON);
                    met = true;
                }
            }
        }
        met
    }

    /// Crossings that lie on the solved roll axis.
    fn on_the_roll_axis(&self) -> impl Iterator<Item = &Crossing> {
        let axis = self.layout.ride.roll_centre_m.zip(self.layout.ride.roll_axis_rise_rad);
        self.crossings.iter().filter(move |c| {
            axis.is_some_and(|(centre, rise)| {
                let z = centre.value + c.at.x * rise.tan();
                (z - c.at.z).abs() < MEETS_M && self.near(c.at.x)
            })
        })
    }

    fn side(&self, window: Window) -> Drawing {
        let scene = &self.scene;
        let mut canvas = Canvas::new(View::Side, window, scene.size.width_px());
        let mut taken = Taken::default();
        scene.floor(&mut canvas);
        scene.wheel_centrelines(&mut canvas);
        let kept_out = scene.keep_outs(&mut canvas);
        for pose in &self.layout.heave {
            self.ghost(&mut canvas, View::Side, pose);
        }
        let centre = canvas.at(&scene.axle.centre());
        let r_px = scene.axle.tyre_radius_m * canvas.scale_px_per_m();
        canvas.circle(centre, r_px, self.own.thin(), None);
        canvas.circle(centre, 3.0, self.own, Some(self.own.colour));
        taken.add(centre, 4.0);
        let met = self.drawn_on_to_centre(&mut canvas);
        let path: Vec<[f64; 2]> = self.layout.centre_path_m.iter().map(|p| canvas.on_paper(*p)).collect();
        canvas.line(&path, PATH);
        scene.lines(&mut canvas, &self.elements, self.own, &mut taken);
        let mut badges = scene.badges(&canvas, &self.elements, &mut taken);
        scene.swing_arm(&mut canvas, &self.layout.ride, Stroke { width_px: 1.6, ..self.own }, &mut taken);
        scene.roll_axis(&mut canvas, &self.layout.ride, self.own);
        // Crossings are small rings, and a mark of something else must not hide one.
        let crossings = self.crossing_badges(&mut canvas, &mut taken);
        badges.extend(scene.construction_badges(&canvas, &mut taken));
        badges.extend(crossings);
        let mut looks = vec![("at ride height", self.own), ("at full droop and full bump", GHOST)];
        if met {
            looks.push(("link lines drawn on", DRAWN_ON));
        }
        looks.extend(kept_out.then_some(FREE));
        if path.len() > 1 && self.layout.centre_path_m.iter().any(|at| window.holds(*at)) {
            looks.push(("instant centre, droop to bump", PATH));
        }
        let title = "From the right side, at ride height";
        scene.finish(canvas, ("side-view", title, &scene.side_words()), &badges, &looks)
    }

    fn crossing_badges(&self, canvas: &mut Canvas, taken: &mut Taken) -> Vec<Badge> {
        let mut badges = Vec::new();
        for (k, crossing) in self.on_the_roll_axis().enumerate() {
            let at = canvas.at(&crossing.at);
            canvas.circle(at, 3.4, Stroke { dash: "", width_px: 1.8, ..self.own }, Some(palette::PAPER));
            taken.add(at, 4.0);
            let line = [[at[0] - 1.0, at[1]], [at[0] + 1.0, at[1]]];
            badges.push(Badge {
                sign: ["E", "F", "G", "H"].get(k).copied().unwrap_or("H").to_owned(),
                meaning: crossing.name.clone(),
                colour: self.own.colour,
                at: labels::place(&line, canvas, taken),
            });
        }
        badges
    }

    fn rear(&self, window: Window) -> Drawing {
        let scene = &self.scene;
        let mut canvas = Canvas::new(View::Rear, window, scene.size.width_px());
        let mut taken = Taken::default();
        scene.floor(&mut canvas);
        let kept_out = scene.keep_outs(&mut canvas);
        self.across(&mut canvas, View::Rear, &mut taken);
        scene.roll_centre(&mut canvas, &self.layout.ride, self.own, &mut taken);
        let mut badges = scene.badges(&canvas, &self.elements, &mut taken);
        badges.extend(scene.roll_centre_badge(&canvas, &mut taken));
        let mut looks = vec![("at ride height", self.own), (self.flexed_words(), GHOST)];
        looks.extend(kept_out.then_some(FREE));
        let title = "From behind, flexed each way";
        let description = format!("Links and wheels of the {} axle from behind, to scale.", scene.axle.name);
        scene.finish(canvas, ("rear-view", title, &description), &badges, &looks)
    }

    fn plan(&self, window: Window) -> Drawing {
        let scene = &self.scene;
        let mut canvas = Canvas::new(View::Plan, window, scene.size.width_px());
        let mut taken = Taken::default();
        let kept_out = scene.keep_outs(&mut canvas);
        self.across(&mut canvas, View::Plan, &mut taken);
        let centre_line = [window.bottom, window.top].map(|x| canvas.on_paper([0.0, x]));
        canvas.line(&centre_line, Stroke { colour: palette::GRID, width_px: 1.2, dash: "10 3 2 3" });
        let crossings: Vec<Crossing> = self.on_the_roll_axis().cloned().collect();
        for crossing in &crossings {
            for from in &crossing.from {
                canvas.line(&[canvas.at(from), canvas.at(&crossing.at)], DRAWN_ON);
            }
        }
        let mut badges = scene.badges(&canvas, &self.elements, &mut taken);
        badges.extend(self.crossing_badges(&mut canvas, &mut taken));
        let mut looks = vec![("at ride height", self.own), (self.flexed_words(), GHOST)];
        if crossings.iter().any(|c| c.from.iter().any(|from| *from != c.at)) {
            looks.push(("link lines drawn on", DRAWN_ON));
        }
        looks.extend(kept_out.then_some(FREE));
        let title = "From above, nose up, flexed each way";
        let description = format!("Links and wheels of the {} axle from above, to scale.", scene.axle.name);
        scene.finish(canvas, ("plan", title, &description), &badges, &looks)
    }

    fn across(&self, canvas: &mut Canvas, view: View, taken: &mut Taken) {
        for pose in &self.layout.roll {
            self.ghost(canvas, view, pose);
        }
        self.scene.wheels(canvas, view, &Pose::default(), self.own);
        self.scene.lines(canvas, &self.elements, self.own, taken);
    }

    fn flexed_words(&self) -> &'static str {
        match self.layout.roll.len() {
            2 => "at full articulation each way",
            _ => "articulated as far as it comes",
        }
    }
}

/// What boxes are called in the key.
const FREE: (&str, Stroke) = ("to be kept free", KEEP_OUT);
/// The path of the instant centre.
const PATH: Stroke = Stroke { colour: palette::INK, width_px: 2.2, dash: "" };

/// Distance of a point from the line through two others, m; none where they are one point.
fn off_line(a: [f64; 2], b: [f64; 2], p: [f64; 2]) -> Option<f64> {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length = dx.hypot(dy);
    (length > 0.0).then(|| ((p[0] - a[0]) * dy - (p[1] - a[1]) * dx).abs() / length)
}

/// Crossings of mirrored pairs of links, and the apexes of wishbones that stand in the centre plane.
fn crossings(axle: &Axle, elements: &[Element]) -> Vec<Crossing> {
    let mut found = Vec::new();
    for (k, element) in elements.iter().enumerate() {
        let [a, b] = element.points.as_slice() else { continue };
        if a.y <= 0.0 && b.y <= 0.0 {
            continue;
        }
        let mirror =
            |p: &Vector3<f64>, q: &Vector3<f64>| (p - Vector3::new(q.x, -q.y, q.z)).norm() < MIRRORED_M;
        let other = elements.iter().enumerate().find(|(j, other)| {
            *j != k && matches!(other.points.as_slice(), [c, d] if mirror(a, c) && mirror(b, d))
        });
        let Some(((_, other), at)) = other.zip(in_centre_plane(a, b)) else { continue };
        let nearer = usize::from((b - at).norm() < (a - at).norm());
        let from = [element, other].map(|e| e.points[nearer]);
        found.push(Crossing { name: format!("where {} and {} cross", element.name, other.name), at, from });
    }
    for wishbone in &axle.locating.wishbones {
        let at = wishbone.apex.point();
        if at.y.abs() < MIRRORED_M {
            found.push(Crossing { name: format!("apex of {}", wishbone.name), at, from: [at, at] });
        }
    }
    found
}

/// Where the line through two points meets y = 0; none where it runs along the centre plane.
fn in_centre_plane(a: &Vector3<f64>, b: &Vector3<f64>) -> Option<Vector3<f64>> {
    let across = b.y - a.y;
    (across.abs() > MIRRORED_M).then(|| a - (b - a) * (a.y / across))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;

    fn at(vehicle: &Vehicle) -> Vec<Crossing> {
        let axle = &vehicle.axles[0];
        crossings(axle, &placed(axle, &Pose::default()))
    }

    #[test]
    fn pairs_cross_in_the_centre_plane() {
        // Upper links of S: from (0.80, 0.42, 0.66) to (0.03, 0.10, 0.64); y = 0 at 0.03 − 0.10·0.77/0.32 = −0.210625,
        // z there 0.64 − 0.10·0.02/0.32 = 0.63375. Its lower links are parallel and cross nowhere.
        let s = at(&cases::s());
        assert_eq!(s.len(), 1);
        assert!((s[0].at - Vector3::new(-0.210625, 0.0, 0.63375)).norm() < 1e-12, "{:?}", s[0].at);
        assert_eq!(s[0].from[0], Vector3::new(0.03, 0.10, 0.64));
        assert_eq!(at(&cases::t()).len(), 2);
        let w = at(&cases::w());
        assert_eq!(w.len(), 1);
        assert_eq!(w[0].at, Vector3::new(0.03, 0.0, 0.64));
    }

    #[test]
    fn the_roll_axis_runs_through_the_crossings_that_are_drawn() {
        for vehicle in [cases::t(), cases::s(), cases::w()] {
            let prediction = crate::design::predict(&vehicle).expect("a case");
            let numbers = &prediction.axles[0].ride.numbers;
            let value = |key| numbers.get(key).expect("a number");
            use crate::vehicle::numbers::Key;
            let (z, rise) = (value(Key::RollCentreZ), value(Key::RollAxisRise));
            for crossing in at(&vehicle) {
                let axis = z + crossing.at.x * rise.tan();
                assert!((axis - crossing.at.z).abs() < 1e-9, "{}: {axis}", crossing.name);
            }
        }
    }
}
