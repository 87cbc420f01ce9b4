//! The ramp travel index from the axle's inclination at the moment when the other wheel is about to lift.
//!
//! Its geometry is that of [`OnRamp`].

use super::instants::Instant;
use super::path::{Path, PathPoint};
use super::result::{ClimbPoint, Measured, RampIndex, Status};
use crate::geometry::on_ramp::{OnRamp, ramp_travel_index};
use crate::run::{Phase, Recording};
use crate::vehicle::{Axle, Vehicle};

/// Standard uncertainty of a typed ramp angle, rad: a quarter of a degree.
const RAMP_ANGLE_U_RAD: f64 = 0.25 * std::f64::consts::PI / 180.0;
/// Standard uncertainty of each loaded radius at lift, m. The two tyres carry very different loads then.
const TYRE_RADIUS_U_M: f64 = 0.005;
/// Standard uncertainty of the axle's heading on the ramp, rad.
const HEADING_U_RAD: f64 = 3.0 * std::f64::consts::PI / 180.0;
/// Articulation within this of its greatest counts as no longer growing, rad.
const SETTLED_RAD: f64 = 0.003;
/// Roll that the axle must still gain after articulation has stopped growing, rad: only then did the mate lift.
const LIFTED_RAD: f64 = 0.004;

/// Standard uncertainty of the distance for independent `u`s: inclination, ramp angle, heading, the two radii.
fn distance_u_m(at: &OnRamp, inclination_u: f64) -> f64 {
    let by = |change: fn(&mut OnRamp, f64), u: f64| {
        let (mut up, mut down) = (*at, *at);
        change(&mut up, 0.5 * u);
        change(&mut down, -0.5 * u);
        up.distance_m() - down.distance_m()
    };
    [
        by(|r, d| r.inclination += d, inclination_u),
        by(|r, d| r.ramp_rad += d, RAMP_ANGLE_U_RAD),
        by(|r, d| r.heading_rad += d, HEADING_U_RAD),
        by(|r, d| r.climbing_radius_m += d, TYRE_RADIUS_U_M),
        by(|r, d| r.flat_radius_m += d, TYRE_RADIUS_U_M),
    ]
    .iter()
    .map(|u| u * u)
    .sum::<f64>()
    .sqrt()
}

/// Place of articulation among the coordinates.
const ROLL: usize = 3;

/// Inclination of the axle towards the climbing wheel at one point of the path.
struct Inclined {
    t_s: f64,
    articulation_rad: f64,
    /// None where nothing sees it.
    articulation_u: Option<f64>,
    inclination: f64,
    inclination_u: f64,
}

impl Inclined {
    fn point(&self) -> ClimbPoint {
        let level = (1.0 - self.inclination * self.inclination).max(f64::MIN_POSITIVE).sqrt();
        ClimbPoint {
            t_s: self.t_s,
            articulation_rad: self.articulation_u.map(|u| [self.articulation_rad, u]),
            inclination_rad: [self.inclination.clamp(-1.0, 1.0).asin(), self.inclination_u / level],
        }
    }
}

/// The index of both sides: left wheel up, right wheel up.
pub fn indices(
    vehicle: &Vehicle,
    axle: &Axle,
    recording: &Recording,
    instants: &[Instant],
    path: &Path,
) -> [RampIndex; 2] {
    [(Phase::RampLeft, 1.0, 0), (Phase::RampRight, -1.0, 1)].map(|(phase, sign, side)| {
        let points: Vec<&PathPoint> = path.points.iter().filter(|p| p.phase == phase).collect();
        let inclined: Vec<Inclined> =
            points.iter().filter_map(|p| inclined(path, &instants[p.instant], p, sign)).collect();
        RampIndex {
            taped_m: recording.facts.taped_ramp_m[side],
            profile: inclined.iter().map(Inclined::point).collect(),
            ..climb(vehicle, axle, recording, &inclined, !points.is_empty())
        }
    })
}

