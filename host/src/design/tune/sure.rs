//! How sure a ranking is, given how well the points are known.
//!
//! Every coordinate of every drawn point has a tolerance. Two settings of one axle share the points: a bracket that is welded
//! 3 mm too high lifts all its holes, so most of the error is common to both and does not change who is better. The quantities
//! that decide are linearised in the coordinates (JCGM 100:2008, 5.1.2), and the same draws of the coordinates are given to
//! every setting (JCGM 101:2008, 5.9): the measure of merit ranks them anew in each draw. Which extremes are reached and which
//! joints pass their limits stays as drawn.

use super::look::Rack;
use super::merit::{Class, Decisive, Standing, Yardstick, bounds};
use super::space::{At, Space};
use crate::design::tolerance::STEP_M;
use crate::geometry::Vector3;
use crate::vehicle::numbers::Key;
use crate::vehicle::{Axle, Spot, Vehicle};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use std::cmp::Ordering;
use std::collections::HashMap;

/// Draws of all coordinates: a probability is then known to 0.5 percentage points (one standard deviation) at the worst.
pub const DRAWS: usize = 10_000;
/// Fixed, so that one file always gives one answer.
const SEED: u64 = 0x68_69_6e_67_65;

/// How sure the place of a setting is.
#[derive(Debug, Clone, PartialEq)]
pub struct Sureness {
    /// Standard uncertainty (k = 1) of each decisive quantity, SI.
    pub u: Vec<f64>,
    /// Probability that each wish is kept.
    pub kept: Vec<f64>,
    /// Probability that all are.
    pub kept_all: f64,
    /// Probability that the first of those compared really comes before this one; an even draw counts half.
    pub behind_first: f64,
    /// Probability that this one really comes before all others compared.
    pub best: f64,
}

/// A coordinate of a drawn point, the same in every setting that has the point.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Coordinate {
    element: String,
    /// Which point of the element.
    point: (u8, usize),
    /// Where it is drawn, as bits: an alternative's element of the same name is another one unless it is drawn alike.
    drawn: [u64; 3],
    axis: usize,
}

/// A setting, linear in the coordinates.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Linear {
    at: Decisive,
    bounds: Class,
    /// Change of the decisive quantities per standard deviation of a coordinate.
    slopes: Vec<(Coordinate, Vec<f64>)>,
}

/// Linearises a setting; `None` where it cannot be hung, or where a quantity is missing at it or beside it.
pub(super) fn linear(space: &Space, yardstick: &Yardstick, at: &At) -> Option<Linear> {
    let holes = at.holes();
    let along = yardstick.along();
    let look = space.rack(at.part)?.look(&holes, along).ok()?;
    let axle = at.part.vehicle.axles.get(space.axle_index)?;
    let spots: Vec<Spot> = axle.spots().into_iter().filter(|s| matters(*s, yardstick)).collect();
    let slopes: Option<Vec<Vec<_>>> = spots
        .into_par_iter()
        .map(|spot| {
            let tolerance_m = axle.own_tolerance_m(spot).unwrap_or(at.part.vehicle.tolerance_m);
            let slope = |axis: usize| {
                let beside = |step_m: f64| {
                    let offset = Vector3::ith(axis, step_m);
                    let mut rack = moved(&at.part.vehicle, space.axle_index, spot, &offset, at)?;
                    Some(yardstick.decisive(&rack.look(&holes, along).ok()?))
                };
                let (up, down) = (beside(STEP_M)?, beside(-STEP_M)?);
                let per_u = up.0.iter().zip(&down.0).map(|(u, d)| (u - d) / (2.0 * STEP_M) * tolerance_m);
                Some((coordinate(axle, spot, axis), per_u.collect::<Vec<f64>>()))
            };
            (0..3).map(slope).collect::<Option<Vec<_>>>()
        })
        .collect();
    let slopes: Vec<_> = slopes?.into_iter().flatten().collect();
    let at = yardstick.decisive(&look);
    let known = at.0.iter().chain(slopes.iter().flat_map(|(_, s)| s)).all(|v| v.is_finite());
    known.then(|| Linear { at, bounds: bounds(&look), slopes })
}

/// The drawn points move, then the links are hung: a link that keeps its length has the length of the moved points.
fn moved(vehicle: &Vehicle, axle_index: usize, spot: Spot, offset: &Vector3<f64>, at: &At) -> Option<Rack> {
    let mut vehicle = vehicle.clone();
    vehicle.axles.get_mut(axle_index)?.move_spot(spot, offset);
    Rack::new(vehicle, axle_index, &at.part.brackets)
}

/// Whether a point has a say in what is judged: springs and steering only where a wish asks for what they do.
fn matters(spot: Spot, yardstick: &Yardstick) -> bool {
    let wished = |keys: [Key; 2]| yardstick.wishes.iter().any(|w| keys.contains(&w.key));
    match spot {
        Spot::SpringChassis(_) | Spot::SpringAxle(_) => wished([Key::HeaveRate, Key::RollRate]),
        Spot::DragLinkChassis | Spot::DragLinkAxle | Spot::Kingpin => {
            wished([Key::BumpSteerHeave, Key::BumpSteerRoll])
        }
        _ => true,
    }
}

