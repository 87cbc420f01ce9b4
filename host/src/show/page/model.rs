//! An axle as lines in space, for the view that a hand turns.

use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::show::drawing::elements::placed;
use crate::vehicle::Axle;
use serde_json::{Value, json};

/// Points on a tyre's edge.
const ROUND: usize = 28;

/// Axles at poses, each with the name of its look, as `{"lines":[{"name","look","part","points_m"}]}` in the chassis frame.
pub fn of(shown: &[(Axle, Pose, &str)]) -> String {
    let mut lines = shown.first().map_or_else(Vec::new, |(axle, ..)| floor(axle));
    for (axle, pose, look) in shown {
        lines.extend(placed(axle, pose).iter().map(|e| line(&e.name, look, "link", &e.points)));
        lines.extend(wheels(axle, pose, look));
    }
    json!({ "lines": lines }).to_string()
}

fn line(name: &str, look: &str, part: &str, points: &[Vector3<f64>]) -> Value {
    // To a tenth of a millimetre: finer than any screen.
    let short = |v: f64| (v * 1e4).round() / 1e4;
    let points: Vec<[f64; 3]> = points.iter().map(|p| [short(p.x), short(p.y), short(p.z)]).collect();
    json!({ "name": name, "look": look, "part": part, "points_m": points })
}

/// The axle's tube and the edges of its tyres.
fn wheels(axle: &Axle, pose: &Pose, look: &str) -> Vec<Value> {
    let body = PlacedBody::new(pose, axle.centre());
    let centre = axle.centre();
    let half = 0.5 * axle.track_m;
    let at = |y: f64, angle: f64, r: f64| {
        body.position(&Vector3::new(centre.x + r * angle.cos(), y, centre.z + r * angle.sin()))
    };
    let ring = |y: f64| -> Vec<Vector3<f64>> {
        let step = std::f64::consts::TAU / ROUND as f64;
        (0..=ROUND).map(|k| at(y, k as f64 * step, axle.tyre_radius_m)).collect()
    };
    let mut lines = vec![line("axle", look, "axle", &[at(half, 0.0, 0.0), at(-half, 0.0, 0.0)])];
    for (side, name) in [(1.0, "left wheel"), (-1.0, "right wheel")] {
        for edge in [-0.5, 0.5] {
            lines.push(line(name, look, "wheel", &ring(side * half + edge * axle.tyre_width_m)));
        }
    }
    lines
}

/// The floor under the axle as a frame with a cross, nose forward.
fn floor(axle: &Axle) -> Vec<Value> {
    let c = axle.centre();
    let (back, front, side) = (c.x - 0.7, c.x + 1.3, 0.5 * axle.track_m + 0.2);
    let p = |x: f64, y: f64| Vector3::new(x, y, 0.0);
    let edge = [p(back, side), p(front, side), p(front, -side), p(back, -side), p(back, side)];
    vec![
        line("floor", "floor", "floor", &edge),
        line("centreline", "floor", "floor", &[p(back, 0.0), p(front, 0.0)]),
        line("forward", "floor", "nose", &[p(front - 0.12, 0.08), p(front, 0.0), p(front - 0.12, -0.08)]),
        line("under the axle", "floor", "floor", &[p(c.x, side), p(c.x, -side)]),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::vehicle::file::parse;

    #[test]
    fn every_part_is_there_and_moves_with_the_pose() {
        let vehicle =
            parse(&Layout::DoubleTriangulatedFourLink.vehicle_text("Bramble"), "vehicle.toml").unwrap();
        let axle = &vehicle.axles[0];
        let model = |heave_m| -> Value {
            serde_json::from_str(&of(&[(axle.clone(), Pose::heave_roll(heave_m, 0.0), "now")])).unwrap()
        };
        let (low, high) = (model(0.0), model(0.05));
        let lines = |m: &Value| m["lines"].as_array().unwrap().clone();
        let parts = |part: &str| lines(&low).iter().filter(|l| l["part"] == part).count();
        assert_eq!((parts("link"), parts("wheel"), parts("axle"), parts("floor")), (4, 4, 1, 3), "{low}");
        let z = |m: &Value, part: &str| {
            let found = lines(m).into_iter().find(|l| l["part"] == part).unwrap();
            found["points_m"][1][2].as_f64().unwrap()
        };
        assert!((z(&high, "axle") - z(&low, "axle") - 0.05).abs() < 1e-9);
        assert_eq!(z(&high, "floor"), 0.0);
    }
}
