//! Where bump stops, straps and shocks end travel.

use super::mechanism::{Follower, Mechanism};
use super::prediction::{ArticulationLimit, EndKind, LimitedBy, TravelEnd};
use super::springs::length_m;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{Pose, Vector3};
use crate::vehicle::Axle;

/// A length that a part must not pass.
#[derive(Debug, Clone)]
pub(super) struct Bound<'a> {
    name: &'a str,
    kind: EndKind,
    chassis: &'a Vector3<f64>,
    axle: &'a Vector3<f64>,
    length_m: f64,
    /// 1 where the part may not be longer, −1 where it may not be shorter.
    sign: f64,
}

impl Bound<'_> {
    /// How far the part is beyond its length with the axle at `pose`, m; negative before it.
    fn over_m(&self, centre: Vector3<f64>, pose: &Pose) -> f64 {
        self.sign * (length_m(centre, self.chassis, self.axle, pose) - self.length_m)
    }

    /// Whether the part is beyond its length with the axle at `pose`. Ends that have gone past one another are far apart again
    /// and beyond all the same.
    pub fn is_passed(&self, centre: Vector3<f64>, pose: &Pose) -> bool {
        let way = PlacedBody::new(pose, centre).position(self.axle) - self.chassis;
        let gone_past = self.sign < 0.0 && way.dot(&(self.axle - self.chassis)) <= 0.0;
        gone_past || self.over_m(centre, pose) > 0.0
    }
}

/// Everything but links that ends an axle's travel.
pub(super) fn bounds(axle: &Axle) -> Vec<Bound<'_>> {
    let stops = axle.bump_stops.iter().map(|s| (s, EndKind::BumpStop, -1.0));
    let straps = axle.straps.iter().map(|s| (s, EndKind::Strap, 1.0));
    let mut all: Vec<_> = stops
        .chain(straps)
        .map(|(s, kind, sign)| Bound {
            name: &s.name,
            kind,
            chassis: &s.chassis,
            axle: &s.axle,
            length_m: s.length_m,
            sign,
        })
        .collect();
    for shock in &axle.shocks {
        let ends = [(EndKind::ShockClosed, shock.closed_m, -1.0), (EndKind::ShockOpen, shock.open_m, 1.0)];
        all.extend(ends.map(|(kind, length_m, sign)| Bound {
            name: &shock.name,
            kind,
            chassis: &shock.chassis,
            axle: &shock.axle,
            length_m,
            sign,
        }));
    }
    all
}

/// Where each stop, strap and shock of an axle is first met, in heave and in articulation, within its sweep.
pub fn travel_ends(axle: &Axle, mechanism: &Mechanism) -> Vec<TravelEnd> {
    let sweep = &axle.sweep;
    let first = |bound: &Bound, low: f64, high: f64, state: fn(f64) -> (f64, f64)| {
        let met = [low, high].into_iter().filter_map(|end| meets(mechanism, bound, end, state));
        met.min_by(|a, b| a.abs().total_cmp(&b.abs()))
    };
    bounds(axle)
        .iter()
        .map(|bound| TravelEnd {
            name: bound.name.to_owned(),
            kind: bound.kind,
            heave_m: first(bound, -sweep.down_m, sweep.up_m, |h| (h, 0.0)),
            roll_rad: first(bound, -sweep.roll_rad, sweep.roll_rad, |r| (0.0, r)),
        })
        .collect()
}

/// How far an axle articulates at no heave until a stop, strap or shock is met, a link reaches no further or the sweep ends:
/// left wheel up, right wheel up.
pub fn articulation_limits(axle: &Axle, mechanism: &Mechanism) -> [ArticulationLimit; 2] {
    [1.0, -1.0].map(|side| {
        let end = side * axle.sweep.roll_rad;
        let links = match mechanism.solve(0.0, end) {
            Ok(_) => ArticulationLimit { roll_rad: end.abs(), by: LimitedBy::Sweep },
            Err(stop) => {
                ArticulationLimit { roll_rad: stop.reached_roll_rad.abs(), by: LimitedBy::Link(stop.member) }
            }
        };
        let ends = bounds(axle);
        let met = ends.iter().filter_map(|bound| {
            let roll_rad = meets(mechanism, bound, end, |roll| (0.0, roll))?.abs();
            Some(ArticulationLimit {
                roll_rad,
                by: LimitedBy::End { name: bound.name.to_owned(), kind: bound.kind },
            })
        });
        let first = met.min_by(|a, b| a.roll_rad.total_cmp(&b.roll_rad));
        first.filter(|met| met.roll_rad < links.roll_rad).unwrap_or(links)
    })
}

