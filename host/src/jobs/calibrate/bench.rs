//! A calibration as a virtual builder plays it.

use super::{Work, si};
use crate::rig::Rig;
use crate::rig::calibration::quantity;
use crate::virtual_rig::procedure::{EDGES, FACES, Held, Procedure};

/// The positions of a calibration, held as hands hold them; none for a zero, whose position is the still itself, and where the rig
/// has no such sensor.
pub fn procedure(rig: &Rig, work: &Work, seed: u64) -> Option<Procedure> {
    let name = work.sensor()?;
    let place = rig.sensors.iter().position(|s| s.name == name)?;
    let meant: Vec<Held> = match work {
        Work::Zero { .. } => return None,
        Work::Scale { known, .. } => {
            let unit = si(quantity(&rig.sensors.get(place)?.kind)?);
            known.iter().map(|(value, _)| Held::Value(value * unit)).collect()
        }
        Work::Tumble { edges, .. } => FACES.iter().chain(EDGES.iter().filter(|_| *edges)).copied().collect(),
        Work::Heading { attitudes, .. } => {
            attitudes.iter().map(|a| Held::Tilt([a.roll_rad, a.pitch_rad])).collect()
        }
    };
    Some(Procedure::new(place, &meant, Some(seed)))
}
