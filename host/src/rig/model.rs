//! Sensor models `h(q)`: what each scalar sensor reads at a pose, with derivatives. The model that measures is the model
//! that simulates.

use super::{AngleSensor, DrawWire, Kind, RangeFinder};
use crate::geometry::Vector3;
use crate::geometry::distance::distance;
use crate::geometry::placed::PlacedBody;
use nalgebra::SVector;

/// Derivative of a reading by the six coordinates of the pose.
pub type PoseGradient = SVector<f64, 6>;

/// Where a scalar sensor's parts are: what a builder clips, and may clip a little off.
#[derive(Debug, Clone, PartialEq)]
pub struct Ends {
    /// Its end on the chassis, m.
    pub chassis: Vector3<f64>,
    /// Its end on the axle, m.
    pub axle: Vector3<f64>,
}

/// A scalar sensor's geometry apart from its ends.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// Distance between the ends.
    Wire,
    /// Angle of the line between the ends, seen along an axis fixed to the chassis.
    Angle {
        /// Unit axis on the chassis.
        axis: Vector3<f64>,
        /// Unit vector at angle zero (normal to the axis).
        zero: Vector3<f64>,
    },
    /// Distance from the chassis end along a ray to the plane through the axle end.
    Range {
        /// Unit direction of the ray on the chassis.
        direction: Vector3<f64>,
        /// Unit normal of the plane on the axle.
        normal: Vector3<f64>,
    },
}

/// The model of one scalar sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// Its ends.
    pub ends: Ends,
    /// The rest of its geometry.
    pub shape: Shape,
}

impl Model {
    /// The model of a sensor that reads a scalar of the pose; `None` for inertial units and force sensors.
    pub fn of(kind: &Kind) -> Option<Model> {
        match kind {
            Kind::DrawWire(DrawWire { chassis, axle, .. }) => {
                Some(Model { ends: Ends { chassis: *chassis, axle: *axle }, shape: Shape::Wire })
            }
            Kind::Angle(AngleSensor { pivot, axle, axis, .. }) => {
                let span = axle - pivot;
                let flat = span - axis * axis.dot(&span);
                let shape = Shape::Angle { axis: *axis, zero: flat.normalize() };
                Some(Model { ends: Ends { chassis: *pivot, axle: *axle }, shape })
            }
            Kind::Range(RangeFinder { chassis, direction, plane_point, plane_normal, .. }) => {
                let shape = Shape::Range { direction: *direction, normal: *plane_normal };
                Some(Model { ends: Ends { chassis: *chassis, axle: *plane_point }, shape })
            }
            Kind::Inertial(_) | Kind::Force(_) => None,
        }
    }

    /// The reading, SI: wire and range m; angle rad, zero at ride height.
    pub fn value(&self, body: &PlacedBody) -> f64 {
        let end = body.position(&self.ends.axle);
        match &self.shape {
            Shape::Wire => distance(&self.ends.chassis, &end).length_m,
            Shape::Angle { axis, zero } => {
                let span = end - self.ends.chassis;
                axis.cross(zero).dot(&span).atan2(zero.dot(&span))
            }
            Shape::Range { direction, normal } => {
                let n = body.rotation() * normal;
                n.dot(&(end - self.ends.chassis)) / n.dot(direction)
            }
        }
    }

    /// The reading and its derivative by the pose.
    pub fn value_and_gradient(&self, body: &PlacedBody) -> (f64, PoseGradient) {
        let end = body.position(&self.ends.axle);
        let j = body.jacobian(&self.ends.axle);
        match &self.shape {
            Shape::Wire => {
                let d = distance(&self.ends.chassis, &end);
                (d.length_m, j.tr_mul(&d.direction))
            }
            Shape::Angle { axis, zero } => {
                let span = end - self.ends.chassis;
                let side = axis.cross(zero);
                let (s, c) = (side.dot(&span), zero.dot(&span));
                (s.atan2(c), j.tr_mul(&((side * c - zero * s) / (s * s + c * c))))
            }
            Shape::Range { direction, normal } => {
                let n = body.rotation() * normal;
                let jn = body.direction_jacobian(normal);
                let span = end - self.ends.chassis;
                let across = n.dot(direction);
                let value = n.dot(&span) / across;
                (value, (j.tr_mul(&n) + jn.tr_mul(&span) - jn.tr_mul(direction) * value) / across)
            }
        }
    }

    /// Derivative of the reading by the chassis end and by the axle end (body coordinates), per m.
    pub fn end_gradients(&self, body: &PlacedBody) -> [Vector3<f64>; 2] {
        let end = body.position(&self.ends.axle);
        let by_span = match &self.shape {
            Shape::Wire => distance(&self.ends.chassis, &end).direction,
            Shape::Angle { axis, zero } => {
                let span = end - self.ends.chassis;
                let side = axis.cross(zero);
                let (s, c) = (side.dot(&span), zero.dot(&span));
                (side * c - zero * s) / (s * s + c * c)
            }
            Shape::Range { direction, normal } => {
                let n = body.rotation() * normal;
                n / n.dot(direction)
            }
        };
        [-by_span, body.rotation().tr_mul(&by_span)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::pose::Pose;
    use proptest::prelude::*;

    /// Central differences with a step of 1e-6 on readings of order one.
    const FINITE_DIFFERENCE: f64 = 2e-8;

    fn models() -> Vec<Model> {
        let ends = Ends { chassis: Vector3::new(0.4, 0.3, 0.9), axle: Vector3::new(0.05, 0.55, 0.5) };
        let axis = Vector3::new(0.1, 1.0, 0.05).normalize();
        let span: Vector3<f64> = ends.axle - ends.chassis;
        let zero = (span - axis * axis.dot(&span)).normalize();
        vec![
            Model { ends: ends.clone(), shape: Shape::Wire },
            Model { ends: ends.clone(), shape: Shape::Angle { axis, zero } },
            Model {
                ends,
                shape: Shape::Range {
                    direction: Vector3::new(0.0, 0.1, -1.0).normalize(),
                    normal: Vector3::new(0.05, 0.0, 1.0).normalize(),
                },
            },
        ]
    }

    proptest! {
        #[test]
        fn gradients_match_differences(q in prop::array::uniform6(-0.25..0.25f64)) {
            let centre = Vector3::new(0.0, 0.0, 0.46);
            let at = |q: [f64; 6]| PlacedBody::new(&Pose::from_array(q), centre);
            for model in models() {
                let (value, gradient) = model.value_and_gradient(&at(q));
                prop_assert_eq!(value, model.value(&at(q)));
                for k in 0..6 {
                    let (mut up, mut down) = (q, q);
                    up[k] += 1e-6;
                    down[k] -= 1e-6;
                    let difference = (model.value(&at(up)) - model.value(&at(down))) / 2e-6;
                    prop_assert!((difference - gradient[k]).abs() < FINITE_DIFFERENCE);
                }
                let ends = model.end_gradients(&at(q));
                for k in 0..3 {
                    let shifted = |sign: f64, chassis: bool| {
                        let mut m = model.clone();
                        let end = if chassis { &mut m.ends.chassis } else { &mut m.ends.axle };
                        end[k] += sign * 1e-6;
                        m.value(&at(q))
                    };
                    for (end, chassis) in [(0, true), (1, false)] {
                        let difference = (shifted(1.0, chassis) - shifted(-1.0, chassis)) / 2e-6;
                        prop_assert!((difference - ends[end][k]).abs() < FINITE_DIFFERENCE);
                    }
                }
            }
        }
    }
}
