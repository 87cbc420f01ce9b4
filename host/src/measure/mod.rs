//! From a recording to poses, numbers, links and the ramp travel index, each with its uncertainty.
//!
//! Nothing designed enters here but the points that a builder clipped sensors to and the ends of links whose length is
//! asked for: the pose is measured without the design.

pub mod anew;
mod envelope;
mod give;
pub mod instants;
mod knuckle;
pub mod links;
pub mod live;
mod motion;
pub mod nuisance;
pub mod numbers;
pub mod observe;
pub mod path;
mod pitched;
pub mod play;
pub mod pose;
pub mod ramp;
mod residuals;
pub mod ride;
pub mod still;
pub mod surface;
pub mod suspect;

#[cfg(test)]
mod bound;
#[cfg(test)]
mod synthetic;
#[cfg(test)]
mod tests;

mod analyse;
mod drag;
mod excitation;
mod result;
mod scalar;
mod sharing;

pub use analyse::analyse;
pub use envelope::{End, Envelope};
pub use result::*;
pub use sharing::{Shared, Sharing};

use crate::explain::Explain;
use thiserror::Error;

/// Why a recording cannot be measured at all.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MeasureError {
    /// Not one reading.
    #[error("the run has no readings at all")]
    NoReadings,
    /// No still period.
    #[error("the run has no still period of at least {least_s} s, so the sensors have no zero")]
    NoStill {
        /// Shortest still that serves, s.
        least_s: f64,
    },
    /// No sensor of the axle has data.
    #[error("no sensor on the {axle} axle has any data")]
    NoData {
        /// The axle's name.
        axle: String,
    },
}

impl Explain for MeasureError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            MeasureError::NoReadings => "Its wire.bin is empty or missing, or no frame of it is whole: bring it back from a copy of yours, or \
                 record the test again. hingeline runs verify looks at every file of a run."
                .into(),
            MeasureError::NoStill { least_s } => format!(
                "leave the vehicle at ride height on level ground for {least_s} s or more, with `still` in the phase column or as the first phase of the recording"
            ),
            MeasureError::NoData { .. } => {
                "check that the column names (or the logger's channel names) are those of rig.toml".into()
            }
        })
    }
}
