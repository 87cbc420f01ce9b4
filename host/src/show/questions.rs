//! The questions that builders ask, and which numbers answer each: the order of every output for people.

use crate::vehicle::numbers::Key;

/// A question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Question {
    /// Steering by articulation or bump.
    Steer,
    /// Instant centre and roll axis.
    Pivot,
    /// Sideways movement.
    Sideways,
    /// Movement along the vehicle.
    ForeAndAft,
    /// Anti-squat and its like.
    Forces,
    /// Pinion and castor.
    Angles,
    /// Rates.
    Stiffness,
}

impl Question {
    /// In the order in which people are told.
    pub const ALL: [Question; 7] = [
        Question::Steer,
        Question::Pivot,
        Question::Sideways,
        Question::ForeAndAft,
        Question::Forces,
        Question::Angles,
        Question::Stiffness,
    ];

    /// As asked.
    pub fn text(self) -> &'static str {
        match self {
            Question::Steer => "Does it steer itself?",
            Question::Pivot => "Where does it pivot?",
            Question::Sideways => "What moves sideways?",
            Question::ForeAndAft => "What moves fore and aft?",
            Question::Forces => "How does it answer throttle and brake?",
            Question::Angles => "Where do pinion and castor point?",
            Question::Stiffness => "How stiff is it?",
        }
    }

    /// The numbers that answer it.
    pub fn keys(self) -> &'static [Key] {
        match self {
            Question::Steer => &[Key::RollSteer, Key::BumpSteerHeave, Key::BumpSteerRoll],
            Question::Pivot => &[
                Key::PitchPerHeave,
                Key::SideViewInstantCentreX,
                Key::SideViewInstantCentreZ,
                Key::SideViewDirection,
                Key::RollCentreZ,
                Key::RollAxisRise,
                Key::RollAxisScrewPitch,
            ],
            Question::Sideways => &[Key::LateralPerHeave, Key::TrackShiftLeft, Key::TrackShiftRight],
            Question::ForeAndAft => {
                &[Key::ContactForwardPerHeave, Key::WheelbaseChangeLeft, Key::WheelbaseChangeRight]
            }
            Question::Forces => &[Key::AntiSquat, Key::AntiLiftDrive, Key::AntiDive, Key::AntiLiftBrake],
            Question::Angles => &[Key::PinionAngle, Key::Castor],
            Question::Stiffness => &[Key::HeaveRate, Key::RollRate],
        }
    }
}

/// Whether a number is zero at ride height by its definition, so that only its course over the travel says anything.
pub fn zero_at_ride(key: Key) -> bool {
    key.zero_at_ride()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_answers_exactly_one_question() {
        for key in Key::ALL {
            let asked = Question::ALL.into_iter().filter(|q| q.keys().contains(&key)).count();
            assert_eq!(asked, 1, "{}", key.as_str());
        }
    }
}
