//! How far segments and circles stay from boxes, and from each other; how deep they stand in a box.
//!
//! The signed distance of a point to a box is convex, so its least value over a segment has a closed form. Over a circle it
//! may have several valleys: arcs are halved until what is left cannot lie lower than the least value found by more than
//! [`RING_TOLERANCE_M`].

use nalgebra::Vector3;

/// A circle's distance is known to this, m: far below what a tape shows.
pub const RING_TOLERANCE_M: f64 = 1e-6;

/// A box along the axes of its frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cuboid {
    /// Corner with the least coordinates, m.
    pub min: Vector3<f64>,
    /// Corner with the greatest coordinates, m.
    pub max: Vector3<f64>,
}

/// A circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    /// Its centre, m.
    pub centre: Vector3<f64>,
    /// Unit normal of its plane.
    pub axis: Vector3<f64>,
    /// m
    pub radius_m: f64,
}

/// A straight line from one end to the other, m.
pub type Segment = [Vector3<f64>; 2];

/// A distance below this counts as touching, m: far above rounding at a vehicle's size, far below any tape.
const TOUCHES_M: f64 = 1e-12;

impl Cuboid {
    /// Distance of a point from the box, m; inside it is negative: the way to the nearest face.
    pub fn distance_m(&self, p: &Vector3<f64>) -> f64 {
        let beyond = self.beyond(p);
        let outside = beyond.map(|b| b.max(0.0)).norm();
        if outside > 0.0 { outside } else { beyond.max() }
    }

    /// How far a point is beyond the box along each axis, negative within.
    fn beyond(&self, p: &Vector3<f64>) -> Vector3<f64> {
        (self.min - p).sup(&(p - self.max))
    }

    /// The box that `shift` would carry the point into wherever a part of it does: the sum of the box and the way of `−shift`.
    fn swept_back(&self, shift: &Vector3<f64>) -> Self {
        let zero = Vector3::zeros();
        Self { min: self.min - shift.sup(&zero), max: self.max - shift.inf(&zero) }
    }

    /// Least distance of a segment's points from the box, m; negative where it enters: how deep its deepest point stands.
    pub fn to_segment_m(&self, segment: &Segment) -> f64 {
        let outside = self.distance_m(&along(segment, self.nearest(segment)));
        // Rounding may leave the nearest point of a segment that enters a hair outside.
        if outside > TOUCHES_M { outside } else { self.deepest(segment).min(outside) }
    }

    /// Where on a segment (0 to 1) its distance from the box is least: the root of the slope of half the squared distance,
    /// which grows piecewise linearly with kinks where the segment passes a face's plane.
    fn nearest(&self, segment: &Segment) -> f64 {
        let way = segment[1] - segment[0];
        let slope = |t: f64| {
            let p = along(segment, t);
            way.dot(&(p - p.sup(&self.min).inf(&self.max)))
        };
        let mut kinks = [1.0; 7];
        for k in 0..3 {
            for (face, of) in [self.min, self.max].into_iter().enumerate() {
                let t = (of[k] - segment[0][k]) / way[k];
                if t > 0.0 && t < 1.0 {
                    kinks[2 * k + face] = t;
                }
            }
        }
        kinks.sort_unstable_by(f64::total_cmp);
        let (mut from, mut below) = (0.0, slope(0.0));
        if below >= 0.0 {
            return 0.0;
        }
        for to in kinks {
            let above = slope(to);
            if above >= 0.0 {
                return from + (to - from) * below / (below - above);
            }
            (from, below) = (to, above);
        }
        1.0
    }

