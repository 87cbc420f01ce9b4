//! What a measured number must hold to against the oracle's truth.

use hingeline::vehicle::numbers::Key;

/// A true value lies within so many standard uncertainties. Some 200 independent numbers with honest u would leave one of
/// them outside in one of two sets of seeds; the seeds here are fixed.
pub const COVERAGE: f64 = 3.0;

/// Root mean square of (measured − true)/u over the runs with planted faults: 1 if u is neither too small nor too large.
/// Reached: 0.7. Priors of the rig file are wider than what is planted (scale 0.5 % either way, accelerometer bias to 0.2).
pub const HONEST_U: [f64; 2] = [0.4, 1.3];

/// Share of the poses, once a second, of which a coordinate may lie beyond [`COVERAGE`]. Reached: 0.
pub const POSES_BEYOND: f64 = 0.01;

/// Sensors that are as good as their rig file says agree to about 1. Reached: 0.22 to 1.2.
pub const AGREEMENT: f64 = 2.0;

/// Ramp travel index: 20 mm between the tyres' loaded radii are 22 points, and nobody told the radii at lift. Reached: 25.
pub const RAMP_INDEX_U: f64 = 32.0;

/// Largest u of each number at ride height: rig `rich` (six wires, two inertial units), then `standard` (four and two).
/// Wire ends known to 2 mm, scales to 0.5 %, headings of units to 3°. About 1.3 times what is reached, in the comment.
pub const LARGEST_U: [(Key, [f64; 2]); 12] = [
    (Key::SideViewInstantCentreX, [0.23, 0.25]), // 0.174, 0.190 m at 3 to 4 m
    (Key::SideViewInstantCentreZ, [0.030, 0.053]), // 0.023, 0.041 m
    (Key::PitchPerHeave, [0.0145, 0.016]),       // 0.0109, 0.0122 rad/m
    (Key::ContactForwardPerHeave, [0.0082, 0.0098]), // 0.0063, 0.0075
    (Key::AntiSquat, [2.4, 2.8]),                // 1.83, 2.10 %
    (Key::AntiLiftBrake, [0.72, 0.82]),          // 0.55, 0.63 %
    (Key::AntiLiftDrive, [2.6, 3.1]),            // 1.97, 2.34 %
    (Key::AntiDive, [1.8, 2.2]),                 // 1.38, 1.64 %
    (Key::RollCentreZ, [0.0023, 0.0059]),        // 0.0018, 0.0045 m
    (Key::RollAxisRise, [0.0056, 0.0195]),       // 0.0043, 0.0149 rad
    (Key::RollSteer, [0.0056, 0.0195]),          // 0.0043, 0.0149 rad/rad
    (Key::LateralPerHeave, [0.0046, 0.0059]),    // 0.0035, 0.0045
];
