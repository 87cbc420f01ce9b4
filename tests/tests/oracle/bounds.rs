//! What a measured number must hold to against the oracle's truth.

use hingeline::vehicle::numbers::Key;

/// A true value lies within so many standard uncertainties. Some 200 independent numbers with honest u would leave one of
/// them outside in one of two sets of seeds; the seeds here are fixed.
pub const COVERAGE: f64 = 3.0;

/// Root mean square of (measured − true)/u over the runs with planted faults: 1 if u is neither too small nor too large.
/// Reached: 0.71 and 0.79. Priors of the rig file are wider than what is planted (scale 0.5 % either way, accelerometer bias to 0.2).
pub const HONEST_U: [f64; 2] = [0.4, 1.3];

/// Share of the poses, once a second, of which a coordinate may lie beyond [`COVERAGE`]. Reached: 0.011, heave where the jack
/// starts and stops: a pose is a mean over 0.2 s, which rounds 0.1 m/s² by 0.2 mm, and u is 0.06 mm there.
pub const POSES_BEYOND: f64 = 0.02;

/// Share of the numbers that a sound vehicle may have called different: the guarded rule keeps to 5 % on either side where
/// the builder's limit is far below u. Reached: 0.01.
pub const FALSELY_DIFFERENT: f64 = 0.05;

/// Sensors that are as good as their rig file says agree to about 1. Reached: 0.30 to 0.52.
pub const AGREEMENT: f64 = 2.0;

/// Ramp travel index: 20 mm between the tyres' loaded radii are 22 points, and nobody told the radii at lift. Reached: 22.
pub const RAMP_INDEX_U: f64 = 29.0;

/// Largest u of each number at ride height: rig `rich` (six wires, two inertial units), then `standard` (four and two).
/// Wire ends known to 2 mm, scales to 0.5 %, headings of units to 3°. About 1.3 times what is reached, in the comment.
pub const LARGEST_U: [(Key, [f64; 2]); 12] = [
    (Key::SideViewInstantCentreX, [0.067, 0.21]), // 0.052, 0.16 m at 3 to 4 m
    (Key::SideViewInstantCentreZ, [0.018, 0.051]), // 0.014, 0.039 m
    (Key::PitchPerHeave, [0.0047, 0.014]),        // 0.0036, 0.011 rad/m
    (Key::ContactForwardPerHeave, [0.0049, 0.0088]), // 0.0038, 0.0068
    (Key::AntiSquat, [1.5, 2.5]),                 // 1.2, 2.0 %
    (Key::AntiLiftBrake, [0.46, 0.76]),           // 0.36, 0.59 %
    (Key::AntiLiftDrive, [1.5, 2.8]),             // 1.2, 2.1 %
    (Key::AntiDive, [1.1, 1.9]),                  // 0.81, 1.5 %
    (Key::RollCentreZ, [0.0019, 0.0033]),         // 0.0015, 0.0025 m
    (Key::RollAxisRise, [0.0042, 0.0093]),        // 0.0032, 0.0072 rad
    (Key::RollSteer, [0.0042, 0.0094]),           // 0.0032, 0.0072 rad/rad
    (Key::LateralPerHeave, [0.0042, 0.0060]),     // 0.0032, 0.0046
];
