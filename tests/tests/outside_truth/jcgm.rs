//! Worked examples of JCGM 100:2008, the Guide to the Expression of Uncertainty in Measurement, annex H, and of JCGM 106:2012, the
//! role of measurement uncertainty in conformity assessment.
//!
//! Data and results of H.3 as the documentation of the PyPI package GTC quotes them; H.2's as often reprinted, recomputed.

use crate::regression::{Model, Regression, seen};
use hingeline::geometry::least_squares::{Options, Residuals, solve};
use hingeline::geometry::{DMatrix, DVector};
use hingeline::judge::verdict::conformance;

/// H.3.1, table H.6: thermometer readings, °C, and corrections, °C.
const THERMOMETER: [[f64; 2]; 11] = [
    [21.521, -0.171],
    [22.012, -0.169],
    [22.512, -0.166],
    [23.003, -0.159],
    [23.507, -0.164],
    [23.999, -0.165],
    [24.513, -0.156],
    [25.002, -0.157],
    [25.503, -0.159],
    [26.010, -0.161],
    [26.511, -0.160],
];
/// H.3.1: the temperature from which the line is counted, °C.
const FROM_C: f64 = 20.0;
/// H.3.6's effect common to all corrections, °C.
const COMMON_C: f64 = 0.005;

/// A common effect far below the last digit printed.
const NO_COMMON_C: f64 = 1e-6;

/// The printed number within half a unit of its last digit.
fn printed(what: &str, found: f64, value: f64, decimals: i32) {
    let half_unit = 0.5 * 10_f64.powi(-decimals) * (1.0 + 1e-9);
    assert!((found - value).abs() <= half_unit, "{what}: {found} against {value}");
}

/// Intercept, slope, and an error common to all readings that is known to be zero within its u: the way in which nuisances of
/// a rig enter a fit.
struct Line {
    reading_u: f64,
    common_u: f64,
}

impl Residuals for Line {
    fn unknowns(&self) -> usize {
        3
    }

    fn evaluate(&self, v: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let n = THERMOMETER.len();
        let mut residuals = DVector::zeros(n + 1);
        let mut jacobian = DMatrix::zeros(n + 1, 3);
        for (k, [t, b]) in THERMOMETER.iter().enumerate() {
            let from = t - FROM_C;
            residuals[k] = (v[0] + v[1] * from + v[2] - b) / self.reading_u;
            for (column, slope) in [1.0, from, 1.0].into_iter().enumerate() {
                jacobian[(k, column)] = slope / self.reading_u;
            }
        }
        residuals[n] = v[2] / self.common_u;
        jacobian[(n, 2)] = 1.0 / self.common_u;
        (residuals, jacobian)
    }
}

#[test]
fn h3_calibration_of_a_thermometer() {
    let model: Model = |b, x| (b[0] + b[1] * x[0], vec![1.0, x[0]]);
    let problem = Regression {
        y: THERMOMETER.iter().map(|row| row[1]).collect(),
        x: THERMOMETER.iter().map(|row| vec![row[0] - FROM_C]).collect(),
        model,
        size: vec![1.0, 1.0],
    };
    let fitted = problem.fit(&[0.0, 0.0]);
    // H.3.3: y1 = −0.1712 °C, s 0.0029; y2 = 0.002 18, s 0.000 67; s = 0.0035 °C.
    printed("intercept", fitted.estimate[0], -0.1712, 4);
    printed("its s", fitted.deviation[0], 0.0029, 4);
    printed("slope", fitted.estimate[1], 0.00218, 5);
    printed("its s", fitted.deviation[1], 0.00067, 5);
    printed("s", fitted.residual_deviation, 0.0035, 4);
}

#[test]
fn h3_correlation_and_prediction() {
    let (v, c) = with_common(NO_COMMON_C);
    // H.3.3: r = −0.930. H.3.4: the correction at 30 °C is −0.1494 °C, s 0.0041.
    printed("r", c[(0, 1)] / (c[(0, 0)] * c[(1, 1)]).sqrt(), -0.930, 3);
    printed("b(30)", v[0] + 10.0 * v[1], -0.1494, 4);
    printed("its s", (c[(0, 0)] + 20.0 * c[(0, 1)] + 100.0 * c[(1, 1)]).sqrt(), 0.0041, 4);
}

/// Unknowns and covariance of the line with a common effect of standard uncertainty `common_u`, readings weighted by their
/// own scatter as H.3.3 has it.
fn with_common(common_u: f64) -> (DVector<f64>, DMatrix<f64>) {
    let raw = Line { reading_u: 1.0, common_u };
    let scatter = solve(&raw, DVector::zeros(3), Options::default());
    let reading_u = (scatter.chi_square() / (THERMOMETER.len() - 2) as f64).sqrt();
    let solution = solve(&Line { reading_u, common_u }, DVector::zeros(3), Options::default());
    assert!(solution.converged);
    let found = seen(&solution, &[1.0, 1.0, common_u]);
    (solution.x, found.matrix)
}

