//! Drive torque forth and back, or a push from the side, on an axle whose wheels are held: each link is taken up by its play and
//! by what its joints give.
//!
//! The load path is that of a mechanism without play; in the still every loose joint rests in the middle of its play.

use crate::design::Mechanism;
use crate::design::loads::{LoadCase, applied};
use crate::geometry::Pose;
use crate::run::Phase;
use crate::vehicle::{Axle, Link};

/// The load of a whole pull on the axle, N.
pub const PULL_N: f64 = 3000.0;

/// Load in a link that takes its play up, N: some friction and weight, not more.
const TAKES_UP_N: f64 = 40.0;

/// Of a pull from none to whole, so many states are solved: a link's play is then crossed in several.
const STATES: u32 = 240;

/// What a phase loads an axle with, from `part` of the whole pull; none where the phase pulls nothing.
fn case(phase: Phase, part: f64) -> Option<LoadCase> {
    match phase {
        Phase::RockForward => Some(LoadCase::Drive(part * PULL_N)),
        Phase::RockBack => Some(LoadCase::Drive(-part * PULL_N)),
        Phase::ShoveLeft => Some(LoadCase::Side(part * PULL_N)),
        Phase::ShoveRight => Some(LoadCase::Side(-part * PULL_N)),
        _ => None,
    }
}

/// Whether a phase pulls an axle.
pub fn pulls(phase: Phase) -> bool {
    case(phase, 1.0).is_some()
}

/// Poses on the way from no load to the whole pull, by the part of it; none where the phase pulls nothing or the axle's ride
/// state is singular.
pub fn poses(axle: &Axle, mechanism: &Mechanism, phase: Phase) -> Option<Vec<(f64, Pose)>> {
    (0..=STATES)
        .map(|k| {
            let part = f64::from(k) / f64::from(STATES);
            Some((part, pose(axle, mechanism, case(phase, part)?)?))
        })
        .collect()
}

fn pose(axle: &Axle, mechanism: &Mechanism, case: LoadCase) -> Option<Pose> {
    let ride = mechanism.ride();
    let forces = applied(mechanism, ride, case, None);
    let members_n = mechanism.reactions(ride, &forces)?.members_n;
    let mut longer_m: Vec<f64> = links(axle).zip(&members_n).map(|(it, n)| taken_up_m(it, *n)).collect();
    if mechanism.redundant() == 0 {
        // Such a mechanism moves as if its joints gave nothing.
        for ((longer, link), n) in longer_m.iter_mut().zip(links(axle)).zip(&members_n) {
            *longer += link.end_stiffness_n_per_m().map_or(0.0, |k| n / k);
        }
    }
    mechanism.deflected(ride, &forces, &longer_m)
}

/// Links come first among the members.
fn links(axle: &Axle) -> impl Iterator<Item = &Link> {
    axle.locating.links.iter()
}

fn taken_up_m(link: &Link, load_n: f64) -> f64 {
    0.5 * link.play_m * (load_n / TAKES_UP_N).tanh()
}
