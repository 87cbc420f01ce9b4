//! The rows that hold an axle: a distance per link, six deflections per bush. Each gives its residual, its gradient and its
//! second derivatives over all coordinates.

use super::bodies::{Bodies, End, Placed};
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::relative::{PAIR, Relative, Stiffness};
use crate::geometry::{DMatrix, DVector, Matrix3, Pose, Vector3};
use crate::vehicle::{Bush, Side};

/// An element of the axle, counted from 0 in its list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Element {
    /// A link.
    Link(usize),
    /// A wishbone.
    Wishbone(usize),
    /// A Watts linkage.
    Watts(usize),
}

/// A two-force member: a link, a leg of a wishbone, a link of a Watts linkage.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Member {
    pub name: String,
    /// Its place in the file's order; rows stand in another.
    pub place: usize,
    pub part_of: Element,
    pub ends: [End; 2],
    /// Distance between joint centres, m.
    pub length_m: f64,
    /// Axial stiffness, N/m; none = rigid.
    pub stiffness_n_per_m: Option<f64>,
    /// What its joint kinds would give it, N/m.
    pub assumed_n_per_m: Option<f64>,
}

impl Member {
    /// Elongation (m), and its gradient added to `gradient`.
    pub fn elongation(&self, placed: &Placed, gradient: &mut [f64]) -> f64 {
        let [from, to] = &self.ends;
        let d = distance(&placed.position(from), &placed.position(to));
        placed.add_gradient(from, &-d.direction, gradient);
        placed.add_gradient(to, &d.direction, gradient);
        d.length_m - self.length_m
    }

    /// Calls `add(k, l, value)` with `weight ·` second derivatives of the elongation, each pair `k ≤ l` perhaps several times;
    /// `slopes` is room for one vector per coordinate of the core.
    pub fn curvature(
        &self,
        placed: &Placed,
        weight: f64,
        slopes: &mut [Vector3<f64>],
        mut add: impl FnMut(usize, usize, f64),
    ) {
        let [from, to] = &self.ends;
        let d = distance(&placed.position(from), &placed.position(to));
        let curve = d.curvature_per_m() * weight;
        let pull = d.direction * weight;
        slopes.fill(Vector3::zeros());
        placed.add_slopes(to, 1.0, slopes);
        placed.add_slopes(from, -1.0, slopes);
        for (k, one) in slopes.iter().enumerate() {
            let bent = curve * one;
            for (l, other) in slopes.iter().enumerate().skip(k) {
                add(k, l, bent.dot(other));
            }
        }
        placed.bends(to, &pull, &mut add);
        placed.bends(from, &-pull, &mut add);
    }
}

fn add_pair(into: &mut DMatrix<f64>, k: usize, l: usize, value: f64) {
    into[(k, l)] += value;
    if k != l {
        into[(l, k)] += value;
    }
}

/// A bush between a radius arm and the body that carries its bolt.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BushRows {
    pub name: String,
    pub carrier: Side,
    pub arm: usize,
    pub joint: Vector3<f64>,
    /// Rows = unit directions of the bolt frame (two across, one along).
    pub axes: Matrix3<f64>,
    /// Root of the stiffness along each of them, √(N/m).
    pub shift_weights: Vector3<f64>,
    /// Root of the stiffness about each of them, √(N·m/rad).
    pub turn_weights: Vector3<f64>,
    /// The same stiffness in the axes of the body that carries the bolt.
    pub stiffness: Stiffness,
}

/// Deflections of one bush, three along and three about the bolt frame's axes.
pub(super) const PER_BUSH: usize = 6;

impl BushRows {
    pub fn new(
        name: String,
        carrier: Side,
        arm: usize,
        joint: Vector3<f64>,
        bolt: &Vector3<f64>,
        bush: &Bush,
    ) -> Self {
        let across = bolt.cross(&Vector3::ith(bolt.iamin(), 1.0)).normalize();
        let axes = Matrix3::from_rows(&[
            across.transpose(),
            bolt.cross(&across).transpose(),
            bolt.normalize().transpose(),
        ]);
        let s = &bush.stiffness;
        let root = |across: f64, along: f64| Vector3::new(across.sqrt(), across.sqrt(), along.sqrt());
        let shift_weights = root(s.radial_n_per_m, s.axial_n_per_m);
        let turn_weights = root(s.conical_nm_per_rad, s.torsional_nm_per_rad);
        let form = |w: &Vector3<f64>| axes.tr_mul(&(Matrix3::from_diagonal(&w.component_mul(w)) * axes));
        let stiffness = Stiffness { shift: form(&shift_weights), turn: form(&turn_weights) };
        Self { name, carrier, arm, joint, axes, shift_weights, turn_weights, stiffness }
    }
}

/// Everything that holds one axle, rigid members first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rows {
    pub bodies: Bodies,
    pub members: Vec<Member>,
    pub bushes: Vec<BushRows>,
    pub half_track_m: f64,
}

impl Rows {
    /// How many members are rigid; they stand first.
    pub fn rigid(&self) -> usize {
        self.members.iter().take_while(|m| m.stiffness_n_per_m.is_none()).count()
    }

    /// Number of rows.
    pub fn count(&self) -> usize {
        self.members.len() + PER_BUSH * self.bushes.len()
    }

    /// The name of what a row belongs to.
    pub fn name(&self, row: usize) -> &str {
        match self.members.get(row) {
            Some(member) => &member.name,
            None => self.bushes.get((row - self.members.len()) / PER_BUSH).map_or("", |b| b.name.as_str()),
        }
    }