/// Steps of the search from ride height to the end of a sweep; within one a length does not turn round.
const STEPS: usize = 20;
/// Halvings of a step: 100 mm over 20 steps to 5e-12 m.
const HALVINGS: usize = 30;

/// Where a bound is first met on the way from ride height to `end`; `None` if it is not, or if the links end travel before.
fn meets(mechanism: &Mechanism, bound: &Bound, end: f64, state: fn(f64) -> (f64, f64)) -> Option<f64> {
    let mut follower = Follower::new(mechanism);
    let mut over_m = |at: f64| {
        let (heave_m, roll_rad) = state(at);
        let pose = follower.go(heave_m, roll_rad).ok()?.pose;
        Some(bound.over_m(mechanism.centre(), &pose))
    };
    if over_m(0.0)? >= 0.0 {
        return Some(0.0);
    }
    let mut clear = 0.0;
    for k in 1..=STEPS {
        let at = end * k as f64 / STEPS as f64;
        if over_m(at)? < 0.0 {
            clear = at;
            continue;
        }
        let mut beyond = at;
        for _ in 0..HALVINGS {
            let middle = 0.5 * (clear + beyond);
            if over_m(middle)? < 0.0 { clear = middle } else { beyond = middle }
        }
        return Some(beyond);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;
    use crate::vehicle::{Position, Shock, Stop};

    /// Equal level links carry the axle along without pitch: a part between points straight above one another on the
    /// centreline changes by heave alone but for the axle's swing, x = 1 − √(1 − z²) for links of a metre.
    #[test]
    fn ends_are_met_where_the_lengths_say() {
        let links = cases::pair("lower", [1.0, 0.45, 0.40], [0.0, 0.45, 0.40]).into_iter().chain([
            cases::link("upper", [1.0, 0.0, 0.62], [0.0, 0.0, 0.62]),
            cases::link("panhard", [0.1, 500.0, 0.5], [0.1, -0.42, 0.5]),
        ]);
        let mut vehicle = cases::linked(Position::Rear, links);
        let axle = &mut vehicle.axles[0];
        let (chassis, low) = (Vector3::new(0.0, 0.0, 0.9), Vector3::new(0.0, 0.0, 0.5));
        let stop = |length_m| Stop { name: "stop".into(), chassis, axle: low, length_m };
        axle.bump_stops = vec![stop(0.35), stop(0.20)];
        axle.straps = vec![stop(0.48)];
        axle.shocks = vec![Shock { name: "shock".into(), chassis, axle: low, open_m: 0.50, closed_m: 0.41 }];
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let ends = travel_ends(&vehicle.axles[0], &m);
        // (0.4 − z)² + x² = length², x = 1 − √(1 − z²)
        let off_m = |z: f64, length: f64| ((0.4 - z).hypot(1.0 - (1.0 - z * z).sqrt()) - length).abs();
        assert!(off_m(ends[0].heave_m.unwrap(), 0.35) < 1e-6, "{ends:?}");
        assert_eq!(ends[1].heave_m, None, "90 mm of bump do not close 200 mm");
        assert!(off_m(ends[2].heave_m.unwrap(), 0.48) < 1e-6 && ends[2].heave_m.unwrap() < 0.0);
        assert_eq!(
            (ends[3].kind, ends[3].heave_m),
            (EndKind::ShockClosed, Some(0.0)),
            "closed at ride already"
        );
        assert_eq!(ends[4].kind, EndKind::ShockOpen);
        assert!(off_m(ends[4].heave_m.unwrap(), 0.50) < 1e-6);
    }
}
