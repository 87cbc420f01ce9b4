//! What sensors saw during a test, in SI and on one time base, whatever it came from: a logger's wire or a table.

pub mod channels;
pub mod find;
pub mod folder;
pub mod header;
pub mod marks;
mod motion;
mod phases;
pub mod plan;
pub mod still;
pub mod table;
#[cfg(test)]
pub mod test_logger;
#[cfg(test)]
pub mod test_rig;
pub mod wire;

use crate::rig::Rig;
use serde::{Deserialize, Serialize};

/// A part of a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Nothing moves; level floor, ride height.
    Still,
    /// Heave, slowly.
    Bounce,
    /// Left wheel up a ramp: roll > 0.
    RampLeft,
    /// Right wheel up a ramp: roll < 0.
    RampRight,
    /// Slow drive over rough ground.
    Obstacle,
    /// Drive torque or a strap's pull, forward.
    RockForward,
    /// The same, back.
    RockBack,
    /// Side load to the left.
    ShoveLeft,
    /// Side load to the right.
    ShoveRight,
}

impl Phase {
    /// Every phase with the words that tables and people use.
    pub const WORDS: [(&'static str, Phase); 9] = [
        ("still", Phase::Still),
        ("bounce", Phase::Bounce),
        ("ramp left", Phase::RampLeft),
        ("ramp right", Phase::RampRight),
        ("obstacle", Phase::Obstacle),
        ("rock forward", Phase::RockForward),
        ("rock back", Phase::RockBack),
        ("shove left", Phase::ShoveLeft),
        ("shove right", Phase::ShoveRight),
    ];

    /// The phase that these words name.
    pub fn parse(words: &str) -> Option<Phase> {
        Self::WORDS.iter().find(|(w, _)| *w == words).map(|(_, p)| *p)
    }

    /// Its words.
    pub fn words(self) -> &'static str {
        Self::WORDS.iter().find(|(_, p)| *p == self).map_or("", |(w, _)| w)
    }

    /// Whether the axle is meant to travel: what the motion's surfaces are fitted to.
    pub fn travels(self) -> bool {
        matches!(self, Phase::Bounce | Phase::RampLeft | Phase::RampRight | Phase::Obstacle)
    }
}

/// A phase and when it lasted, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseSpan {
    /// Which.
    pub phase: Phase,
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
}

/// One channel over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Times, strictly rising, s.
    pub t_s: Vec<f64>,
    /// Values, SI, as many.
    pub value: Vec<f64>,
}

/// How far a reading's time can be trusted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Timing {
    /// Every reading carries its own time.
    Own,
    /// All readings of a row share one time although they were taken within `period_s` of it.
    SharedRow {
        /// Time between rows, s.
        period_s: f64,
    },
}

/// Longest time between readings that is still bridged, s, for readings every `period_s`: nothing is interpolated across more.
///
/// A quarter of a second, in which a bounce of ±50 mm in 8 s leaves a straight line by 0.24 mm, or three readings of a slow
/// table.
pub fn gap_limit_s(period_s: f64) -> f64 {
    (3.5 * period_s).max(0.25)
}

/// How many readings there were.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Counts {
    /// Readings received.
    pub received: u64,
    /// Readings lost on the way, from sequence numbers.
    pub lost: u64,
    /// Readings set aside: out of range, not a number.
    pub excluded: u64,
}

/// What a person typed in about the test.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Facts {
    /// The test's name: a phase, or a plan such as "ramp".
    pub test: Option<String>,
    /// Angle of the ramp, rad.
    pub ramp_angle_rad: Option<f64>,
    /// Distance along the ramp as taped, left wheel up and right wheel up, m.
    #[serde(default)]
    pub taped_ramp_m: [Option<f64>; 2],
    /// Load of a rock or a shove on the axle, N.
    #[serde(default)]
    pub load_n: Option<f64>,
    /// Free notes.
    #[serde(default)]
    pub notes: String,
}

/// Where a recording came from, by content hash (BLAKE3, hex).
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Provenance {
    /// The run's name or the table's path.
    pub run: String,
    /// The vehicle file.
    pub vehicle_hash: String,
    /// The rig file.
    pub rig_hash: String,
    /// The calibration, where there was one.
    #[serde(default)]
    pub calibration_hash: Option<String>,
    /// The data.
    pub data_hash: String,
    /// Firmware of the logger, where there was one.
    pub firmware: Option<String>,
    /// When it was recorded or imported, in words; none for a bare table.
    pub recorded: Option<String>,
}

/// One run, ready to be measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// By sensor of the rig, then by channel of the sensor; a channel without data is empty.
    pub series: Vec<Vec<Series>>,
    /// Phases in order of time, not overlapping.
    pub phases: Vec<PhaseSpan>,
    /// How far times can be trusted.
    pub timing: Timing,
    /// Instants at which a person saw a wheel lift, s.
    pub lifts_s: Vec<f64>,
    /// Readings received, lost, set aside.
    pub counts: Counts,
    /// What a person typed in.
    pub facts: Facts,
    /// Where it came from.
    pub provenance: Provenance,
    /// Sentences that the person should read beside every result (a gap, a dropped channel, an assumed phase).
    pub remarks: Vec<String>,
}

impl Recording {
    /// An empty recording for a rig.
    pub fn empty(rig: &Rig) -> Self {
        Self {
            series: rig.sensors.iter().map(|s| vec![Series::default(); s.channel_suffixes().len()]).collect(),
            phases: Vec::new(),
            timing: Timing::Own,
            lifts_s: Vec::new(),
            counts: Counts::default(),
            facts: Facts::default(),
            provenance: Provenance::default(),
            remarks: Vec::new(),
        }
    }

    /// Spans of one phase.
    pub fn spans(&self, phase: Phase) -> impl Iterator<Item = &PhaseSpan> {
        self.phases.iter().filter(move |s| s.phase == phase)
    }
}
