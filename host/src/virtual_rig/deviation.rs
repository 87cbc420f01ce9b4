//! One way in which a true vehicle differs from its drawing: what a measurement should find out.

use crate::geometry::Vector3;
use crate::vehicle::{Axle, Link, Side, Vehicle};

/// How far off a bracket is welded, m.
const WELDED_OFF_M: f64 = 0.02;

/// A difference between a true vehicle and its drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// The axle, by its place in the vehicle's list.
    axle: usize,
    /// The link, by its place on the axle.
    link: usize,
    /// Which of its brackets.
    end: Side,
    what: What,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum What {
    /// The link hangs in this hole, counted from 0.
    Hole(usize),
    /// The bracket sits this much higher, m.
    Higher(f64),
}

impl Deviation {
    /// One of all that an axle could have, chosen by `seed`; `None` if the axle has no links.
    pub fn choose(axle: &Axle, index: usize, seed: u64) -> Option<Self> {
        let all = Self::all(axle, index);
        let count = u64::try_from(all.len()).ok().filter(|count| *count > 0)?;
        all.get((seed % count) as usize).copied()
    }

    /// Every one that an axle could have: a link in another hole of its bracket, or a chassis bracket with one hole welded
    /// 20 mm too high or too low.
    pub fn all(axle: &Axle, index: usize) -> Vec<Self> {
        let mut all = Vec::new();
        for (link, it) in axle.locating.links.iter().enumerate() {
            let mut add = |end, what| all.push(Self { axle: index, link, end, what });
            for (end, mount) in [(Side::Chassis, &it.chassis), (Side::Axle, &it.axle)] {
                let others = (0..mount.holes().len()).filter(|hole| *hole != mount.in_use());
                others.for_each(|hole| add(end, What::Hole(hole)));
            }
            if it.chassis.holes().len() == 1 {
                add(Side::Chassis, What::Higher(WELDED_OFF_M));
                add(Side::Chassis, What::Higher(-WELDED_OFF_M));
            }
        }
        all
    }

    /// The true vehicle of a drawing. The link is made to fit, so that the axle sits at ride height as drawn.
    pub fn apply(&self, drawn: &Vehicle) -> Vehicle {
        let mut vehicle = drawn.clone();
        let link = vehicle.axles.get_mut(self.axle).and_then(|a| a.locating.links.get_mut(self.link));
        if let Some(link) = link {
            link.length_m = None;
            let mount = match self.end {
                Side::Chassis => &mut link.chassis,
                Side::Axle => &mut link.axle,
            };
            *mount = match self.what {
                What::Hole(hole) => mount.using(hole).unwrap_or_else(|| mount.clone()),
                What::Higher(height_m) => mount.moved(&Vector3::new(0.0, 0.0, height_m)),
            };
        }
        vehicle
    }

    /// The link that it concerns.
    pub fn link<'v>(&self, drawn: &'v Vehicle) -> Option<&'v Link> {
        drawn.axles.get(self.axle)?.locating.links.get(self.link)
    }

    /// In a builder's words.
    pub fn words(&self, drawn: &Vehicle) -> String {
        let Some(link) = self.link(drawn) else { return "nothing".into() };
        let (body, mount) = match self.end {
            Side::Chassis => ("chassis", &link.chassis),
            Side::Axle => ("axle", &link.axle),
        };
        match self.what {
            What::Hole(hole) => format!(
                "\"{}\" hangs in hole {} of its {body} bracket; the file says hole {}",
                link.name,
                hole + 1,
                mount.in_use() + 1
            ),
            What::Higher(height_m) => format!(
                "the {body} bracket of \"{}\" is welded {:.0} mm too {}",
                link.name,
                1e3 * height_m.abs(),
                if height_m > 0.0 { "high" } else { "low" }
            ),
        }
    }
}
