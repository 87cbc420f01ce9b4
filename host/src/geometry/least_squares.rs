//! The one least-squares solver: Levenberg-Marquardt on whitened residuals, with covariance and a report of what the
//! residuals cannot see.
//!
//! Levenberg (1944), Marquardt (1963); step control by Nielsen's rule as in Madsen, Nielsen, Tingleff, "Methods for
//! Non-Linear Least Squares Problems", section 3.2.

use nalgebra::{DMatrix, DVector};

/// Residuals that were whitened when they were made: each divided by its standard deviation (or multiplied by the square
/// root of its stiffness). Rows that have neither are *rigid*: they must vanish, whatever it costs the others.
pub trait Residuals {
    /// Number of unknowns.
    fn unknowns(&self) -> usize;

    /// How many rows, counted from the first, are rigid.
    fn rigid(&self) -> usize {
        0
    }

    /// Residual vector (length m) and Jacobian (m × unknowns) at `x`.
    fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>);

    /// `Σ weightᵢ·∇²residualᵢ` at `x`. With it steps are Newton's, without it Gauss-Newton's.
    fn curvature(&self, _x: &DVector<f64>, _weights: &DVector<f64>) -> Option<DMatrix<f64>> {
        None
    }
}

/// When to stop.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// Iterations at the most.
    pub max_iterations: usize,
    /// Stop when the largest component of a step, relative to `1e-3 + |x|`, is below this.
    pub step_tolerance: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self { max_iterations: 60, step_tolerance: 1e-12 }
    }
}

/// Where the solver ended.
#[derive(Debug, Clone)]
pub struct Solution {
    /// The unknowns.
    pub x: DVector<f64>,
    /// Whitened residuals there; the rigid ones first, as they are.
    pub residuals: DVector<f64>,
    /// Whitened Jacobian there.
    pub jacobian: DMatrix<f64>,
    /// Lagrange multipliers of the rigid rows: what each holds back, of half the sum of squares per unit of its residual.
    pub multipliers: DVector<f64>,
    /// Whether the step tolerance was met.
    pub converged: bool,
    /// Iterations used.
    pub iterations: usize,
}

impl Solution {
    /// Sum of squared whitened residuals, rigid rows left out.
    pub fn chi_square(&self) -> f64 {
        self.residuals.rows_range(self.multipliers.len()..).norm_squared()
    }
}

/// Minimises half the sum of squares of the elastic rows from `x0`, with every rigid row brought to zero.
pub fn solve(problem: &impl Residuals, x0: DVector<f64>, options: Options) -> Solution {
    let (residuals, jacobian) = problem.evaluate(&x0);
    let multipliers = DVector::zeros(problem.rigid());
    let mut at = Solution { x: x0, residuals, jacobian, multipliers, converged: false, iterations: 0 };
    let mut lambda = 0.0_f64;
    let mut growth = 2.0;
    while at.iterations < options.max_iterations && !at.converged {
        at.iterations += 1;
        let quadratic = Quadratic::of(problem, &at);
        let Some((step, multipliers)) = quadratic.step(lambda) else {
            (lambda, growth) = harder(lambda, growth);
            continue;
        };
        let candidate = &at.x + &step;
        let (residuals, jacobian) = problem.evaluate(&candidate);
        // An exact penalty: a price per unit of a rigid residual above what any of them is worth.
        let price = 2.0 * multipliers.amax().max(at.multipliers.amax()) + f64::MIN_POSITIVE.sqrt();
        let (cost, cost_new) =
            (merit(&at.residuals, &at.multipliers, price), merit(&residuals, &multipliers, price));
        let relative = relative_size(&step, &at.x);
        at.converged = relative <= options.step_tolerance;
        if cost_new <= cost || relative <= TOO_NEAR_TO_COMPARE {
            let predicted = quadratic.predicted_gain(&step, price);
            let gain = if predicted > 0.0 { (cost - cost_new) / predicted } else { 1.0 };
            lambda = if gain > 0.75 { lambda * 0.1 } else { lambda };
            growth = 2.0;
            at = Solution { x: candidate, residuals, jacobian, multipliers, ..at };
        } else {
            (lambda, growth) = harder(lambda, growth);
        }
    }
    at
}

/// Largest component of a step relative to `1e-3 + |x|`; infinite if one is not a number.
fn relative_size(step: &DVector<f64>, x: &DVector<f64>) -> f64 {
    let sizes = step.iter().zip(x.iter()).map(|(s, v)| s.abs() / (1e-3 + v.abs()));
    sizes.fold(0.0, |most, size| if size.is_nan() { f64::INFINITY } else { most.max(size) })
}

