//! Springs: how far each moves with the axle, and the heave and roll rates that they make.

use super::mechanism::{Follower, Mechanism, State};
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{Pose, Vector3};
use crate::vehicle::Spring;

/// A part between chassis and axle: its length, and how that changes with heave (at constant roll) and roll (at constant
/// heave).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strut {
    /// Length, m.
    pub length_m: f64,
    /// Length per heave.
    pub per_heave: f64,
    /// Length per roll, m/rad.
    pub per_roll: f64,
}

/// The strut between two points (m, floor coordinates at ride height) at a state.
pub fn strut(centre: Vector3<f64>, chassis: &Vector3<f64>, axle: &Vector3<f64>, state: &State) -> Strut {
    let body = PlacedBody::new(&state.pose, centre);
    let d = distance(chassis, &body.position(axle));
    let gradient = body.gradient_along(&body.arm(axle), &d.direction);
    let along = |rates: &[f64; COORDINATES]| gradient.iter().zip(rates).map(|(g, r)| g * r).sum();
    Strut {
        length_m: d.length_m,
        per_heave: along(&state.motion.by_heave),
        per_roll: along(&state.motion.by_roll),
    }
}

/// Rates of a set of springs, and of the bushes that bind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rates {
    /// `Σk(∂L/∂z)² − ΣF·∂²L/∂z²`, N/m.
    pub heave_n_per_m: f64,
    /// `Σk(∂L/∂roll)² − ΣF·∂²L/∂roll² + d²E/droll²`, N·m/rad.
    pub roll_nm_per_rad: f64,
}

/// Half the distance between the states that give second derivatives, m or rad: third derivatives of the length make an
/// error of about 1e-9, rounding one of 1e-11.
const STEP: f64 = 1e-4;

/// Rates at a state; `None` without springs, or where a neighbouring state is out of reach.
///
/// Force of a spring (pressing = +): its preload at ride height, nothing where the file gives none, and its rate times the
/// shortening since.
pub fn rates(mechanism: &Mechanism, springs: &[Spring], state: &State) -> Option<Rates> {
    if springs.is_empty() {
        return None;
    }
    let centre = mechanism.centre();
    let at = |spring: &Spring, state: &State| strut(centre, &spring.chassis, &spring.axle, state);
    let beside = |dh: f64, dr: f64| {
        let mut follower = Follower::from_state(mechanism, state.clone());
        follower.go(state.pose.z_m + dh, state.pose.roll_rad + dr).ok().cloned()
    };
    let (up, down) = (beside(STEP, 0.0)?, beside(-STEP, 0.0)?);
    let (left, right) = (beside(0.0, STEP)?, beside(0.0, -STEP)?);
    let mut rates = Rates { heave_n_per_m: 0.0, roll_nm_per_rad: state.roll_stiffness_nm_per_rad };
    for spring in springs {
        let here = at(spring, state);
        let shortened_m = at(spring, mechanism.ride()).length_m - here.length_m;
        let force_n = spring.preload_n.unwrap_or(0.0) + spring.rate_n_per_m * shortened_m;
        let heave_curve = (at(spring, &up).per_heave - at(spring, &down).per_heave) / (2.0 * STEP);
        let roll_curve = (at(spring, &left).per_roll - at(spring, &right).per_roll) / (2.0 * STEP);
        rates.heave_n_per_m += spring.rate_n_per_m * here.per_heave.powi(2) - force_n * heave_curve;
        rates.roll_nm_per_rad += spring.rate_n_per_m * here.per_roll.powi(2) - force_n * roll_curve;
    }
    Some(rates)
}

/// Installation ratios: shortening per heave, and per wheel travel in roll (`−(∂L/∂roll)/(track/2)`).
pub fn installation_ratios(strut: &Strut, track_m: f64) -> (f64, f64) {
    (-strut.per_heave, -strut.per_roll / (0.5 * track_m))
}

/// Length of a strut with the axle at `pose`, m.
pub fn length_m(centre: Vector3<f64>, chassis: &Vector3<f64>, axle: &Vector3<f64>, pose: &Pose) -> f64 {
    distance(chassis, &PlacedBody::new(pose, centre).position(axle)).length_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;
    use crate::vehicle::numbers::Key;

    fn coils(preload_n: Option<f64>) -> [Spring; 2] {
        [1.0, -1.0].map(|side| Spring {
            name: "coil".into(),
            chassis: Vector3::new(-0.05, 0.42 * side, 1.02),
            axle: Vector3::new(-0.02, 0.50 * side, 0.56),
            rate_n_per_m: 45e3,
            preload_n,
        })
    }

    /// Case T with coils; values computed by a program that shares no code with this one.
    #[test]
    fn worked_values_of_the_double_triangulated_four_link() {
        let vehicle = cases::t();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let coil = &coils(None)[0];
        let (heave, roll) = installation_ratios(&strut(m.centre(), &coil.chassis, &coil.axle, m.ride()), 1.6);
        assert!((heave - 0.992414).abs() < 5.1e-7, "{heave}");
        assert!((roll.abs() - 0.604581).abs() < 5.1e-7, "{roll}");
        for (preload, heave, roll) in [(None, 88639.7, 21053.8), (Some(4500.0), 87468.7, 20346.7)] {
            let r = rates(&m, &coils(preload), m.ride()).unwrap();
            assert!((r.heave_n_per_m - heave).abs() < 0.051, "{r:?}");
            assert!((r.roll_nm_per_rad - roll).abs() < 0.051, "{r:?}");
        }
    }

    /// The rate is the slope of the force on the axle, which is the slope of the springs' energy.
    #[test]
    fn rates_are_second_derivatives_of_energy() {
        let mut vehicle = cases::p();
        vehicle.axles[0].springs = coils(Some(4500.0)).to_vec();
        let m = Mechanism::new(&vehicle, 0).unwrap();
        let (h0, r0) = (0.03, 0.1);
        let coil_energy_j = |s: &State| {
            let all = vehicle.axles[0].springs.iter().map(|coil| {
                let length = |s: &State| length_m(m.centre(), &coil.chassis, &coil.axle, &s.pose);
                let short = length(m.ride()) - length(s);
                4500.0 * short + 0.5 * coil.rate_n_per_m * short * short
            });
            all.sum::<f64>()
        };
        let step = 2e-3;
        let second = |energy: &dyn Fn(&State) -> f64, dh: f64, dr: f64| {
            let at = |k: f64| energy(&m.solve(h0 + k * dh, r0 + k * dr).unwrap());
            (at(1.0) - 2.0 * at(0.0) + at(-1.0)) / (step * step)
        };
        let numbers = m.numbers(&m.solve(h0, r0).unwrap());
        let heave = second(&coil_energy_j, step, 0.0);
        let roll = second(&|s| coil_energy_j(s) + s.strain_energy_j, 0.0, step);
        // Second differences: fourth derivatives times step²/12, and rounding of a few hundred joules over step².
        assert!((numbers.get(Key::HeaveRate).unwrap() / heave - 1.0).abs() < 1e-5);
        assert!((numbers.get(Key::RollRate).unwrap() / roll - 1.0).abs() < 1e-5);
    }
}
