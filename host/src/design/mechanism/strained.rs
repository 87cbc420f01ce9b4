//! The quick way for a layout that moves by straining members and bushes: Newton's method on the energy, on the stack.
//!
//! A radius arm touches nothing but chassis and axle, so its six coordinates are eliminated first: with `h` the arm's own second
//! derivatives, `b` those across to the axle and `g` its gradient, the arm follows the axle by `−h⁻¹(g + b·δ)`, and what is left
//! of energy is one of axle and cranks alone. That leaves a system of four unknowns, one per crank and one per rigid member.

use super::bodies::{HEAVE, Placed, ROLL};
use super::just_determined::{ROOM, free_coordinate};
use super::rows::Rows;
use super::settle::Settled;
use super::state::State;
use crate::geometry::Pose;
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::square::{Definite, Factored};
use crate::vehicle::Side;
use nalgebra::{Matrix6, Vector3, Vector6};

/// Newton steps before the slow way, which guards its steps, is asked; from a nearby state it takes three.
const STEPS: usize = 10;
/// A Newton step this small, m (angles at half the track), is the last: shorter than where members alone decide, because
/// second derivatives of energy are differences of stiffnesses 1e5 times as large.
const SETTLED_M: f64 = 1e-12;

/// Finds the equilibrium next to the guess; `None` where there is none, none that is stable, or where steps do not shrink.
pub(super) fn settle(rows: &Rows, guess: &[f64]) -> Option<Settled> {
    let (core, rigid) = (rows.bodies.core(), rows.rigid());
    // Where rigid members alone determine the coordinates another sign marks the branch: that is for the slow way.
    if core > ROOM || (rigid == core - 2 && rows.bushes.is_empty()) {
        return None;
    }
    match core - 2 + rigid {
        4 => newton::<4>(rows, guess),
        5 => newton::<5>(rows, guess),
        6 => newton::<6>(rows, guess),
        7 => newton::<7>(rows, guess),
        8 => newton::<8>(rows, guess),
        9 => newton::<9>(rows, guess),
        10 => newton::<10>(rows, guess),
        11 => newton::<11>(rows, guess),
        _ => None,
    }
}

/// `N` unknowns: the core's free coordinates, then the forces in rigid members.
fn newton<const N: usize>(rows: &Rows, guess: &[f64]) -> Option<Settled> {
    let mut q = guess.to_vec();
    let mut energy = Energy::new(rows);
    // Second derivatives need the forces in rigid members, which the first step tells.
    let mut knows_forces = rows.rigid() == 0;
    for _ in 0..STEPS {
        energy.expand(rows, &q)?;
        let system = System::<N>::new(rows, &energy)?;
        let step = system.step(&energy);
        let longest_m = step_in_place(rows, &energy, &step, &mut q);
        if !longest_m.is_finite() {
            return None;
        }
        energy.multipliers = system.multipliers(&step);
        if longest_m < SETTLED_M && knows_forces {
            let state = system.state(rows, &energy, &step, &q)?;
            return Some(Settled::new(rows, guess, &q, state));
        }
        knows_forces = true;
    }
    None
}

/// Moves core and arms by one step; its longest component, m (angles at half the track).
fn step_in_place<const N: usize>(rows: &Rows, energy: &Energy, step: &[f64; N], q: &mut [f64]) -> f64 {
    let core = rows.bodies.core();
    let mut moves = [0.0; ROOM];
    for (k, s) in step.iter().enumerate().take(core - 2) {
        moves[free_coordinate(k)] = *s;
    }
    let (mut longest_m, mut at) = (0.0_f64, 0);
    let mut shift = |by: &[f64]| {
        for move_by in by {
            q[at] += move_by;
            longest_m = longest_m.max((move_by * rows.bodies.size_m(at, rows.half_track_m)).abs());
            at += 1;
        }
    };
    shift(&moves[..core]);
    for arm in &energy.arms {
        shift(&arm.follow(&moves, 1.0));
    }
    // A maximum passes over what is not a number.
    if step.iter().all(|s| s.is_finite()) { longest_m } else { f64::INFINITY }
}

/// Energy to second order in the core's coordinates, arms following; beside it the rigid members.
struct Energy {
    value_j: f64,
    gradient: [f64; ROOM],
    hessian: [[f64; ROOM]; ROOM],
    arms: Vec<Arm>,
    /// Elongations of the rigid members (m), their gradients, and the forces in them (N) that the last step asked for.
    elongations: [f64; ROOM],
    slopes: [[f64; ROOM]; ROOM],
    multipliers: [f64; ROOM],
}

/// One radius arm.
#[derive(Clone, Default)]
struct Arm {
    gradient: Vector6<f64>,
    own: Matrix6<f64>,
    /// Arm (rows) and axle (columns).
    across: Matrix6<f64>,
    /// `h⁻¹·(b, g)`: less how it follows each coordinate of the axle, and less how it steps by itself.
    back: [[f64; COORDINATES + 1]; COORDINATES],
}

