//! The states along the travel, sorted into the two ways an axle goes: straight up and down, and from side to side.

use crate::measure::{AlongPoint, Direction};

/// Places of states in [`crate::measure::AxleAnalysis::along`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sweeps {
    /// Over heave without articulation: going up, coming down.
    pub heave: [Vec<usize>; 2],
    /// Over articulation: going up, coming down.
    pub roll: [Vec<usize>; 2],
}

impl Sweeps {
    /// Sorts. Each direction lists its states without articulation first, heave rising, and then those over articulation.
    pub fn of(along: &[AlongPoint]) -> Self {
        let mut sweeps = Sweeps::default();
        for (way, direction) in [Direction::Up, Direction::Down].into_iter().enumerate() {
            let places: Vec<usize> = (0..along.len()).filter(|k| along[*k].direction == direction).collect();
            let mut straight = 0;
            let mut last = f64::NEG_INFINITY;
            for k in &places {
                if along[*k].roll_rad != 0.0 || along[*k].heave_m <= last {
                    break;
                }
                last = along[*k].heave_m;
                straight += 1;
            }
            // A lone state without articulation is where a climb on one side only begins.
            let straight = if straight == 1 && places.len() > 1 { 0 } else { straight };
            let (heave, roll) = places.split_at(straight);
            sweeps.heave[way] = heave.to_vec();
            sweeps.roll[way] = roll.to_vec();
        }
        sweeps
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Pose;
    use crate::measure::{Measured, Status};
    use std::collections::BTreeMap;

    fn point(heave_m: f64, roll_rad: f64, direction: Direction) -> AlongPoint {
        AlongPoint {
            heave_m,
            roll_rad,
            direction,
            axle_steer_rad: Measured::without(Status::NotMeasured, "not asked"),
            pose: Pose::default(),
            numbers: BTreeMap::new(),
        }
    }

    #[test]
    fn bounce_and_climbs_are_told_apart() {
        use Direction::{Down, Up};
        let states = [(-0.05, 0.0), (0.05, 0.0), (0.01, -0.2), (0.0, 0.0), (0.02, 0.2)];
        let along: Vec<AlongPoint> =
            [Up, Down].into_iter().flat_map(|d| states.map(|(h, r)| point(h, r, d))).collect();
        let sweeps = Sweeps::of(&along);
        assert_eq!(sweeps.heave, [vec![0, 1], vec![5, 6]]);
        assert_eq!(sweeps.roll, [vec![2, 3, 4], vec![7, 8, 9]]);
    }

    #[test]
    fn a_climb_on_the_left_only_starts_without_articulation() {
        use Direction::Up;
        let climb = [(0.0, 0.0), (0.01, 0.1), (0.03, 0.2)].map(|(h, r)| point(h, r, Up));
        assert_eq!(Sweeps::of(&climb).roll[0], [0, 1, 2]);
        let both = [(-0.05, 0.0), (0.05, 0.0), (0.0, 0.0), (0.03, 0.2)].map(|(h, r)| point(h, r, Up));
        assert_eq!(Sweeps::of(&both).heave[0], [0, 1]);
        assert_eq!(Sweeps::of(&both).roll[0], [2, 3]);
    }
}
