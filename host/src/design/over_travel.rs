//! The whole range of travel, heave and articulation together, and where over it something is least.

use super::mechanism::{Follower, Mechanism, State};
use super::travel_ends::{Bound, bounds};
use crate::vehicle::{Axle, Sweep};

/// Grid steps from ride height to each end of a sweep.
const STEPS: i32 = 10;
/// Valleys of the grid that are searched to the bottom; a mirrored pair of parts makes two.
const VALLEYS: usize = 4;
/// Halvings of a grid step: 13 mm of heave to 3 µm.
const HALVINGS: usize = 12;
/// Moves of the search at one step size before the step is halved all the same.
const MOVES: usize = 4;

/// Places of a window that are solved before it counts as having none that is lower: a sketch may lie just inside an edge
/// that the solved state is beyond.
const TRIES: usize = 3;

/// Which states count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Region {
    /// Everything that the links reach within the sweep.
    Reach,
    /// Of these, what no bump stop, strap or shock ends before.
    WithinStops,
}

/// Where something is least.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Least {
    /// The value there.
    pub value: f64,
    /// m
    pub heave_m: f64,
    /// rad
    pub roll_rad: f64,
}

/// A place of the range, as parts of the sweep from −1 to 1: heave, roll.
type Place = [f64; 2];

/// A state of the grid.
#[derive(Debug, Clone)]
struct Node {
    cell: [i32; 2],
    state: State,
    within_stops: bool,
}

/// The states of one axle over its sweep.
#[derive(Debug, Clone)]
pub struct Travel<'a> {
    mechanism: &'a Mechanism,
    sweep: Sweep,
    bounds: Vec<Bound<'a>>,
    nodes: Vec<Node>,
}

impl<'a> Travel<'a> {
    /// Solves the grid.
    pub fn new(axle: &'a Axle, mechanism: &'a Mechanism) -> Self {
        let mut travel = Self { mechanism, sweep: axle.sweep, bounds: bounds(axle), nodes: Vec::new() };
        for heave in -STEPS..=STEPS {
            for side in [-1, 1] {
                // From no articulation outwards, so that a limit on one side does not hide the other.
                let mut follower = Follower::new(mechanism);
                let first = i32::from(side > 0);
                for roll in first..=STEPS {
                    let cell = [heave, side * roll];
                    let [heave_m, roll_rad] = travel.at(cell.map(|c| f64::from(c) / f64::from(STEPS)));
                    let Ok(state) = follower.go(heave_m, roll_rad) else { break };
                    let (state, within_stops) = (state.clone(), travel.is_within_stops(state));
                    travel.nodes.push(Node { cell, state, within_stops });
                }
            }
        }
        travel
    }

    /// The states of the grid that are within reach.
    pub fn states(&self) -> impl Iterator<Item = &State> {
        self.nodes.iter().map(|node| &node.state)
    }

    /// Whether anything but links ends this axle's travel.
    pub fn has_stops(&self) -> bool {
        !self.bounds.is_empty()
    }

    /// Heave m and roll rad of a place.
    fn at(&self, [heave, roll]: Place) -> [f64; 2] {
        let far_m = if heave < 0.0 { self.sweep.down_m } else { self.sweep.up_m };
        [far_m * heave, self.sweep.roll_rad * roll]
    }

    fn is_within_stops(&self, state: &State) -> bool {
        !self.bounds.iter().any(|bound| bound.is_passed(self.mechanism.centre(), &state.pose))
    }

