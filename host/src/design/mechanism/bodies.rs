//! The moving bodies of one axle's mechanism and their coordinates: the axle (six), each radius arm (six), each Watts crank
//! (one angle).

use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::{COORDINATES, Pose};
use crate::geometry::{Matrix3, Vector3};
use crate::vehicle::Side;
use nalgebra::{Rotation3, Unit};

/// Where heave and roll stand among the coordinates: these two are imposed, all others are free.
pub(super) const HEAVE: usize = 2;
/// See [`HEAVE`].
pub(super) const ROLL: usize = 3;

/// The body that carries one end of a link.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Carrier {
    Chassis,
    Axle,
    /// A Watts crank, counted from 0.
    Crank(usize),
}

/// One end of a link: a point (m, floor coordinates at ride height) on a body.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct End {
    pub carrier: Carrier,
    pub point: Vector3<f64>,
}

/// A Watts crank: it turns about `axis` through `pivot` of the body that carries it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Crank {
    pub on: Side,
    pub pivot: Vector3<f64>,
    pub axis: Unit<Vector3<f64>>,
}

/// All bodies. Coordinates are ordered: axle, cranks, arms. Axle and cranks are the *core*: two-force members join no others.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Bodies {
    /// Axle centre at ride height, m.
    pub centre: Vector3<f64>,
    /// Reference point of each radius arm, m.
    pub arms: Vec<Vector3<f64>>,
    pub cranks: Vec<Crank>,
}

impl Bodies {
    /// Number of coordinates.
    pub fn coordinates(&self) -> usize {
        self.arm_at(self.arms.len())
    }

    /// How many of them, from the first, are those of axle and cranks.
    pub fn core(&self) -> usize {
        self.arm_at(0)
    }

    /// First coordinate of an arm.
    pub fn arm_at(&self, arm: usize) -> usize {
        COORDINATES * (1 + arm) + self.cranks.len()
    }

    /// Coordinate of a crank.
    pub fn crank_at(&self, crank: usize) -> usize {
        COORDINATES + crank
    }

    /// Every coordinate but heave and roll.
    pub fn free(&self) -> Vec<usize> {
        (0..self.coordinates()).filter(|&k| k != HEAVE && k != ROLL).collect()
    }

    /// How many metres one unit of a coordinate is worth: 1 for a translation, half the track for an angle.
    pub fn size_m(&self, coordinate: usize, half_track_m: f64) -> f64 {
        let of_body = match coordinate.checked_sub(self.core()) {
            Some(of_arms) => of_arms % COORDINATES,
            None => coordinate,
        };
        if of_body >= 3 { half_track_m } else { 1.0 }
    }

    /// The bodies at the coordinates `q`.
    pub fn place(&self, q: &[f64]) -> Placed<'_> {
        let pose = |from: usize| Pose::from_array(std::array::from_fn(|k| q[from + k]));
        let arms = self.arms.iter().enumerate();
        let cranks = self.cranks.iter().enumerate();
        Placed {
            bodies: self,
            axle: PlacedBody::new(&pose(0), self.centre),
            arms: arms.map(|(k, centre)| PlacedBody::new(&pose(self.arm_at(k)), *centre)).collect(),
            cranks: cranks
                .map(|(k, crank)| *Rotation3::from_axis_angle(&crank.axis, q[self.crank_at(k)]).matrix())
                .collect(),
        }
    }
}

/// The bodies where some coordinates put them.
pub(super) struct Placed<'a> {
    bodies: &'a Bodies,
    pub axle: PlacedBody,
    pub arms: Vec<PlacedBody>,
    cranks: Vec<Matrix3<f64>>,
}

/// A point of a crank in the coordinates of the body that carries the crank, with its derivatives by the crank's angle.
struct OnCrank {
    point: Vector3<f64>,
    slope: Vector3<f64>,
    bend: Vector3<f64>,
}

