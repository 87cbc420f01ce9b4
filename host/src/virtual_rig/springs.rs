//! How a sprung axle rests: which heave and how much of the roll its springs take, and where its travel ends.
//!
//! Quasi-static: spring forces and the strain of the mechanism balance the sprung load on the axle, and the roll moment that
//! articulation costs is held by the vehicle's other axle. What the vehicle file does not say is assumed by the constants here.

use super::error::VirtualRigError;
use crate::design::{Follower, Mechanism, State};
use crate::geometry::Vector3;
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::vehicle::{Axle, Vehicle};

/// Mass where the file gives none, kg; its share over one axle; what of that is not sprung, kg.
const MASS_KG: f64 = 1800.0;
const MASS_SHARE: f64 = 0.5;
const UNSPRUNG_KG: f64 = 140.0;
/// Springs where the file has none stand upright over the axle tube: natural frequency of the sprung mass on them, Hz (common
/// practice, no source), and how far out they stand as a part of the track.
const HEAVE_FREQUENCY_HZ: f64 = 1.5;
const SPRING_OUT: f64 = 0.3;
/// Roll stiffness of the other axle where the file does not describe it, as a multiple of this axle's.
const OTHER_AXLE_STIFFER: f64 = 1.5;
/// The end of travel is rubber: its stiffness as a multiple of the axle's roll stiffness, and the articulation over which it
/// firms up, rad.
const STOP_STIFFER: f64 = 60.0;
const STOP_ONSET_RAD: f64 = 0.004;
/// How much further the chassis rolls once the articulation has ended and the mate is lifting, rad.
const ROLL_ON_RAD: f64 = 0.02;
/// States on the way to the end of travel, and over the stop's onset beyond it.
const STEPS: usize = 120;
const STEPS_BEYOND: f64 = 40.0;
/// Stride of the search for the end of travel, rad.
const SEARCH_RAD: f64 = 0.005;
/// Less articulation than this is no travel, rad.
const LEAST_RAD: f64 = 0.02;

/// A spring with the force that it holds at ride height.
#[derive(Debug, Clone, PartialEq)]
struct Loaded {
    chassis: Vector3<f64>,
    axle: Vector3<f64>,
    rate_n_per_m: f64,
    ride_m: f64,
    ride_n: f64,
}

/// One axle on its springs.
#[derive(Debug, Clone)]
pub struct Sprung<'a> {
    axle: &'a Axle,
    mechanism: &'a Mechanism,
    springs: Vec<Loaded>,
    /// Vertical force of the springs (and of the mechanism's strain) at ride height, N.
    load_n: f64,
    /// Roll moment at ride height, N·m: not 0 where the layout is not symmetric.
    ride_roll_nm: f64,
}

/// A state of rest on the way up a ramp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// Heave, m.
    pub heave_m: f64,
    /// Articulation, rad.
    pub roll_rad: f64,
    /// Roll of the chassis against the floor, rad.
    pub chassis_roll_rad: f64,
}

/// The states of rest up to the end of travel and a little beyond.
#[derive(Debug, Clone, PartialEq)]
pub struct WayUp {
    /// In order, from ride height.
    pub states: Vec<Rest>,
    /// Which of them is the one where the articulation ends and the mate is about to lift.
    pub lift: usize,
}

/// What springs and strain do at a state.
struct Forces {
    heave_n: f64,
    roll_nm: f64,
    heave_rate_n_per_m: f64,
    roll_rate_nm_per_rad: f64,
}

impl<'a> Sprung<'a> {
    /// The axle with this index on its springs; `mechanism` is its own.
    ///
    /// # Errors
    /// Where the vehicle has no such axle.
    pub fn new(
        vehicle: &'a Vehicle,
        index: usize,
        mechanism: &'a Mechanism,
    ) -> Result<Self, VirtualRigError> {
        let axle = vehicle.axles.get(index).ok_or(VirtualRigError::NoAxle { index })?;
        let mass_kg = vehicle.mass_kg.unwrap_or(MASS_KG) * axle.mass_share.unwrap_or(MASS_SHARE);
        let sprung_kg = mass_kg - axle.unsprung_mass_kg.unwrap_or(UNSPRUNG_KG).min(0.5 * mass_kg);
        let mut sprung = Self { axle, mechanism, springs: Vec::new(), load_n: 0.0, ride_roll_nm: 0.0 };
        sprung.springs = match axle.springs.as_slice() {
            [] => upright_springs(axle, sprung_kg),
            springs => springs
                .iter()
                .map(|s| Loaded {
                    chassis: s.chassis,
                    axle: s.axle,
                    rate_n_per_m: s.rate_n_per_m,
                    ride_m: 0.0,
                    ride_n: s.preload_n.unwrap_or(f64::NAN),
                })
                .collect(),
        };
        sprung.preload(sprung_kg * STANDARD_GRAVITY);
        let at_ride = sprung.forces(mechanism.ride());
        (sprung.load_n, sprung.ride_roll_nm) = (at_ride.heave_n, at_ride.roll_nm);
        Ok(sprung)
    }

