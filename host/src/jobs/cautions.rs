//! What everybody reads before a test starts, and what to do in each phase. One text for the command line, the page and
//! the report.

use crate::run::Phase;

/// The usual cautions, one sentence or two each.
pub const CAUTIONS: [&str; 7] = [
    "A vehicle on a ramp or a jack can roll over or drop. Work on level, firm ground.",
    "Chock the wheels that stay down. Hold a lifted vehicle by stands rated for its weight, never by the jack alone.",
    "Nobody beside, under or in the path of a vehicle that moves or is lifted, and nobody between links, wheels and frame: \
     they pinch.",
    "Keep clear of tensioned wires and straps; a broken one whips.",
    "On a ramp: crawl, one driver belted in, a spotter in the driver's sight, a restraint against rolling over.",
    "Follow your local rules, and let qualified people lift and drive.",
    "This program advises. It does not certify a vehicle as safe.",
];

/// What concerns whoever unbolts a link under a vehicle.
pub const UNDER_A_VEHICLE: &str = CAUTIONS[1];

/// What to do in a phase.
pub fn instruction(phase: Phase) -> &'static str {
    match phase {
        Phase::Still => {
            "Level floor, ride height, nobody in or on the vehicle, engine off. Touch nothing for ten seconds."
        }
        Phase::Bounce => {
            "Raise and lower the frame slowly, eight seconds or more from bottom to bottom, three times; \
             or hold it for three seconds at several heights."
        }
        Phase::RampLeft => {
            "Left wheel up the ramp at a crawl. Hold for three seconds every 100 mm of rise, until the mate is about to \
             lift; then back the same way."
        }
        Phase::RampRight => {
            "Right wheel up the ramp at a crawl. Hold for three seconds every 100 mm of rise, until the mate is about to \
             lift; then back the same way."
        }
        Phase::Obstacle => "Drive slowly over rough ground that uses all of the travel.",
        Phase::RockForward => {
            "Wheels held. Pull or drive the axle forward, hold for three seconds, let go; three times."
        }
        Phase::RockBack => {
            "Wheels held. Pull or drive the axle back, hold for three seconds, let go; three times."
        }
        Phase::ShoveLeft => {
            "Push the frame to the left at axle height, hold for three seconds, let go; three times."
        }
        Phase::ShoveRight => {
            "Push the frame to the right at axle height, hold for three seconds, let go; three times."
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cautions_name_every_usual_hazard() {
        let all = CAUTIONS.join(" ").to_lowercase();
        let hazards =
            ["stands rated", "chock", "beside, under", "spotter", "restraint", "pinch", "tensioned wires"];
        for words in hazards.into_iter().chain(["local rules", "qualified people", "advises", "not certify"])
        {
            assert!(all.contains(words), "{words}");
        }
    }
}
