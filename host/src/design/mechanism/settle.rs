//! Equilibrium at an imposed heave and roll, and how it moves with them (implicit function theorem).

use super::bodies::{Bodies, HEAVE, ROLL};
use super::rows::Rows;
use super::state::{Inner, State};
use crate::geometry::least_squares::{Options, Residuals, Saddle, solve};
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, DVector, Pose};
use crate::vehicle::numbers::Motion;

/// A Newton step this small, m (angles at half the track), is the last: the next would be its square, below rounding. It is
/// also how far the Jacobian, and with it every derivative, is from the settled state at the most.
pub(super) const SETTLED_M: f64 = 1e-11;

/// A settled state and how far it was from the guess.
pub(super) struct Settled {
    pub state: State,
    /// Largest move of a coordinate from the guess, m (angles at half the track).
    pub correction_m: f64,
}

impl Settled {
    /// A state without strain, from all coordinates and their derivatives by heave and by roll.
    pub fn unstrained(bodies: &Bodies, q: &[f64], [by_heave, by_roll]: [&[f64]; 2], branch: f64) -> State {
        let axle = |all: &[f64]| std::array::from_fn(|k| all[k]);
        let pose = Pose::from_array(axle(q));
        let inner = |all: &[f64]| all[COORDINATES..].to_vec();
        State {
            pose,
            motion: Motion { pose, by_heave: axle(by_heave), by_roll: axle(by_roll) },
            strain_energy_j: 0.0,
            heave_force_n: 0.0,
            roll_moment_nm: 0.0,
            heave_stiffness_n_per_m: 0.0,
            roll_stiffness_nm_per_rad: 0.0,
            inner: Inner {
                q: inner(q),
                by_heave: inner(by_heave),
                by_roll: inner(by_roll),
                cranks: bodies.cranks.len(),
                multipliers: Vec::new(),
            },
            branch,
        }
    }

    /// The settled state, with how far it is from the guess.
    pub fn new(rows: &Rows, guess: &[f64], q: &[f64], state: State) -> Self {
        let moves = q.iter().zip(guess).enumerate();
        let sizes_m = moves.map(|(k, (a, b))| (a - b).abs() * rows.bodies.size_m(k, rows.half_track_m));
        Self { state, correction_m: sizes_m.fold(0.0, f64::max) }
    }
}

/// Least strain energy over the free coordinates, heave and roll held at their values in `base`.
struct Equilibrium<'a> {
    rows: &'a Rows,
    base: &'a [f64],
    free: &'a [usize],
}

impl Equilibrium<'_> {
    fn all(&self, x: &DVector<f64>) -> Vec<f64> {
        let mut q = self.base.to_vec();
        for (&k, v) in self.free.iter().zip(x.iter()) {
            q[k] = *v;
        }
        q
    }
}

impl Residuals for Equilibrium<'_> {
    fn unknowns(&self) -> usize {
        self.free.len()
    }

    fn rigid(&self) -> usize {
        self.rows.rigid()
    }

    fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let (r, j) = self.rows.evaluate(&self.all(x));
        (r, j.select_columns(self.free.iter()))
    }

    fn curvature(&self, x: &DVector<f64>, weights: &DVector<f64>) -> Option<DMatrix<f64>> {
        let all = self.rows.curvature(&self.all(x), weights);
        Some(all.select_columns(self.free.iter()).select_rows(self.free.iter()))
    }
}

/// Finds the equilibrium next to the guess `q`; `None` if there is none, or none that is stable.
pub(super) fn settle(rows: &Rows, guess: &[f64]) -> Option<Settled> {
    let free = rows.bodies.free();
    let problem = Equilibrium { rows, base: guess, free: &free };
    let start = DVector::from_iterator(free.len(), free.iter().map(|&k| guess[k]));
    // Relative to 1e-3: 1e-13 m. Newton's last step is quadratic, so what remains is rounding.
    let solution = solve(&problem, start, Options { max_iterations: 25, step_tolerance: 1e-10 });
    if !solution.converged || !closed(&solution.residuals, rows.rigid()) {
        return None;
    }
    let q = problem.all(&solution.x);
    let state = differentiate(rows, &q, &free, solution.multipliers.as_slice())?;
    Some(Settled::new(rows, guess, &q, state))
}

/// Whether the rigid members keep their lengths.
fn closed(residuals: &DVector<f64>, rigid: usize) -> bool {
    /// Far above rounding on lengths of a metre, far below anything that is measured.
    const CLOSED_M: f64 = 1e-11;
    residuals.rows_range(..rigid).amax() < CLOSED_M || rigid == 0
}

