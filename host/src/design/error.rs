//! What can be wrong with a design, and how to mend it.

use crate::explain::Explain;
use thiserror::Error;

/// Why an axle cannot be predicted, or not at a state.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DesignError {
    /// The vehicle has no such axle.
    #[error("vehicle \"{vehicle}\" has no axle number {index}")]
    NoAxle {
        /// Vehicle name.
        vehicle: String,
        /// Asked for, counted from 0.
        index: usize,
    },
    /// Directions beyond heave and roll are left free.
    #[error("axle \"{axle}\": {}", sentence(.loose))]
    NotLocated {
        /// Axle name.
        axle: String,
        /// What is free.
        loose: Vec<Loose>,
    },
    /// More rigid members than the axle has directions to hold.
    #[error(
        "axle \"{axle}\" is held by {redundant} more member{} than it needs, and {} cannot give way",
        if *.redundant == 1 { "" } else { "s" }, listed(.members)
    )]
    Overconstrained {
        /// Axle name.
        axle: String,
        /// Rows beyond what the free directions need.
        redundant: usize,
        /// Members with neither stiffness nor joint kinds.
        members: Vec<String>,
    },
    /// A radius arm that can spin about its own length.
    #[error(
        "axle \"{axle}\": radius arm \"{arm}\" can spin about its own length, because none of its bushes has conical stiffness"
    )]
    ArmSpins {
        /// Axle name.
        axle: String,
        /// Arm name.
        arm: String,
    },
    /// Stated lengths and points cannot be brought together.
    #[error(
        "axle \"{axle}\": the links cannot be joined at ride height with their stated lengths; \"{member}\" does not reach"
    )]
    RidePose {
        /// Axle name.
        axle: String,
        /// The member that stops it.
        member: String,
    },
    /// The torque in a driveshaft is wanted and nobody says how the axle is geared.
    #[error("axle \"{axle}\": its final drive is not known, so neither is the torque in its driveshaft")]
    NoFinalDrive {
        /// Axle name.
        axle: String,
    },
    /// The links cannot reach a state.
    #[error(transparent)]
    OutOfReach(#[from] OutOfReach),
}

/// A state that the links cannot reach: where travel ends, and what ends it.
#[derive(Debug, Clone, PartialEq, Error)]
#[error(
    "axle \"{axle}\" cannot reach heave {:.1} mm, roll {:.2}°: \"{member}\" stops it at heave {:.1} mm, roll {:.2}°",
    1e3 * .heave_m, .roll_rad.to_degrees(), 1e3 * .reached_heave_m, .reached_roll_rad.to_degrees()
)]
pub struct OutOfReach {
    /// Axle name.
    pub axle: String,
    /// Asked for, m.
    pub heave_m: f64,
    /// Asked for, rad.
    pub roll_rad: f64,
    /// How far it came, m.
    pub reached_heave_m: f64,
    /// How far it came, rad.
    pub reached_roll_rad: f64,
    /// The member that stops it.
    pub member: String,
}

impl Explain for OutOfReach {
    fn hint(&self) -> Option<String> {
        Some(format!("Ask for less travel, or check the length and the points of \"{}\".", self.member))
    }
}

/// A motion that nothing holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Loose {
    /// Forward and back.
    ForeAft,
    /// Sideways.
    Sideways,
    /// Wind-up: pitch about the axle's own line.
    Pitch,
    /// Steer of the whole axle.
    Yaw,
    /// A radius arm about its own length.
    Arm(String),
    /// The crank of a Watts linkage.
    Crank(String),
}

impl Loose {
    /// As a clause.
    fn clause(&self) -> String {
        match self {
            Loose::ForeAft => "nothing locates the axle fore and aft".into(),
            Loose::Sideways => "nothing locates the axle sideways".into(),
            Loose::Pitch => "nothing holds the axle in pitch (wind-up)".into(),
            Loose::Yaw => "nothing holds the axle in yaw (steer)".into(),
            Loose::Arm(name) => {
                format!("nothing stops radius arm \"{name}\" from spinning about its own length")
            }
            Loose::Crank(name) => format!("nothing holds the crank of \"{name}\""),
        }
    }

    /// As a caution about a motion that is held by links nearly square to it.
    pub(super) fn caution(&self) -> String {
        let motion = match self {
            Loose::ForeAft => "The axle is held fore and aft".into(),
            Loose::Sideways => "The axle is held sideways".into(),
            Loose::Pitch => "The axle is held in pitch (wind-up)".into(),
            Loose::Yaw => "The axle is held in yaw (steer)".into(),
            Loose::Arm(name) => format!("Radius arm \"{name}\" is held about its own length"),
            Loose::Crank(name) => format!("The crank of \"{name}\" is held"),
        };
        format!(
            "{motion} only weakly, by links nearly square to that motion: small errors of the points change it much; {}.",
            self.remedy()
        )
    }

    /// What to add.
    fn remedy(&self) -> String {
        match self {
            Loose::ForeAft => "add a link that runs fore and aft".into(),
            Loose::Sideways => "add a panhard bar or a Watts linkage, or triangulate the links".into(),
            Loose::Pitch => "add an upper link, so that wheel torque is held".into(),
            Loose::Yaw => "add a second fore-and-aft link on the other side".into(),
            Loose::Arm(name) => format!("give the bushes of \"{name}\" a conical stiffness"),
            Loose::Crank(name) => format!("check the pivot, the crank and the ends of \"{name}\""),
        }
    }
}

fn sentence(loose: &[Loose]) -> String {
    loose.iter().map(Loose::clause).collect::<Vec<_>>().join(", and ")
}

/// Names in quotes, as a list.
fn listed(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().map(|n| format!("\"{n}\"")).collect();
    match quoted.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

impl Explain for DesignError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            DesignError::NoAxle { .. } => return None,
            DesignError::NotLocated { loose, .. } => {
                let mut text = loose.iter().map(Loose::remedy).collect::<Vec<_>>().join("; ");
                text.get_mut(..1).map(str::make_ascii_uppercase);
                text + "."
            }
            DesignError::Overconstrained { .. } => {
                "Give these members joints = [\"rubber\", \"rubber\"] (or the kinds that they have), or a stiffness, \
                 so that the bushes can take up the difference."
                    .into()
            }
            DesignError::ArmSpins { arm, .. } => {
                format!(
                    "Give a bush of \"{arm}\" a conical stiffness; a rubber or polyurethane bush always has some."
                )
            }
            DesignError::RidePose { member, .. } => {
                format!("Check the length of \"{member}\" (between joint centres) and its two points.")
            }
            DesignError::NoFinalDrive { .. } => {
                "Write final_drive = 4.1 into [axle.driveshaft], or add --final-drive 4.1 (turns of the pinion per turn of the \
                 wheels)."
                    .into()
            }
            DesignError::OutOfReach(limit) => return limit.hint(),
        })
    }
}
