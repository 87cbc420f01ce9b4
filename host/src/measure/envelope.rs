//! How much of its travel an axle used: the region of heave and articulation that it went through, how far it went to each side, and
//! how often it was near the end.
//!
//! The travel that there is, is the `sweep` of the vehicle file: what its builder says that the axle can do.

use super::result::{Measured, PosePoint};
use crate::geometry::Pose;
use crate::run::Phase;
use crate::vehicle::Axle;

/// Near an end: beyond this part of the travel to that side.
const NEAR: f64 = 0.9;
/// Poses that make a region.
const LEAST_POSES: usize = 10;

/// What an axle used of its travel.
#[derive(Debug, Clone, PartialEq)]
pub struct Envelope {
    /// Whether it is of the obstacles alone, or of all that moved.
    pub obstacle: bool,
    /// How long it was looked at, s.
    pub seconds: f64,
    /// Least and greatest heave, m.
    pub heave_m: [Measured; 2],
    /// Greatest articulation right wheel up (negative) and left wheel up, rad.
    pub roll_rad: [Measured; 2],
    /// Lowest and highest place of the left and of the right wheel, m.
    pub wheels_m: [[Measured; 2]; 2],
    /// Corners of the region, heave (m) and roll (rad), against the clock: the convex hull of all poses.
    pub region: Vec<[f64; 2]>,
    /// Area of the region over that of the sweep.
    pub share_of_sweep: f64,
    /// Ends of the travel: droop, bump, right wheel up, left wheel up.
    pub ends: [End; 4],
}

/// One end of the travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// How far the file says it goes, m or rad, without sign.
    pub limit: f64,
    /// Part of that which was used.
    pub used: f64,
    /// How often the axle came near it.
    pub times: usize,
    /// Part of the time that it was near it.
    pub time_share: f64,
}

/// The envelope of an axle's path; none where too little moved.
pub(super) fn envelope(axle: &Axle, path: &[PosePoint]) -> Option<Envelope> {
    let obstacle = path.iter().any(|p| p.phase == Phase::Obstacle);
    let wanted = |p: &&PosePoint| if obstacle { p.phase == Phase::Obstacle } else { p.phase.travels() };
    // Heave and roll of a pose that nothing saw are no places of the axle.
    let points: Vec<&PosePoint> =
        path.iter().filter(wanted).filter(|p| p.u[2].is_some() && p.u[3].is_some()).collect();
    if points.len() < LEAST_POSES {
        return None;
    }
    let half_track_m = 0.5 * axle.track_m;
    let wheel = |side: f64| move |p: &PosePoint| p.pose.z_m + side * half_track_m * inclination(&p.pose);
    let wheel_u = move |p: &PosePoint| p.u[2].unwrap_or(0.0).hypot(half_track_m * p.u[3].unwrap_or(0.0));
    let u_of = |k: usize| move |p: &PosePoint| p.u[k].unwrap_or(0.0);
    let region = hull(points.iter().map(|p| [p.pose.z_m, p.pose.roll_rad]).collect());
    let sweep = &axle.sweep;
    let whole = (sweep.up_m + sweep.down_m) * 2.0 * sweep.roll_rad;
    let end = |limit: f64, towards: &dyn Fn(&PosePoint) -> f64| end(&points, limit, towards);
    Some(Envelope {
        obstacle,
        seconds: seconds(&points),
        heave_m: extremes(&points, &|p| p.pose.z_m, &u_of(2)),
        roll_rad: extremes(&points, &|p| p.pose.roll_rad, &u_of(3)),
        wheels_m: [1.0, -1.0].map(|side| extremes(&points, &wheel(side), &wheel_u)),
        share_of_sweep: if whole > 0.0 { area(&region) / whole } else { 0.0 },
        region,
        ends: [
            end(sweep.down_m, &|p| -p.pose.z_m),
            end(sweep.up_m, &|p| p.pose.z_m),
            end(sweep.roll_rad, &|p| -p.pose.roll_rad),
            end(sweep.roll_rad, &|p| p.pose.roll_rad),
        ],
    })
}

/// Vertical component of the axle's direction in the chassis frame: what raises a wheel.
fn inclination(pose: &Pose) -> f64 {
    pose.pitch_rad.cos() * pose.roll_rad.sin()
}

/// Time between the poses, gaps and other phases left out, s.
fn seconds(points: &[&PosePoint]) -> f64 {
    let mut steps: Vec<f64> = points.windows(2).map(|w| w[1].t_s - w[0].t_s).collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(0.0) * points.len() as f64
}

fn extremes(
    points: &[&PosePoint],
    of: &dyn Fn(&PosePoint) -> f64,
    u: &dyn Fn(&PosePoint) -> f64,
) -> [Measured; 2] {
    let by = |a: &&&PosePoint, b: &&&PosePoint| of(a).total_cmp(&of(b));
    let measured = |p: Option<&&PosePoint>| p.map_or(Measured::new(0.0, 0.0), |p| Measured::new(of(p), u(p)));
    [measured(points.iter().min_by(by)), measured(points.iter().max_by(by))]
}