    /// The least value of `of` over a region; none where the region is empty. From each valley of the grid a window of 5 × 5
    /// states follows the least one and shrinks around it; the window ends at the edges of the sweep, so that a least value at
    /// an edge or a corner is met exactly.
    pub fn least(&self, region: Region, of: impl Fn(&State) -> f64) -> Option<Least> {
        let values: Vec<Option<f64>> = self
            .nodes
            .iter()
            .map(|node| (region == Region::Reach || node.within_stops).then(|| of(&node.state)))
            .collect();
        let mut valleys: Vec<(usize, f64)> = values
            .iter()
            .enumerate()
            .filter_map(|(k, value)| Some((k, (*value)?)))
            .filter(|(k, value)| self.is_valley(*k, *value, &values))
            .collect();
        valleys.sort_by(|a, b| a.1.total_cmp(&b.1));
        let mut least: Option<Least> = None;
        for (k, value) in valleys.into_iter().take(VALLEYS) {
            let Some(node) = self.nodes.get(k) else { continue };
            // Between grid points a smooth valley falls by less than the grid rises from its lowest point.
            let rise = self.around(node, &values).map(|other| other - value).fold(0.0, f64::max);
            if least.is_none_or(|l| value - rise < l.value) {
                let bottom = self.bottom(node, value, region, &of);
                least = least.filter(|l| l.value <= bottom.value).or(Some(bottom));
            }
        }
        least
    }

    /// Values of a node and its neighbours on the grid.
    fn around<'v>(&'v self, node: &'v Node, values: &'v [Option<f64>]) -> impl Iterator<Item = f64> + 'v {
        let near = |other: &Node| (0..2).all(|k| (other.cell[k] - node.cell[k]).abs() <= 1);
        self.nodes.iter().zip(values).filter(move |(other, _)| near(other)).filter_map(|(_, value)| *value)
    }

    /// Whether no neighbour on the grid lies lower.
    fn is_valley(&self, at: usize, value: f64, values: &[Option<f64>]) -> bool {
        let Some(node) = self.nodes.get(at) else { return false };
        self.around(node, values).all(|other| other >= value)
    }

    /// Goes from a grid point to the bottom of its valley. Within a window states are sketched to first order; each next middle
    /// is solved, so that what a sketch is off by shrinks with the square of the window.
    fn bottom(&self, node: &Node, value: f64, region: Region, of: impl Fn(&State) -> f64) -> Least {
        let mut follower = Follower::from_state(self.mechanism, node.state.clone());
        let mut at: Place = node.cell.map(|c| f64::from(c) / f64::from(STEPS));
        let mut least = value;
        let mut half = 1.0 / f64::from(STEPS);
        for _ in 0..HALVINGS {
            for _ in 0..MOVES {
                let Some((place, value)) = self.lower(&mut follower, at, half, least, region, &of) else {
                    break;
                };
                let at_the_rim = (0..2).any(|k| (place[k] - at[k]).abs() > 0.75 * half);
                (at, least) = (place, value);
                if !at_the_rim {
                    break;
                }
            }
            half *= 0.5;
        }
        let [heave_m, roll_rad] = self.at(at);
        Least { value: least, heave_m, roll_rad }
    }

    /// The lowest place of the window around `at`, solved; none where the window has nothing below `least`. The follower
    /// stands at `at`, and goes to the place that is found.
    fn lower(
        &self,
        follower: &mut Follower<'a>,
        at: Place,
        half: f64,
        least: f64,
        region: Region,
        of: impl Fn(&State) -> f64,
    ) -> Option<(Place, f64)> {
        let mut window: Vec<(Place, f64)> = (0..25)
            .filter_map(|k| beside(at, [k / 5 - 2, k % 5 - 2], half))
            .filter_map(|place| {
                let [heave_m, roll_rad] = self.at(place);
                let sketch = follower.state().sketched_at(heave_m, roll_rad);
                self.counts(&sketch, region).then(|| (place, of(&sketch)))
            })
            .filter(|(_, value)| *value < least)
            .collect();
        window.sort_by(|a, b| a.1.total_cmp(&b.1));
        let middle = follower.state().clone();
        for (place, _) in window.into_iter().take(TRIES) {
            let [heave_m, roll_rad] = self.at(place);
            let Ok(state) = follower.go(heave_m, roll_rad) else { continue };
            let value = of(state);
            if value < least && self.counts(state, region) {
                return Some((place, value));
            }
            *follower = Follower::from_state(self.mechanism, middle.clone());
        }
        None
    }

    fn counts(&self, state: &State, region: Region) -> bool {
        region == Region::Reach || self.is_within_stops(state)
    }
}

