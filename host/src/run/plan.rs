//! Tests as a builder names them, and the phases that each goes through.

use super::Phase;

/// What a builder sets out to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Test {
    /// One phase only, after a still.
    One(Phase),
    /// One wheel up a ramp, then the other.
    Ramp,
    /// Drive torque or a strap's pull, forth and back.
    Rock,
    /// Side load, left and right.
    Shove,
}

impl Test {
    /// The words that are understood, for messages.
    pub const WORDS: &'static str = "still, bounce, ramp, ramp left, ramp right, obstacle, rock, rock forward, rock back, shove, shove left, shove right";

    /// The test that these words name.
    pub fn parse(words: &str) -> Option<Test> {
        let words = plain_words(words);
        match words.as_str() {
            "ramp" => Some(Test::Ramp),
            "rock" => Some(Test::Rock),
            "shove" => Some(Test::Shove),
            words => Phase::parse(words).map(Test::One),
        }
    }

    /// Its words.
    pub fn words(self) -> &'static str {
        match self {
            Test::One(phase) => phase.words(),
            Test::Ramp => "ramp",
            Test::Rock => "rock",
            Test::Shove => "shove",
        }
    }

    /// The phases that it goes through, the still first.
    pub fn plan(self) -> Vec<Phase> {
        match self {
            Test::One(Phase::Still) => vec![Phase::Still],
            Test::One(phase) => vec![Phase::Still, phase],
            Test::Ramp => vec![Phase::Still, Phase::RampLeft, Phase::RampRight],
            Test::Rock => vec![Phase::Still, Phase::RockForward, Phase::RockBack],
            Test::Shove => vec![Phase::Still, Phase::ShoveLeft, Phase::ShoveRight],
        }
    }
}

/// A plan from words with commas between: phases in the order in which they are done.
///
/// # Errors
/// The first part that is no phase.
pub fn parse_plan(text: &str) -> Result<Vec<Phase>, String> {
    text.split(',')
        .map(|part| Phase::parse(&plain_words(part)).ok_or_else(|| part.trim().to_owned()))
        .collect()
}

/// The tests that a plan goes through, with commas between: `bounce, ramp`; none for a still alone.
pub fn plan_words(plan: &[Phase]) -> Option<String> {
    let mut told: Vec<&str> = Vec::new();
    for phase in plan {
        let word = match phase {
            Phase::Still => continue,
            Phase::RampLeft | Phase::RampRight => Test::Ramp.words(),
            Phase::RockForward | Phase::RockBack => Test::Rock.words(),
            Phase::ShoveLeft | Phase::ShoveRight => Test::Shove.words(),
            Phase::Bounce | Phase::Obstacle => phase.words(),
        };
        if !told.contains(&word) {
            told.push(word);
        }
    }
    (!told.is_empty()).then(|| told.join(", "))
}

/// Words as [`Phase::parse`] wants them, from what people and other programs write: `Ramp-Left`, `ramp_left`.
pub fn plain_words(text: &str) -> String {
    text.to_lowercase().replace(['-', '_'], " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_that_messages_offer_names_a_test_and_comes_back() {
        for words in Test::WORDS.split(", ") {
            assert_eq!(Test::parse(words).map(Test::words), Some(words));
        }
        assert_eq!(Test::parse(" Ramp-Left "), Some(Test::One(Phase::RampLeft)));
        assert_eq!(Test::parse("jump"), None);
    }

    #[test]
    fn plans_begin_with_a_still_and_reject_what_is_no_phase() {
        assert_eq!(Test::Ramp.plan(), [Phase::Still, Phase::RampLeft, Phase::RampRight]);
        assert_eq!(Test::One(Phase::Still).plan(), [Phase::Still]);
        assert_eq!(
            parse_plan("still, bounce,ramp left"),
            Ok(vec![Phase::Still, Phase::Bounce, Phase::RampLeft])
        );
        assert_eq!(
            plan_words(&[Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight]).as_deref(),
            Some("bounce, ramp")
        );
        assert_eq!(plan_words(&[Phase::Still]), None);
        assert_eq!(parse_plan("still, jump"), Err("jump".to_owned()));
    }
}