/// Steps this small (relative to `1e-3 + |x|`) change the sum of squares by less than its rounding; they are taken as they are.
const TOO_NEAR_TO_COMPARE: f64 = 1e-7;

fn merit(residuals: &DVector<f64>, multipliers: &DVector<f64>, price: f64) -> f64 {
    let rigid = multipliers.len();
    let strain: f64 = residuals.rows_range(..rigid).iter().map(|c| c.abs()).sum();
    residuals.rows_range(rigid..).norm_squared() + 2.0 * price * strain
}

fn harder(lambda: f64, growth: f64) -> (f64, f64) {
    (if lambda == 0.0 { 1e-4 } else { lambda * growth }, growth * 2.0)
}

/// The problem as it looks from one point: a quadratic in the step, and the rigid rows to first order.
struct Quadratic {
    gradient: DVector<f64>,
    normal: DMatrix<f64>,
    constraints: DMatrix<f64>,
    strain: DVector<f64>,
}

impl Quadratic {
    fn of(problem: &impl Residuals, at: &Solution) -> Self {
        let rigid = at.multipliers.len();
        let elastic = at.jacobian.rows_range(rigid..);
        let residuals = at.residuals.rows_range(rigid..);
        let mut normal = elastic.tr_mul(&elastic);
        let mut weights = at.residuals.clone();
        weights.rows_range_mut(..rigid).copy_from(&at.multipliers);
        if let Some(curvature) = problem.curvature(&at.x, &weights) {
            normal += curvature;
        }
        Self {
            gradient: elastic.tr_mul(&residuals),
            normal,
            constraints: at.jacobian.rows_range(..rigid).into_owned(),
            strain: at.residuals.rows_range(..rigid).into_owned(),
        }
    }

    /// The step and the multipliers there; `None` if the damped problem has no minimum.
    fn step(&self, lambda: f64) -> Option<(DVector<f64>, DVector<f64>)> {
        // A column that no residual sees must not stop the others: a floor far below anything that matters.
        let floor = 1e-14 * self.normal.diagonal().amax().max(f64::MIN_POSITIVE);
        let mut damped = self.normal.clone();
        for k in 0..damped.nrows() {
            damped[(k, k)] += lambda * self.normal[(k, k)].abs() + floor;
        }
        if self.constraints.nrows() == 0 {
            return damped.cholesky().map(|c| (-c.solve(&self.gradient), DVector::zeros(0)));
        }
        let saddle = Saddle::new(&damped, &self.constraints)?;
        let (step, multipliers) = saddle.solve(&column(-&self.gradient), &column(-&self.strain))?;
        Some((step.column(0).into_owned(), multipliers.column(0).into_owned()))
    }

    /// By how much the quadratic says that a step lowers the merit.
    fn predicted_gain(&self, step: &DVector<f64>, price: f64) -> f64 {
        let strain: f64 = self.strain.iter().map(|c| c.abs()).sum();
        2.0 * price * strain - (self.gradient.dot(step) * 2.0 + step.dot(&(&self.normal * step)))
    }
}

fn column(v: DVector<f64>) -> DMatrix<f64> {
    DMatrix::from_columns(&[v])
}

/// A quadratic form with rigid rows beside it, `[H Cᵀ; C 0]`, factored once for several right-hand sides.
pub struct Saddle {
    factors: nalgebra::LU<f64, nalgebra::Dyn, nalgebra::Dyn>,
    unknowns: usize,
    weight: f64,
}

impl Saddle {
    /// From the symmetric `hessian` (n × n) and the rigid rows `constraints` (c × n); `None` if it is singular.
    pub fn new(hessian: &DMatrix<f64>, constraints: &DMatrix<f64>) -> Option<Self> {
        let (n, c) = (hessian.nrows(), constraints.nrows());
        // Rows of length about 1 beside stiffness of 1e7: weighted alike, pivots are chosen by what matters.
        let largest = hessian.diagonal().amax();
        let weight = if largest > f64::MIN_POSITIVE.sqrt() { largest } else { 1.0 };
        let mut whole = DMatrix::zeros(n + c, n + c);
        whole.view_mut((0, 0), (n, n)).copy_from(hessian);
        whole.view_mut((n, 0), (c, n)).copy_from(&(constraints * weight));
        whole.view_mut((0, n), (n, c)).copy_from(&(constraints.transpose() * weight));
        let factors = whole.lu();
        factors.is_invertible().then_some(Self { factors, unknowns: n, weight })
    }

