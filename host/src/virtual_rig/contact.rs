//! Where a climbing wheel touches its ramp: plane geometry of two round tyres and an axle between them.
//!
//! Level frame: z up, the ramp rises along x from its toe at the origin. A tyre is a circle of its loaded radius about the
//! axle's line; it touches a plane at the circle's lowest point towards that plane.

use crate::geometry::Vector3;

/// An axle with one wheel on a ramp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnRamp {
    /// Angle of the ramp, rad.
    pub ramp_rad: f64,
    /// Distance between the wheel centres, m.
    pub track_m: f64,
    /// Loaded radius of both tyres, m.
    pub tyre_radius_m: f64,
}

/// Where things are when the axle points along some direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touch {
    /// From the ramp's toe along the ramp to the contact of the climbing tyre, m.
    pub along_m: f64,
    /// Centre of the climbing wheel against the toe: forward and up, m.
    pub climbing_centre_m: [f64; 2],
}

impl OnRamp {
    /// For the unit direction `axle` from the wheel on the flat to the climbing wheel, level frame.
    pub fn touch(&self, axle: &Vector3<f64>) -> Touch {
        let (sin, cos) = self.ramp_rad.sin_cos();
        let square = Vector3::new(-sin, 0.0, cos);
        let along = Vector3::new(cos, 0.0, sin);
        // The wheel on the flat: its circle's lowest point is on the floor.
        let flat_z = self.tyre_radius_m * (1.0 - axle.z * axle.z).sqrt();
        let z = flat_z + self.track_m * axle.z;
        // The climbing wheel: the circle's nearest point to the ramp lies in it.
        let lean = square.dot(axle);
        let reach = (1.0 - lean * lean).sqrt();
        let x = (cos * z - self.tyre_radius_m * reach) / sin;
        let centre = Vector3::new(x, 0.0, z);
        let contact = centre - (square - axle * lean) * (self.tyre_radius_m / reach);
        Touch { along_m: along.dot(&contact), climbing_centre_m: [x, z] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Printed to six digits by the program they come from.
    const PRINTED: f64 = 6e-6;

    fn bramble(degrees: f64) -> OnRamp {
        OnRamp { ramp_rad: degrees.to_radians(), track_m: 1.6, tyre_radius_m: 0.46 }
    }

    #[test]
    fn square_on_and_upright_it_is_the_tangent_length() {
        // A circle that rests in the corner of floor and ramp touches the ramp at r·tan(α/2).
        let touch = bramble(20.0).touch(&Vector3::y());
        assert!((touch.along_m - 0.46 * 10f64.to_radians().tan()).abs() < 1e-12);
    }

    #[test]
    fn the_contact_lies_on_the_ramp_and_on_the_tyre() {
        let axle = Vector3::new(0.03, 1.0, 0.31).normalize();
        let ramp = bramble(22.0);
        let touch = ramp.touch(&axle);
        let (sin, cos) = ramp.ramp_rad.sin_cos();
        let [x, z] = touch.climbing_centre_m;
        // The contact's y follows from its lying in the wheel's plane.
        let contact = Vector3::new(touch.along_m * cos, 0.0, touch.along_m * sin);
        let arm = contact - Vector3::new(x, 0.0, z);
        let y = -(axle.x * arm.x + axle.z * arm.z) / axle.y;
        assert!((Vector3::new(arm.x, y, arm.z).norm() - 0.46).abs() < 1e-12);
    }

    #[test]
    fn distances_match_an_independent_program() {
        // Worked out by a program that shares no code with this one, for axles square-on to the ramp.
        for (degrees, roll, along_m) in [(20.0, 0.30, 1.46666), (30.0, 0.35, 1.22522), (20.0, 0.10, 0.548474)]
        {
            let touch = bramble(degrees).touch(&Vector3::new(0.0, f64::cos(roll), f64::sin(roll)));
            assert!((touch.along_m - along_m).abs() < PRINTED, "{} against {along_m}", touch.along_m);
        }
    }
}
