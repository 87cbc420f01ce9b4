//! Loads: axial force in every link for a stated drive, brake or side force, and what a tube bears before it buckles.
//!
//! A comparison aid, not a strength certificate: shock loads, welds and bent tubes are not in it.

use super::mechanism::{AppliedForce, Mechanism, Reactions, State};
use crate::geometry::Vector3;
use crate::vehicle::numbers::{self, AxleFacts};
use crate::vehicle::{Axle, Position, TorqueReaction, Tube, Turning};

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

/// How a driveshaft turns an axle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShaftDrive {
    /// Unit direction of the pinion shaft on the axle, forward.
    pub axis: Vector3<f64>,
    /// Turns of the pinion per turn of the wheels.
    pub final_drive: f64,
    /// Which way it turns, driving forward.
    pub turning: Turning,
}

/// What a driveshaft's torque does to the axle at a state, besides driving it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShaftTorque {
    /// In the shaft, N·m: `T = F·r/i`.
    pub torque_nm: f64,
    /// On the axle, left side up positive, N·m.
    pub roll_nm: f64,
    /// On the axle, to the left positive, N·m: `T·sin(pinion angle)`, by its sense of turning.
    pub yaw_nm: f64,
    /// What it adds to the load of the left wheel and takes from the right one, N.
    pub left_wheel_n: f64,
}

impl ShaftDrive {
    /// Of an axle: along its pinion's axis, or at its pinion angle, or level, as far as the file says; none where its drive
    /// torque never comes to the housing or nobody says its final drive.
    pub fn of(axle: &Axle, final_drive: Option<f64>) -> Option<Self> {
        let shaft = axle.driveshaft.as_ref();
        let forward = |axis: Vector3<f64>| if axis.x < 0.0 { -axis } else { axis };
        // A rear axle's pinion nose points forward, a front axle's rearward: nose up tilts the forward axis up, or down.
        let nose_up =
            axle.pinion_rad.unwrap_or(0.0) * if axle.position == Position::Rear { 1.0 } else { -1.0 };
        let level = Vector3::new(nose_up.cos(), 0.0, nose_up.sin());
        (axle.drive_torque == TorqueReaction::Housing).then_some(())?;
        Some(Self {
            axis: shaft.map_or(level, |s| forward(s.pinion_axis)),
            final_drive: final_drive.or_else(|| shaft?.final_drive)?,
            turning: shaft.map_or(Turning::Clockwise, |s| s.turning),
        })
    }

    /// The moment on the axle of a drive force, N·m in the chassis frame: about the pinion's axis, rearward for a shaft that
    /// turns clockwise seen from the front.
    fn moment_nm(&self, facts: &AxleFacts, state: &State, force_n: f64) -> Vector3<f64> {
        let sense = match self.turning {
            Turning::Clockwise => -1.0,
            Turning::Anticlockwise => 1.0,
        };
        let torque_nm = force_n * facts.tyre_radius_m / self.final_drive;
        state.pose.rotation() * self.axis * (sense * torque_nm)
    }

    /// What a drive force makes it do at a state.
    pub fn torque(&self, mechanism: &Mechanism, state: &State, force_n: f64) -> ShaftTorque {
        let facts = mechanism.facts();
        let moment = self.moment_nm(facts, state, force_n);
        ShaftTorque {
            torque_nm: force_n * facts.tyre_radius_m / self.final_drive,
            roll_nm: moment.x,
            yaw_nm: moment.z,
            left_wheel_n: -moment.x / facts.track_m,
        }
    }
}

/// The moment with which a drive force rolls the axle by its links alone, left side up positive, N·m:
/// `M_x = F·(x′r − r·pitch′r)`, for a torque that the chassis reacts without the second part.
pub fn drive_roll_nm(mechanism: &Mechanism, state: &State, force_n: f64) -> f64 {
    force_n * numbers::contact_forward_per_roll(mechanism.facts(), &state.motion)
}

/// Reactions to a load case at a state; `None` if the state is singular.
///
/// A force acts at the contact patch (the wheel centre less the radius along the up direction in the wheel's plane) where its
/// torque is reacted by the housing, and at the wheel centre where the chassis reacts it: its torque then never reaches the
/// axle.
///
/// A driveshaft's torque, where it is given, acts beside a drive force.
pub fn reactions(
    mechanism: &Mechanism,
    state: &State,
    case: LoadCase,
    shaft: Option<&ShaftDrive>,
) -> Option<Reactions> {
    mechanism.reactions(state, &applied(mechanism, state, case, shaft))
}

