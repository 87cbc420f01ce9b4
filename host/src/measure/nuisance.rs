//! What is not known of a rig and stays the same over a run: ends, scales, zeros, headings, biases, clocks, the floor.
//!
//! Such errors do not average away. Each is one nuisance with a standard deviation; its effect on every residual is
//! carried through to every result (JCGM 100:2008, 5.2 and H.3.6).

use super::result::Budget;

/// Which line of the budget a nuisance belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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
    /// Departure from a straight line, as a Legendre polynomial of this degree over the range.
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
    /// Slope of the still's floor about x (0) or y (1).
    FloorSlope(usize),
}

/// A nuisance of a sensor, or of the whole rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Nuisance {
    /// The sensor, by place in the rig; none for the floor.
    pub sensor: Option<usize>,
    /// What it is.
    pub what: What,
}

impl Nuisance {
    /// Its line of the budget.
    pub fn source(&self) -> Source {
        match self.what {
            What::ChassisEnd(_) | What::AxleEnd(_) => Source::Mount,
            What::Scale | What::Linearity(_) | What::AccelScale(_) => Source::Scale,
            What::Zero | What::AccelBias(_) => Source::Zero,
            What::Heading => Source::Heading,
            What::Hysteresis | What::Time | What::FloorSlope(_) => Source::Model,
        }
    }
}

/// Sorts the effects of all nuisances (each for one standard deviation) into a budget.
pub fn budget(noise: f64, nuisances: &[Nuisance], effects: impl Iterator<Item = f64>) -> Budget {
    let mut squares = Budget { noise: noise * noise, ..Budget::default() };
    for (nuisance, effect) in nuisances.iter().zip(effects) {
        let line = match nuisance.source() {
            Source::Mount => &mut squares.mount,
            Source::Scale => &mut squares.scale,
            Source::Zero => &mut squares.zero,
            Source::Heading => &mut squares.heading,
            Source::Model => &mut squares.model,
        };
        *line += effect * effect;
    }
    Budget {
        noise: squares.noise.sqrt(),
        mount: squares.mount.sqrt(),
        scale: squares.scale.sqrt(),
        zero: squares.zero.sqrt(),
        heading: squares.heading.sqrt(),
        model: squares.model.sqrt(),
    }
}