impl Placed<'_> {
    fn on_crank(&self, crank: usize, end: &Vector3<f64>) -> OnCrank {
        let Crank { pivot, axis, .. } = &self.bodies.cranks[crank];
        let arm = self.cranks[crank] * (end - pivot);
        let slope = axis.cross(&arm);
        OnCrank { point: pivot + arm, slope, bend: axis.cross(&slope) }
    }

    /// Where an end is, m in the chassis frame.
    pub fn position(&self, end: &End) -> Vector3<f64> {
        match end.carrier {
            Carrier::Chassis => end.point,
            Carrier::Axle => self.axle.position(&end.point),
            Carrier::Crank(k) => {
                let at = self.on_crank(k, &end.point);
                match self.bodies.cranks[k].on {
                    Side::Chassis => at.point,
                    Side::Axle => self.axle.position(&at.point),
                }
            }
        }
    }

    /// Adds the derivative of `direction · position(end)` by every coordinate.
    pub fn add_gradient(&self, end: &End, direction: &Vector3<f64>, gradient: &mut [f64]) {
        let on_axle = |point: &Vector3<f64>, gradient: &mut [f64]| {
            let along = self.axle.gradient_along(&self.axle.arm(point), direction);
            gradient.iter_mut().zip(along).for_each(|(g, a)| *g += a);
        };
        match end.carrier {
            Carrier::Chassis => {}
            Carrier::Axle => on_axle(&end.point, gradient),
            Carrier::Crank(k) => {
                let at = self.on_crank(k, &end.point);
                let angle = self.bodies.crank_at(k);
                match self.bodies.cranks[k].on {
                    Side::Chassis => gradient[angle] += direction.dot(&at.slope),
                    Side::Axle => {
                        gradient[angle] += direction.dot(&(self.axle.rotation() * at.slope));
                        on_axle(&at.point, gradient);
                    }
                }
            }
        }
    }

    /// Adds `sign ·` the derivative of an end's position by every coordinate of the core.
    pub fn add_slopes(&self, end: &End, sign: f64, slopes: &mut [Vector3<f64>]) {
        let on_axle = |point: &Vector3<f64>, slopes: &mut [Vector3<f64>]| {
            let j = self.axle.jacobian(point);
            slopes.iter_mut().zip(j.column_iter()).for_each(|(s, column)| *s += column * sign);
        };
        match end.carrier {
            Carrier::Chassis => {}
            Carrier::Axle => on_axle(&end.point, slopes),
            Carrier::Crank(k) => {
                let at = self.on_crank(k, &end.point);
                let angle = self.bodies.crank_at(k);
                match self.bodies.cranks[k].on {
                    Side::Chassis => slopes[angle] += at.slope * sign,
                    Side::Axle => {
                        slopes[angle] += self.axle.rotation() * at.slope * sign;
                        on_axle(&at.point, slopes);
                    }
                }
            }
        }
    }

    /// Calls `add(k, l, value)` with the second derivatives of `direction · position(end)`, each pair `k ≤ l` once.
    pub fn bends(&self, end: &End, direction: &Vector3<f64>, mut add: impl FnMut(usize, usize, f64)) {
        let axle = &self.axle;
        let on_axle = |point: &Vector3<f64>, add: &mut dyn FnMut(usize, usize, f64)| {
            let arm = axle.arm(point);
            for k in 0..3 {
                for l in k..3 {
                    add(3 + k, 3 + l, direction.dot(&axle.bend(&arm, k, l)));
                }
            }
        };
        match end.carrier {
            Carrier::Chassis => {}
            Carrier::Axle => on_axle(&end.point, &mut add),
            Carrier::Crank(k) => {
                let at = self.on_crank(k, &end.point);
                let angle = self.bodies.crank_at(k);
                match self.bodies.cranks[k].on {
                    Side::Chassis => add(angle, angle, direction.dot(&at.bend)),
                    Side::Axle => {
                        add(angle, angle, direction.dot(&(axle.rotation() * at.bend)));
                        let slope = axle.rotation() * at.slope;
                        for (l, turn) in axle.turns().iter().enumerate() {
                            add(3 + l, angle, direction.dot(&turn.cross(&slope)));
                        }
                        on_axle(&at.point, &mut add);
                    }
                }
            }
        }
    }
}