    /// Depth of the deepest point of a segment that meets the box, m, negative. The depth is the greatest of six linear
    /// functions: it is least at an end, or where two of them cross.
    fn deepest(&self, segment: &Segment) -> f64 {
        let way = segment[1] - segment[0];
        let lines: [(f64, f64); 6] = std::array::from_fn(|face| match face {
            0..3 => (self.min[face] - segment[0][face], -way[face]),
            _ => (segment[0][face - 3] - self.max[face - 3], way[face - 3]),
        });
        let depth = |t: f64| lines.iter().map(|(at, per)| at + per * t).fold(f64::NEG_INFINITY, f64::max);
        let mut least = depth(0.0).min(depth(1.0));
        for (k, (a, per_a)) in lines.iter().enumerate() {
            for (b, per_b) in lines.iter().skip(k + 1) {
                let t = (b - a) / (per_a - per_b);
                if t > 0.0 && t < 1.0 {
                    least = least.min(depth(t));
                }
            }
        }
        least
    }

    /// Least distance of a circle's points from the box, m, to [`RING_TOLERANCE_M`] above the true one; negative where it
    /// enters.
    pub fn to_ring_m(&self, ring: &Ring) -> f64 {
        ring.least_m(|p| self.distance_m(p), |chord, bulge| self.swept_back(bulge).to_segment_m(chord))
    }
}

impl Ring {
    /// Least distance of a circle's points from a segment, m, to [`RING_TOLERANCE_M`] above the true one.
    pub fn to_segment_m(&self, segment: &Segment) -> f64 {
        self.least_m(
            |p| between_segments_m(&[*p, *p], segment),
            |chord, bulge| between_segments_m(chord, segment) - bulge.norm(),
        )
    }

    /// The least of `of` over the circle. `below` bounds it over an arc from its chord and the way from the chord's middle to
    /// the arc's: every point of the arc is a point of the chord carried along a part of that way.
    fn least_m(
        &self,
        of: impl Fn(&Vector3<f64>) -> f64,
        below: impl Fn(&Segment, &Vector3<f64>) -> f64,
    ) -> f64 {
        /// Arcs that the search starts from.
        const ARCS: usize = 8;
        let across = if self.axis.x.abs() < 0.6 { Vector3::x() } else { Vector3::y() };
        let first = self.axis.cross(&across).normalize();
        let second = self.axis.cross(&first);
        let out = |angle: f64| first * angle.cos() + second * angle.sin();
        let at = |angle: f64| self.centre + out(angle) * self.radius_m;
        let half = std::f64::consts::PI / ARCS as f64;
        let mut least = f64::INFINITY;
        // Lower bound, middle and half of each arc that may still hold the least value; the most promising goes first.
        let mut open: Vec<[f64; 3]> = Vec::with_capacity(4 * ARCS);
        let look = |middle: f64, half: f64, least: &mut f64, open: &mut Vec<[f64; 3]>| {
            *least = least.min(of(&at(middle)));
            let chord = [at(middle - half), at(middle + half)];
            let bulge = out(middle) * (self.radius_m * (1.0 - half.cos()));
            open.push([below(&chord, &bulge), middle, half]);
        };
        for k in 0..ARCS {
            look(half * (2 * k) as f64, half, &mut least, &mut open);
        }
        while let Some(next) = (0..open.len()).min_by(|&a, &b| open[a][0].total_cmp(&open[b][0])) {
            let [lowest, middle, half] = open.swap_remove(next);
            if lowest >= least - RING_TOLERANCE_M || lowest.is_nan() {
                break;
            }
            look(middle - 0.5 * half, 0.5 * half, &mut least, &mut open);
            look(middle + 0.5 * half, 0.5 * half, &mut least, &mut open);
        }
        least
    }
}

fn along(segment: &Segment, t: f64) -> Vector3<f64> {
    segment[0] + (segment[1] - segment[0]) * t
}

