//! The lines that stand for an axle's locating elements, placed for a pose.

use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::vehicle::{Axle, Mount, Side, Watts};
use nalgebra::{Rotation3, Unit};

/// A named line through points, m in the chassis frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// Its name.
    pub name: String,
    /// Its points.
    pub points: Vec<Vector3<f64>>,
}

/// Every locating element of an axle at a pose.
pub fn placed(axle: &Axle, pose: &Pose) -> Vec<Element> {
    let body = PlacedBody::new(pose, axle.centre());
    let at = |mount: &Mount, on: Side| point(&body, &mount.point(), on);
    let element = |name: &str, points: Vec<Vector3<f64>>| Element { name: name.to_owned(), points };
    let locating = &axle.locating;
    let links = locating
        .links
        .iter()
        .map(|l| element(&l.name, vec![at(&l.chassis, Side::Chassis), at(&l.axle, Side::Axle)]));
    let wishbones = locating.wishbones.iter().map(|w| {
        let apex = at(&w.apex, w.apex_on);
        let [a, b] = [&w.legs[0], &w.legs[1]].map(|leg| at(leg, other(w.apex_on)));
        element(&w.name, vec![a, apex, b])
    });
    let arms = locating.radius_arms.iter().map(|arm| {
        let joint = at(&arm.chassis, Side::Chassis);
        let [a, b] = [&arm.axle[0], &arm.axle[1]].map(|bush| at(bush, Side::Axle));
        element(&arm.name, vec![joint, a, b, joint])
    });
    let watts = locating.watts.iter().map(|w| element(&w.name, linkage(w, &body)));
    links.chain(wishbones).chain(arms).chain(watts).collect()
}

fn other(side: Side) -> Side {
    match side {
        Side::Chassis => Side::Axle,
        Side::Axle => Side::Chassis,
    }
}

fn point(body: &PlacedBody, p: &Vector3<f64>, on: Side) -> Vector3<f64> {
    match on {
        Side::Chassis => *p,
        Side::Axle => body.position(p),
    }
}

/// Link, crank, link. The crank stands where both links keep their lengths.
fn linkage(watts: &Watts, body: &PlacedBody) -> Vec<Vector3<f64>> {
    let pivot = watts.pivot.point();
    let axis = Unit::new_normalize(watts.axis);
    let ends = [0, 1].map(|k| point(body, &watts.ends[k].point(), other(watts.pivot_on)));
    let crank = |angle: f64| {
        let turn = Rotation3::from_axis_angle(&axis, angle);
        watts.crank.map(|end| point(body, &(pivot + turn * (end - pivot)), watts.pivot_on))
    };
    let lengths = [0, 1].map(|k| (watts.ends[k].point() - watts.crank[k]).norm());
    let stretch = |angle: f64| -> f64 {
        let crank = crank(angle);
        (0..2).map(|k| ((ends[k] - crank[k]).norm() - lengths[k]).powi(2)).sum()
    };
    let [first, second] = crank(least(stretch));
    vec![ends[0], first, second, ends[1]]
}

/// Where a function of an angle within ±60° is least, by golden section; there is one valley in a crank's range.
fn least(f: impl Fn(f64) -> f64) -> f64 {
    const RATIO: f64 = 0.618_033_988_749_895;
    let (mut low, mut high) = (-1.05, 1.05);
    for _ in 0..60 {
        let span = RATIO * (high - low);
        if f(high - span) < f(low + span) { high = low + span } else { low = high - span }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::vehicle::file::parse;

    #[test]
    fn a_watts_crank_turns_so_that_its_links_keep_their_lengths() {
        let text = Layout::RadiusArmWatts.vehicle_text("Bramble");
        let vehicle = parse(&text, "starter").expect("a starter is valid");
        let axle = &vehicle.axles[0];
        let length = |e: &Element, k: usize| (e.points[k + 1] - e.points[k]).norm();
        let linkage = |pose: &Pose| {
            let name = &axle.locating.watts[0].name;
            placed(axle, pose).into_iter().find(|e| &e.name == name).expect("the linkage")
        };
        let rest = linkage(&Pose::default());
        // Heave alone: the crank turns and the axle may stay in the middle but for the links' own arcs.
        let moved = linkage(&Pose::heave_roll(0.04, 0.0));
        assert!((length(&rest, 1) - length(&moved, 1)).abs() < 1e-12, "the crank is rigid");
        let off = (length(&rest, 0) - length(&moved, 0)).abs() + (length(&rest, 2) - length(&moved, 2)).abs();
        assert!(off < 1e-4, "both links keep their lengths as well as a crank can make them: {off}");
        let turned = (rest.points[1] - moved.points[1]).norm();
        assert!(turned > 0.01, "the crank turned: {turned}");
    }

    #[test]
    fn every_element_of_every_layout_is_drawn() {
        for (word, layout) in Layout::WORDS {
            let vehicle = parse(&layout.vehicle_text("Bramble"), "starter").expect("a starter is valid");
            let axle = &vehicle.axles[0];
            let l = &axle.locating;
            let count = l.links.len() + l.wishbones.len() + l.radius_arms.len() + l.watts.len();
            let drawn = placed(axle, &Pose::heave_roll(0.02, 0.1));
            assert_eq!(drawn.len(), count, "{word}");
            assert!(drawn.iter().all(|e| e.points.iter().all(|p| p.norm().is_finite())), "{word}");
        }
    }
}
