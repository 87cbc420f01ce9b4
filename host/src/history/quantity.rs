//! What is followed from run to run, and what each of it depends on besides the vehicle itself.

use crate::vehicle::numbers::{Key, Unit};

/// Something about a link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum OfLink {
    /// Play of its joints.
    Play,
    /// How much of the play its joints give as drawn.
    DrawnGive,
    /// Give of its joints and brackets under load.
    Compliance,
    /// Largest change of its apparent length over the travel.
    ApparentChange,
    /// Length as built.
    Length,
}

impl OfLink {
    /// Every one, with its name in files and its words.
    pub const WORDS: [(OfLink, &'static str, &'static str); 5] = [
        (OfLink::Play, "play_m", "play"),
        (OfLink::DrawnGive, "drawn_give_m", "give as drawn"),
        (OfLink::Compliance, "compliance_m_per_n", "give under load"),
        (OfLink::ApparentChange, "apparent_change_m", "apparent change of length"),
        (OfLink::Length, "length_m", "length"),
    ];

    /// What a builder calls it.
    pub fn words(self) -> &'static str {
        Self::WORDS.iter().find(|w| w.0 == self).map_or("", |w| w.2)
    }
}

/// One thing that a run measures on one axle.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Quantity {
    /// A characteristic number at ride height.
    Number(Key),
    /// The ramp travel index with the left wheel up.
    RampLeft,
    /// The same with the right wheel up.
    RampRight,
    /// Of a link, by its name.
    Link(OfLink, String),
}

const RAMP_LEFT: &str = "ramp_travel_index_left";
const RAMP_RIGHT: &str = "ramp_travel_index_right";

/// What a quantity depends on besides the vehicle's state: names of facts, see [`super::comparable`].
pub const TYRE_RADIUS: &str = "tyre radius";
/// See [`TYRE_RADIUS`].
pub const TRACK: &str = "track";
/// See [`TYRE_RADIUS`].
pub const WHEELBASE: &str = "wheelbase";
/// See [`TYRE_RADIUS`].
pub const CG_HEIGHT: &str = "height of the centre of gravity";
/// See [`TYRE_RADIUS`].
pub const DRIVE: &str = "drive share and torque";
/// See [`TYRE_RADIUS`].
pub const BRAKE: &str = "brake share and torque";
/// See [`TYRE_RADIUS`].
pub const PINION: &str = "pinion angle";
/// See [`TYRE_RADIUS`].
pub const CASTOR: &str = "castor";
/// See [`TYRE_RADIUS`].
pub const RAMP_ANGLE: &str = "ramp angle";
/// Whether the axle was pulled at one load or in steps: play of the first holds what the joints give, play of the second does not.
pub const PULL: &str = "how the axle was pulled";

impl Quantity {
    /// Its name in files: a number's key, or a link's quantity.
    pub fn name(&self) -> &'static str {
        match self {
            Quantity::Number(key) => key.as_str(),
            Quantity::RampLeft => RAMP_LEFT,
            Quantity::RampRight => RAMP_RIGHT,
            Quantity::Link(of, _) => OfLink::WORDS.iter().find(|w| w.0 == *of).map_or("", |w| w.1),
        }
    }

    /// The link that it belongs to; empty for the axle as a whole.
    pub fn element(&self) -> &str {
        match self {
            Quantity::Link(_, link) => link,
            _ => "",
        }
    }

    /// The quantity of this name and element.
    pub fn parse(name: &str, element: &str) -> Option<Quantity> {
        if let Some((of, _, _)) = OfLink::WORDS.iter().find(|w| w.1 == name) {
            return (!element.is_empty()).then(|| Quantity::Link(*of, element.to_owned()));
        }
        if !element.is_empty() {
            return None;
        }
        match name {
            RAMP_LEFT => Some(Quantity::RampLeft),
            RAMP_RIGHT => Some(Quantity::RampRight),
            _ => Key::parse(name).map(Quantity::Number),
        }
    }

    /// Every name that [`Self::parse`] knows.
    pub fn names() -> impl Iterator<Item = &'static str> {
        let links = OfLink::WORDS.iter().map(|w| w.1);
        Key::ALL.into_iter().map(Key::as_str).chain([RAMP_LEFT, RAMP_RIGHT]).chain(links)
    }

    /// What a builder calls it.
    pub fn label(&self) -> String {
        match self {
            Quantity::Number(key) => key.label().to_owned(),
            Quantity::RampLeft => "ramp travel index, left wheel up".to_owned(),
            Quantity::RampRight => "ramp travel index, right wheel up".to_owned(),
            Quantity::Link(of, link) => {
                format!("{link}: {}", of.words())
            }
        }
    }

    /// Its unit; none for an index, and for a compliance, of which no number is one.
    pub fn unit(&self) -> Option<Unit> {
        match self {
            Quantity::Number(key) => Some(key.unit()),
            Quantity::RampLeft | Quantity::RampRight | Quantity::Link(OfLink::Compliance, _) => None,
            Quantity::Link(_, _) => Some(Unit::Metre),
        }
    }

    /// Whether it is a difference within one run, which rig and zero hardly touch.
    pub fn is_relative(&self) -> bool {
        matches!(self, Quantity::Link(OfLink::Play | OfLink::DrawnGive | OfLink::Compliance, _))
    }

    /// Facts of the vehicle file and of the test that it depends on. Formulas are those of `vehicle::numbers`: what follows from
    /// rates of turning alone depends on none.
    pub fn facts(&self) -> &'static [&'static str] {
        let Quantity::Number(key) = self else {
            return match self {
                Quantity::Link(OfLink::Play, _) => &[PULL],
                Quantity::RampLeft | Quantity::RampRight => &[TYRE_RADIUS, TRACK, WHEELBASE, RAMP_ANGLE],
                _ => &[],
            };
        };
        match key {
            Key::SideViewInstantCentreZ | Key::SideViewDirection | Key::RollCentreZ => &[TYRE_RADIUS],
            Key::ContactForwardPerHeave => &[TYRE_RADIUS, DRIVE],
            Key::AntiSquat | Key::AntiLiftDrive => &[TYRE_RADIUS, WHEELBASE, CG_HEIGHT, DRIVE],
            Key::AntiLiftBrake | Key::AntiDive => &[TYRE_RADIUS, WHEELBASE, CG_HEIGHT, BRAKE],
            Key::PinionAngle => &[PINION],
            Key::Castor => &[CASTOR],
            Key::WheelbaseChangeLeft
            | Key::WheelbaseChangeRight
            | Key::TrackShiftLeft
            | Key::TrackShiftRight => &[TRACK],
            _ => &[],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_come_back() {
        for name in Quantity::names() {
            let element = if OfLink::WORDS.iter().any(|w| w.1 == name) { "lower left" } else { "" };
            let quantity = Quantity::parse(name, element).unwrap();
            assert_eq!((quantity.name(), quantity.element()), (name, element));
            assert!(!quantity.label().is_empty());
        }
        assert_eq!(Quantity::parse("play_m", ""), None);
        assert_eq!(Quantity::parse("roll_centre_z_m", "lower left"), None);
        assert_eq!(Quantity::parse("wobble", ""), None);
    }
}
