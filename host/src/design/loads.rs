//! Loads: axial force in every link for a stated drive, brake or side force, and what a tube bears before it buckles.
//!
//! A comparison aid, not a strength certificate: shock loads, welds and bent tubes are not in it.

use super::mechanism::{AppliedForce, Mechanism, Reactions, State};
use crate::geometry::Vector3;
use crate::vehicle::{TorqueReaction, Tube};

/// Total force of the road on the axle, half at each contact patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LoadCase {
    /// Forward, N.
    Drive(f64),
    /// Rearward, N.
    Brake(f64),
    /// To the left, N.
    Side(f64),
}

/// Reactions to a load case at a state; `None` if the state is singular.
///
/// A force acts at the contact patch (the wheel centre less the radius along the up direction in the wheel's plane) where its
/// torque is reacted by the housing, and at the wheel centre where the chassis reacts it: its torque then never reaches the
/// axle.
pub fn reactions(mechanism: &Mechanism, state: &State, case: LoadCase) -> Option<Reactions> {
    let facts = mechanism.facts();
    let (force_n, torque) = match case {
        LoadCase::Drive(n) => (Vector3::x() * n, facts.drive_torque),
        LoadCase::Brake(n) => (Vector3::x() * -n, facts.brake_torque),
        LoadCase::Side(n) => (Vector3::y() * n, TorqueReaction::Housing),
    };
    let spin = state.pose.rotation().column(1).into_owned();
    let up = (Vector3::z() - spin * spin.z).normalize();
    let below_m = match torque {
        TorqueReaction::Housing => facts.tyre_radius_m,
        TorqueReaction::Chassis => 0.0,
    };
    let centre = mechanism.centre() + state.pose.translation();
    let applied = [0.5, -0.5].map(|side| {
        let at = centre + spin * (side * facts.track_m) - up * below_m;
        AppliedForce { at, force_n: 0.5 * force_n }
    });
    mechanism.reactions(state, &applied)
}

/// A tube as a column with hinged ends (K = 1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// Area of the section, m².
    pub area_m2: f64,
    /// Second moment of area, m⁴.
    pub inertia_m4: f64,
    /// Radius of gyration, m.
    pub gyration_m: f64,
    /// Slenderness below which the yield stress counts (Johnson), where the yield stress is given.
    pub transition_slenderness: Option<f64>,
}

impl Column {
    /// Section properties of a round tube.
    pub fn of(tube: &Tube) -> Self {
        let outer = tube.diameter_m;
        let inner = (outer - 2.0 * tube.wall_m).max(0.0);
        let pi = std::f64::consts::PI;
        let area_m2 = 0.25 * pi * (outer.powi(2) - inner.powi(2));
        let inertia_m4 = pi / 64.0 * (outer.powi(4) - inner.powi(4));
        let transition_slenderness = tube.yield_pa.map(|y| pi * (2.0 * tube.modulus_pa / y).sqrt());
        Self { area_m2, inertia_m4, gyration_m: (inertia_m4 / area_m2).sqrt(), transition_slenderness }
    }

