//! What is not known of a rig and stays the same over a run: ends, scales, zeros, headings, biases, clocks, the floor.
//!
//! Such errors do not average away. Each is one nuisance with a standard deviation; its effect on every residual is
//! carried through to every result (JCGM 100:2008, 5.2 and H.3.6).

use super::result::Budget;
use crate::geometry::{DMatrix, DVector};

/// Which line of the budget a nuisance belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// Where a sensor is clipped.
    Mount,
    /// Its scale or linearity.
    Scale,
    /// Its zero or bias.
    Zero,
    /// The heading of an inertial unit.
    Heading,
    /// Hysteresis, clocks, the floor.
    Model,
}

/// One thing that is not known exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// A coordinate of the chassis end.
    ChassisEnd(usize),
    /// A coordinate of the axle end.
    AxleEnd(usize),
    /// Relative scale.
    Scale,
    /// Departure from a straight line: the sine, 0, or the cosine, 1, that goes once over the range.
    Linearity(u8),
    /// Half the hysteresis.
    Hysteresis,
    /// Mean of the still.
    Zero,
    /// Time of the column against the row's.
    Time,
    /// Heading of a unit.
    Heading,
    /// Scale of an accelerometer axis.
    AccelScale(usize),
    /// Bias of an accelerometer axis.
    AccelBias(usize),
    /// Mean of the still of an accelerometer axis.
    AccelStill(usize),
    /// Slope of the still's floor about x (0) or y (1).
    FloorSlope(usize),
}

/// A nuisance of a sensor, or of the whole rig.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nuisance {
    /// The sensor, by place in the rig; none for the floor.
    pub sensor: Option<usize>,
    /// What it is.
    pub what: What,
    /// One standard deviation of it before the run, SI.
    pub u: f64,
}

impl Nuisance {
    /// Its line of the budget.
    pub fn source(&self) -> Source {
        match self.what {
            What::ChassisEnd(_) | What::AxleEnd(_) => Source::Mount,
            What::Scale | What::Linearity(_) | What::AccelScale(_) => Source::Scale,
            What::Zero | What::AccelBias(_) | What::AccelStill(_) => Source::Zero,
            What::Heading => Source::Heading,
            What::Hysteresis | What::Time | What::FloorSlope(_) => Source::Model,
        }
    }
}

/// What is known of the nuisances, in units of their prior standard deviations: their covariance, K × K. The identity
/// before a run has taught anything.
pub type Knowledge = DMatrix<f64>;

/// Sorts the effects of all nuisances (each for one prior standard deviation) into a budget.
///
/// A run that has redundant readings ties nuisances together; a source's share of the variance is then its part of
/// `eᵀ·C·e`, and parts that oppose one another are scaled so that the lines still add up to the whole.
pub fn budget(noise: f64, nuisances: &[Nuisance], knowledge: &Knowledge, effects: &DVector<f64>) -> Budget {
    let carried = knowledge * effects;
    let whole = effects.dot(&carried).max(0.0);
    let mut squares = Budget { noise: noise * noise, ..Budget::default() };
    for (nuisance, part) in nuisances.iter().zip(effects.component_mul(&carried).iter()) {
        let line = match nuisance.source() {
            Source::Mount => &mut squares.mount,
            Source::Scale => &mut squares.scale,
            Source::Zero => &mut squares.zero,
            Source::Heading => &mut squares.heading,
            Source::Model => &mut squares.model,
        };
        *line += part;
    }
    let parts =
        [squares.mount, squares.scale, squares.zero, squares.heading, squares.model].map(|p| p.max(0.0));
    let sum: f64 = parts.iter().sum();
    let share = if sum > 0.0 { whole / sum } else { 0.0 };
    let [mount, scale, zero, heading, model] = parts.map(|p| (p * share).sqrt());
    Budget { noise, mount, scale, zero, heading, model }
}

/// What one ought to know better first: everything of one source at one sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dearest {
    /// The sensor, by place in the rig; none for the floor.
    pub sensor: Option<usize>,
    /// What of it.
    pub source: Source,
    /// Standard uncertainty of the number were this known exactly.
    pub u: f64,
}

/// The group of nuisances, one source at one sensor, that knowing it exactly would gain most; `noise` is the standard uncertainty
/// from the readings' scatter. What such knowledge does to all others is in it: `K − K_g·K_gg⁻¹·K_gᵀ`, the covariance of a normal
/// distribution given a part of it.
pub fn dearest(
    noise: f64,
    nuisances: &[Nuisance],
    knowledge: &Knowledge,
    effects: &DVector<f64>,
) -> Option<Dearest> {
    let carried = knowledge * effects;
    let whole = effects.dot(&carried);
    let mut groups: Vec<(Option<usize>, Source)> = nuisances.iter().map(|n| (n.sensor, n.source())).collect();
    groups.sort_unstable();
    groups.dedup();
    let known = |(sensor, source): (Option<usize>, Source)| {
        let of: Vec<usize> = (0..nuisances.len())
            .filter(|k| nuisances[*k].sensor == sensor && nuisances[*k].source() == source)
            .filter(|k| knowledge[(*k, *k)] > 0.0)
            .collect();
        let inner = knowledge.select_rows(&of).select_columns(&of);
        let moved = carried.select_rows(&of);
        let gained = inner.cholesky().map_or(0.0, |c| moved.dot(&c.solve(&moved)));
        Dearest { sensor, source, u: ((whole - gained).max(0.0) + noise * noise).sqrt() }
    };
    groups.into_iter().map(known).min_by(|a, b| a.u.total_cmp(&b.u))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_dearest_is_what_fixing_it_gains_most() {
        // Two wires: the first one's mount and scale, the second one's mount, tied together by the run. What is gained is what
        // Gauss' conditioning of the whole gives, done here by a huge weight instead of the closed form.
        let nuisance = |sensor, what| Nuisance { sensor: Some(sensor), what, u: 1.0 };
        let all =
            [nuisance(0, What::ChassisEnd(0)), nuisance(0, What::Scale), nuisance(1, What::ChassisEnd(0))];
        let knowledge = DMatrix::from_row_slice(3, 3, &[0.9, 0.1, -0.3, 0.1, 0.5, 0.2, -0.3, 0.2, 0.8]);
        let effects = DVector::from_column_slice(&[2.0, 1.0, -1.0]);
        let found = dearest(0.1, &all, &knowledge, &effects).expect("some");
        let fixed = |k: usize| {
            let mut information = knowledge.clone().cholesky().expect("positive").inverse();
            information[(k, k)] += 1e12;
            let left = information.cholesky().expect("positive").inverse();
            (effects.dot(&(left * &effects)) + 0.01).sqrt()
        };
        assert_eq!((found.sensor, found.source), (Some(0), Source::Mount));
        assert!((found.u - fixed(0)).abs() < 1e-6 && found.u < fixed(1) && found.u < fixed(2), "{found:?}");
    }
}
