//! How well any method could do with the same sensors: the Cramér–Rao bound of the model that the measurement rests on.
//!
//! The model: x, y, pitch and yaw are surfaces over heave and roll; heave and roll are free at every instant; every nuisance has
//! its prior; readings have their noise. The inverse of its Fisher information bounds the covariance of any unbiased estimator
//! from below (Cramér 1946, Rao 1945, from memory; with priors it is van Trees' bound).

use super::instants::Instant;
use super::numbers::{self, Excitation, FREE};
use super::path::Path;
use super::surface::SurfaceFit;
use super::{analyse, instants, still, synthetic};
use crate::geometry::{DMatrix, DVector};
use crate::vehicle::numbers as truth;
use crate::vehicle::numbers::Key;

/// Covariance of the surfaces' coefficients, response after response, that no unbiased estimator stays below.
fn least_covariance(path: &Path, instants: &[Instant], fit: &SurfaceFit) -> DMatrix<f64> {
    let (terms, nuisances) = (fit.basis.len(), path.observer.nuisances().len());
    let coefficients = FREE.len() * terms;
    let mut information = DMatrix::zeros(coefficients + nuisances, coefficients + nuisances);
    for point in path.points.iter().filter(|p| p.phase.travels()) {
        let pose = point.estimate.pose;
        let rows = path.observer.rows(&instants[point.instant], &path.against[point.instant], &pose);
        let weight = DMatrix::from_diagonal(&rows.noise.map(|v| 1.0 / v.sqrt()));
        let (jacobian, effects) = (&weight * &rows.jacobian, &weight * &rows.effects);
        let [value, by_heave, by_roll] = fit.basis.at(pose.z_m, pose.roll_rad);
        let mut known = DMatrix::zeros(jacobian.nrows(), coefficients + nuisances);
        let mut free = DMatrix::from_columns(&[jacobian.column(2), jacobian.column(3)]);
        for (k, coordinate) in FREE.into_iter().enumerate() {
            let column = jacobian.column(coordinate);
            known
                .view_mut((0, k * terms), (jacobian.nrows(), terms))
                .copy_from(&(column * value.transpose()));
            for (way, slopes) in [&by_heave, &by_roll].into_iter().enumerate() {
                let slope = fit.beta.column(k).dot(slopes);
                free.column_mut(way).axpy(slope, &column, 1.0);
            }
        }
        known.columns_mut(coefficients, nuisances).copy_from(&effects);
        let q = free.qr().q();
        known -= &q * q.tr_mul(&known);
        information += known.tr_mul(&known);
    }
    for k in coefficients..coefficients + nuisances {
        information[(k, k)] += 1.0;
    }
    let whole = information.pseudo_inverse(1e-14).expect("a tolerance that is not negative");
    whole.view((0, 0), (coefficients, coefficients)).into_owned()
}

const KEYS: [Key; 8] = [
    Key::PitchPerHeave,
    Key::ContactForwardPerHeave,
    Key::AntiSquat,
    Key::RollCentreZ,
    Key::RollAxisRise,
    Key::RollAxisScrewPitch,
    Key::RollSteer,
    Key::LateralPerHeave,
];

/// One run: errors of the numbers, their stated u, and the bound.
fn run(units: bool, seed: Option<u64>) -> Vec<[f64; 3]> {
    let facts = synthetic::facts();
    let rig = synthetic::rig(units);
    let recording = synthetic::record(&rig, seed);
    let stills = still::stills(&rig, &recording).expect("a still");
    let (mut instants, step_s) = instants::instants(&rig, &recording);
    let spans = vec![[0.0, 1.2]; rig.sensors.len()];
    let observer =
        super::observe::Observer::new(&rig, 0, synthetic::CENTRE, &stills, &spans, crate::run::Timing::Own);
    let path = analyse::moved(&observer, &mut instants, step_s);
    let travelling: Vec<_> = path.points.iter().filter(|p| p.phase.travels()).collect();
    let states: Vec<_> = travelling.iter().map(|p| (p.estimate.pose.z_m, p.estimate.pose.roll_rad)).collect();
    let samples = super::motion::samples(&path.observer, &travelling, [true; 6]);
    let fit = SurfaceFit::fit(&samples, observer.nuisances(), &path.knowledge).expect("a fit");
    let excitation = Excitation::of(&states, [true; 6]);
    let at = numbers::at_state(&facts, &fit, &excitation, 0.0, 0.0);
    let least = least_covariance(&path, &instants, &fit);
    let known = truth::at_state(&facts, &synthetic::ride_motion());
    KEYS.iter()
        .map(|key| {
            let (value, u) = at.numbers[key].measured().unwrap_or_else(|| panic!("{key:?}"));
            let reads = numbers::reads(&facts, &fit, *key).expect("a number of the motion");
            let reads = DVector::from_column_slice(reads.as_slice());
            [value - known.get(*key).expect("known"), u, (reads.dot(&(&least * &reads))).sqrt()]
        })
        .collect()
}

/// Runs unless the environment says otherwise: what some ten seconds allow.
const RUNS: u64 = 16;
/// The root mean square error of so many runs is within this many standard deviations, `1/√(2n)`, of its expectation, …
const SAMPLING: f64 = 3.0;
/// … and that may be this much above the bound.
const ABOVE: f64 = 1.15;

#[test]
fn no_method_could_do_much_better() {
    let runs: u64 =
        std::env::var("HINGELINE_COVERAGE_RUNS").ok().and_then(|v| v.parse().ok()).unwrap_or(RUNS);
    let band = 1.0 + SAMPLING / (2.0 * runs as f64).sqrt();
    for units in [true, false] {
        let all: Vec<Vec<[f64; 3]>> = (1..=runs).map(|seed| run(units, Some(seed))).collect();
        for (k, key) in KEYS.iter().enumerate() {
            let mean =
                |of: &dyn Fn(&[f64; 3]) -> f64| all.iter().map(|r| of(&r[k])).sum::<f64>() / runs as f64;
            let error = mean(&|r| r[0] * r[0]).sqrt();
            let (u, least) = (mean(&|r| r[1]), mean(&|r| r[2]));
            println!(
                "{key:?}, {}: error {error:.5}, u {u:.5}, bound {least:.5}: {:.2} and {:.2} of it",
                if units { "wires and units" } else { "wires" },
                error / least,
                u / least
            );
            assert!(error < ABOVE * band * least, "{key:?}: {error} against {least}");
        }
    }
}
