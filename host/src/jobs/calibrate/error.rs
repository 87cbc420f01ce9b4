//! Why nothing was calibrated, and how to mend it.

use crate::explain::{Explain, Status};
use crate::files::did_you_mean;
use std::path::PathBuf;

/// Why nothing was calibrated.
#[derive(Debug, thiserror::Error)]
pub enum CalibrateJobError {
    /// There is no such vehicle.
    #[error("there is no vehicle \"{name}\"")]
    NoVehicle {
        /// Asked for.
        name: String,
        /// Those that there are.
        there: Vec<String>,
    },
    /// The rig has no such sensor.
    #[error("the rig has no sensor \"{name}\"")]
    NoSensor {
        /// Asked for.
        name: String,
        /// Those that could be meant.
        there: Vec<String>,
    },
    /// A sensor of another kind.
    #[error("\"{name}\" is {article} {kind}, and {what}")]
    OtherKind {
        /// The sensor.
        name: String,
        /// "a" or "an".
        article: &'static str,
        /// Its kind.
        kind: &'static str,
        /// What is calibrated of which kind.
        what: &'static str,
    },
    /// No ride mark of that name.
    #[error("the vehicle has no ride mark \"{name}\"")]
    NoMark {
        /// Asked for.
        name: String,
        /// Those that there are.
        there: Vec<String>,
    },
    /// Nothing says what the lengths are.
    #[error("nothing says how long anything is at the still")]
    NothingTaped,
    /// Nothing to read from.
    #[error("there is nothing to calibrate from")]
    NoSource,
    /// Some values with readings and some without, or readings beside a recording.
    #[error("either every value has a reading typed behind it, or a recording has them all")]
    MixedReadings,
    /// Several recordings, but not one for each position.
    #[error("{given} recordings were named for {wanted} positions")]
    Recordings {
        /// Recordings.
        given: usize,
        /// Positions.
        wanted: usize,
    },
    /// The run was recorded with the sensor elsewhere.
    #[error("when {run} was recorded, rig.toml said another `{what}` of \"{sensor}\" than it does now")]
    OtherRig {
        /// The run.
        run: String,
        /// The sensor.
        sensor: String,
        /// What differs.
        what: String,
    },
    /// A table cannot be opened.
    #[error("{} cannot be read: {source}", .path.display())]
    Open {
        /// The table.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A table is wrong.
    #[error("{}: {source}", .path.display())]
    Table {
        /// The table.
        path: PathBuf,
        /// What is wrong.
        source: crate::run::table::TableError,
    },
    /// An entry cannot be written.
    #[error("the calibration cannot be written: {0}")]
    Text(String),
}

impl Explain for CalibrateJobError {
    fn status(&self) -> Status {
        match self {
            Self::Text(_) => Status::Device,
            Self::Table { source, .. } => source.status(),
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        let near = |name: &str, there: &[String]| {
            did_you_mean(name, there).unwrap_or_else(|| "There is none.".to_owned())
        };
        Some(match self {
            Self::NoVehicle { name, there } | Self::NoSensor { name, there } | Self::NoMark { name, there } => {
                near(name, there)
            }
            Self::OtherKind { .. } => return None,
            Self::NothingTaped => {
                "Tape a sensor's length and give it, --length \"left travel=512\"; or give ride marks, --mark \"left=498\"; or \
                 write them into vehicle.toml as [[axle.ride_mark]]."
                    .into()
            }
            Self::NoSource => {
                "Name a recording, --from RUN or --from FILE.csv; or a logger, --port PATH; or, for a scale, type each reading \
                 behind its value: --at 100=3310."
                    .into()
            }
            Self::MixedReadings => {
                "Write --at 100=3310 for each, or --at 100,300,500 with --from; a fraction has a point: 3310.5.".into()
            },
            Self::Recordings { .. } => "Name one recording with all positions, or one for each position in their order.".into(),
            Self::OtherRig { .. } => "Record the positions anew with the sensor as it is now.".into(),
            Self::Open { .. } => "Check the name and the folder you are in.".into(),
            Self::Table { source, .. } => return source.hint(),
            Self::Text(_) => return None,
        })
    }
}
