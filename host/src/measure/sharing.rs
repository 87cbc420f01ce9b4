//! How two axles of one run share their articulation: what each takes of the angle between them, which flexes first, where one goes no
//! further.
//!
//! With the chassis between them the moment that twists one axle's springs twists the other's too. Its roll against each axle is then
//! as their roll stiffnesses: `K_front/K_rear = |φ_rear|/|φ_front|` (two springs in series; re-derived).

use super::result::{AxleAnalysis, Measured, PosePoint, Status};
use crate::run::Phase;
use crate::vehicle::Position;

/// An angle between the axles below this is no ramp, rad: 3°.
const LEAST_RAD: f64 = 0.05;
/// Steps along the articulation.
const STEPS: usize = 9;
/// Poses that a step needs.
const LEAST_POSES: usize = 2;
/// A share that changes by less than this from the beginning of the articulation to its end has not changed.
const CHANGED: f64 = 0.08;
/// An axle whose part of a step falls below this of its part before goes no further.
const BINDS: f64 = 0.4;
/// Relative u above which a ratio is not resolved.
const RESOLVED: f64 = 1.0 / 3.0;

/// How two axles share a ramp.
#[derive(Debug, Clone, PartialEq)]
pub struct Sharing {
    /// Which ramp.
    pub phase: Phase,
    /// Names: front, rear.
    pub axles: [String; 2],
    /// Where the angle between the axles is greatest.
    pub greatest: Shared,
    /// On the way there, by equal steps of the angle between the axles.
    pub along: Vec<Shared>,
    /// Roll stiffness of the front over that of the rear, as the greatest articulation implies it.
    pub stiffness_ratio: Measured,
    /// Which axle takes more of the first third than of the last: 0 front, 1 rear; none where they share alike all the way.
    pub first: Option<usize>,
    /// The axle that goes no further, and the angle between the axles from which on, rad.
    pub binds: Option<(usize, f64)>,
}

/// One step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Angle between the axles, rad.
    pub total_rad: f64,
    /// Roll of front and rear axle against the chassis, rad, and standard uncertainties.
    pub roll_rad: [(f64, f64); 2],
    /// The rear axle's part of the angle between them, and its standard uncertainty.
    pub rear_share: (f64, f64),
}

impl Shared {
    fn of(roll_rad: [(f64, f64); 2]) -> Self {
        let [(front, front_u), (rear, rear_u)] = roll_rad;
        let total = rear - front;
        let share = if total == 0.0 { 0.0 } else { rear / total };
        let share_u =
            if total == 0.0 { 0.0 } else { (front * rear_u).hypot(rear * front_u) / (total * total) };
        Self { total_rad: total.abs(), roll_rad, rear_share: (share, share_u) }
    }
}

/// Every ramp that both axles of a vehicle with two went through.
pub(super) fn sharings(axles: &[AxleAnalysis]) -> Vec<Sharing> {
    let at = |position| axles.iter().find(|a| a.position == position);
    let (Some(front), Some(rear)) = (at(Position::Front), at(Position::Rear)) else { return Vec::new() };
    let of = |phase: Phase| {
        let pairs = pairs(&front.path, &rear.path, phase);
        sharing(phase, [front.name.clone(), rear.name.clone()], &pairs)
    };
    [Phase::RampLeft, Phase::RampRight].into_iter().filter_map(of).collect()
}

/// Roll of both axles, front and rear, at the instants of a phase that have both.
fn pairs(front: &[PosePoint], rear: &[PosePoint], phase: Phase) -> Vec<[(f64, f64); 2]> {
    let mut rear = rear.iter().filter(|p| p.phase == phase).peekable();
    let roll = |p: &PosePoint| Some((p.pose.roll_rad, p.u[3]?));
    let mut found = Vec::new();
    for at_front in front.iter().filter(|p| p.phase == phase) {
        while rear.next_if(|p| p.t_s < at_front.t_s).is_some() {}
        if let Some(at_rear) = rear.peek().filter(|p| p.t_s == at_front.t_s)
            && let (Some(a), Some(b)) = (roll(at_front), roll(at_rear))
        {
            found.push([a, b]);
        }
    }
    found
}

fn sharing(phase: Phase, axles: [String; 2], pairs: &[[(f64, f64); 2]]) -> Option<Sharing> {
    let points: Vec<Shared> = pairs.iter().map(|p| Shared::of(*p)).collect();
    let top = points.iter().enumerate().max_by(|a, b| a.1.total_rad.total_cmp(&b.1.total_rad))?.0;
    let greatest = points[top];
    if greatest.total_rad < LEAST_RAD {
        return None;
    }
    let along = along(&points[..=top], greatest.total_rad);
    Some(Sharing {
        phase,
        axles,
        stiffness_ratio: ratio(&greatest),
        first: first(&along),
        binds: binds(&along),
        greatest,
        along,
    })
}

