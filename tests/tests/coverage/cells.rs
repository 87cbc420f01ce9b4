//! One cell of the table: a layout on a rig, many runs.

use super::record;
use hingeline::design::predict::predict;
use hingeline::files::starters::Layout;
use hingeline::measure::analyse;
use hingeline::rig::{Kind, Rig};
use hingeline::run::Phase;
use hingeline::vehicle::Vehicle;
use hingeline::vehicle::numbers::Key;
use std::collections::BTreeMap;

/// Half-width of a 95 % interval in standard uncertainties.
const HALF_95: f64 = 1.959963984540054;
/// Readings a second: half of a starter's, enough for tests that take seconds a cycle.
const RATE_HZ: f64 = 50.0;

/// Whether a rig carries a sensor of this name and kind.
type Carries = fn(&str, &Kind) -> bool;

/// What is clipped on, by the name and the kind of a starter's sensors: all; all but the third wire fore and aft, so that the
/// units alone tell the pitch; wires alone.
const RIGS: [(&str, Carries); 3] = [
    ("rich", |_, _| true),
    ("standard", |name, _| name != "high fore-aft"),
    ("poor", |_, kind| !matches!(kind, Kind::Inertial(_))),
];

/// Outcomes of one number, or of many.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tally {
    /// Intervals.
    pub intervals: u64,
    /// Those that held the truth.
    pub held: u64,
    /// Sum of squared errors over u².
    pub square: f64,
    error_square: f64,
    u: f64,
}

impl Tally {
    fn count(&mut self, error: f64, u: f64) {
        self.intervals += 1;
        self.held += u64::from(error.abs() <= HALF_95 * u);
        self.square += (error / u).powi(2);
        self.error_square += error * error;
        self.u += u;
    }

    /// With another's outcomes.
    pub fn and(self, other: Self) -> Self {
        Self {
            intervals: self.intervals + other.intervals,
            held: self.held + other.held,
            square: self.square + other.square,
            error_square: self.error_square + other.error_square,
            u: self.u + other.u,
        }
    }

    /// Share that held the truth.
    pub fn share(&self) -> f64 {
        self.held as f64 / self.intervals as f64
    }
}

/// Runs the cells of a layout, prints a row for each number, and adds all of them up.
pub fn table(layout: Layout, runs: u64) -> Tally {
    let vehicle =
        hingeline::vehicle::file::parse(&layout.vehicle_text("Bramble"), "vehicle.toml").expect("a starter");
    let all = hingeline::rig::file::parse(layout.rig_text(), "rig.toml", &vehicle).expect("its rig");
    let mut sum = Tally::default();
    for (name, carries) in RIGS {
        let mut rig = all.clone();
        rig.sensors.retain(|s| carries(&s.name, &s.kind));
        rig.rate_hz = RATE_HZ;
        for sensor in &mut rig.sensors {
            sensor.rate_hz = RATE_HZ;
        }
        for (key, tally) in cell(&vehicle, &rig, runs) {
            let n = tally.intervals as f64;
            println!(
                "| {layout:?} | {name} | `{}` | {} | {:.1} % | {:.2} | {:.5} | {:.5} |",
                key.as_str(),
                tally.intervals,
                100.0 * tally.share(),
                tally.square / n,
                (tally.error_square / n).sqrt(),
                tally.u / n
            );
            sum = sum.and(tally);
        }
    }
    sum
}

fn cell(vehicle: &Vehicle, rig: &Rig, runs: u64) -> BTreeMap<Key, Tally> {
    let truth = predict(vehicle).expect("a starter").axles[0].ride.numbers.clone();
    let on_ramp = record::of(vehicle, &[Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight]);
    let mut tallies: BTreeMap<Key, Tally> = BTreeMap::new();
    for seed in 1..=runs {
        let run = record::run(&on_ramp, rig, seed);
        let analysis = analyse(vehicle, rig, &run).expect("a run that can be measured");
        for (key, measured) in &analysis.axles[0].measured {
            if let (Some((value, u)), Some(truth)) = (measured.measured(), truth.get(*key)) {
                tallies.entry(*key).or_default().count(value - truth, u);
            }
        }
    }
    tallies
}