impl Arm {
    /// How it moves with the core, and by its own step where `own` is 1.
    fn follow(&self, core: &[f64; ROOM], own: f64) -> [f64; COORDINATES] {
        self.back.map(|row| -(0..COORDINATES).map(|k| row[k] * core[k]).sum::<f64>() - own * row[COORDINATES])
    }
}

impl Energy {
    fn new(rows: &Rows) -> Self {
        Self {
            value_j: 0.0,
            gradient: [0.0; ROOM],
            hessian: [[0.0; ROOM]; ROOM],
            arms: vec![Arm::default(); rows.bodies.arms.len()],
            elongations: [0.0; ROOM],
            slopes: [[0.0; ROOM]; ROOM],
            multipliers: [0.0; ROOM],
        }
    }

    /// Expands at `q`; `None` where an arm could not hold still although the axle does.
    fn expand(&mut self, rows: &Rows, q: &[f64]) -> Option<()> {
        (self.value_j, self.gradient, self.hessian) = (0.0, [0.0; ROOM], [[0.0; ROOM]; ROOM]);
        let placed = rows.bodies.place(q);
        self.add_members(rows, &placed);
        self.add_bushes(rows, &placed);
        for k in 0..self.arms.len() {
            self.eliminate(k)?;
        }
        Some(())
    }

    fn add_members(&mut self, rows: &Rows, placed: &Placed) {
        let core = rows.bodies.core();
        let mut slopes = [Vector3::zeros(); ROOM];
        for (row, member) in rows.members.iter().enumerate() {
            let mut gradient = [0.0; ROOM];
            let elongation_m = member.elongation(placed, &mut gradient);
            let force_n = match member.stiffness_n_per_m {
                None => {
                    (self.elongations[row], self.slopes[row]) = (elongation_m, gradient);
                    self.multipliers[row]
                }
                Some(stiffness_n_per_m) => {
                    let force_n = stiffness_n_per_m * elongation_m;
                    self.value_j += 0.5 * force_n * elongation_m;
                    for (k, slope) in gradient.iter().enumerate() {
                        self.gradient[k] += force_n * slope;
                        for (h, other) in self.hessian[k].iter_mut().zip(&gradient) {
                            *h += stiffness_n_per_m * slope * other;
                        }
                    }
                    force_n
                }
            };
            member.curvature(placed, force_n, &mut slopes[..core], |k, l, v| {
                self.hessian[k][l] += v;
                if k != l {
                    self.hessian[l][k] += v;
                }
            });
        }
    }

    fn add_bushes(&mut self, rows: &Rows, placed: &Placed) {
        for arm in &mut self.arms {
            (arm.gradient, arm.own, arm.across) = (Vector6::zeros(), Matrix6::zeros(), Matrix6::zeros());
        }
        let chassis = PlacedBody::new(&Pose::default(), rows.bodies.centre);
        for bush in &rows.bushes {
            let relative = rows.relative(bush, placed, &chassis);
            let strain = relative.strain(&bush.stiffness);
            self.value_j += strain.energy_j;
            let (gradient, own) = strain.by_other();
            let arm = &mut self.arms[bush.arm];
            arm.gradient += gradient;
            arm.own += own;
            if bush.carrier == Side::Axle {
                arm.across += strain.between().transpose();
                let (gradient, hessian) = strain.by_carrier();
                self.add_to_axle(&gradient, &hessian);
            }
        }
    }

    fn add_to_axle(&mut self, gradient: &Vector6<f64>, hessian: &Matrix6<f64>) {
        for k in 0..COORDINATES {
            self.gradient[k] += gradient[k];
            for l in 0..COORDINATES {
                self.hessian[k][l] += hessian[(k, l)];
            }
        }
    }

    fn eliminate(&mut self, k: usize) -> Option<()> {
        let arm = &mut self.arms[k];
        let own = std::array::from_fn(|i| std::array::from_fn(|j| arm.own[(i, j)]));
        let beside = std::array::from_fn(|i| {
            std::array::from_fn(|j| if j < COORDINATES { arm.across[(i, j)] } else { arm.gradient[i] })
        });
        arm.back = Definite::new(&own)?.solve(&beside);
        for (across, back) in beside.iter().zip(&arm.back) {
            for (k, slope) in across.iter().enumerate().take(COORDINATES) {
                self.gradient[k] -= slope * back[COORDINATES];
                for (h, b) in self.hessian[k].iter_mut().zip(&back[..COORDINATES]) {
                    *h -= slope * b;
                }
            }
        }
        Some(())
    }
}

/// `[H Cᵀ; C 0]` over the core's free coordinates and the rigid members.
struct System<const N: usize> {
    factored: Factored<N>,
    /// Free coordinates; the other unknowns are forces in rigid members, in units of `weight`.
    free: usize,
    weight: f64,
    stable: bool,
}

