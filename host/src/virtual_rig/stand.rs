//! How the whole vehicle stands: attitude and place of the chassis when its axles rest on a floor, or one wheel on a ramp.
//!
//! Level frame: z up from the floor, x forward, y left; at ride height it coincides with the floor coordinates of the axle under
//! test. Tyres keep their loaded radius.

use super::contact::{OnRamp, Touch};
use crate::geometry::pose::{Pose, rot_x, rot_y};
use crate::geometry::{Matrix3, Vector3};
use crate::vehicle::{Axle, Position};

/// Steps of the attitude's fixed point, each some ten times closer than the last.
const STEPS: usize = 60;

/// The chassis in the level frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chassis {
    /// Roll, left side up positive, rad.
    pub roll_rad: f64,
    /// Pitch, nose down positive, rad.
    pub pitch_rad: f64,
    /// Place of the floor coordinates' origin, m.
    pub origin_m: Vector3<f64>,
}

impl Chassis {
    /// From chassis to level frame.
    pub fn rotation(&self) -> Matrix3<f64> {
        rot_y(self.pitch_rad) * rot_x(self.roll_rad)
    }
}

/// What an axle stands on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground<'a> {
    /// The axle under test.
    pub axle: &'a Axle,
    /// The vehicle's wheelbase, m; the other axle stays on the floor at ride height.
    pub wheelbase_m: f64,
}

impl Ground<'_> {
    /// From this axle's wheel centreline to the other's, m.
    fn other_ahead_m(&self) -> f64 {
        match self.axle.position {
            Position::Rear => self.wheelbase_m,
            Position::Front => -self.wheelbase_m,
        }
    }

    /// Both wheels on the floor.
    pub fn level(&self, pose: &Pose) -> Chassis {
        let mut chassis = Chassis { roll_rad: 0.0, pitch_rad: 0.0, origin_m: Vector3::zeros() };
        for _ in 0..STEPS {
            chassis.roll_rad -= self.direction(&chassis, pose).z;
            self.settle_pitch(&mut chassis, pose, self.axle.tyre_radius_m);
        }
        chassis
    }

    /// One wheel on a ramp: the left for `side` +1, the right for −1, with the chassis rolled by a given angle; `None` if the
    /// axle would stand on end.
    pub fn ramp(
        &self,
        ramp: &OnRamp,
        side: f64,
        pose: &Pose,
        chassis_roll_rad: f64,
    ) -> Option<(Chassis, Touch)> {
        let mut chassis = Chassis { roll_rad: chassis_roll_rad, pitch_rad: 0.0, origin_m: Vector3::zeros() };
        let radius_m = self.axle.tyre_radius_m;
        let flat_reach = |climb: f64| (1.0 - climb * climb).sqrt();
        for _ in 0..STEPS {
            let climb = side * self.direction(&chassis, pose).z;
            let centre_z = radius_m * flat_reach(climb) + 0.5 * self.axle.track_m * climb;
            self.settle_pitch(&mut chassis, pose, centre_z);
        }
        let towards = self.direction(&chassis, pose) * side;
        let touch = ramp.touch(&towards);
        let [x, z] = touch.climbing_centre_m;
        // The contact of the wheel on the flat stays at its side of the track.
        let flat_y =
            -side * 0.5 * self.axle.track_m - radius_m * towards.z * towards.y / flat_reach(towards.z);
        let climbing = Vector3::new(x, flat_y + self.axle.track_m * towards.y, z);
        let centre = climbing - towards * (0.5 * self.axle.track_m);
        let origin = centre - chassis.rotation() * (self.axle.centre() + pose.translation());
        chassis.origin_m = Vector3::new(origin.x, origin.y, chassis.origin_m.z);
        (x.is_finite() && chassis.pitch_rad.is_finite()).then_some((chassis, touch))
    }

    /// Direction of the wheels' axis, to the left, level frame.
    fn direction(&self, chassis: &Chassis, pose: &Pose) -> Vector3<f64> {
        chassis.rotation() * pose.rotation() * Vector3::y()
    }

    /// Brings the axle's centre to a height, and turns the chassis so that the other axle's stays at its own.
    fn settle_pitch(&self, chassis: &mut Chassis, pose: &Pose, centre_z_m: f64) {
        let radius_m = self.axle.tyre_radius_m;
        let rotation = chassis.rotation();
        let here = (rotation * (self.axle.centre() + pose.translation())).z;
        chassis.origin_m.z = centre_z_m - here;
        let other = Vector3::new(self.other_ahead_m(), 0.0, radius_m);
        let above = chassis.origin_m.z + (rotation * other).z - radius_m;
        chassis.pitch_rad += above / self.other_ahead_m();
    }
}
