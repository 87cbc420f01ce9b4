//! The whole way from readings to numbers on a made-up motion whose numbers are known.

use super::numbers::{Excitation, at_state};
use super::observe::Observer;
use super::path::{Path, follow};
use super::surface::{Derived, SurfaceFit};
use super::{instants, motion, still, synthetic};
use crate::geometry::DMatrix;
use crate::geometry::pose::Pose;
use crate::run::Timing;
use crate::vehicle::numbers::{self, Key};
use nalgebra::RowDVector;

const KEYS: [Key; 9] = [
    Key::PitchPerHeave,
    Key::ContactForwardPerHeave,
    Key::AntiSquat,
    Key::RollCentreZ,
    Key::RollAxisRise,
    Key::RollSteer,
    Key::LateralPerHeave,
    Key::SideViewInstantCentreX,
    Key::SideViewInstantCentreZ,
];

/// The sensors of a made-up run and the path that they show.
fn followed(units: bool, seed: Option<u64>) -> (Observer, Path) {
    let rig = synthetic::rig(units);
    let recording = synthetic::record(&rig, seed);
    let stills = still::stills(&rig, &recording).expect("a still");
    let (instants, step_s) = instants::instants(&rig, &recording);
    let spans = vec![[0.0, 1.2]; rig.sensors.len()];
    let observer = Observer::new(&rig, 0, synthetic::CENTRE, &stills, &spans, Timing::Own);
    let path = follow(&observer, &instants, step_s);
    (observer, path)
}

fn measured(units: bool, seed: Option<u64>) -> super::numbers::AtState {
    let (observer, path) = followed(units, seed);
    let travelling: Vec<_> = path.points.iter().filter(|p| p.phase.travels()).collect();
    let states: Vec<_> = travelling.iter().map(|p| (p.estimate.pose.z_m, p.estimate.pose.roll_rad)).collect();
    let samples = motion::samples(&path.observer, &travelling, [true; 6]);
    let fit = SurfaceFit::fit(&samples, observer.nuisances(), &path.knowledge).expect("a fit");
    at_state(&synthetic::facts(), &fit, &Excitation::of(&states, [true; 6]), 0.0, 0.0)
}

#[test]
fn perfect_sensors_give_the_true_numbers() {
    // What smoothing windows and the fitted surface leave over, far below any sensor's u.
    const LEFT_OVER: f64 = 1e-3;
    let truth = numbers::at_state(&synthetic::facts(), &synthetic::ride_motion());
    let found = measured(true, None);
    for key in KEYS {
        let (value, _) =
            found.numbers[&key].measured().unwrap_or_else(|| panic!("{key:?}: {:?}", found.numbers[&key]));
        let truth = truth.get(key).expect("the law has this number");
        assert!((value - truth).abs() < LEFT_OVER * truth.abs().max(1.0), "{key:?}: {value} against {truth}");
    }
}

#[test]
fn stated_uncertainty_is_the_error_made() {
    // Errors drawn from the priors they are declared with: squared error over u² averages 1. Forty runs place the mean of
    // a chi-square with one degree of freedom within 1 ± 4·√(2/40) at a few in 1e4.
    const RUNS: u64 = 40;
    let band = 4.0 * (2.0 / RUNS as f64).sqrt();
    let truth = numbers::at_state(&synthetic::facts(), &synthetic::ride_motion());
    let mut sums = vec![0.0; KEYS.len()];
    let mut us = vec![0.0; KEYS.len()];
    for seed in 1..=RUNS {
        let found = measured(true, Some(seed));
        for (k, key) in KEYS.iter().enumerate() {
            let (value, u) = found.numbers[key].measured().expect("measured");
            sums[k] += ((value - truth.get(*key).expect("has it")) / u).powi(2) / RUNS as f64;
            us[k] += u / RUNS as f64;
        }
    }
    for ((key, mean), u) in KEYS.iter().zip(&sums).zip(&us) {
        println!("{key:?}: mean squared z {mean:.2}, u {u:.5}");
    }
    for (key, mean) in KEYS.iter().zip(&sums) {
        assert!((mean - 1.0).abs() < band, "{key:?}: mean squared error over u² is {mean:.2}");
    }
}

#[test]
fn a_pose_at_ride_height_is_zero() {
    let (_, path) = followed(true, Some(7));
    // A millimetre and a milliradian: five noises of an averaged wire.
    let worst = path.points[5].estimate.pose.to_array().iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    assert!(worst < 1e-3, "{:?}", path.points[5].estimate.pose);
    assert_ne!(path.points[5].estimate.pose, Pose::default());
}

#[test]
fn what_was_fitted_projects_onto_its_own_coefficients() {
    // The same weights in both: with plain least squares this differs by a good part of a standard deviation.
    const ROUNDING_M: f64 = 1e-12;
    let (observer, path) = followed(true, Some(3));
    let travelling: Vec<_> = path.points.iter().filter(|p| p.phase.travels()).collect();
    let samples = motion::samples(&path.observer, &travelling, [true; 6]);
    let fit = SurfaceFit::fit(&samples, observer.nuisances(), &path.knowledge).expect("a fit");
    // The square of x and y together: each value with a variance of its own.
    let (value, gradient): (Vec<f64>, Vec<_>) = travelling
        .iter()
        .map(|p| (p.estimate.pose.x_m, p.estimate.pose.y_m))
        .map(|(x, y)| (x * x + y * y, RowDVector::from_vec(vec![2.0 * x, 2.0 * y, 0.0, 0.0, 0.0, 0.0])))
        .unzip();
    let effects = DMatrix::zeros(value.len(), observer.nuisances().len());
    let derived = Derived { value: value.clone().into(), gradient: DMatrix::from_rows(&gradient), effects };
    let fit = fit.appended(&samples, &[derived]);
    let projected = fit.project(&DMatrix::from_vec(value.len(), 1, value));
    assert!((projected.column(0) - fit.beta.column(4)).amax() < ROUNDING_M);
}