/// Means of the poses on the way up, step by step.
fn along(points: &[Shared], most_rad: f64) -> Vec<Shared> {
    let step = most_rad / STEPS as f64;
    let mean = |k: usize| {
        let within = |p: &&Shared| ((p.total_rad / step) as usize).min(STEPS - 1) == k;
        let part: Vec<&Shared> = points.iter().filter(within).collect();
        let n = part.len() as f64;
        let roll = |axle: usize, of: fn((f64, f64)) -> f64| {
            part.iter().map(|p| of(p.roll_rad[axle])).sum::<f64>() / n
        };
        // What is not known of an axle's roll is the same at neighbouring poses: a mean knows no better.
        let both = [0, 1].map(|axle| (roll(axle, |r| r.0), roll(axle, |r| r.1)));
        (part.len() >= LEAST_POSES).then(|| Shared::of(both))
    };
    (0..STEPS).filter_map(mean).collect()
}

fn ratio(at: &Shared) -> Measured {
    let [(front, front_u), (rear, rear_u)] = at.roll_rad;
    let (front, rear) = (front.abs(), rear.abs());
    let value = rear / front;
    let relative = (front_u / front).hypot(rear_u / rear);
    if !value.is_finite() || relative > RESOLVED {
        return Measured::without(Status::NotResolved, "one of the axles hardly flexed");
    }
    Measured::new(value, value * relative)
}

/// The rear axle's part of what a stretch of the way added.
fn part(from: &Shared, to: &Shared) -> Option<f64> {
    let added = |axle: usize| (to.roll_rad[axle].0 - from.roll_rad[axle].0).abs();
    let whole = added(0) + added(1);
    (whole > 0.0).then(|| added(1) / whole)
}

fn first(along: &[Shared]) -> Option<usize> {
    let third = along.len() / 3;
    let (a, b) = (along.first()?, along.get(third.max(1))?);
    let (c, d) = (along.get(along.len().checked_sub(1 + third.max(1))?)?, along.last()?);
    let change = part(a, b)? - part(c, d)?;
    (change.abs() > CHANGED).then(|| usize::from(change > 0.0))
}

/// The axle whose part of every later step stays far below its part before, and where that begins.
fn binds(along: &[Shared]) -> Option<(usize, f64)> {
    let added = |axle: usize, k: usize| {
        let (from, to) = (along.get(k)?, along.get(k + 1)?);
        Some((to.roll_rad[axle].0 - from.roll_rad[axle].0).abs() / (to.total_rad - from.total_rad).abs())
    };
    let steps = along.len().saturating_sub(1);
    for axle in [0, 1] {
        let parts: Vec<f64> = (0..steps).filter_map(|k| added(axle, k)).collect();
        // Two steps at least each side: one alone is scatter.
        for k in 2..parts.len().saturating_sub(1) {
            let (before, after) = parts.split_at(k);
            let usual = before.iter().sum::<f64>() / before.len() as f64;
            let steady = before.iter().all(|p| *p > BINDS * usual);
            if steady && usual > 0.1 && after.iter().all(|p| *p < BINDS * usual) {
                return Some((axle, along.get(k)?.total_rad));
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rolls along a ramp: the front takes `front(total)`, the rear the rest.
    fn ramp(front: impl Fn(f64) -> f64) -> Sharing {
        let pairs: Vec<[(f64, f64); 2]> = (0..=120)
            .map(|k| {
                let total = f64::from(k) * 0.0025;
                let front = front(total);
                [(-front, 0.002), (total - front, 0.003)]
            })
            .collect();
        sharing(Phase::RampLeft, ["front".into(), "rear".into()], &pairs).unwrap()
    }

    #[test]
    fn two_springs_in_series_share_by_their_stiffness() {
        let shared = ramp(|total| 0.3 * total);
        assert!((shared.greatest.total_rad - 0.3).abs() < 1e-12);
        assert!((shared.greatest.rear_share.0 - 0.7).abs() < 1e-12);
        let (ratio, u) = shared.stiffness_ratio.measured().unwrap();
        assert!((ratio - 0.7 / 0.3).abs() < 1e-12);
        // By hand: √((0.002/0.09)² + (0.003/0.21)²) = 0.026418 of it.
        assert!((u / ratio - 0.026418).abs() < 1e-6, "{}", u / ratio);
        // By hand: √((0.09·0.003)² + (0.21·0.002)²)/0.3² = 0.0055478.
        assert!((shared.greatest.rear_share.1 - 0.0055478).abs() < 1e-7);
        assert_eq!((shared.first, shared.binds), (None, None));
        assert_eq!(shared.along.len(), STEPS);
    }

    #[test]
    fn an_axle_that_meets_its_stop_is_named_with_where() {
        let shared = ramp(|total| (0.5 * total).min(0.07));
        let (axle, from_rad) = shared.binds.unwrap();
        assert_eq!(axle, 0);
        assert!((0.12..0.18).contains(&from_rad), "it stops at 0.14: {from_rad}");
        assert_eq!(shared.first, Some(0), "the front takes more of the beginning than of the end");
    }

    #[test]
    fn the_axle_that_gives_way_first_is_named() {
        let shared = ramp(|total| 1.2 * total * total);
        assert_eq!(shared.first, Some(1));
        assert_eq!(shared.binds, None);
    }

    #[test]
    fn a_ramp_that_was_none_is_left_out() {
        let pairs = vec![[(0.001, 0.002), (0.02, 0.003)]; 20];
        assert_eq!(sharing(Phase::RampLeft, ["front".into(), "rear".into()], &pairs), None);
    }
}
