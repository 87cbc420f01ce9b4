//! The virtual rig against what it stands for.

mod give;
mod knuckle;
mod left_out;
mod logger;
mod motion;
mod obstacle;
mod play;
mod two_axles;

use super::Test;
use super::scenario;
use crate::rig::{self, Rig};
use crate::run::Phase;
use crate::vehicle::{self, Vehicle};

const PLAN: [Phase; 4] = [Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight];
const RAMP_RAD: f64 = 0.35;

fn bramble() -> (Vehicle, Rig) {
    let vehicle = vehicle::file::parse(scenario::VEHICLE, "vehicle.toml").expect("a good file");
    let rig = rig::file::parse(scenario::RIG, "rig.toml", &vehicle).expect("a good file");
    (vehicle, rig)
}

fn test() -> Test {
    Test { axle: 0, phases: PLAN.to_vec(), ramp_rad: RAMP_RAD }
}
