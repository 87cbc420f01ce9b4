//! Pinion and castor: what a run sees of them is how far they turn from the still. Where the still's own angle was measured by hand
//! they start from there, else from the drawing, and say so.

use super::numbers::AtState;
use super::result::{Measured, Status};
use super::ride::RidePose;
use crate::vehicle::Position;
use crate::vehicle::numbers::{AxleFacts, Key};

/// The angles at the still itself: without a measurement by hand they are the drawing's.
pub(super) fn at_ride(at: &mut AtState, ride: Option<&RidePose>, facts: &AxleFacts) {
    if along(at, ride, facts.position) {
        return;
    }
    for (key, drawn_rad) in [(Key::PinionAngle, facts.pinion_rad), (Key::Castor, facts.castor_rad)] {
        let Some(number) = at.numbers.get_mut(&key).filter(|number| number.measured().is_some()) else {
            continue;
        };
        let why = "at ride height it is taken as drawn, and what it turns by from there is measured: measure it with a level and write it into vehicle.toml as [axle.ride_angles]; for a run that is recorded already give that file with --vehicle";
        *number = Measured { value: drawn_rad, u: None, status: Status::FromDesign, why: Some(why.into()) };
        at.budget.remove(&key);
        at.dearest.remove(&key);
    }
}

/// The angles as they turn along the travel, from where the axle really stood at the still; false where nothing tells that.
pub(super) fn along(at: &mut AtState, ride: Option<&RidePose>, position: Position) -> bool {
    let Some((pitch_rad, u_rad)) = ride.and_then(RidePose::pitch_rad) else { return false };
    for key in [Key::PinionAngle, Key::Castor] {
        let Some(number) = at.numbers.get_mut(&key) else { continue };
        let Some((value, u)) = number.measured() else { continue };
        let rises = if key == Key::PinionAngle && position == Position::Front { 1.0 } else { -1.0 };
        *number = Measured::new(value + rises * pitch_rad, u.hypot(u_rad));
        // A level is no sensor of the rig.
        at.dearest.remove(&key);
        if let Some(budget) = at.budget.get_mut(&key) {
            budget.zero = budget.zero.hypot(u_rad);
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{DMatrix, Pose};
    use crate::measure::result::Budget;
    use std::collections::BTreeMap;

    const DRAWN_RAD: f64 = 0.099;

    fn facts(position: Position) -> AxleFacts {
        let drawn_rad = Some(DRAWN_RAD);
        AxleFacts {
            pinion_rad: drawn_rad,
            castor_rad: drawn_rad,
            position,
            ..crate::measure::synthetic::facts()
        }
    }

    /// Pinion and castor of 0.1 rad, measured to 1 mrad.
    fn at() -> AtState {
        let budget = Budget { noise: 1e-3, ..Budget::default() };
        AtState {
            numbers: [Key::PinionAngle, Key::Castor].map(|key| (key, Measured::new(0.1, 1e-3))).into(),
            budget: [Key::PinionAngle, Key::Castor].map(|key| (key, budget)).into(),
            dearest: BTreeMap::new(),
            axle_steer_rad: Measured::new(0.0, 1e-3),
            pose: Pose::default(),
        }
    }

    /// An axle whose nose is 0.03 rad down from the drawing, known to `u_rad`.
    fn ride(u_rad: f64) -> RidePose {
        let pose = Pose { pitch_rad: 0.03, ..Pose::default() };
        RidePose { pose, covariance: DMatrix::identity(6, 6) * u_rad.powi(2), contradicts: None }
    }

    #[test]
    fn an_angle_that_nobody_measured_is_the_drawing_s_and_says_so() {
        // A pose that is known to two degrees only is no better.
        for ride in [None, Some(ride(0.035))] {
            let mut at = at();
            at_ride(&mut at, ride.as_ref(), &facts(Position::Rear));
            for key in [Key::PinionAngle, Key::Castor] {
                let number = &at.numbers[&key];
                assert_eq!(
                    (number.status, number.value, number.u),
                    (Status::FromDesign, Some(DRAWN_RAD), None)
                );
                assert!(!at.budget.contains_key(&key));
            }
        }
    }

    #[test]
    fn an_angle_that_was_measured_is_where_the_travel_starts_from() {
        let nose_down = [(Position::Rear, 0.07), (Position::Front, 0.13)];
        for (position, pinion_rad) in nose_down {
            let mut at = at();
            at_ride(&mut at, Some(&ride(5e-3)), &facts(position));
            let (pinion, castor) = (&at.numbers[&Key::PinionAngle], &at.numbers[&Key::Castor]);
            let u = 1e-3f64.hypot(5e-3);
            assert_eq!(pinion.measured(), Some((pinion_rad, u)), "{position:?}");
            assert_eq!(castor.measured(), Some((0.1 - 0.03, u)));
            assert!((at.budget[&Key::Castor].total() - u).abs() < 1e-12);
        }
    }
}
