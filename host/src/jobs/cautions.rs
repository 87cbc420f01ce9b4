//! What everybody reads before a test starts, and what to do in each phase. One text for the command line, the page and
//! the report.

use crate::rig::Rig;
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

/// What to do in a phase: with a sensor that reads the pull, in steps that tell what the links give.
pub fn instruction(phase: Phase, rig: &Rig) -> &'static str {
    let in_steps = rig.sensors.iter().any(|s| s.kind.reads_pull());
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
        Phase::RockForward if in_steps => {
            "Wheels held, nobody in line with the strap. Pull forward to a third of the load and hold for three seconds, to \
             two thirds and hold, to all of it and hold; never a little back in between; then let go."
        }
        Phase::RockBack if in_steps => {
            "Wheels held, nobody in line with the strap. Pull back to a third of the load and hold for three seconds, to two \
             thirds and hold, to all of it and hold; never a little back in between; then let go."
        }
        Phase::ShoveLeft if in_steps => {
            "Nobody in line with the strap. Pull the frame to the left at axle height, to a third of the load and hold for \
             three seconds, to two thirds and hold, to all of it and hold; never a little back in between; then let go."
        }
        Phase::ShoveRight if in_steps => {
            "Nobody in line with the strap. Pull the frame to the right at axle height, to a third of the load and hold for \
             three seconds, to two thirds and hold, to all of it and hold; never a little back in between; then let go."
        }
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
    fn with_a_scale_in_the_strap_the_pull_comes_in_steps() {
        use crate::virtual_rig::scenario;
        const STRAP: &str =
            "[[sensor]]\nname = \"strap\"\nkind = \"force\"\nscale = 0.5\nscale_u = 0.01\nnoise = 10\n";
        let vehicle = crate::vehicle::file::parse(scenario::VEHICLE, "vehicle.toml").unwrap();
        let rig = |text: &str| crate::rig::file::parse(text, "rig.toml", &vehicle).unwrap();
        let (bare, scaled) = (rig(scenario::RIG), rig(&format!("{}\n{STRAP}", scenario::RIG)));
        let pulls = [Phase::RockForward, Phase::RockBack, Phase::ShoveLeft, Phase::ShoveRight];
        for phase in pulls {
            assert!(instruction(phase, &bare).contains("three times"), "{phase:?}");
            let steps = instruction(phase, &scaled);
            assert!(
                steps.contains("to two thirds and hold") && steps.contains("in line with the strap"),
                "{steps}"
            );
        }
        assert_eq!(instruction(Phase::Still, &scaled), instruction(Phase::Still, &bare));
    }

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
