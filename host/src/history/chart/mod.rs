//! Control charts: the cumulative sum and the weighted average, on values that are standard normal while nothing changes.
//!
//! E. S. Page, Biometrika 41 (1954); S. W. Roberts, Technometrics 1 (1959); the forms are those of the NIST/SEMATECH
//! e-Handbook of Statistical Methods, 6.3.2.3 and 6.3.2.4 (from memory).

pub mod learner;
pub mod run_length;

pub use run_length::Sides;

/// Shift that a chart is tuned for is twice this, standard deviations.
pub const K: f64 = 0.5;
/// Weight of the newest value in the weighted average.
pub const LAMBDA: f64 = 0.2;

/// Where a pair of charts speaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Decision interval of the cumulative sum, standard deviations.
    pub h: f64,
    /// Limit of the weighted average in its own long-run standard deviations.
    pub l: f64,
    /// Runs until a false alarm of either chart, on average, while nothing changes.
    pub in_control_runs: f64,
}

impl Sides {
    /// Limits with which the two charts together give one false alarm in 465 runs, as a cumulative sum with k 0.5 and h 5 does
    /// alone. Each alone is set to the same run length; found by simulation, which a test repeats.
    pub fn limits(self) -> Limits {
        match self {
            Sides::Both => Limits { h: 5.25, l: 3.045, in_control_runs: 465.0 },
            Sides::Upper => Limits { h: 4.565, l: 2.782, in_control_runs: 465.0 },
        }
    }
}

/// A cumulative sum, both ways.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cusum {
    /// Upwards.
    pub up: f64,
    /// Downwards, counted positive.
    pub down: f64,
}

impl Cusum {
    /// After one more value, with reference `k`.
    pub fn after(self, z: f64, k: f64) -> Self {
        Self { up: (self.up + z - k).max(0.0), down: (self.down - z - k).max(0.0) }
    }
}

/// A weighted average after one more value.
pub fn ewma_after(before: f64, z: f64, lambda: f64) -> f64 {
    (1.0 - lambda) * before + lambda * z
}

/// Half-width within which a weighted average stays, for values of unit standard deviation.
pub fn ewma_limit(l: f64, lambda: f64) -> f64 {
    l * (lambda / (2.0 - lambda)).sqrt()
}

/// Which chart spoke.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// The cumulative sum.
    Cusum,
    /// The weighted average.
    Ewma,
    /// Both at once.
    BothCharts,
}

/// A chart beyond its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    /// Which.
    pub which: Which,
    /// Whether the quantity grew.
    pub upward: bool,
}

/// The two charts after one run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartPoint {
    /// The run against the baseline, standard deviations.
    pub z: f64,
    /// The cumulative sum.
    pub cusum: Cusum,
    /// The weighted average.
    pub ewma: f64,
    /// What the charts say after this run.
    pub signal: Option<Signal>,
}

/// A pair of charts as runs come in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    sides: Sides,
    cusum: Cusum,
    ewma: f64,
}

impl Pair {
    /// Charts that have seen nothing.
    pub fn new(sides: Sides) -> Self {
        Self { sides, cusum: Cusum::default(), ewma: 0.0 }
    }

    /// Takes one more value in.
    pub fn take(&mut self, z: f64) -> ChartPoint {
        let limits = self.sides.limits();
        self.cusum = self.cusum.after(z, K);
        self.ewma = ewma_after(self.ewma, z, LAMBDA);
        let reach = ewma_limit(limits.l, LAMBDA);
        let both = self.sides == Sides::Both;
        let up = (self.cusum.up > limits.h, self.ewma > reach);
        let down = (both && self.cusum.down > limits.h, both && self.ewma < -reach);
        let which = |(cusum, ewma): (bool, bool)| match (cusum, ewma) {
            (true, true) => Some(Which::BothCharts),
            (true, false) => Some(Which::Cusum),
            (false, true) => Some(Which::Ewma),
            (false, false) => None,
        };
        let signal = which(up)
            .map(|which| Signal { which, upward: true })
            .or(which(down).map(|which| Signal { which, upward: false }));
        ChartPoint { z, cusum: self.cusum, ewma: self.ewma, signal }
    }
}

#[cfg(test)]
mod tests;
