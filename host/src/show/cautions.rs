//! The cautions that stand wherever a test is started or its results are printed.

/// What can hurt, and what keeps it from doing so.
pub const ALL: [&str; 7] = [
    "A ramp or a lift can roll a vehicle over or drop it: stop before it feels unsteady.",
    "Hold it on stands rated for its weight, on level and firm ground; a jack only lifts.",
    "Chock every wheel that stays on the ground.",
    "Nobody is beside or under a vehicle that moves or hangs.",
    "One person drives, another watches from a safe place and can call a stop.",
    "Wear the restraint, and keep the vehicle restrained where it could tip or roll away.",
    "Keep hands, hair and clothes away from pinch points between axle, links and frame, and from tensioned wires and straps.",
];

/// What the tool does not do.
pub const DEFERS: &str =
    "Local rules and qualified people come first. This tool advises; it does not certify a vehicle as safe.";