fn end(points: &[&PosePoint], limit: f64, towards: &dyn Fn(&PosePoint) -> f64) -> End {
    if limit <= 0.0 {
        return End { limit, used: 0.0, times: 0, time_share: 0.0 };
    }
    let near: Vec<bool> = points.iter().map(|p| towards(p) > NEAR * limit).collect();
    let entered =
        near.windows(2).filter(|w| !w[0] && w[1]).count() + usize::from(near.first() == Some(&true));
    let most = points.iter().map(|p| towards(p)).fold(0.0, f64::max);
    let count = near.iter().filter(|n| **n).count();
    End { limit, used: most / limit, times: entered, time_share: count as f64 / points.len() as f64 }
}

/// Convex hull against the clock (Andrew's monotone chain, Inf. Process. Lett. 9, 1979, from memory).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let chain = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain.as_slice()
                && (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut lower = chain(&mut points.iter().copied());
    lower.extend(chain(&mut points.iter().rev().copied()));
    lower
}

/// Area within corners, by the shoelace.
fn area(corners: &[[f64; 2]]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    0.5 * corners.iter().zip(next).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(t_s: f64, heave_m: f64, roll_rad: f64) -> PosePoint {
        PosePoint {
            t_s,
            phase: Phase::Obstacle,
            pose: Pose::heave_roll(heave_m, roll_rad),
            u: [Some(1e-3); 6],
            chi_square: 0.0,
            redundancy: 0,
            direction: None,
        }
    }

    fn axle() -> Axle {
        let text = crate::files::starters::Layout::parse("four-link").unwrap().vehicle_text("Bramble");
        let mut axle = crate::vehicle::file::parse(&text, "vehicle.toml").unwrap().axles.remove(0);
        axle.sweep = crate::vehicle::Sweep { up_m: 0.1, down_m: 0.2, roll_rad: 0.25 };
        axle.track_m = 1.6;
        axle
    }

    #[test]
    fn a_rectangle_that_was_driven_round_is_measured_as_one() {
        const ROUNDING: f64 = 1e-12;
        let corners = [(-0.1, -0.1), (0.095, -0.1), (0.095, 0.2), (-0.1, 0.2), (-0.1, -0.1), (0.095, -0.1)];
        let path: Vec<PosePoint> = corners
            .windows(2)
            .flat_map(|w| (0..10).map(move |k| (w[0], w[1], f64::from(k) / 10.0)))
            .enumerate()
            .map(|(k, (a, b, part))| {
                point(k as f64 * 0.2, a.0 + (b.0 - a.0) * part, a.1 + (b.1 - a.1) * part)
            })
            .collect();
        let found = envelope(&axle(), &path).unwrap();
        assert!(
            (found.share_of_sweep - 0.195 * 0.3 / (0.3 * 0.5)).abs() < ROUNDING,
            "{}",
            found.share_of_sweep
        );
        let values = |m: &[Measured; 2]| [0, 1].map(|k| m[k].value.unwrap());
        assert_eq!((values(&found.heave_m), values(&found.roll_rad)), ([-0.1, 0.095], [-0.1, 0.2]));
        let left = values(&found.wheels_m[0]);
        assert!((left[1] - (0.095 + 0.8 * 0.2f64.sin())).abs() < ROUNDING, "{left:?}");
        // By hand: √(1² + (0.8·1)²)·1e-3.
        assert!((found.wheels_m[0][1].u.unwrap() - 1.2806e-3).abs() < 1e-7);
        let [droop, bump, right, lifted] = found.ends;
        assert!((bump.used - 0.95).abs() < ROUNDING && bump.times == 1, "{bump:?}");
        assert!((droop.used - 0.5).abs() < ROUNDING && droop.times == 0 && droop.time_share == 0.0);
        assert!((right.used - 0.4).abs() < ROUNDING && (lifted.used - 0.8).abs() < ROUNDING);
        assert!((found.seconds - 10.0).abs() < 1e-9);
    }

    #[test]
    fn of_a_run_with_obstacles_only_they_count() {
        let mut path: Vec<PosePoint> =
            (0..20).map(|k| point(f64::from(k), 0.01 * f64::from(k % 5), 0.01)).collect();
        path.extend((20..40).map(|k| PosePoint { phase: Phase::Bounce, ..point(f64::from(k), 0.09, 0.0) }));
        let found = envelope(&axle(), &path).unwrap();
        assert!(found.obstacle && found.heave_m[1].value == Some(0.04));
        assert_eq!(envelope(&axle(), &path[..5]), None);
    }

    proptest! {
        #[test]
        fn every_point_lies_within_the_hull(points in prop::collection::vec(prop::array::uniform2(-1.0..1.0f64), 3..60)) {
            /// Cross products of coordinates of order one.
            const ROUNDING: f64 = 1e-12;
            let corners = hull(points.clone());
            let next: Vec<_> = corners.iter().cycle().skip(1).take(corners.len()).collect();
            for p in &points {
                for (a, b) in corners.iter().zip(&next) {
                    let cross = (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
                    prop_assert!(cross > -ROUNDING);
                }
            }
            prop_assert!(area(&corners) >= 0.0 && area(&corners) <= 4.0);
        }
    }
}