    /// Gives every rigid member with joint kinds the stiffness that these are assumed to have, keeps rigid members first
    /// (and `beside`, one entry per member, in step), and names the members that now flex.
    pub fn assume_stiffness<T>(&mut self, beside: &mut Vec<T>) -> Vec<String> {
        let mut flexing = Vec::new();
        for member in &mut self.members {
            if member.stiffness_n_per_m.is_none() && member.assumed_n_per_m.is_some() {
                member.stiffness_n_per_m = member.assumed_n_per_m;
                flexing.push(member.name.clone());
            }
        }
        let mut both: Vec<_> = self.members.drain(..).zip(beside.drain(..)).collect();
        both.sort_by_key(|(m, _)| m.stiffness_n_per_m.is_some());
        (self.members, *beside) = both.into_iter().unzip();
        flexing
    }

    /// Root of the stiffness behind a row, which makes a whitened strain a force; 0 for a rigid member.
    pub fn weight(&self, row: usize) -> f64 {
        if let Some(member) = self.members.get(row) {
            return member.stiffness_n_per_m.unwrap_or(0.0).sqrt();
        }
        let row = row - self.members.len();
        let weights = self.bushes.get(row / PER_BUSH).map(|b| [b.shift_weights, b.turn_weights]);
        weights.map_or(0.0, |w| w[row % PER_BUSH / 3][row % 3])
    }

    /// Whitened residuals (rigid members: m; all others √J) and their Jacobian over all coordinates `q`.
    pub fn evaluate(&self, q: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let placed = self.bodies.place(q);
        let n = q.len();
        let mut r = DVector::zeros(self.count());
        let mut j = DMatrix::zeros(self.count(), n);
        let mut gradient = vec![0.0; n];
        for (row, member) in self.members.iter().enumerate() {
            gradient.fill(0.0);
            let weight = member.stiffness_n_per_m.map_or(1.0, f64::sqrt);
            r[row] = weight * member.elongation(&placed, &mut gradient);
            for (k, g) in gradient.iter().enumerate() {
                j[(row, k)] = weight * g;
            }
        }
        let chassis = PlacedBody::new(&Pose::default(), self.bodies.centre);
        for (index, bush) in self.bushes.iter().enumerate() {
            let first = self.members.len() + PER_BUSH * index;
            let relative = self.relative(bush, &placed, &chassis);
            r.fixed_rows_mut::<3>(first).copy_from(&bush.shift_rows(&relative.shift));
            r.fixed_rows_mut::<3>(first + 3).copy_from(&bush.turn_rows(&relative.rotation));
            for (k, (shift, rotation)) in relative.gradients().iter().enumerate() {
                let Some(k) = self.coordinate(bush, k) else { continue };
                j.fixed_view_mut::<3, 1>(first, k).copy_from(&bush.shift_rows(shift));
                j.fixed_view_mut::<3, 1>(first + 3, k).copy_from(&bush.turn_rows(rotation));
            }
        }
        (r, j)
    }

    /// `Σ weightᵢ·∇²residualᵢ` over all coordinates `q`.
    pub fn curvature(&self, q: &[f64], weights: &DVector<f64>) -> DMatrix<f64> {
        let placed = self.bodies.place(q);
        let mut out = DMatrix::zeros(q.len(), q.len());
        let mut slopes = vec![Vector3::zeros(); self.bodies.core()];
        for (row, member) in self.members.iter().enumerate() {
            let weight = weights[row] * member.stiffness_n_per_m.map_or(1.0, f64::sqrt);
            member.curvature(&placed, weight, &mut slopes, |k, l, v| add_pair(&mut out, k, l, v));
        }
        let chassis = PlacedBody::new(&Pose::default(), self.bodies.centre);
        for (index, bush) in self.bushes.iter().enumerate() {
            let first = self.members.len() + PER_BUSH * index;
            let shift = bush.shift_weights.component_mul(&weights.fixed_rows::<3>(first));
            let turn = bush.turn_weights.component_mul(&weights.fixed_rows::<3>(first + 3));
            let relative = self.relative(bush, &placed, &chassis);
            relative.curvature(&bush.axes.tr_mul(&shift), &bush.axes.tr_mul(&turn), |k, l, v| {
                if let (Some(k), Some(l)) = (self.coordinate(bush, k), self.coordinate(bush, l)) {
                    add_pair(&mut out, k, l, v);
                }
            });
        }
        out
    }

    /// How the arm of a bush has moved against the body that carries the bolt.
    pub fn relative<'a>(&self, bush: &BushRows, placed: &'a Placed, chassis: &'a PlacedBody) -> Relative<'a> {
        let carrier = match bush.carrier {
            Side::Chassis => chassis,
            Side::Axle => &placed.axle,
        };
        Relative::new(carrier, &placed.arms[bush.arm], &bush.joint)
    }

    /// The mechanism's coordinate for one of a bush's [`PAIR`]; none for the chassis, which does not move.
    fn coordinate(&self, bush: &BushRows, of_pair: usize) -> Option<usize> {
        debug_assert!(of_pair < PAIR);
        match (of_pair.checked_sub(COORDINATES), bush.carrier) {
            (Some(k), _) => Some(self.bodies.arm_at(bush.arm) + k),
            (None, Side::Axle) => Some(of_pair),
            (None, Side::Chassis) => None,
        }
    }
}

impl BushRows {
    fn shift_rows(&self, shift: &Vector3<f64>) -> Vector3<f64> {
        (self.axes * shift).component_mul(&self.shift_weights)
    }

    fn turn_rows(&self, rotation: &Vector3<f64>) -> Vector3<f64> {
        (self.axes * rotation).component_mul(&self.turn_weights)
    }
}
