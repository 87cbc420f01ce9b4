//! Uncertainty of designed numbers from the points' tolerance: linear propagation against chance (JCGM 101).

use crate::design::{Mechanism, cases, tolerance};
use crate::geometry::Vector3;
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{Link, Vehicle};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// Small, so that the numbers are linear over it.
const TOLERANCE_M: f64 = 2e-4;
const DRAWS: usize = 4000;
/// A standard deviation of 4000 draws has itself a standard deviation of 1/√(2·4000) = 1.1 %; four of these.
const CHANCE: f64 = 0.045;

/// Standard deviations of all numbers over random layouts.
fn by_chance(vehicle: &Vehicle, heave_m: f64, roll_rad: f64) -> Numbers {
    let mut rng = ChaCha8Rng::seed_from_u64(1903);
    let normal = |sigma: f64| Normal::new(0.0, sigma).unwrap();
    let drawn: Vec<Numbers> = (0..DRAWS)
        .map(|_| {
            let mut built = vehicle.clone();
            let axle = &mut built.axles[0];
            for spot in axle.spots() {
                let sigma = axle.own_tolerance_m(spot).unwrap_or(vehicle.tolerance_m);
                let offset = Vector3::from_fn(|_, _| normal(sigma).sample(&mut rng));
                axle.move_spot(spot, &offset);
            }
            let m = Mechanism::new(&built, 0).unwrap();
            m.numbers(&m.solve(heave_m, roll_rad).unwrap())
        })
        .collect();
    let mut out = Numbers::default();
    for key in Key::ALL {
        let values: Option<Vec<f64>> = drawn.iter().map(|n| n.get(key)).collect();
        let Some(values) = values else { continue };
        let mean = values.iter().sum::<f64>() / DRAWS as f64;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (DRAWS - 1) as f64;
        out.set(key, variance.sqrt());
    }
    out
}

#[track_caller]
fn agree(linear: &Numbers, chance: &Numbers, exact_zero: f64) {
    let mut compared = 0;
    for key in Key::ALL {
        let (Some(l), Some(c)) = (linear.get(key), chance.get(key)) else {
            assert_eq!(linear.get(key).is_some(), chance.get(key).is_some(), "{key:?}");
            continue;
        };
        assert!((l - c).abs() <= CHANCE * c + exact_zero, "{key:?}: linear {l}, by chance {c}");
        compared += 1;
    }
    assert!(compared >= 12);
}

#[test]
fn propagation_agrees_with_chance_at_ride_height_and_away_from_it() {
    let mut vehicle = cases::t();
    vehicle.tolerance_m = TOLERANCE_M;
    vehicle.axles[0].locating.links[1].tolerance_m = Some(3.0 * TOLERANCE_M);
    agree(&tolerance::number_u(&vehicle, 0).unwrap(), &by_chance(&vehicle, 0.0, 0.0), 1e-9);
    let away = tolerance::number_u_at(&vehicle, 0, -0.04, 0.15).unwrap();
    agree(&away, &by_chance(&vehicle, -0.04, 0.15), 1e-9);
}

#[test]
fn propagation_agrees_with_chance_for_a_watts_linkage_and_for_bushes() {
    for mut vehicle in [cases::q(), cases::p()] {
        vehicle.tolerance_m = TOLERANCE_M;
        agree(&tolerance::number_u(&vehicle, 0).unwrap(), &by_chance(&vehicle, 0.0, 0.0), 1e-9);
    }
}

#[test]
fn a_links_own_tolerance_takes_the_place_of_the_vehicles() {
    let mut vehicle = cases::h();
    let u = |v: &Vehicle| tolerance::number_u(v, 0).unwrap().get(Key::RollCentreZ).unwrap();
    let before = u(&vehicle);
    let exact = |l: &mut Link| l.tolerance_m = Some(0.0);
    vehicle.axles[0].locating.links.iter_mut().for_each(exact);
    assert_eq!(u(&vehicle), 0.0);
    vehicle.axles[0].locating.links.iter_mut().for_each(|l| l.tolerance_m = None);
    vehicle.tolerance_m *= 2.0;
    assert!((u(&vehicle) / before - 2.0).abs() < 1e-9);
}

#[test]
fn mirrored_points_vary_on_their_own() {
    // With both sides moving together a symmetric layout could not steer per bump at all; on their own they make yaw.
    let vehicle = cases::t();
    let u = tolerance::number_u(&vehicle, 0).unwrap();
    let lateral = u.get(Key::LateralPerHeave).unwrap();
    assert!(lateral > 1e-3, "{lateral}");
}

/// The steer of the axle is the direction of the line between the wheel centres, whose movements are numbers of their own.
#[test]
fn steer_is_as_sure_as_the_movements_of_the_wheels_make_it() {
    let vehicle = cases::t();
    let roll_rad = 0.17;
    let state = Mechanism::new(&vehicle, 0).unwrap().solve(0.0, roll_rad).unwrap();
    let spin = state.pose.rotation().column(1) * (0.5 * vehicle.axles[0].track_m);
    let mut variance = 0.0;
    for s in tolerance::sensitivities(&vehicle, 0, 0.0, roll_rad).unwrap() {
        let per_m = |key| s.per_m.get(key).unwrap();
        // Of a rear axle, whose wheelbase grows as the wheel goes back: half of left less right.
        let x = 0.5 * (per_m(Key::WheelbaseChangeRight) - per_m(Key::WheelbaseChangeLeft));
        let y = 0.5 * (per_m(Key::TrackShiftLeft) - per_m(Key::TrackShiftRight));
        // δ = atan2(−x, y)
        let steer_per_m = (spin.x * y - spin.y * x) / (spin.x.powi(2) + spin.y.powi(2));
        assert!((s.axle_steer_per_m - steer_per_m).abs() < 1e-6, "{s:?}: {steer_per_m}");
        variance += (steer_per_m * s.tolerance_m).powi(2);
    }
    let u = tolerance::known_at(&vehicle, 0, 0.0, roll_rad).unwrap().axle_steer_rad;
    assert!(u > 0.0 && (u / variance.sqrt() - 1.0).abs() < 1e-6, "{u}");
}