    /// Gives each spring its length at ride height and, where the file does not say it, an equal share of the load.
    fn preload(&mut self, load_n: f64) {
        let state = self.mechanism.ride();
        let ratios: Vec<(f64, f64)> =
            self.springs.iter().map(|s| self.length_and_slopes(s, state)).map(|(m, s)| (m, s[0])).collect();
        let total: f64 = ratios.iter().map(|(_, heave)| -heave).sum();
        for (spring, (length_m, _)) in self.springs.iter_mut().zip(ratios) {
            spring.ride_m = length_m;
            if spring.ride_n.is_nan() {
                spring.ride_n = if total > 0.0 { load_n / total } else { 0.0 };
            }
        }
    }

    /// Length of a spring and its derivatives by heave and by roll.
    fn length_and_slopes(&self, spring: &Loaded, state: &State) -> (f64, [f64; 2]) {
        let body = PlacedBody::new(&state.pose, self.axle.centre());
        let span = distance(&spring.chassis, &body.position(&spring.axle));
        let gradient = body.gradient_along(&body.arm(&spring.axle), &span.direction);
        let along = |rates: &[f64; 6]| gradient.iter().zip(rates).map(|(g, r)| g * r).sum();
        (span.length_m, [along(&state.motion.by_heave), along(&state.motion.by_roll)])
    }

    fn forces(&self, state: &State) -> Forces {
        let mut sum = Forces {
            heave_n: state.heave_force_n,
            roll_nm: state.roll_moment_nm,
            heave_rate_n_per_m: state.heave_stiffness_n_per_m,
            roll_rate_nm_per_rad: state.roll_stiffness_nm_per_rad,
        };
        for spring in &self.springs {
            let (length_m, [heave, roll]) = self.length_and_slopes(spring, state);
            let force_n = spring.ride_n + spring.rate_n_per_m * (spring.ride_m - length_m);
            // A loose spring pushes with nothing and never pulls.
            if force_n > 0.0 {
                sum.heave_n -= force_n * heave;
                sum.roll_nm -= force_n * roll;
                sum.heave_rate_n_per_m += spring.rate_n_per_m * heave * heave;
                sum.roll_rate_nm_per_rad += spring.rate_n_per_m * roll * roll;
            }
        }
        sum
    }

    /// Roll stiffness at ride height, N·m/rad.
    pub fn roll_stiffness_nm_per_rad(&self) -> f64 {
        self.forces(self.mechanism.ride()).roll_rate_nm_per_rad
    }

    /// What this axle's roll stiffness makes of the other one where the file does not describe that.
    pub fn assumed_other_nm_per_rad(&self) -> f64 {
        OTHER_AXLE_STIFFER * self.roll_stiffness_nm_per_rad()
    }

    /// Heave at which the springs carry the load at an articulation, from a guess.
    fn settled(&self, follower: &mut Follower<'_>, roll_rad: f64, guess_m: f64) -> Option<(f64, Forces)> {
        /// Newton's steps; the load is met to a micron after three or four.
        const STEPS: usize = 12;
        const SETTLED_M: f64 = 1e-9;
        let mut heave_m = guess_m;
        for _ in 0..STEPS {
            let forces = self.forces(follower.go(heave_m, roll_rad).ok()?);
            let step = (forces.heave_n - self.load_n) / forces.heave_rate_n_per_m;
            if !step.is_finite() {
                return None;
            }
            if step.abs() < SETTLED_M {
                return Some((heave_m, forces));
            }
            heave_m -= step;
        }
        None
    }

