//! Why a session ended.

use super::question::question;
use crate::explain::{Explain, Status};
use hingeline_protocol::{HostMessage, MAJOR, Outcome, Reply};

/// Why a session ended.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SessionError {
    /// Another major version.
    #[error("the logger speaks version {theirs} of the wire, this program speaks version {MAJOR}")]
    OtherMajor {
        /// Its version.
        theirs: u8,
    },
    /// Silence.
    #[error("the logger does not answer when asked {to}")]
    NoAnswer {
        /// What it was asked.
        to: String,
    },
    /// It said that it would start, and did not.
    #[error("the logger was told to start and sends no readings")]
    NoStream,
    /// It streams, and must not be interrupted.
    #[error("the logger is recording, and was left alone")]
    Busy,
    /// It refuses.
    #[error("the logger was asked {to} and refuses: {why}")]
    Refused {
        /// What it was asked.
        to: String,
        /// Its reason.
        why: String,
        /// What to do about it.
        hint: Option<String>,
    },
}

impl SessionError {
    /// A refusal from its reply.
    pub(super) fn refused(message: &HostMessage, reply: Reply) -> Self {
        let detail = reply.detail;
        let (why, hint) = match reply.outcome {
            Outcome::TooFast => (
                format!("its buses need {:.1} ms for a scan", f64::from(detail) / 1000.0),
                Some(format!(
                    "Set rate_hz in rig.toml to {:.0} or less.",
                    (1e6 / f64::from(detail.max(1))).floor()
                )),
            ),
            Outcome::UnknownPart => (
                "it does not know that part".to_owned(),
                Some(
                    "Check `device` of the sensor's input in rig.toml, or put newer firmware on the logger."
                        .into(),
                ),
            ),
            Outcome::TableFull => (
                format!("it has room for {detail}"),
                Some("Take sensors out of rig.toml, or use a second logger.".to_owned()),
            ),
            Outcome::NoSuchBus => (
                format!("it has {detail} buses, counted from 0"),
                Some("Correct `bus` of the sensor's input in rig.toml.".to_owned()),
            ),
            Outcome::Conflict => (
                format!("sensor number {detail}, counted from 0, uses that input already"),
                Some("Give each sensor an input of its own in rig.toml.".to_owned()),
            ),
            Outcome::NoSensors => (
                "no sensor is configured".to_owned(),
                Some("Say in rig.toml how each sensor is wired: `input = { … }`.".to_owned()),
            ),
            Outcome::Other(code) => (format!("reason number {code}, which this program does not know"), None),
            outcome => (outcome.as_str().to_owned(), None),
        };
        Self::Refused { to: question(message), why, hint }
    }
}

impl Explain for SessionError {
    fn status(&self) -> Status {
        Status::Device
    }

    fn hint(&self) -> Option<String> {
        match self {
            Self::OtherMajor { theirs } if *theirs > MAJOR => {
                Some("Use a newer version of this program, or put older firmware on the logger.".to_owned())
            }
            Self::OtherMajor { .. } => Some("Put newer firmware on the logger.".to_owned()),
            Self::NoAnswer { .. } => Some(
                "Check that it has power and that the port is the logger's: `hingeline ports` lists them."
                    .to_owned(),
            ),
            Self::NoStream => {
                Some("Check that the sensors have power and are wired as rig.toml says.".to_owned())
            }
            Self::Busy => Some(
                "End the recording with its button held for a second, or say --stop; what it kept stays kept.".to_owned(),
            ),
            Self::Refused { hint, .. } => hint.clone(),
        }
    }
}
