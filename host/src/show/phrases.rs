//! Parts of sentences that text and report share.

use super::Units;
use super::units::HALF_95;
use super::units::Scale;
use crate::measure::{AxleAnalysis, Measured, PosePoint, RampIndex};
use crate::run::Counts;
use crate::run::Phase;

/// Where the ± of a drawing comes from.
pub const FROM_TOLERANCE: &str = "Here it follows from the tolerance of the drawn points";

/// What a drawing is not.
pub const ONLY_DRAWN: &str = "This is how the drawing moves; how the vehicle moves, a run on the ramp tells. It advises; it \
    does not certify a vehicle as safe: local rules and qualified people come first.";

/// Readings received, lost, set aside, as a sentence.
pub fn counted(counts: &Counts) -> String {
    format!("Readings: {} received, {} lost, {} set aside.", counts.received, counts.lost, counts.excluded)
}

/// `90 mm of bump to 60 mm of droop`.
pub fn heave_range(axle: &AxleAnalysis, units: Units) -> String {
    if goes_unseen(axle, 2) {
        return UNSEEN.into();
    }
    let [low, high] = axle.travel.heave_m;
    let decimals = if units == Units::Mm { 0 } else { 1 };
    let show = |v: f64| units.length().set_to(v, decimals);
    format!("{} of droop to {} of bump", show(-low), show(high))
}

/// `15.0° right wheel up to 15.2° left wheel up`.
pub fn roll_range(axle: &AxleAnalysis, units: Units) -> String {
    if goes_unseen(axle, 3) {
        return UNSEEN.into();
    }
    let [low, high] = axle.travel.roll_rad;
    let show = |v: f64| units.angle().set_to(v, 1);
    format!("{} right wheel up to {} left wheel up", show(-low), show(high))
}

/// What stands for a range that no sensor sees.
const UNSEEN: &str = "not seen by these sensors";

/// Whether the axle travels and nothing sees a coordinate of it.
fn goes_unseen(axle: &AxleAnalysis, coordinate: usize) -> bool {
    !axle.seen[coordinate] && axle.path.iter().any(|p| p.phase.travels())
}

/// Where the force behind what a link gives comes from.
pub const GIVE: &str = "per newton along it, by the drawing's statics";

/// What stands for a quantity of a link that was not measured: its status, and how much it may be at most where that is known.
pub fn without_value(measured: &Measured, unit: Scale) -> String {
    let most = measured.value.zip(measured.u).map(|(value, u)| value.abs() + HALF_95 * u);
    let most = most.map(|m| format!(", at most {}", unit.limit(m)));
    format!("{}{}", measured.status.word(), most.unwrap_or_default())
}

/// A load that a person typed in.
pub fn load(load_n: f64, units: Units) -> String {
    units.force().set_to(load_n, 0)
}

/// Whether anything is to be said of the ramp travel index: the run climbed a ramp, or knows the index.
pub fn climbed(axle: &AxleAnalysis) -> bool {
    let ramp = |point: &PosePoint| matches!(point.phase, Phase::RampLeft | Phase::RampRight);
    axle.path.iter().any(ramp) || axle.ramp_travel_index.iter().any(|i| i.index.measured().is_some())
}

/// The index with its state, and the tape beside it.
pub fn ramp_index(index: &RampIndex, units: Units) -> String {
    const POINTS: Scale = Scale { unit: " points", per_si: 1.0 };
    let Some((value, u)) = index.index.measured() else {
        let why = index.index.why.as_deref().map(|w| format!(": {w}")).unwrap_or_default();
        return format!("{}{why}", index.index.status.word());
    };
    let mut text = POINTS.with_u(value, Some(u));
    let decimals = if units == Units::Mm { 0 } else { 1 };
    let length = |m: f64| units.length().set_to(m, decimals);
    if let Some(distance) = index.distance_m {
        text += &format!(", {} up the ramp", length(distance));
    }
    if let Some(taped) = index.taped_m {
        text += &format!(" (taped: {})", length(taped));
    }
    if let Some(articulation) = index.articulation_rad {
        text += &format!(", at {} of articulation", units.angle().set_to(articulation, 1));
    }
    text
}
