//! Axial forces in two-force members for forces that act on the axle, from equilibrium on the free coordinates.

use super::Mechanism;
use super::bodies::{HEAVE, ROLL};
use super::settle::Linearised;
use super::state::State;
use crate::geometry::least_squares::Saddle;
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, Pose, Vector3};

/// Coordinates before the angles.
const TRANSLATIONS: usize = 3;

/// A force on the axle, and a moment beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AppliedForce {
    /// Where it acts, m, in the chassis frame.
    pub at: Vector3<f64>,
    /// N, in the chassis frame.
    pub force_n: Vector3<f64>,
    /// N·m, in the chassis frame.
    pub moment_nm: Vector3<f64>,
}

/// What holds the axle against forces.
#[derive(Debug, Clone, PartialEq)]
pub struct Reactions {
    /// Axial force in each member, tension +, N, in the order of [`Mechanism::members`]; where the layout binds, what the
    /// state itself puts into the member is in it.
    pub members_n: Vec<f64>,
    /// Force of the applied ones left on heave, which the springs carry, N.
    pub heave_n: f64,
    /// Moment of the applied forces left on roll, which the springs carry, N·m.
    pub roll_nm: f64,
}

/// First order of what forces do: movements of the free coordinates and forces added to rigid members.
struct Yielded {
    l: Linearised,
    moved: DMatrix<f64>,
    added: DMatrix<f64>,
}

impl Mechanism {
    /// Reactions to forces at a state: virtual work on the free coordinates gives the forces in the members, what is left on
    /// heave and roll is for the springs. Where the layout is redundant, members and bushes share the load by their stiffness
    /// (to first order in what they deflect under it). `None` if the state is singular.
    pub fn reactions(&self, state: &State, applied: &[AppliedForce]) -> Option<Reactions> {
        let work = self.virtual_work(state, applied);
        let Yielded { l, moved, added } = self.yielded(state, &work, &[])?;
        let free = self.rows.bodies.free();
        let rigid = self.rows.rigid();
        let elongated = l.jacobian.rows_range(rigid..).select_columns(free.iter()) * &moved;
        let force_n = |row: usize| match row.checked_sub(rigid) {
            None => l.weights[row] + added[row],
            // Whitened strain is √k·elongation; √k more makes it a force.
            Some(elastic) => self.rows.weight(row) * (l.weights[row] + elongated[elastic]),
        };
        let members_n = self.order.iter().map(|&row| force_n(row)).collect();
        let held = l.up.tr_mul(&moved) + l.c_p.tr_mul(&added);
        Some(Reactions { members_n, heave_n: work[HEAVE] - held[0], roll_nm: work[ROLL] - held[1] })
    }

    /// Where the axle goes from a state when forces act on it and its members are longer by `longer_m` (in the order of
    /// [`Mechanism::members`]) than they were, heave and roll kept: to first order in what it moves. `None` if the state is
    /// singular.
    pub fn deflected(&self, state: &State, applied: &[AppliedForce], longer_m: &[f64]) -> Option<Pose> {
        let Yielded { moved, .. } = self.yielded(state, &self.virtual_work(state, applied), longer_m)?;
        let mut q = state.pose.to_array();
        for (coordinate, by) in self.rows.bodies.free().into_iter().zip(moved.iter()) {
            if let Some(it) = q.get_mut(coordinate) {
                *it += by;
            }
        }
        Some(Pose::from_array(q))
    }

    /// First order of what work on the axle's coordinates and longer members do to the free coordinates.
    fn yielded(&self, state: &State, work: &[f64; COORDINATES], longer_m: &[f64]) -> Option<Yielded> {
        let mut q = vec![0.0; self.rows.bodies.coordinates()];
        state.predicted(state.pose.z_m, state.pose.roll_rad, &mut q);
        let l = Linearised::new(&self.rows, &q, &state.inner.multipliers);
        let free = self.rows.bodies.free();
        let mut above = DMatrix::from_fn(free.len(), 1, |k, _| work.get(free[k]).copied().unwrap_or(0.0));
        let rigid = self.rows.rigid();
        let mut longer = DMatrix::zeros(rigid, 1);
        for (&row, &by_m) in self.order.iter().zip(longer_m) {
            if row < rigid {
                longer[row] = by_m;
            } else {
                // A longer spring pushes as one that is strained by as much.
                let pushes = l.jacobian.row(row).select_columns(free.iter()).transpose();
                above += pushes * (self.rows.weight(row) * by_m);
            }
        }
        let (moved, added) = Saddle::new(&l.uu, &l.c_u)?.solve(&above, &longer)?;
        Some(Yielded { l, moved, added })
    }

    /// Work of the forces per unit of each coordinate of the axle.
    fn virtual_work(&self, state: &State, applied: &[AppliedForce]) -> [f64; COORDINATES] {
        let body = PlacedBody::new(&state.pose, self.rows.bodies.centre);
        let mut work = [0.0; COORDINATES];
        for force in applied {
            let along = body.gradient_along(&(force.at - body.moved_centre()), &force.force_n);
            work.iter_mut().zip(along).for_each(|(w, a)| *w += a);
            let turned = body.turns().iter().map(|turn| turn.dot(&force.moment_nm));
            work.iter_mut().skip(TRANSLATIONS).zip(turned).for_each(|(w, t)| *w += t);
        }
        work
    }
}
