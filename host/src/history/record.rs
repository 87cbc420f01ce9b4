//! What the history keeps of a run.

use super::comparable::{Basis, IN_STEPS, basis};
use super::quantity::{self, OfLink, Quantity};
use crate::measure::{Analysis, AxleAnalysis, Budget, Measured};
use crate::run::Counts;
use crate::vehicle::Vehicle;

/// How the files of a run looked when it was measured: if they look otherwise, it is measured again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Fingerprint {
    /// Bytes of the header.
    pub header_bytes: u64,
    /// When the header was last changed, µs since 1970.
    pub header_us: i64,
    /// Bytes of the readings, where the run had not ended; none where it had, since then nothing is added.
    pub data_bytes: Option<u64>,
}

/// Where a run came from and under which conditions.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RunFacts {
    /// The vehicle's folder in the logbook.
    pub vehicle: String,
    /// The run's name.
    pub run: String,
    /// When it was recorded, RFC 3339.
    pub started: String,
    /// The same, µs since 1970.
    pub started_us: i64,
    /// The test.
    pub test: Option<String>,
    /// Angle of the ramp, rad.
    pub ramp_angle_rad: Option<f64>,
    /// Notes that a person typed.
    pub notes: String,
    /// Content hash of the design.
    pub design_hash: String,
    /// Content hash of the rig file.
    pub rig_hash: String,
    /// Content hash of the calibration, where there was one.
    pub calibration_hash: Option<String>,
    /// Content hash of the readings.
    pub data_hash: String,
    /// Hash of what the rig's sensors are and where they sit, whatever else its file says.
    pub rig_basis: String,
    /// The logger's firmware.
    pub firmware: Option<String>,
    /// Version of the program that measured it.
    pub program: String,
    /// Readings received, lost, set aside.
    pub counts: Counts,
    /// Why it could not be measured.
    pub problem: Option<String>,
}

/// One quantity in one run.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Which.
    pub quantity: Quantity,
    /// What was measured.
    pub measured: Measured,
    /// Where its u comes from, where that is told.
    pub budget: Option<Budget>,
}

/// One axle in one run.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleRecord {
    /// Its name.
    pub name: String,
    /// Agreement of the sensors.
    pub chi_square_per_dof: Option<f64>,
    /// Least and greatest heave, m.
    pub heave_m: [f64; 2],
    /// Least and greatest articulation, rad.
    pub roll_rad: [f64; 2],
    /// What its numbers depend on besides the vehicle's state.
    pub basis: Basis,
    /// Everything followed.
    pub entries: Vec<Entry>,
}

/// One run.
#[derive(Debug, Clone, PartialEq)]
pub struct RunRecord {
    /// Where it came from.
    pub facts: RunFacts,
    /// How its files looked.
    pub fingerprint: Fingerprint,
    /// By axle that carried sensors.
    pub axles: Vec<AxleRecord>,
}

impl RunRecord {
    /// A run that was measured. `facts` says where it came from; what the analysis knows better is taken from it.
    pub fn measured(
        facts: RunFacts,
        fingerprint: Fingerprint,
        vehicle: &Vehicle,
        analysis: &Analysis,
    ) -> Self {
        let facts = RunFacts {
            counts: analysis.counts,
            data_hash: analysis.provenance.data_hash.clone(),
            firmware: analysis.provenance.firmware.clone(),
            ramp_angle_rad: analysis.facts.ramp_angle_rad,
            ..facts
        };
        let axles = analysis.axles.iter().map(|a| axle_record(vehicle, a, facts.ramp_angle_rad)).collect();
        Self { facts, fingerprint, axles }
    }
}

/// Everything that is followed of an axle: its numbers, its ramp travel indices, its links.
pub fn entries(axle: &AxleAnalysis) -> Vec<Entry> {
    let entry = |quantity, measured: &Measured| Entry { quantity, measured: measured.clone(), budget: None };
    let mut entries: Vec<Entry> = axle
        .measured
        .iter()
        .map(|(key, measured)| Entry {
            quantity: Quantity::Number(*key),
            measured: measured.clone(),
            budget: axle.budget.get(key).copied(),
        })
        .collect();
    let [left, right] = &axle.ramp_travel_index;
    entries.push(entry(Quantity::RampLeft, &left.index));
    entries.push(entry(Quantity::RampRight, &right.index));
    for link in &axle.links {
        for (of, measured) in [
            (OfLink::Play, &link.play_m),
            (OfLink::DrawnGive, &link.drawn_give_m),
            (OfLink::Compliance, &link.compliance_m_per_n),
            (OfLink::ApparentChange, &link.apparent_change_m),
            (OfLink::Length, &link.length_m),
        ] {
            entries.push(entry(Quantity::Link(of, link.name.clone()), measured));
        }
    }
    entries
}

fn axle_record(vehicle: &Vehicle, axle: &AxleAnalysis, ramp_angle_rad: Option<f64>) -> AxleRecord {
    let mut basis =
        vehicle.axles.get(axle.index).map(|a| basis(vehicle, a, ramp_angle_rad)).unwrap_or_default();
    if !axle.stepped.is_empty() {
        basis.insert(quantity::PULL.to_owned(), IN_STEPS.to_owned());
    }
    AxleRecord {
        name: axle.name.clone(),
        chi_square_per_dof: axle.fit.chi_square_per_dof,
        heave_m: axle.travel.heave_m,
        roll_rad: axle.travel.roll_rad,
        basis,
        entries: entries(axle),
    }
}