#[test]
fn h3_6_a_common_effect_does_not_average_away() {
    let (_, c) = with_common(COMMON_C);
    // GTC's documentation of the same example with u 0.005: intercept u 0.005 768 93, slope u unchanged, 0.000 667 94.
    printed("intercept u", c[(0, 0)].sqrt(), 0.00576893, 8);
    printed("slope u", c[(1, 1)].sqrt(), 0.00066794, 8);
}

/// H.2.2, table H.2: five sets of voltage (V), current (A) and phase (rad) taken at once.
const IMPEDANCE: [[f64; 3]; 5] = [
    [5.007, 0.019663, 1.0456],
    [4.994, 0.019639, 1.0438],
    [5.005, 0.019640, 1.0468],
    [4.990, 0.019685, 1.0428],
    [4.999, 0.019678, 1.0433],
];

/// Resistance, reactance (Ω) and current (A) that explain the mean voltage, current and phase, whitened by the covariance of
/// these means.
struct Impedance {
    mean: DVector<f64>,
    whitening: DMatrix<f64>,
}

impl Impedance {
    fn new() -> Self {
        let n = IMPEDANCE.len() as f64;
        let rows = DMatrix::from_row_iterator(IMPEDANCE.len(), 3, IMPEDANCE.iter().flatten().copied());
        let mean = rows.row_mean().transpose();
        let centred = DMatrix::from_fn(IMPEDANCE.len(), 3, |r, c| rows[(r, c)] - mean[c]);
        let covariance = centred.tr_mul(&centred) / (n * (n - 1.0));
        let whitening = covariance.cholesky().expect("three inputs vary").l().try_inverse().expect("as well");
        Self { mean, whitening }
    }
}

impl Residuals for Impedance {
    fn unknowns(&self) -> usize {
        3
    }

    fn evaluate(&self, v: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let (r, x, i) = (v[0], v[1], v[2]);
        let z = r.hypot(x);
        let inputs = DVector::from_vec(vec![i * z, i, x.atan2(r)]);
        let slopes = DMatrix::from_row_slice(
            3,
            3,
            &[i * r / z, i * x / z, z, 0.0, 0.0, 1.0, -x / (z * z), r / (z * z), 0.0],
        );
        (&self.whitening * (inputs - &self.mean), &self.whitening * slopes)
    }
}

#[test]
fn h2_resistance_and_reactance_from_correlated_readings() {
    let solution = solve(&Impedance::new(), DVector::from_vec(vec![100.0, 200.0, 0.02]), Options::default());
    assert!(solution.converged);
    let (r, x) = (solution.x[0], solution.x[1]);
    let c = seen(&solution, &[1.0, 1.0, 1e-4]).matrix;
    let z = r.hypot(x);
    let toward = [r / z, x / z];
    let u = |a: [f64; 2], b: [f64; 2]| -> f64 {
        (0..2).flat_map(|j| (0..2).map(move |k| (j, k))).map(|(j, k)| a[j] * c[(j, k)] * b[k]).sum()
    };
    let (ur, ux, uz) = (c[(0, 0)].sqrt(), c[(1, 1)].sqrt(), u(toward, toward).sqrt());
    // H.2.3, table H.4: R 127.732 Ω, u 0.071; X 219.847 Ω, u 0.295; Z 254.260 Ω, u 0.236;
    // r(R, X) −0.588, r(R, Z) −0.485, r(X, Z) 0.993.
    printed("R", r, 127.732, 3);
    printed("X", x, 219.847, 3);
    printed("Z", z, 254.260, 3);
    printed("u(R)", ur, 0.071, 3);
    printed("u(Z)", uz, 0.236, 3);
    printed("r(R, X)", c[(0, 1)] / (ur * ux), -0.588, 3);
    printed("r(R, Z)", u([1.0, 0.0], toward) / (ur * uz), -0.485, 3);
    printed("r(X, Z)", u([0.0, 1.0], toward) / (ux * uz), 0.993, 3);
    // The Guide prints 0.295 from rounded inputs; exact arithmetic gives 0.2956.
    printed("u(X)", ux, 0.2956, 4);
}

/// JCGM 106:2012, 7.4 and 7.5, examples of a Zener diode whose breakdown voltage must not be above −5.40 V, measured as −5.47 V
/// with u 0.05 V, and of an oil whose viscosity must be between 12.5 and 16.3 mm²/s, measured as 13.6 mm²/s with u 1.8 mm²/s
/// (from memory; the probabilities follow from the normal distribution).
#[test]
fn conformance_probabilities_of_jcgm_106() {
    // One limit alone: the other is out of sight.
    const FAR: f64 = 1e3;
    printed("diode", conformance(-5.47 - (-5.40 - FAR), 0.05, FAR), 0.92, 2);
    let (low, high) = (12.5, 16.3);
    printed("oil", conformance(13.6 - 0.5 * (low + high), 1.8, 0.5 * (high - low)), 0.66, 2);
}