fn coordinate(axle: &Axle, spot: Spot, axis: usize) -> Coordinate {
    let drawn = match spot {
        Spot::WattsCrank(k, end) => axle.locating.watts.get(k).and_then(|w| w.crank.get(end)).copied(),
        _ => axle.mount(spot).and_then(|m| m.holes().first().copied()),
    };
    let point = match spot {
        Spot::LinkChassis(_) => (0, 0),
        Spot::LinkAxle(_) => (1, 0),
        Spot::WishboneApex(_) => (2, 0),
        Spot::WishboneLeg(_, end) => (3, end),
        Spot::ArmChassis(_) => (4, 0),
        Spot::ArmAxle(_, end) => (5, end),
        Spot::WattsPivot(_) => (6, 0),
        Spot::WattsCrank(_, end) => (7, end),
        Spot::WattsEnd(_, end) => (8, end),
        Spot::SpringChassis(_) => (9, 0),
        Spot::SpringAxle(_) => (10, 0),
        Spot::DragLinkChassis => (11, 0),
        Spot::DragLinkAxle => (12, 0),
        Spot::Kingpin => (13, 0),
    };
    Coordinate {
        element: axle.element(spot).unwrap_or_default().to_owned(),
        point,
        drawn: drawn.unwrap_or_default().map(f64::to_bits).into(),
        axis,
    }
}

/// Slopes of one setting by columns that all settings share.
struct Columns<'a> {
    of: &'a Linear,
    slopes: Vec<(usize, &'a [f64])>,
}

/// How sure each of some settings is, in their order; the first one is set against the others.
pub(super) fn sureness(yardstick: &Yardstick, all: &[Linear]) -> Vec<Sureness> {
    let mut numbered: HashMap<&Coordinate, usize> = HashMap::new();
    let columns: Vec<Columns> = all
        .iter()
        .map(|of| {
            let slopes = of
                .slopes
                .iter()
                .map(|(coordinate, slopes)| {
                    let next = numbered.len();
                    (*numbered.entry(coordinate).or_insert(next), slopes.as_slice())
                })
                .collect();
            Columns { of, slopes }
        })
        .collect();
    let mut counts = vec![Counts::new(yardstick.wishes.len()); all.len()];
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    for _ in 0..DRAWS {
        let draw: Vec<f64> = (0..numbered.len()).map(|_| StandardNormal.sample(&mut random)).collect();
        count(yardstick, &columns, &draw, &mut counts);
    }
    let share = |count: f64| count / DRAWS as f64;
    let u = |of: &Linear| {
        let of_quantity = |k: usize| of.slopes.iter().map(|(_, s)| s[k] * s[k]).sum::<f64>().sqrt();
        (0..of.at.0.len()).map(of_quantity).collect()
    };
    all.iter()
        .zip(counts)
        .map(|(of, c)| Sureness {
            u: u(of),
            kept: c.kept.iter().map(|k| share(*k)).collect(),
            kept_all: share(c.kept_all),
            behind_first: share(c.behind_first),
            best: share(c.best),
        })
        .collect()
}

/// Draws in which something was so.
#[derive(Debug, Clone)]
struct Counts {
    kept: Vec<f64>,
    kept_all: f64,
    behind_first: f64,
    best: f64,
}

impl Counts {
    fn new(wishes: usize) -> Self {
        Self { kept: vec![0.0; wishes], kept_all: 0.0, behind_first: 0.0, best: 0.0 }
    }
}

fn count(yardstick: &Yardstick, columns: &[Columns], draw: &[f64], counts: &mut [Counts]) {
    let mut standings: Vec<Standing> = Vec::with_capacity(columns.len());
    for (column, counts) in columns.iter().zip(counts.iter_mut()) {
        let mut here = column.of.at.clone();
        for (k, slopes) in &column.slopes {
            here.0.iter_mut().zip(*slopes).for_each(|(value, slope)| *value += slope * draw[*k]);
        }
        let mut all = true;
        for (kept, points) in counts.kept.iter_mut().zip(yardstick.points(&here)) {
            let is = points == 0.0;
            *kept += f64::from(u8::from(is));
            all &= is;
        }
        counts.kept_all += f64::from(u8::from(all));
        standings.push(yardstick.standing(&here, column.of.bounds));
    }
    let Some(first) = standings.first().copied() else { return };
    let best = standings.iter().copied().min_by(Standing::compare);
    let ties = standings.iter().filter(|s| best.is_some_and(|b| s.compare(&b).is_eq())).count();
    for (standing, counts) in standings.iter().zip(counts) {
        counts.behind_first += match first.compare(standing) {
            Ordering::Less => 1.0,
            Ordering::Equal => 0.5,
            Ordering::Greater => 0.0,
        };
        if best.is_some_and(|b| standing.compare(&b).is_eq()) {
            counts.best += 1.0 / ties as f64;
        }
    }
}