/// The forces of a load case on the axle, as [`reactions`] says.
pub fn applied(
    mechanism: &Mechanism,
    state: &State,
    case: LoadCase,
    shaft: Option<&ShaftDrive>,
) -> [AppliedForce; 2] {
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
    let shaft_nm = match (case, shaft) {
        (LoadCase::Drive(n), Some(shaft)) => shaft.moment_nm(facts, state, n),
        _ => Vector3::zeros(),
    };
    [0.5, -0.5].map(|side| {
        let at = centre + spin * (side * facts.track_m) - up * below_m;
        AppliedForce { at, force_n: 0.5 * force_n, moment_nm: 0.5 * shaft_nm }
    })
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
        let r = reactions(&m, &m.solve(state.0, state.1).unwrap(), case, None).unwrap();
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
        let drive = reactions(&m, m.ride(), LoadCase::Drive(1000.0), None).unwrap();
        let brake = reactions(&m, m.ride(), LoadCase::Brake(1000.0), None).unwrap();
        for (d, b) in drive.members_n.iter().zip(&brake.members_n) {
            assert!((d + b).abs() < 1e-9);
        }
        vehicle.axles[0].brake_torque = TorqueReaction::Chassis;
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let inboard = reactions(&m, m.ride(), LoadCase::Brake(1000.0), None).unwrap();
        // Without a moment about the axle both pairs pull the same way.
        assert!(inboard.members_n.iter().all(|n| *n > 0.0), "{inboard:?}");
    }

    /// By virtual work, with the links' own slopes, and by the forces at the contact patches: one moment.
    #[test]
    fn drive_rolls_the_axle_by_its_links() {
        /// Equilibrium of forces against slopes, of some hundred N·m.
        const ROUNDING_NM: f64 = 1e-7;
        let force_n = 8000.0;
        for vehicle in [cases::t(), cases::s(), cases::w(), cases::h(), cases::q()] {
            let m = Mechanism::new(&vehicle, 0).unwrap();
            let r = reactions(&m, m.ride(), LoadCase::Drive(force_n), None).unwrap();
            assert!((drive_roll_nm(&m, m.ride(), force_n) - r.roll_nm).abs() < ROUNDING_NM, "{r:?}");
        }
        let vehicle = cases::h();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        // Computed by a program that shares no code with this one.
        assert!((drive_roll_nm(&m, m.ride(), force_n) - 188.360).abs() < 6e-4);
    }

    #[test]
    fn a_driveshaft_presses_one_wheel_down_and_turns_the_axle() {
        let mut vehicle = cases::t();
        vehicle.axles[0].pinion_rad = Some(7.0_f64.to_radians());
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let drive = ShaftDrive::of(&vehicle.axles[0], Some(4.1)).unwrap();
        let case = LoadCase::Drive(8000.0);
        let shaft = drive.torque(&m, m.ride(), 8000.0);
        // T = F·r/i = 8000·0.46/4.1; about an axis 7° nose up.
        let torque = 8000.0 * 0.46 / 4.1;
        let (sin, cos) = 7.0_f64.to_radians().sin_cos();
        assert!((shaft.torque_nm - torque).abs() < 1e-9);
        // Clockwise from the front: the left wheel of a rear axle is pressed down, the right one lifted (common knowledge of
        // live axles, no source).
        assert!((shaft.left_wheel_n - torque * cos / 1.6).abs() < 1e-9 && shaft.left_wheel_n > 0.0);
        assert!((shaft.yaw_nm + torque * sin).abs() < 1e-9);
        let [with, without] = [Some(&drive), None].map(|d| reactions(&m, m.ride(), case, d).unwrap());
        // Virtual work of the moment on roll at ride height is its roll part and what yaw does along with it; on heave a
        // symmetric layout neither pitches nor steers into it.
        let yaw_per_roll = m.ride().motion.by_roll[5];
        let moved = shaft.roll_nm + shaft.yaw_nm * yaw_per_roll;
        assert!((with.roll_nm - without.roll_nm - moved).abs() < 1e-7, "{with:?} {without:?}");
        assert!((with.heave_n - without.heave_n).abs() < 1e-7);
        // Its yaw has to be held by the links: they are no longer alike on both sides.
        assert!((with.members_n[0] - with.members_n[1]).abs() > 100.0);
        assert!((without.members_n[0] - without.members_n[1]).abs() < 1e-6);
        let turned = ShaftDrive { turning: Turning::Anticlockwise, ..drive };
        assert!((turned.torque(&m, m.ride(), 8000.0).left_wheel_n + shaft.left_wheel_n).abs() < 1e-12);
        let side = LoadCase::Side(5000.0);
        assert_eq!(reactions(&m, m.ride(), side, Some(&drive)), reactions(&m, m.ride(), side, None));
    }

    #[test]
    fn no_shaft_turns_an_axle_whose_torque_the_chassis_reacts() {
        let mut vehicle = cases::h();
        let axle = &mut vehicle.axles[0];
        assert_eq!(ShaftDrive::of(axle, None), None);
        axle.pinion_rad = Some(0.1);
        let drive = ShaftDrive::of(axle, Some(4.1)).unwrap();
        assert!(drive.axis.z < 0.0, "a front pinion that points up at the rear");
        axle.drive_torque = TorqueReaction::Chassis;
        assert_eq!(ShaftDrive::of(axle, Some(4.1)), None);
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
