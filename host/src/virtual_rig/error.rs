//! What can keep a virtual vehicle or a virtual logger from running, and how to mend it.

use crate::design::DesignError;
use crate::design::error::OutOfReach;
use crate::explain::{Explain, Status};
use crate::run::Phase;
use thiserror::Error;

/// Why something cannot be simulated.
#[derive(Debug, Error)]
pub enum VirtualRigError {
    /// The design cannot be solved.
    #[error(transparent)]
    Design(#[from] DesignError),
    /// The links cannot reach a state of the test.
    #[error(transparent)]
    OutOfReach(#[from] OutOfReach),
    /// A ramp that is flat, or steeper than a vehicle climbs.
    #[error("a ramp of {:.1}° cannot be climbed", .ramp_rad.to_degrees())]
    Ramp {
        /// Its angle, rad.
        ramp_rad: f64,
    },
    /// An axle that does not move.
    #[error("axle \"{axle}\" has no travel to drive through in \"{}\"", .phase.words())]
    NoTravel {
        /// The axle's name.
        axle: String,
        /// The phase.
        phase: Phase,
    },
    /// The vehicle has no such axle.
    #[error("the vehicle has no axle number {index}")]
    NoAxle {
        /// Asked for, counted from 0.
        index: usize,
    },
    /// A sensor that a virtual vehicle has nothing to show to.
    #[error(
        "sensor \"{sensor}\" reads the force in a link, and the virtual vehicle shows only how hard its axle is pulled"
    )]
    Force {
        /// Its name.
        sensor: String,
    },
    /// A part that the logger does not know.
    #[error("sensor \"{sensor}\" is wired to a part \"{part}\", which the logger does not know")]
    NoPart {
        /// The sensor's name.
        sensor: String,
        /// The part's name.
        part: String,
    },
    /// A bus that the virtual logger has not.
    #[error("sensor \"{sensor}\" is wired to bus {bus}, and the virtual logger has buses 0 to 3")]
    NoBus {
        /// The sensor's name.
        sensor: String,
        /// The bus.
        bus: u8,
    },
}

impl Explain for VirtualRigError {
    fn status(&self) -> Status {
        Status::BadInput
    }

    fn hint(&self) -> Option<String> {
        Some(match self {
            VirtualRigError::Design(error) => return error.hint(),
            VirtualRigError::OutOfReach(error) => return error.hint(),
            VirtualRigError::Ramp { .. } => "Give a --ramp-angle between 5 and 45 degrees.".into(),
            VirtualRigError::NoTravel { .. } => {
                "Give the axle more room: `sweep = { up = 90, down = 130, roll = 18 }`, and straps and shocks that let it move."
                    .into()
            }
            VirtualRigError::NoAxle { .. } => return None,
            VirtualRigError::NoPart { .. } => "It knows ads1115, as5600, lsm6dso and vl53l4cd.".into(),
            VirtualRigError::NoBus { .. } => "Put the sensor on one of them.".into(),
            VirtualRigError::Force { sensor } => format!("Leave out the `link` of \"{sensor}\": it then sits in the strap that pulls; or leave it out of the rig file that you simulate with."),
        })
    }
}