    /// Unknowns and multipliers for right-hand sides above (n × k) and beside the rigid rows (c × k).
    pub fn solve(&self, above: &DMatrix<f64>, rigid: &DMatrix<f64>) -> Option<(DMatrix<f64>, DMatrix<f64>)> {
        let mut right = DMatrix::zeros(above.nrows() + rigid.nrows(), above.ncols());
        right.rows_range_mut(..self.unknowns).copy_from(above);
        right.rows_range_mut(self.unknowns..).copy_from(&(rigid * self.weight));
        let all = self.factors.solve(&right)?;
        let multipliers = all.rows_range(self.unknowns..) * self.weight;
        Some((all.rows_range(..self.unknowns).into_owned(), multipliers))
    }
}

/// Covariance of the unknowns of a whitened problem, and what it cannot see.
#[derive(Debug, Clone)]
pub struct Covariance {
    /// `(JᵀJ)⁻¹` on the seen directions; zero along unseen ones, so read `unseen` first.
    pub matrix: DMatrix<f64>,
    /// Unit vectors (in the scaled unknowns) that no residual sees.
    pub unseen: Vec<DVector<f64>>,
}

/// Covariance from a whitened Jacobian. `scale[k]` is the size of unknown `k` that matters (so that metres and radians
/// compare); a direction whose standard deviation exceeds `limit` of those sizes counts as unseen.
pub fn covariance(jacobian: &DMatrix<f64>, scale: &[f64], limit: f64) -> Covariance {
    let n = jacobian.ncols();
    let mut scaled = jacobian.clone();
    for (k, s) in scale.iter().enumerate() {
        scaled.column_mut(k).scale_mut(*s);
    }
    let eigen = scaled.tr_mul(&scaled).symmetric_eigen();
    let mut matrix = DMatrix::zeros(n, n);
    let mut unseen = Vec::new();
    for (k, information) in eigen.eigenvalues.iter().enumerate() {
        let v = eigen.eigenvectors.column(k).into_owned();
        if *information > 1.0 / (limit * limit) {
            matrix += &v * v.transpose() / *information;
        } else {
            unseen.push(v);
        }
    }
    for row in 0..n {
        for column in 0..n {
            matrix[(row, column)] *= scale[row] * scale[column];
        }
    }
    Covariance { matrix, unseen }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Least `½(x − 2)² + ½(3y)²` with `x² + y² = 1` held rigid: the nearest point of the circle is (1, 0), and the
    /// multiplier balances the pull of (x − 2): `(1 − 2) + μ·2 = 0`, μ = 1/2.
    struct OnCircle {
        exact: bool,
    }

    impl Residuals for OnCircle {
        fn unknowns(&self) -> usize {
            2
        }

        fn rigid(&self) -> usize {
            1
        }

        fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
            let r = DVector::from_vec(vec![x.norm_squared() - 1.0, x[0] - 2.0, 3.0 * x[1]]);
            (r, DMatrix::from_row_slice(3, 2, &[2.0 * x[0], 2.0 * x[1], 1.0, 0.0, 0.0, 3.0]))
        }

        fn curvature(&self, _x: &DVector<f64>, weights: &DVector<f64>) -> Option<DMatrix<f64>> {
            self.exact.then(|| DMatrix::identity(2, 2) * (2.0 * weights[0]))
        }
    }

    #[test]
    fn rigid_rows_vanish_and_the_rest_is_least() {
        let start = DVector::from_vec(vec![0.3, 0.8]);
        let newton = solve(&OnCircle { exact: true }, start.clone(), Options::default());
        let gauss = solve(&OnCircle { exact: false }, start, Options::default());
        for solution in [&newton, &gauss] {
            assert!(solution.converged);
            assert!((solution.x[0] - 1.0).abs() < 1e-12 && solution.x[1].abs() < 1e-12);
            assert!((solution.multipliers[0] - 0.5).abs() < 1e-9);
            assert!((solution.chi_square() - 1.0).abs() < 1e-12);
        }
        assert!(newton.iterations < gauss.iterations, "second derivatives must speed it up");
    }

    #[test]
    fn as_many_rigid_rows_as_unknowns_is_a_root() {
        struct Root;
        impl Residuals for Root {
            fn unknowns(&self) -> usize {
                1
            }
            fn rigid(&self) -> usize {
                1
            }
            fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
                (DVector::from_vec(vec![x[0] * x[0] - 2.0]), DMatrix::from_vec(1, 1, vec![2.0 * x[0]]))
            }
        }
        let root = solve(&Root, DVector::from_vec(vec![1.0]), Options::default());
        assert!(root.converged && (root.x[0] - 2.0_f64.sqrt()).abs() < 1e-15);
    }
}