/// The index by the axle's inclination on the way; `climbed` says whether the run has this climb at all.
fn climb(
    vehicle: &Vehicle,
    axle: &Axle,
    recording: &Recording,
    points: &[Inclined],
    climbed: bool,
) -> RampIndex {
    let none = |status, why: &str| RampIndex {
        index: Measured::without(status, why),
        distance_m: None,
        lift_t_s: None,
        articulation_rad: None,
        inclination_rad: None,
        taped_m: None,
        profile: Vec::new(),
    };
    let marked = marked_lift(points, &recording.lifts_s);
    let Some(lift) = marked.or_else(|| lift(points)) else {
        return if !climbed {
            none(Status::NotExcited, "the run has no climb on this side")
        } else if points.is_empty() {
            none(Status::NotMeasured, "needs an inertial unit on the axle")
        } else {
            none(Status::NotExcited, "the other wheel did not lift: climb until articulation stops growing")
        };
    };
    let Some(ramp_rad) = recording.facts.ramp_angle_rad else {
        return none(Status::NotMeasured, "needs the ramp's angle: measure it again or give --ramp-angle");
    };
    let on_ramp = OnRamp {
        track_m: axle.track_m,
        ramp_rad,
        inclination: lift.inclination,
        heading_rad: 0.0,
        climbing_radius_m: axle.tyre_radius_m,
        flat_radius_m: axle.tyre_radius_m,
    };
    let d = on_ramp.distance_m();
    let index = |m: f64| ramp_travel_index(m, vehicle.wheelbase_m);
    RampIndex {
        index: Measured::new(index(d), index(distance_u_m(&on_ramp, lift.inclination_u))),
        distance_m: Some(d),
        lift_t_s: Some(lift.t_s),
        articulation_rad: Some(lift.articulation_rad),
        inclination_rad: Some(lift.inclination.asin()),
        taped_m: None,
        profile: Vec::new(),
    }
}

fn inclined(path: &Path, instant: &Instant, point: &PathPoint, sign: f64) -> Option<Inclined> {
    let (up, effects) = path.observer.axle_up(instant)?;
    // The axle's y axis seen along up is the vertical component of its direction.
    let effects = effects.row(1).transpose();
    let variance = effects.dot(&(&path.knowledge * &effects));
    Some(Inclined {
        t_s: point.t_s,
        articulation_rad: sign * point.estimate.pose.roll_rad,
        articulation_u: point.estimate.seen[ROLL]
            .then(|| point.estimate.covariance[(ROLL, ROLL)].max(0.0).sqrt()),
        inclination: sign * up.y,
        inclination_u: variance.max(0.0).sqrt(),
    })
}

/// The moment that a person marked. His eye wins over the data: the mate still carries its own weight when articulation
/// stops growing.
fn marked_lift<'a>(points: &'a [Inclined], lifts_s: &[f64]) -> Option<&'a Inclined> {
    let (first, last) = (points.first()?.t_s, points.last()?.t_s);
    let mark = lifts_s.iter().find(|t| (first..=last).contains(*t))?;
    points.iter().min_by(|a, b| (a.t_s - mark).abs().total_cmp(&(b.t_s - mark).abs()))
}

/// The moment on the way up when articulation has stopped growing while the axle keeps rolling.
fn lift(points: &[Inclined]) -> Option<&Inclined> {
    let top = points.iter().enumerate().max_by(|a, b| a.1.inclination.total_cmp(&b.1.inclination))?.0;
    let climb = &points[..=top];
    let greatest = climb.iter().map(|p| p.articulation_rad).fold(f64::NEG_INFINITY, f64::max);
    let lift = climb.iter().find(|p| p.articulation_rad > greatest - SETTLED_RAD)?;
    (points[top].inclination - lift.inclination > LIFTED_RAD).then_some(lift)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn climbing(articulations: &[f64]) -> Vec<Inclined> {
        let point = |(k, articulation_rad): (usize, &f64)| Inclined {
            t_s: k as f64,
            articulation_rad: *articulation_rad,
            articulation_u: Some(0.001),
            inclination: 0.02 * k as f64,
            inclination_u: 0.001,
        };
        articulations.iter().enumerate().map(point).collect()
    }

    #[test]
    fn the_lift_is_where_articulation_stops_growing_unless_somebody_marked_it() {
        let points = climbing(&[0.0, 0.1, 0.2, 0.25, 0.25, 0.25]);
        assert_eq!(lift(&points).map(|p| p.t_s), Some(3.0));
        assert_eq!(marked_lift(&points, &[9.0, 4.2]).map(|p| p.t_s), Some(4.0));
        assert!(marked_lift(&points, &[9.0]).is_none(), "a mark of another climb");
        assert!(
            lift(&climbing(&[0.0, 0.1, 0.2, 0.3, 0.4])).is_none(),
            "still growing: the mate never lifted"
        );
    }
}