    /// Whether something ends the travel at a state: a strap or a shock at full length, a bump stop or a shock closed, a coil
    /// gone loose.
    fn ends_travel(&self, state: &State) -> bool {
        let body = PlacedBody::new(&state.pose, self.axle.centre());
        let length =
            |chassis: &Vector3<f64>, axle: &Vector3<f64>| distance(chassis, &body.position(axle)).length_m;
        let axle = self.axle;
        axle.straps.iter().any(|s| length(&s.chassis, &s.axle) > s.length_m)
            || axle.bump_stops.iter().any(|s| length(&s.chassis, &s.axle) < s.length_m)
            || axle.shocks.iter().any(|s| !(s.closed_m..=s.open_m).contains(&length(&s.chassis, &s.axle)))
            || self.springs.iter().any(|s| {
                let loose_m = s.ride_m + s.ride_n / s.rate_n_per_m;
                s.rate_n_per_m > 0.0 && length(&s.chassis, &s.axle) > loose_m
            })
    }

    /// States of rest while one wheel climbs: `side` +1 for the left wheel, −1 for the right. The articulation ends where the
    /// first thing ends it, at the sweep's roll at the latest; the mate is then lifting and the chassis rolls on.
    ///
    /// `None` if the axle has no travel.
    pub fn way_up(&self, side: f64, other_nm_per_rad: f64) -> Option<WayUp> {
        let end_rad = self.travel_end_rad(side)?;
        let mut follower = Follower::new(self.mechanism);
        let mut states = Vec::with_capacity(2 * STEPS);
        let (mut heave_m, mut roll_nm) = (0.0, 0.0);
        for step in 0..=STEPS {
            // Closer and closer towards the end, where the motion turns.
            let left = 1.0 - step as f64 / STEPS as f64;
            let roll_rad = side * end_rad * (1.0 - left * left);
            let (settled_m, forces) = self.settled(&mut follower, roll_rad, heave_m)?;
            (heave_m, roll_nm) = (settled_m, forces.roll_nm - self.ride_roll_nm);
            states.push(Rest { heave_m, roll_rad, chassis_roll_rad: roll_nm / other_nm_per_rad });
        }
        let lift = states.len() - 1;
        let stop_nm = |past_rad: f64| {
            STOP_STIFFER * self.roll_stiffness_nm_per_rad() * past_rad * past_rad
                / (past_rad + STOP_ONSET_RAD)
        };
        for step in 1.. {
            let past_rad = STOP_ONSET_RAD * (f64::from(step) / STEPS_BEYOND).powi(2);
            let rolled_rad = stop_nm(past_rad) / other_nm_per_rad;
            if rolled_rad > ROLL_ON_RAD {
                break;
            }
            let chassis_roll_rad = (roll_nm / other_nm_per_rad) + side * rolled_rad;
            states.push(Rest { heave_m, roll_rad: side * (end_rad + past_rad), chassis_roll_rad });
        }
        Some(WayUp { states, lift })
    }

    /// Articulation at which travel ends, rad (positive).
    fn travel_end_rad(&self, side: f64) -> Option<f64> {
        let mut follower = Follower::new(self.mechanism);
        let mut free = |roll_rad: f64, guess_m: f64| {
            let (heave_m, _) = self.settled(&mut follower, side * roll_rad, guess_m)?;
            (!self.ends_travel(follower.state())).then_some(heave_m)
        };
        let most_rad = self.axle.sweep.roll_rad;
        let (mut good_rad, mut heave_m) = (0.0, free(0.0, 0.0)?);
        let mut bad_rad = loop {
            let next = (good_rad + SEARCH_RAD).min(most_rad);
            match free(next, heave_m) {
                Some(settled) => (good_rad, heave_m) = (next, settled),
                None => break next,
            }
            if good_rad >= most_rad {
                break most_rad;
            }
        };
        for _ in 0..30 {
            let middle = 0.5 * (good_rad + bad_rad);
            match free(middle, heave_m) {
                Some(settled) => (good_rad, heave_m) = (middle, settled),
                None => bad_rad = middle,
            }
        }
        (good_rad > LEAST_RAD).then_some(good_rad)
    }
}

/// A spring on each side for an axle whose file has none.
fn upright_springs(axle: &Axle, sprung_kg: f64) -> Vec<Loaded> {
    let rate_n_per_m = 0.5 * sprung_kg * (std::f64::consts::TAU * HEAVE_FREQUENCY_HZ).powi(2);
    [1.0, -1.0]
        .map(|side| {
            let out = side * SPRING_OUT * axle.track_m;
            Loaded {
                chassis: axle.centre() + Vector3::new(0.0, out, 0.4),
                axle: axle.centre() + Vector3::new(0.0, out, 0.08),
                rate_n_per_m,
                ride_m: 0.0,
                ride_n: f64::NAN,
            }
        })
        .to_vec()
}
