//! What the readings leave over beside the pose that all of them together give, sensor by sensor, and how much of that their
//! stated uncertainty allows.
//!
//! A pose takes up part of every reading's error; what is left is `P·e` with `P` the projector off the pose's own directions
//! (the redundancy matrix of geodetic adjustment; its diagonal is the reading's redundancy number, W. Baarda, A testing
//! procedure for use in geodetic networks, 1968, from memory). Its variance is that of the readings' noise and of what the run
//! has not taught of the rig, both carried through `P`.

use super::instants::Instant;
use super::path::{Path, PathPoint};
use super::pose::redundant;
use super::result::{LeftOver, ResidualPoint, SensorResiduals};
use crate::rig::{Kind, Rig};
use std::collections::BTreeMap;

/// Axes of the chassis, in which units are compared: x, y, z.
const AXES: [&str; 3] = ["forward", "left", "up"];

/// A sensor of the rig, and an axis where it says three things.
pub type Saying = (usize, Option<usize>);

/// By sensor, in the order of the rig; an axle's inertial unit stands for itself against the chassis' unit, once by axis.
pub(super) fn residuals(path: &Path, instants: &[Instant], rig: &Rig) -> Vec<SensorResiduals> {
    let mut found: BTreeMap<Saying, SensorResiduals> = BTreeMap::new();
    for point in &path.points {
        for (saying, said, redundancy) in left_over(path, point, instants) {
            let of = found.entry(saying).or_insert_with(|| named(rig, saying));
            of.redundancy += redundancy;
            of.points.push(said);
        }
    }
    let mut all: Vec<SensorResiduals> = found.into_values().collect();
    for of in &mut all {
        of.redundancy /= of.points.len().max(1) as f64;
    }
    all
}

fn named(rig: &Rig, (sensor, axis): Saying) -> SensorResiduals {
    let sensor = &rig.sensors[sensor];
    let name = match axis {
        Some(axis) => format!("{}, {}", sensor.name, AXES[axis]),
        None => sensor.name.clone(),
    };
    let quantity = match sensor.kind {
        Kind::Angle(_) => LeftOver::Angle,
        Kind::Inertial(_) => LeftOver::Acceleration,
        Kind::DrawWire(_) | Kind::Range(_) | Kind::Force(_) => LeftOver::Length,
    };
    SensorResiduals { name, quantity, redundancy: 0.0, points: Vec::new() }
}

/// What each reading of an instant leaves over, with its redundancy number.
fn left_over(path: &Path, point: &PathPoint, instants: &[Instant]) -> Vec<(Saying, ResidualPoint, f64)> {
    let instant = &instants[point.instant];
    let said = redundant(&path.observer, instant, &path.against[point.instant], &point.estimate.pose);
    let carried = &said.effects * &path.knowledge;
    let sayings = path.observer.sayings(instant);
    let rows = sayings.into_iter().enumerate();
    rows.map(|(row, saying)| {
        let unknown: f64 = carried.row(row).dot(&said.effects.row(row));
        let u = said.sigma[row] * (said.numbers[row] + unknown).max(0.0).sqrt();
        // Read less expected: what `h(q)` is short of.
        let residual = -said.residuals[row] * said.sigma[row];
        (saying, ResidualPoint { t_s: point.t_s, residual, u }, said.numbers[row])
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::observe::Observer;
    use crate::measure::{instants, path, still, synthetic};
    use crate::run::Timing;

    /// Share of residuals beyond ±1.96·u that sensors as good as their word may have: 5 % is meant; what is not known of a rig
    /// is one draw for the whole run, so a run may lie well above that.
    const MOST_BEYOND: f64 = 0.12;

    /// Residuals of a run in which the first wire slips by so much half way, m.
    fn of_a_run(slip_m: f64) -> Vec<SensorResiduals> {
        let rig = synthetic::rig(true);
        let mut recording = synthetic::record(&rig, Some(3));
        let wire = &mut recording.series[0][0];
        let times = wire.t_s.iter();
        times.zip(&mut wire.value).filter(|(t, _)| **t > 30.0).for_each(|(_, value)| *value += slip_m);
        let stills = still::stills(&rig, &recording).expect("a still");
        let (instants, step_s) = instants::instants(&rig, &recording);
        let spans = vec![[0.0, 1.2]; rig.sensors.len()];
        let observer = Observer::new(&rig, 0, synthetic::CENTRE, &stills, &spans, Timing::Own);
        residuals(&path::follow(&observer, &instants, step_s), &instants, &rig)
    }

    fn most_beyond(all: &[SensorResiduals]) -> f64 {
        all.iter().filter_map(SensorResiduals::beyond).fold(0.0, f64::max)
    }

    #[test]
    fn sensors_as_good_as_their_word_stay_within_their_bands_and_a_wire_that_slips_leaves_its_own() {
        let good = of_a_run(0.0);
        let names: Vec<&str> = good.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names[..2], ["left down", "right down"]);
        assert_eq!(names[6..], ["axle unit, forward", "axle unit, left", "axle unit, up"]);
        assert!(most_beyond(&good) < MOST_BEYOND, "{}", most_beyond(&good));
        // Nine readings and six unknowns at each instant.
        let redundancy: f64 = good.iter().map(|s| s.redundancy).sum();
        assert!((redundancy - 3.0).abs() < 1e-6, "{redundancy}");
        let slipped = of_a_run(0.05);
        assert!(most_beyond(&slipped) > 3.0 * MOST_BEYOND, "{}", most_beyond(&slipped));
    }

    #[test]
    fn six_readings_of_six_unknowns_leave_nothing_over() {
        let rig = synthetic::rig(false);
        let recording = synthetic::record(&rig, Some(3));
        let stills = still::stills(&rig, &recording).expect("a still");
        let (instants, step_s) = instants::instants(&rig, &recording);
        let spans = vec![[0.0, 1.2]; rig.sensors.len()];
        let observer = Observer::new(&rig, 0, synthetic::CENTRE, &stills, &spans, Timing::Own);
        let all = residuals(&path::follow(&observer, &instants, step_s), &instants, &rig);
        assert_eq!(all.len(), 6);
        assert!(all.iter().all(|s| s.beyond().is_none()), "nothing checks them");
    }
}
