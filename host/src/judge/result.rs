//! What a comparison says. Renderers read these types; nothing here computes.

use crate::geometry::Pose;
use crate::measure::{AxleAnalysis, Measured, Sharing};
use crate::run::{Counts, Facts, Provenance};
use crate::vehicle::numbers::{Key, Numbers};
use serde::Serialize;
use std::collections::BTreeMap;

/// What the guarded rule says of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Verdict {
    /// The difference is within the limit, with 95 % confidence.
    #[serde(rename = "agrees")]
    Agrees,
    /// The difference is beyond the limit, with 95 % confidence.
    #[serde(rename = "differs")]
    Differs,
    /// The data do not decide.
    #[serde(rename = "not resolved")]
    NotResolved,
    /// One side has no value.
    #[serde(rename = "not measured")]
    NotMeasured,
}

impl Verdict {
    /// The word that people and JSON read.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Agrees => "agrees",
            Verdict::Differs => "differs",
            Verdict::NotResolved => "not resolved",
            Verdict::NotMeasured => "not measured",
        }
    }
}

/// A value with its standard uncertainty, SI; none where there is no such number.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Quantity {
    /// Best estimate.
    pub value: Option<f64>,
    /// Standard uncertainty (k = 1).
    pub u: Option<f64>,
}

/// One number, two values, a verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct NumberComparison {
    /// As designed (or as the first run measured it), with the u that the builder's tolerance gives it.
    pub designed: Quantity,
    /// As measured (or as the second run measured it).
    pub measured: Measured,
    /// Measured less designed.
    pub difference: Quantity,
    /// Difference that the builder accepts, SI.
    pub limit: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
}

/// What a finding is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum FindingKind {
    /// A link's length.
    Length,
    /// A bracket that sits elsewhere than drawn.
    Hardpoint,
    /// A hole other than the file's.
    Hole,
    /// Play in a joint.
    Play,
    /// A layout that binds.
    Bind,
    /// A sensor that contradicts the others.
    Sensor,
}

/// Something that the measurement found out about the vehicle.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// What it is about.
    pub kind: FindingKind,
    /// The element, or the elements among which the data do not decide.
    pub element: String,
    /// Whether the data leave open which of several it is.
    pub undecided: bool,
    /// One sentence in a builder's words: what, how much, where to put the tape.
    pub text: String,
    /// Its size, m (hardpoint, hole, length, play).
    pub size: Option<f64>,
    /// Standard uncertainty of the size, m.
    pub u: Option<f64>,
    /// Probability of this explanation among those tried.
    pub probability: f64,
    /// By number: the share of the difference that goes away when this alone is put into the drawing, `1 − |after|/|before|`.
    pub explains: Vec<(Key, f64)>,
}

/// Designed motion at one state, for curves and drawings.
#[derive(Debug, Clone, PartialEq)]
pub struct DesignedPoint {
    /// m
    pub heave_m: f64,
    /// rad
    pub roll_rad: f64,
    /// As designed.
    pub pose: Pose,
    /// As designed.
    pub numbers: Numbers,
}

/// One axle, measured against designed.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleComparison {
    /// Its name.
    pub name: String,
    /// Every number that the axle can have.
    pub numbers: BTreeMap<Key, NumberComparison>,
    /// In the order of how much each explains.
    pub findings: Vec<Finding>,
    /// The designed motion at the states of `analysis.along`, one for one with its `up` half and then its `down` half.
    pub designed_along: Vec<Option<DesignedPoint>>,
    /// What was measured.
    pub analysis: AxleAnalysis,
}

/// A run set beside its design.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Name of the vehicle.
    pub vehicle: String,
    /// By axle that carries sensors.
    pub axles: Vec<AxleComparison>,
    /// How two axles shared each ramp; empty where one carries sensors.
    pub sharing: Vec<Sharing>,
    /// Readings received, lost, set aside.
    pub counts: Counts,
    /// What a person typed in.
    pub facts: Facts,
    /// Where it came from.
    pub provenance: Provenance,
    /// Sentences to read beside the results.
    pub remarks: Vec<String>,
}

impl Comparison {
    /// Whether any number differs.
    pub fn differs(&self) -> bool {
        self.axles.iter().any(|a| a.numbers.values().any(|n| n.verdict == Verdict::Differs))
    }
}

/// One axle in two runs.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleRuns {
    /// Its name.
    pub name: String,
    /// `designed` holds the first run, `measured` the second.
    pub numbers: BTreeMap<Key, NumberComparison>,
}

/// Two runs set side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct RunsComparison {
    /// Name of the vehicle, of the second run's where they are two.
    pub vehicle: String,
    /// Name of the vehicle of the first run.
    pub first_vehicle: String,
    /// Where the first came from.
    pub first: Provenance,
    /// Where the second came from.
    pub second: Provenance,
    /// By axle that both runs measured; of two vehicles, by axles at the same end.
    pub axles: Vec<AxleRuns>,
    /// Axles that the first run alone and the second run alone measured, by name.
    pub unpaired: [Vec<String>; 2],
    /// Sentences to read beside the results, such as a design file that changed in between.
    pub remarks: Vec<String>,
}

impl RunsComparison {
    /// Whether the runs are of two vehicles, so that what differs is no change.
    pub fn of_two_vehicles(&self) -> bool {
        self.first_vehicle != self.vehicle
    }
}