/// The rows at an equilibrium, to second order. `L = E + μ·c` with c the elongations of the rigid members; u are the free
/// coordinates, p = (heave, roll).
pub(super) struct Linearised {
    /// Whitened Jacobian over all coordinates, rigid members first.
    pub jacobian: DMatrix<f64>,
    /// Multipliers of the rigid members (N), whitened strains of all other rows (√J).
    pub weights: DVector<f64>,
    /// `L_uu`, `L_up`, `L_pp`.
    pub uu: DMatrix<f64>,
    pub up: DMatrix<f64>,
    pub pp: DMatrix<f64>,
    /// `c_u`, `c_p`.
    pub c_u: DMatrix<f64>,
    pub c_p: DMatrix<f64>,
}

impl Linearised {
    pub fn new(rows: &Rows, q: &[f64], multipliers: &[f64]) -> Self {
        let (free, imposed) = (rows.bodies.free(), [HEAVE, ROLL]);
        let rigid = rows.rigid();
        let (mut weights, jacobian) = rows.evaluate(q);
        for (row, weight) in weights.rows_range_mut(..rigid).iter_mut().enumerate() {
            *weight = multipliers.get(row).copied().unwrap_or(0.0);
        }
        let elastic = jacobian.rows_range(rigid..);
        let hessian = elastic.tr_mul(&elastic) + rows.curvature(q, &weights);
        let by_free = hessian.select_rows(free.iter());
        let constraints = jacobian.rows_range(..rigid).into_owned();
        Self {
            uu: by_free.select_columns(free.iter()),
            up: by_free.select_columns(imposed.iter()),
            pp: hessian.select_columns(imposed.iter()).select_rows(imposed.iter()),
            c_u: constraints.select_columns(free.iter()),
            c_p: constraints.select_columns(imposed.iter()),
            jacobian,
            weights,
        }
    }
}

/// The state at the equilibrium `q`: `[L_uu c_uᵀ; c_u 0]·(u_p, μ_p) = −(L_up, c_p)`, `dE/dp = L_p`,
/// `d²E/dp² = L_pp + L_pu·u_p + c_pᵀ·μ_p`.
fn differentiate(rows: &Rows, q: &[f64], free: &[usize], multipliers: &[f64]) -> Option<State> {
    let l = Linearised::new(rows, q, multipliers);
    let rigid = rows.rigid();
    let branch = branch(&l.uu, &l.c_u)?;
    let (u_p, m_p) = Saddle::new(&l.uu, &l.c_u)?.solve(&-&l.up, &-&l.c_p)?;
    let pull = l.jacobian.tr_mul(&l.weights);
    let stiffness = &l.pp + l.up.tr_mul(&u_p) + l.c_p.tr_mul(&m_p);
    let rates = |which: usize| {
        let mut all = vec![0.0; q.len()];
        for (k, &coordinate) in free.iter().enumerate() {
            all[coordinate] = u_p[(k, which)];
        }
        all[[HEAVE, ROLL][which]] = 1.0;
        all
    };
    let mut state = Settled::unstrained(&rows.bodies, q, [&rates(0), &rates(1)], branch);
    state.inner.multipliers = multipliers.to_vec();
    state.strain_energy_j = 0.5 * l.weights.rows_range(rigid..).norm_squared();
    (state.heave_force_n, state.roll_moment_nm) = (pull[HEAVE], pull[ROLL]);
    (state.heave_stiffness_n_per_m, state.roll_stiffness_nm_per_rad) = (stiffness[(0, 0)], stiffness[(1, 1)]);
    Some(state)
}

/// The sign that must not change along a path: of the determinant where rigid members alone determine the coordinates;
/// otherwise 1 for a stable equilibrium (energy rises in every direction that the rigid members leave), none for another.
fn branch(hessian: &DMatrix<f64>, rigid: &DMatrix<f64>) -> Option<f64> {
    if rigid.is_square() {
        return Some(rigid.determinant().signum());
    }
    /// Large against the stiffness itself: `H + w·CᵀC` is positive definite then just where `H` is on the null space of C.
    const HEAVY: f64 = 1e4;
    let weight = HEAVY * hessian.diagonal().amax();
    (hessian + rigid.tr_mul(rigid) * weight).cholesky().map(|_| 1.0)
}