/// Least distance between two segments, m; either may be a point. It lies at an end of one of them, or where both are nearest
/// as endless lines (common textbook geometry).
pub fn between_segments_m(one: &Segment, other: &Segment) -> f64 {
    let to_point = |segment: &Segment, p: &Vector3<f64>| {
        let way = segment[1] - segment[0];
        let length_squared = way.norm_squared();
        let t = if length_squared > 0.0 {
            (way.dot(&(p - segment[0])) / length_squared).clamp(0.0, 1.0)
        } else {
            0.0
        };
        (along(segment, t) - p).norm()
    };
    let at_ends = other.iter().map(|p| to_point(one, p)).chain(one.iter().map(|p| to_point(other, p)));
    let mut least = at_ends.fold(f64::INFINITY, f64::min);
    let (u, v, w) = (one[1] - one[0], other[1] - other[0], one[0] - other[0]);
    let (uu, uv, vv) = (u.dot(&u), u.dot(&v), v.dot(&v));
    let determinant = uu * vv - uv * uv;
    if determinant > 0.0 {
        let (uw, vw) = (u.dot(&w), v.dot(&w));
        let (s, t) = ((uv * vw - vv * uw) / determinant, (uu * vw - uv * uw) / determinant);
        if (0.0..=1.0).contains(&s) && (0.0..=1.0).contains(&t) {
            least = least.min((along(one, s) - along(other, t)).norm());
        }
    }
    least
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Closed forms differ from themselves by rounding only.
    const ROUNDING_M: f64 = 1e-12;

    fn point() -> impl Strategy<Value = Vector3<f64>> {
        prop::array::uniform3(-1.0..1.0f64).prop_map(Vector3::from)
    }

    fn cuboid() -> impl Strategy<Value = Cuboid> {
        (point(), prop::array::uniform3(0.05..0.8f64))
            .prop_map(|(min, size)| Cuboid { min, max: min + Vector3::from(size) })
    }

    fn ring() -> impl Strategy<Value = Ring> {
        (point(), point(), 0.1..0.6f64).prop_filter_map("an axis", |(centre, axis, radius_m)| {
            Some(Ring { centre, axis: axis.try_normalize(0.1)?, radius_m })
        })
    }

    /// The least of `of` over `count` points of a path.
    fn sampled(count: usize, of: impl Fn(f64) -> f64) -> f64 {
        (0..=count).map(|k| of(k as f64 / count as f64)).fold(f64::INFINITY, f64::min)
    }

    /// A way round a circle that shares nothing with [`Ring::least_m`]: a rotation of a point.
    fn round(ring: &Ring, t: f64) -> Vector3<f64> {
        let axis = nalgebra::Unit::new_normalize(ring.axis);
        let start = ring.axis.cross(&Vector3::new(0.31, -0.47, 0.83)).normalize() * ring.radius_m;
        ring.centre + nalgebra::Rotation3::from_axis_angle(&axis, std::f64::consts::TAU * t) * start
    }

    proptest! {
        #[test]
        fn a_point_is_as_far_as_its_nearest_point_of_the_box(b in cuboid(), p in point()) {
            let nearest = p.sup(&b.min).inf(&b.max);
            let d = b.distance_m(&p);
            if d > 0.0 {
                prop_assert!(((p - nearest).norm() - d).abs() < ROUNDING_M);
            } else {
                // Moved by its depth towards some face it stands on that face, and by less on none.
                let ways = (p - b.min).inf(&(b.max - p));
                prop_assert!((ways.min() + d).abs() < ROUNDING_M);
            }
        }

        #[test]
        fn segments_against_brute_force(b in cuboid(), a in point(), c in point()) {
            const SAMPLES: usize = 4000;
            let segment = [a, c];
            let exact = b.to_segment_m(&segment);
            let brute = sampled(SAMPLES, |t| b.distance_m(&along(&segment, t)));
            // The signed distance changes by no more than the way between two samples.
            let coarse = (c - a).norm() / SAMPLES as f64;
            prop_assert!(exact <= brute + ROUNDING_M && exact > brute - coarse, "{exact} {brute}");
        }

        #[test]
        fn rings_against_brute_force(b in cuboid(), ring in ring()) {
            const SAMPLES: usize = 20_000;
            let found = b.to_ring_m(&ring);
            let brute = sampled(SAMPLES, |t| b.distance_m(&round(&ring, t)));
            let coarse = std::f64::consts::PI * ring.radius_m / SAMPLES as f64;
            prop_assert!(found <= brute + RING_TOLERANCE_M && found > brute - coarse - ROUNDING_M, "{found} {brute}");
        }

        #[test]
        fn segments_and_rings_against_brute_force(ring in ring(), a in point(), c in point()) {
            const SAMPLES: usize = 20_000;
            let segment = [a, c];
            let found = ring.to_segment_m(&segment);
            let way = c - a;
            let brute = sampled(SAMPLES, |t| {
                let p = round(&ring, t);
                let s = (way.dot(&(p - a)) / way.norm_squared()).clamp(0.0, 1.0);
                (along(&segment, s) - p).norm()
            });
            let coarse = std::f64::consts::PI * ring.radius_m / SAMPLES as f64;
            prop_assert!(found <= brute + RING_TOLERANCE_M && found > brute - coarse - ROUNDING_M, "{found} {brute}");
        }

        #[test]
        fn two_segments_against_brute_force(p in prop::array::uniform4(point())) {
            const SAMPLES: usize = 400;
            let (one, other) = ([p[0], p[1]], [p[2], p[3]]);
            let exact = between_segments_m(&one, &other);
            let brute = sampled(SAMPLES, |s| {
                sampled(SAMPLES, |t| (along(&one, s) - along(&other, t)).norm())
            });
            let coarse = ((p[1] - p[0]).norm() + (p[3] - p[2]).norm()) / SAMPLES as f64;
            prop_assert!(exact <= brute + ROUNDING_M && exact > brute - coarse);
        }
    }

    #[test]
    fn plane_geometry() {
        let cube = Cuboid { min: Vector3::new(0.0, 0.0, 0.0), max: Vector3::new(1.0, 1.0, 1.0) };
        let v = Vector3::new;
        // Past an edge at 45°: from the edge (1, ·, 1) to the line x + z = 3, 1/√2.
        let past = cube.to_segment_m(&[v(3.0, 0.5, 0.0), v(0.0, 0.5, 3.0)]);
        assert!((past - 0.5_f64.sqrt()).abs() < ROUNDING_M);
        // Straight through the middle of the cube: as deep as half of it; an end 0.2 within; along a face.
        assert!((cube.to_segment_m(&[v(0.5, 0.5, -1.0), v(0.5, 0.5, 2.0)]) + 0.5).abs() < ROUNDING_M);
        assert!((cube.to_segment_m(&[v(0.5, 0.5, 0.8), v(0.5, 0.5, 2.0)]) + 0.2).abs() < ROUNDING_M);
        assert_eq!(cube.to_segment_m(&[v(0.2, 0.5, 1.0), v(0.7, 0.5, 1.0)]), 0.0);
        // A circle that stands square to the face x = 1, its centre 0.8 before it: 0.8 − 0.3.
        let ring = Ring { centre: v(1.8, 0.5, 0.5), axis: Vector3::y(), radius_m: 0.3 };
        assert!((cube.to_ring_m(&ring) - 0.5).abs() <= RING_TOLERANCE_M);
        // One that faces it: everywhere 0.8 away.
        let facing = Ring { axis: Vector3::x(), ..ring };
        assert!((cube.to_ring_m(&facing) - 0.8).abs() < ROUNDING_M);
        // One that goes round the cube touches nothing: its corners are √½ from the middle.
        let about = Ring { centre: v(0.5, 0.5, 0.5), axis: Vector3::z(), radius_m: 1.0 };
        assert!((cube.to_ring_m(&about) - (1.0 - 0.5_f64.sqrt())).abs() <= RING_TOLERANCE_M);
    }
}
