//! Which joint wears, since when, how fast, and how long until the builder's limit.

mod assess;
mod attribute;

#[cfg(test)]
pub(crate) mod tests;

pub use assess::{Alarm, Assessment, Segment, Step, assess};
pub use attribute::wear_of;

use super::growth::{Growth, Limit};
use super::service::ServiceEvent;
use super::store::{AxleRow, RunRow, SeriesRow};
use super::{comparable::Basis, quantity::Quantity};
use crate::vehicle::Vehicle;
use std::collections::HashMap;

/// Everything that is known of a vehicle over time.
#[derive(Debug, Clone)]
pub struct Past {
    /// The vehicle as it is drawn now: elements, limits.
    pub vehicle: Vehicle,
    /// Runs in order of time.
    pub runs: Vec<RunRow>,
    /// Axles of the runs, by name.
    pub axles: HashMap<String, Vec<AxleRow>>,
    /// Facts that numbers depend on, by number.
    pub bases: HashMap<i64, Basis>,
    /// What was measured.
    pub series: Vec<SeriesRow>,
    /// The service record, oldest first.
    pub services: Vec<ServiceEvent>,
}

/// What is said of a link's joints.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum JointState {
    /// Its play is beyond the builder's limit, with 95 % confidence.
    Worn,
    /// Its play grows.
    Growing,
    /// It gives more and more under load: rubber ages before it has any play.
    Softening,
    /// Too few runs since the last work on it to say.
    TooFew,
    /// Nothing points to wear.
    Steady,
    /// Its play was never measured.
    NotMeasured,
}

impl JointState {
    /// Whether it is worth a look before the next trip.
    pub fn is_suspect(self) -> bool {
        matches!(self, JointState::Worn | JointState::Growing | JointState::Softening)
    }

    /// The words that people and JSON read.
    pub fn word(self) -> &'static str {
        match self {
            JointState::Worn => "worn",
            JointState::Growing => "growing",
            JointState::Softening => "softening",
            JointState::TooFew => "too few runs",
            JointState::Steady => "steady",
            JointState::NotMeasured => "not measured",
        }
    }
}

/// The joints of one link.
#[derive(Debug, Clone)]
pub struct Joint {
    /// The link, or a leg.
    pub link: String,
    /// The element that it belongs to.
    pub element: String,
    /// What is said of it.
    pub state: JointState,
    /// Probability that this link's play grows, if at most one of the axle's links wears; none without enough runs.
    pub sure: Option<f64>,
    /// Its play over the runs.
    pub play: Option<Assessment>,
    /// What the joints give as drawn of that play, and its standard uncertainty, m; none where the play is without.
    pub drawn_give: Option<(f64, f64)>,
    /// Where the play, give and all, passes the builder's limit, m.
    pub limit: Option<Limit>,
    /// What it gives under load over the runs, where that was measured.
    pub compliance: Option<Assessment>,
    /// Growth by runs.
    pub by_run: Option<Growth>,
    /// Growth by days.
    pub by_day: Option<Growth>,
    /// The work since the last run that makes it another joint, in words; what was measured is then of the old one.
    pub renewed: Option<String>,
    /// What is known of its two ends, sentences.
    pub ends: Vec<String>,
}

/// A number that has changed.
#[derive(Debug, Clone)]
pub struct Drift {
    /// Which, over the runs.
    pub number: Assessment,
    /// Change since, and its standard uncertainty, SI.
    pub change: (f64, f64),
}

/// One axle over time.
#[derive(Debug, Clone)]
pub struct AxleWear {
    /// Its name.
    pub name: String,
    /// Play at which the builder counts a joint as worn, m.
    pub limit_m: Option<f64>,
    /// Its joints, the most urgent first.
    pub joints: Vec<Joint>,
    /// Numbers that have changed.
    pub drifts: Vec<Drift>,
    /// How many numbers were followed.
    pub numbers_followed: usize,
    /// What else would explain what is seen, sentences.
    pub otherwise: Vec<String>,
    /// Why series begin anew, and what goes on, sentences.
    pub breaks: Vec<String>,
}

/// A vehicle over time.
#[derive(Debug, Clone)]
pub struct Wear {
    /// Its name.
    pub vehicle: String,
    /// Runs by number of the step's run.
    pub runs: Vec<RunRow>,
    /// By axle.
    pub axles: Vec<AxleWear>,
    /// The service record.
    pub services: Vec<ServiceEvent>,
}

impl Wear {
    /// Joints that are worn, grow or go soft, over all axles.
    pub fn suspects(&self) -> impl Iterator<Item = (&AxleWear, &Joint)> {
        self.axles.iter().flat_map(|a| a.joints.iter().filter(|j| j.state.is_suspect()).map(move |j| (a, j)))
    }
}

/// Runs by their number in the database.
pub(super) fn places(runs: &[RunRow]) -> HashMap<i64, usize> {
    runs.iter().enumerate().map(|(place, run)| (run.id, place)).collect()
}

/// Whether a quantity is one of an axle's numbers that people read at ride height.
pub(super) fn is_number(quantity: &Quantity) -> bool {
    !matches!(quantity, Quantity::Link(..))
}