impl<const N: usize> System<N> {
    fn new(rows: &Rows, energy: &Energy) -> Option<Self> {
        let free = rows.bodies.core() - 2;
        let mut whole = [[0.0; N]; N];
        for (k, row) in whole.iter_mut().enumerate().take(free) {
            *row = std::array::from_fn(|l| {
                if l < free { energy.hessian[free_coordinate(k)][free_coordinate(l)] } else { 0.0 }
            });
        }
        // Rows of length about 1 beside stiffness of 1e7: weighted alike, pivots are chosen by what matters.
        let weight = (0..free).map(|k| whole[k][k].abs()).fold(f64::MIN_POSITIVE, f64::max);
        let stable = Self::is_stable(energy, &whole, free, weight);
        for (rigid, slopes) in energy.slopes.iter().enumerate().take(N - free) {
            for (k, slope) in (0..free).map(|k| (k, weight * slopes[free_coordinate(k)])) {
                (whole[free + rigid][k], whole[k][free + rigid]) = (slope, slope);
            }
        }
        Some(Self { factored: Factored::new(whole)?, free, weight, stable })
    }

    /// Whether energy rises in every direction that the rigid members leave: `H + w·CᵀC` is positive definite then, for a large
    /// `w`, just where `H` is on the null space of `C`.
    fn is_stable(energy: &Energy, hessian: &[[f64; N]; N], free: usize, weight: f64) -> bool {
        /// Large against the stiffness itself.
        const HEAVY: f64 = 1e4;
        let mut held = *hessian;
        for slopes in energy.slopes.iter().take(N - free) {
            for k in 0..free {
                for l in 0..free {
                    held[k][l] += HEAVY * weight * slopes[free_coordinate(k)] * slopes[free_coordinate(l)];
                }
            }
        }
        // What is no free coordinate shall not decide.
        held.iter_mut().enumerate().skip(free).for_each(|(k, row)| row[k] = 1.0);
        Definite::new(&held).is_some()
    }

    /// Newton's step: moves of the free coordinates, then the weighted forces in the rigid members.
    fn step(&self, energy: &Energy) -> [f64; N] {
        self.factored.solve(&std::array::from_fn(|k| match k.checked_sub(self.free) {
            None => -energy.gradient[free_coordinate(k)],
            Some(rigid) => -self.weight * energy.elongations[rigid],
        }))
    }

    /// Forces in the rigid members, N.
    fn multipliers(&self, solved: &[f64; N]) -> [f64; ROOM] {
        let mut all = [0.0; ROOM];
        for (m, s) in all.iter_mut().zip(&solved[self.free..]) {
            *m = self.weight * s;
        }
        all
    }

    /// `L_pu·u + c_pᵀ·μ` for an imposed coordinate `p`.
    fn pull(&self, energy: &Energy, imposed: usize, solved: &[f64; N]) -> f64 {
        let term = |(k, s): (usize, &f64)| match k.checked_sub(self.free) {
            None => energy.hessian[imposed][free_coordinate(k)] * s,
            Some(rigid) => energy.slopes[rigid][imposed] * self.weight * s,
        };
        solved.iter().enumerate().map(term).sum()
    }

    /// The state at `q`, one last `step` from where `energy` was expanded: gradients go along that step, second derivatives stay.
    fn state(&self, rows: &Rows, energy: &Energy, step: &[f64; N], q: &[f64]) -> Option<State> {
        if !self.stable {
            return None;
        }
        let solve = |imposed: usize| {
            self.factored.solve(&std::array::from_fn(|k| match k.checked_sub(self.free) {
                None => -energy.hessian[free_coordinate(k)][imposed],
                Some(rigid) => -self.weight * energy.slopes[rigid][imposed],
            }))
        };
        let solved = [solve(HEAVE), solve(ROLL)];
        let rates = |which: usize| {
            let imposed = [HEAVE, ROLL][which];
            let mut core = [0.0; ROOM];
            for (k, s) in solved[which].iter().enumerate().take(self.free) {
                core[free_coordinate(k)] = *s;
            }
            core[imposed] = 1.0;
            let mut all = core[..rows.bodies.core()].to_vec();
            for arm in &energy.arms {
                all.extend(arm.follow(&core, 0.0));
            }
            all
        };
        let mut state = Settled::unstrained(&rows.bodies, q, [&rates(0), &rates(1)], 1.0);
        let along = (0..self.free).map(|k| energy.gradient[free_coordinate(k)] * step[k]);
        state.strain_energy_j = energy.value_j + along.sum::<f64>();
        let force = |p: usize| energy.gradient[p] + self.pull(energy, p, step);
        (state.heave_force_n, state.roll_moment_nm) = (force(HEAVE), force(ROLL));
        let stiffness = |p: usize, which: usize| energy.hessian[p][p] + self.pull(energy, p, &solved[which]);
        state.heave_stiffness_n_per_m = stiffness(HEAVE, 0);
        state.roll_stiffness_nm_per_rad = stiffness(ROLL, 1);
        state.inner.multipliers = energy.multipliers[..N - self.free].to_vec();
        Some(state)
    }
}
