//! How far each joint of a link is turned away from square to its bolt, against what the joint bears.
//!
//! A joint is square where the link's direction `u` is square to the bolt's direction `b`. While the link may spin about its
//! own length, `asin|u·b|` is the least misalignment: the eye turns to the best angle. Two rod ends on one rigid link share
//! one spin; their eyes are taken to be clocked to their bolts at ride height.

use crate::geometry::{Pose, Vector3};
use crate::vehicle::{Axle, JointKind, Link};

/// Misalignment of a link's two joints at a state, rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Misalignment {
    /// At the chassis end, with the link spun to the best angle for it.
    pub chassis_rad: f64,
    /// At the axle end, likewise.
    pub axle_rad: f64,
    /// The larger of both for the best single spin, where both joints are rod ends.
    pub shared_spin_rad: Option<f64>,
}

impl Misalignment {
    /// The largest that is known to occur.
    pub fn worst_rad(&self) -> f64 {
        self.chassis_rad.max(self.axle_rad).max(self.shared_spin_rad.unwrap_or(0.0))
    }
}

/// The link's direction (chassis end to axle end) and its two bolts, all in the chassis frame.
fn directions(axle: &Axle, link: &Link, pose: &Pose) -> (Vector3<f64>, [Vector3<f64>; 2]) {
    let (c, r) = (axle.centre(), pose.rotation());
    let end = r * (link.axle.point() - c) + c + pose.translation();
    let u = (end - link.chassis.point()).normalize();
    (u, [link.bolts[0].normalize(), r * link.bolts[1].normalize()])
}

/// Angle about `u` from the first bolt to the second, both seen along `u`; bolts have no sense, so within a quarter turn.
fn twist_rad(u: &Vector3<f64>, [first, second]: &[Vector3<f64>; 2]) -> f64 {
    let flat = |b: &Vector3<f64>| b - u * u.dot(b);
    let (a, b) = (flat(first), flat(second));
    let angle = u.dot(&a.cross(&b)).atan2(a.dot(&b));
    let half = std::f64::consts::PI;
    angle - half * (angle / half).round()
}

/// Misalignment of a link's joints with the axle at `pose`.
pub fn misalignment(axle: &Axle, link: &Link, pose: &Pose) -> Misalignment {
    let (u, bolts) = directions(axle, link, pose);
    let [chassis_rad, axle_rad] = bolts.map(|b| u.dot(&b).abs().min(1.0).asin());
    let both_rod_ends = link.joints == Some([JointKind::RodEnd; 2]);
    let shared_spin_rad = both_rod_ends.then(|| {
        let (u_ride, bolts_ride) = directions(axle, link, &Pose::default());
        let half = std::f64::consts::PI;
        let turned = twist_rad(&u, &bolts) - twist_rad(&u_ride, &bolts_ride);
        shared_spin(chassis_rad, axle_rad, (turned - half * (turned / half).round()).abs())
    });
    Misalignment { chassis_rad, axle_rad, shared_spin_rad }
}

/// The least of the larger misalignment when a twist between two eyes is shared out: an eye off its best angle by φ is
/// misaligned by `acos(cos β·cos φ)`.
fn shared_spin(beta_first: f64, beta_second: f64, twist: f64) -> f64 {
    let angle = |beta: f64, off: f64| (beta.cos() * off.cos()).acos();
    // The first grows and the second falls with the first's share: equal where they cross, else at an end.
    let (mut low, mut high) = (0.0, twist);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if angle(beta_first, middle) < angle(beta_second, twist - middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    let share = 0.5 * (low + high);
    angle(beta_first, share).max(angle(beta_second, twist - share))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::{Mechanism, cases};

    /// Printed to four decimals of a degree.
    const PRINTED_DEG: f64 = 5.1e-5;

    /// Case T with its axle bolts. Values computed by a program that shares no code with this one.
    #[test]
    fn worked_values_of_the_double_triangulated_four_link() {
        let mut vehicle = cases::t();
        let axle = &mut vehicle.axles[0];
        for (link, y) in axle.locating.links[2..].iter_mut().zip([0.9, -0.9]) {
            link.bolts[1] = Vector3::new(0.4, y, 0.0).normalize();
        }
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let axle = &vehicle.axles[0];
        let degrees = |which: usize, heave: f64, roll: f64| {
            let pose = m.solve(heave, roll).unwrap().pose;
            let at = misalignment(axle, &axle.locating.links[which], &pose);
            (at.chassis_rad.to_degrees(), at.axle_rad.to_degrees())
        };
        for (which, heave, roll, chassis, axle) in [
            (0, 0.0, 0.0, 13.2356, 13.2356),
            (1, 0.0, 0.0, 13.2356, 13.2356),
            (2, 0.0, 0.0, 23.1707, 47.0908),
            (3, 0.0, 0.0, 23.1707, 47.0908),
            (0, -0.06, 0.3, 15.4161, 16.5896),
            (2, -0.06, 0.3, 23.8356, 46.4875),
            (3, -0.06, 0.3, 23.3089, 43.7012),
        ] {
            let actual = degrees(which, heave, roll);
            assert!(
                (actual.0 - chassis).abs() < PRINTED_DEG && (actual.1 - axle).abs() < PRINTED_DEG,
                "{actual:?}"
            );
        }
    }

    #[test]
    fn a_shared_spin_lies_between_half_the_twist_and_all_of_it() {
        // Square joints: each takes half the twist.
        assert!((shared_spin(0.0, 0.0, 0.4) - 0.2).abs() < 1e-12);
        // A joint that is badly off anyway leaves the twist to the other one.
        assert!((shared_spin(0.6, 0.0, 0.3) - 0.6).abs() < 1e-12);
        assert!((shared_spin(0.1, 0.5, 0.0) - 0.5).abs() < 1e-12);
        // Against a search over all shares.
        let (one, other, twist) = (0.2_f64, 0.25_f64, 0.5_f64);
        let least = (0..=10_000)
            .map(|k| twist * f64::from(k) / 1e4)
            .map(|s| (one.cos() * s.cos()).acos().max((other.cos() * (twist - s).cos()).acos()))
            .fold(f64::INFINITY, f64::min);
        assert!((shared_spin(one, other, twist) - least).abs() < 1e-4);
    }

    #[test]
    fn rod_ends_share_the_axles_articulation() {
        // A link along x whose bolts lie along y: articulation twists one eye against the other by the roll angle.
        let mut vehicle = cases::h();
        for link in &mut vehicle.axles[0].locating.links {
            link.joints = Some([JointKind::RodEnd; 2]);
        }
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let axle = &vehicle.axles[0];
        let lower = &axle.locating.links[0];
        assert_eq!(misalignment(axle, lower, &m.ride().pose).shared_spin_rad.map(|a| a < 0.04), Some(true));
        let at = misalignment(axle, lower, &m.solve(0.0, 0.3).unwrap().pose);
        assert!((at.shared_spin_rad.unwrap() - 0.15).abs() < 0.03, "{at:?}");
        assert!(at.worst_rad() >= at.chassis_rad.max(at.axle_rad));
    }
}