/// The place some half steps from another, at the edge of the sweep where it lies beyond; none where it is no other place.
fn beside(from: Place, steps: [i32; 2], half: f64) -> Option<Place> {
    let mut place = from;
    for ((at, from), steps) in place.iter_mut().zip(from).zip(steps) {
        *at = (from + 0.5 * half * f64::from(steps)).clamp(-1.0, 1.0);
        if steps != 0 && *at == from {
            return None;
        }
    }
    (place != from).then_some(place)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;
    use crate::geometry::Vector3;
    use crate::vehicle::Stop;

    /// What the search leaves where the least value lies on a slope along a stop's edge, m.
    const EDGE_M: f64 = 2e-4;

    fn stopped() -> crate::vehicle::Vehicle {
        let mut vehicle = cases::t();
        let stop = |side: f64| Stop {
            name: "stop".into(),
            chassis: Vector3::new(0.0, 0.5 * side, 0.69),
            axle: Vector3::new(0.0, 0.52 * side, 0.56),
            length_m: 0.06,
        };
        vehicle.axles[0].bump_stops = vec![stop(1.0), stop(-1.0)];
        vehicle
    }

    #[test]
    fn a_valley_is_found_to_its_bottom() {
        let vehicle = cases::t();
        let mechanism = Mechanism::new(&vehicle, 0).unwrap();
        let travel = Travel::new(&vehicle.axles[0], &mechanism);
        let [h, r] = [-0.0337, 0.1719];
        let of = |s: &State| (s.pose.z_m - h).powi(2) + (s.pose.roll_rad - r).powi(2);
        let least = travel.least(Region::Reach, of).unwrap();
        assert!((least.heave_m - h).abs() < 1e-4 && (least.roll_rad - r).abs() < 1e-4, "{least:?}");
        // A plane is least in a corner, exactly.
        let least = travel.least(Region::Reach, |s| s.pose.roll_rad - s.pose.z_m).unwrap();
        assert_eq!((least.heave_m, least.roll_rad), (0.09, -0.3));
    }

    #[test]
    fn stops_bound_the_region() {
        let vehicle = stopped();
        let axle = &vehicle.axles[0];
        let mechanism = Mechanism::new(&vehicle, 0).unwrap();
        let travel = Travel::new(axle, &mechanism);
        // The highest that the left wheel comes, and the highest that the middle comes with some articulation: both end at a
        // stop. Against a dense walk over the region.
        let track_m = axle.track_m;
        let measures: [fn(&State, f64) -> f64; 2] =
            [|s, track_m| -s.pose.wheel_travel_m(track_m)[0], |s, _| -s.pose.z_m - 0.2 * s.pose.roll_rad];
        for of in measures {
            let found = travel.least(Region::WithinStops, |s| of(s, track_m)).unwrap();
            let mut dense = f64::INFINITY;
            let mut follower = Follower::new(&mechanism);
            for i in 0..=300 {
                for j in 0..=300 {
                    let (h, r) = (-0.13 + 0.22 * f64::from(i) / 300.0, -0.3 + 0.6 * f64::from(j) / 300.0);
                    let Ok(state) = follower.go(h, r) else { continue };
                    if travel.is_within_stops(state) {
                        dense = dense.min(of(state, track_m));
                    }
                }
            }
            assert!(found.value < dense + EDGE_M, "{found:?} against {dense}");
        }
        let free = travel.least(Region::Reach, |s| -s.pose.z_m).unwrap();
        let held = travel.least(Region::WithinStops, |s| -s.pose.z_m).unwrap();
        assert_eq!(free.heave_m, 0.09);
        assert!(held.heave_m < 0.08 && held.heave_m > 0.05, "{held:?}");
    }
}
