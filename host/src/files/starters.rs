//! Starters: a plausible vehicle of each common layout and a rig that fits it, commented for the person who edits them.

/// A layout that there is a starter for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// Radius arms and a panhard bar.
    RadiusArm,
    /// Two lower links, one upper link and a panhard bar.
    ThreeLink,
    /// Two lower and two upper links in parallel, and a panhard bar.
    FourLink,
    /// Straight lower links, upper links drawn together.
    TriangulatedFourLink,
    /// Lower links spread, upper links drawn together.
    DoubleTriangulatedFourLink,
    /// Two lower links and an upper wishbone.
    WishboneThreeLink,
    /// Radius arms and a Watts linkage.
    RadiusArmWatts,
}

/// The name that every starter carries until it is given another, as its line stands in the file.
const STARTER_NAME: &str = "name = \"Bramble\"";

impl Layout {
    /// Every layout with the word that commands use.
    pub const WORDS: [(&'static str, Layout); 7] = [
        ("radius-arm", Layout::RadiusArm),
        ("three-link", Layout::ThreeLink),
        ("four-link", Layout::FourLink),
        ("triangulated-four-link", Layout::TriangulatedFourLink),
        ("double-triangulated-four-link", Layout::DoubleTriangulatedFourLink),
        ("wishbone-three-link", Layout::WishboneThreeLink),
        ("radius-arm-watts", Layout::RadiusArmWatts),
    ];

    /// The layout that this word names.
    pub fn parse(word: &str) -> Option<Layout> {
        Self::WORDS.iter().find(|(w, _)| *w == word).map(|(_, layout)| *layout)
    }

    /// Its starter's `vehicle.toml`, called `name`.
    pub fn vehicle_text(self, name: &str) -> String {
        let text = match self {
            Layout::RadiusArm => include_str!("starters/radius-arm.toml"),
            Layout::ThreeLink => include_str!("starters/three-link.toml"),
            Layout::FourLink => include_str!("starters/four-link.toml"),
            Layout::TriangulatedFourLink => include_str!("starters/triangulated-four-link.toml"),
            Layout::DoubleTriangulatedFourLink => include_str!("starters/double-triangulated-four-link.toml"),
            Layout::WishboneThreeLink => include_str!("starters/wishbone-three-link.toml"),
            Layout::RadiusArmWatts => include_str!("starters/radius-arm-watts.toml"),
        };
        let quoted = toml::Value::String(name.to_owned());
        text.replacen(STARTER_NAME, &format!("name = {quoted}"), 1)
    }

    /// The `rig.toml` that fits its starter.
    pub fn rig_text(self) -> &'static str {
        match self {
            Layout::RadiusArm | Layout::ThreeLink | Layout::FourLink => {
                include_str!("starters/rig-front.toml")
            }
            Layout::TriangulatedFourLink
            | Layout::DoubleTriangulatedFourLink
            | Layout::WishboneThreeLink
            | Layout::RadiusArmWatts => include_str!("starters/rig-rear.toml"),
        }
    }
}
