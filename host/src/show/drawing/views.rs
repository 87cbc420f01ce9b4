//! The three views: what each shows, and its constructions.

use super::canvas::{Canvas, Stroke, View};
use super::elements::placed;
use super::labels::Taken;
use super::scene::Scene;
use super::{Drawing, Known, Size};
use crate::geometry::Pose;
use crate::show::palette;
use crate::show::plot::slug;
use crate::show::{Units, words};
use crate::vehicle::Vehicle;

/// What measured links are: a run sees the axle; where the chassis' joints are it does not see by itself.
const MEASURED: &str = "axle as measured, its links from the chassis joints as drawn";

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
        let looks: Vec<(&str, Stroke)> = self.known.iter().map(|(_, s, name)| (*name, s.thin())).collect();
        let words = ("side-view", "From the right side, at ride height", self.side_words());
        self.finish(canvas, (words.0, words.1, &words.2), &badges, &looks)
    }

    /// From behind or from above, at the articulation of the poses.
    fn across(&self, view: View) -> Drawing {
        let poses: Vec<(Pose, Stroke)> =
            self.known.iter().filter_map(|(k, stroke, _)| k.pose.map(|pose| (pose, *stroke))).collect();
        let at: Vec<Pose> = poses.iter().map(|(pose, _)| *pose).collect();
        let mut canvas = Canvas::new(view, self.across_window(view, &at), self.size.width_px());
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
        let title = format!("{from}, at {state}");
        let posed = self.known.iter().filter(|(known, ..)| known.pose.is_some());
        let looks: Vec<(&str, Stroke)> = posed
            .map(|(_, stroke, name)| (if *name == "measured" { MEASURED } else { name }, *stroke))
            .collect();
        self.finish(canvas, (name, &title, &description), &badges, &looks)
    }
}