    /// Force at which a straight column of this length buckles, N: Euler's `π²EI/L²`; Johnson's
    /// `A·σ_y·(1 − σ_y(L/ρ)²/(4π²E))` below the transition slenderness `√(2π²E/σ_y)`.
    pub fn critical_n(&self, tube: &Tube, length_m: f64) -> f64 {
        let pi_squared = std::f64::consts::PI.powi(2);
        let slenderness = length_m / self.gyration_m;
        match (tube.yield_pa, self.transition_slenderness) {
            (Some(yield_pa), Some(transition)) if slenderness < transition => {
                let loss = yield_pa * slenderness.powi(2) / (4.0 * pi_squared * tube.modulus_pa);
                self.area_m2 * yield_pa * (1.0 - loss)
            }
            _ => pi_squared * tube.modulus_pa * self.inertia_m4 / length_m.powi(2),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;
    use crate::vehicle::Vehicle;

    /// Forces in the order of the layout's links, to the last of the six digits printed.
    #[track_caller]
    fn forces(vehicle: &Vehicle, state: (f64, f64), case: LoadCase, printed: &[f64]) -> Reactions {
        let m = Mechanism::new(vehicle, 0).unwrap();
        let r = reactions(&m, &m.solve(state.0, state.1).unwrap(), case).unwrap();
        for (actual, printed) in r.members_n.iter().zip(printed) {
            assert!(
                (actual - printed).abs() <= 6e-6 * printed.abs(),
                "{:?} instead of {printed}",
                r.members_n
            );
        }
        r
    }

    const RIDE: (f64, f64) = (0.0, 0.0);

    /// Values computed by a program that shares no code with this one.
    #[test]
    fn worked_values_of_just_determined_layouts() {
        let drive = LoadCase::Drive(8000.0);
        let side = LoadCase::Side(5000.0);
        let r = forces(&cases::t(), RIDE, drive, &[-11586.6, -11586.6, 7857.77, 7857.77]);
        assert!((r.heave_n - -1662.130).abs() < 6e-4, "{r:?}");
        forces(&cases::t(), RIDE, side, &[1002.93, -1002.93, -5770.12, 5770.12]);
        let r = forces(&cases::h(), RIDE, drive, &[16612.9, 5967.91, -14465.4, -189.100]);
        assert!((r.roll_nm - 188.360).abs() < 6e-4, "{r:?}");
        forces(&cases::h(), RIDE, side, &[189.763, -318.482, 299.982, -5008.90]);
        forces(&cases::t(), (-0.06, 0.3), drive, &[-11332.5, -12223.2, 6144.32, 9630.63]);
    }

    #[test]
    fn worked_values_of_a_redundant_layout() {
        let drive = [11297.3, 11288.3, -7244.47, -7232.20, -0.160422];
        forces(&cases::p(), RIDE, LoadCase::Drive(8000.0), &drive);
        forces(&cases::p(), RIDE, LoadCase::Side(5000.0), &[140.801, -269.475, 366.495, -66.6165, -5007.16]);
    }

    #[test]
    fn a_brake_pulls_rearward_and_inboard_torque_does_not_wind_the_axle_up() {
        let mut vehicle = cases::t();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let drive = reactions(&m, m.ride(), LoadCase::Drive(1000.0)).unwrap();
        let brake = reactions(&m, m.ride(), LoadCase::Brake(1000.0)).unwrap();
        for (d, b) in drive.members_n.iter().zip(&brake.members_n) {
            assert!((d + b).abs() < 1e-9);
        }
        vehicle.axles[0].brake_torque = TorqueReaction::Chassis;
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let inboard = reactions(&m, m.ride(), LoadCase::Brake(1000.0)).unwrap();
        // Without a moment about the axle both pairs pull the same way.
        assert!(inboard.members_n.iter().all(|n| *n > 0.0), "{inboard:?}");
    }

    /// 50.8 × 6.35 mm, 350 MPa, 205 GPa; values computed by a program that shares no code with this one.
    #[test]
    fn worked_values_of_a_column() {
        let tube = Tube { diameter_m: 0.0508, wall_m: 0.00635, yield_pa: Some(350e6), modulus_pa: 205e9 };
        let c = Column::of(&tube);
        assert!((c.area_m2 * 1e6 - 886.738).abs() < 5.1e-4);
        assert!((c.inertia_m4 * 1e12 - 223472.0).abs() < 0.51);
        assert!((c.gyration_m * 1e3 - 15.8750).abs() < 5.1e-5);
        assert!((c.transition_slenderness.unwrap() - 107.525).abs() < 5.1e-4);
        for (length_m, critical_n) in
            [(0.5, 297_044.0), (0.9605, 261_224.0), (1.2, 233_666.0), (2.0, 113_036.0)]
        {
            assert!((c.critical_n(&tube, length_m) - critical_n).abs() < 0.51, "{length_m}");
        }
    }
}
