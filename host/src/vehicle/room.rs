//! What the elements that locate an axle ask of a builder: joints to keep, room to find.

use super::{Locating, Side};
use crate::geometry::Vector3;

/// Where the joints of an axle's links lie at ride height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// How far the farthest joint lies from the wheel centreline, along the vehicle, m.
    pub reach_m: f64,
    /// Height of the highest joint above the floor, m.
    pub highest_m: f64,
    /// Height of the lowest chassis joint above the floor, m: what hangs under the vehicle.
    pub lowest_chassis_m: f64,
}

impl Locating {
    /// Joints that wear: both ends of a link; a wishbone's apex and legs; a radius arm's chassis joint and two bushes; the
    /// pivot and both ends of both links of a Watts linkage.
    pub fn joints(&self) -> usize {
        2 * self.links.len() + 3 * self.wishbones.len() + 3 * self.radius_arms.len() + 5 * self.watts.len()
    }

    /// The room that they take; none where nothing locates the axle.
    pub fn room(&self) -> Option<Room> {
        let joints = self.places();
        let most = |of: fn(&Vector3<f64>) -> f64| joints.iter().map(|(_, p)| of(p)).reduce(f64::max);
        let chassis = joints.iter().filter(|(side, _)| *side == Side::Chassis).map(|(_, p)| p.z);
        Some(Room {
            reach_m: most(|p| p.x.abs())?,
            highest_m: most(|p| p.z)?,
            lowest_chassis_m: chassis.reduce(f64::min)?,
        })
    }

    /// Every joint with the body that carries it.
    fn places(&self) -> Vec<(Side, Vector3<f64>)> {
        let mut places = Vec::new();
        for link in &self.links {
            places.extend([(Side::Chassis, link.chassis.point()), (Side::Axle, link.axle.point())]);
        }
        for wishbone in &self.wishbones {
            places.push((wishbone.apex_on, wishbone.apex.point()));
            places.extend(wishbone.legs.iter().map(|leg| (wishbone.apex_on.other(), leg.point())));
        }
        for arm in &self.radius_arms {
            places.push((Side::Chassis, arm.chassis.point()));
            places.extend(arm.axle.iter().map(|bush| (Side::Axle, bush.point())));
        }
        for watts in &self.watts {
            places.push((watts.pivot_on, watts.pivot.point()));
            places.extend(watts.crank.iter().map(|end| (watts.pivot_on, *end)));
            places.extend(watts.ends.iter().map(|end| (watts.pivot_on.other(), end.point())));
        }
        places
    }
}

impl Side {
    /// The other body.
    pub fn other(self) -> Self {
        match self {
            Side::Chassis => Side::Axle,
            Side::Axle => Side::Chassis,
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::files::starters::Layout;
    use crate::vehicle::file::parse;

    #[test]
    fn joints_and_room_of_layouts() {
        // Counted and read off the starters by hand.
        for (layout, joints, reach_m, highest_m, lowest_chassis_m) in
            [(Layout::FourLink, 10, 0.95, 0.66, 0.50), (Layout::RadiusArmWatts, 11, 1.15, 0.62, 0.42)]
        {
            let vehicle = parse(&layout.vehicle_text("Bramble"), "vehicle.toml").expect("a starter");
            let locating = &vehicle.axles[0].locating;
            let room = locating.room().expect("links");
            assert_eq!(locating.joints(), joints);
            for (got, want) in [
                (room.reach_m, reach_m),
                (room.highest_m, highest_m),
                (room.lowest_chassis_m, lowest_chassis_m),
            ] {
                assert!((got - want).abs() < 1e-12, "{layout:?}: {got}, not {want}");
            }
        }
    }
}
