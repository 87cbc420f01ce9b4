//! An axle with one wheel on a ramp: how far up the ramp that wheel stands.

/// Geometry of an axle with one wheel on a ramp, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnRamp {
    /// Distance between the wheel centres, m.
    pub track_m: f64,
    /// Angle of the ramp, rad.
    pub ramp_rad: f64,
    /// Vertical component of the axle's direction towards the climbing wheel.
    pub inclination: f64,
    /// Heading of that direction against square-on, positive to the left seen from above, rad.
    pub heading_rad: f64,
    /// Loaded radius of the climbing tyre, m.
    pub climbing_radius_m: f64,
    /// Loaded radius of the tyre on the flat, m.
    pub flat_radius_m: f64,
}

impl OnRamp {
    /// Distance along the ramp from its toe to the contact of the climbing tyre, m.
    ///
    /// With the axle direction `a` in a level frame, the tyres as tilted discs: the flat wheel's centre stands
    /// `r_f·√(1−a_z²)` high, the climbing one `track·a_z` higher; a disc touches the ramp plane `r_c·√Q` along the normal
    /// from its centre, `Q = 1 − (n·a)²`, and its contact lies `r_c·(n·a)(τ·a)/√Q` further up.
    pub fn distance_m(&self) -> f64 {
        let (sin, cos) = self.ramp_rad.sin_cos();
        let a_z = self.inclination;
        let level = (1.0 - a_z * a_z).max(0.0).sqrt();
        let a_x = -level * self.heading_rad.sin();
        let n_a = -sin * a_x + cos * a_z;
        let tau_a = cos * a_x + sin * a_z;
        let q = (1.0 - n_a * n_a).max(0.0).sqrt();
        let z = self.track_m * a_z + self.flat_radius_m * level;
        let x = (cos * z - self.climbing_radius_m * q) / sin;
        x * cos + z * sin + self.climbing_radius_m * n_a * tau_a / q
    }
}

/// The ramp travel index: 1000·d/wheelbase, with d the distance along the ramp from its toe to the tyre's contact (common
/// practice, no source).
pub fn ramp_travel_index(distance_m: f64, wheelbase_m: f64) -> f64 {
    1000.0 / wheelbase_m * distance_m
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Printed to six digits.
    const PRINTED: f64 = 6e-6;

    #[test]
    fn ramp_distances_match_an_independent_program() {
        // Computed by a program that shares no code with this one: equal radii 0.46, track 1.6.
        let at = |degrees: f64, inclination: f64, heading: f64| OnRamp {
            track_m: 1.6,
            ramp_rad: degrees.to_radians(),
            inclination: f64::sin(inclination),
            heading_rad: heading.to_radians(),
            climbing_radius_m: 0.46,
            flat_radius_m: 0.46,
        };
        let cases = [
            (at(20.0, 0.30, 0.0), 1.46666),
            (at(20.0, 0.30, 3.0), 1.46735),
            (at(20.0, 0.30, -3.0), 1.46556),
            (at(30.0, 0.35, 0.0), 1.22522),
            (at(20.0, 0.10, 0.0), 0.548474),
        ];
        for (case, d) in cases {
            assert!((case.distance_m() - d).abs() < PRINTED, "{case:?}: {} against {d}", case.distance_m());
        }
    }

    #[test]
    fn upright_and_level_is_the_tangent_length() {
        // A wheel that just touches the ramp: d = r·tan(α/2), plane geometry.
        let case = OnRamp {
            track_m: 1.6,
            ramp_rad: 0.3,
            inclination: 0.0,
            heading_rad: 0.0,
            climbing_radius_m: 0.46,
            flat_radius_m: 0.46,
        };
        assert!((case.distance_m() - 0.46 * f64::tan(0.15)).abs() < 1e-12);
    }
}
