//! The brackets of an axle as things that may sit elsewhere than drawn, and what a vehicle looks like when one does.

use crate::geometry::Vector3;
use crate::measure::links::Line;
use crate::vehicle::{Axle, Mount, Side, Vehicle};

/// Which element's bracket.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    LinkChassis(usize),
    LinkAxle(usize),
    Apex(usize),
    Leg(usize, usize),
}

/// A bracket: a point that one or more apparent lengths end at.
#[derive(Debug, Clone, PartialEq)]
pub struct Bracket {
    /// "upper left, chassis end".
    pub name: String,
    /// Name of the element.
    pub element: String,
    /// Body that carries it.
    pub on: Side,
    /// Its holes and the one that the file says is in use.
    pub mount: Mount,
    /// Standard deviation of each coordinate, m.
    pub tolerance_m: f64,
    /// Which lines end here, by place in [`crate::measure::links::lines`].
    pub lines: Vec<usize>,
    place: Place,
}

/// Every bracket of an axle whose link lengths are watched.
pub fn brackets(axle: &Axle, lines: &[Line]) -> Vec<Bracket> {
    let line = |name: &str| lines.iter().position(|l| l.name == name).into_iter().collect::<Vec<_>>();
    let tolerance = |of: &[usize]| of.first().map_or(0.0, |k| lines[*k].tolerance_m);
    let mut found = Vec::new();
    let mut add = |element: &str, end: String, on: Side, mount: &Mount, lines: Vec<usize>, place: Place| {
        found.push(Bracket {
            name: format!("{element}, {end}"),
            element: element.to_string(),
            on,
            mount: mount.clone(),
            tolerance_m: tolerance(&lines),
            lines,
            place,
        });
    };
    for (k, link) in axle.locating.links.iter().enumerate() {
        let at = line(&link.name);
        add(
            &link.name,
            "chassis end".into(),
            Side::Chassis,
            &link.chassis,
            at.clone(),
            Place::LinkChassis(k),
        );
        add(&link.name, "axle end".into(), Side::Axle, &link.axle, at, Place::LinkAxle(k));
    }
    for (k, wishbone) in axle.locating.wishbones.iter().enumerate() {
        let far = if wishbone.apex_on == Side::Axle { Side::Chassis } else { Side::Axle };
        let legs: Vec<Vec<usize>> =
            (1..=2).map(|leg| line(&format!("{} leg {leg}", wishbone.name))).collect();
        add(&wishbone.name, "apex".into(), wishbone.apex_on, &wishbone.apex, legs.concat(), Place::Apex(k));
        for (leg, mount) in wishbone.legs.iter().enumerate() {
            add(
                &wishbone.name,
                format!("leg {}", leg + 1),
                far,
                mount,
                legs[leg].clone(),
                Place::Leg(k, leg),
            );
        }
    }
    found
}

impl Bracket {
    /// The lines with this bracket moved by `offset`, m.
    pub fn moved_lines(&self, lines: &[Line], offset: &Vector3<f64>) -> Vec<Line> {
        self.replaced(lines, &self.mount.moved(offset))
    }

    /// The lines with another hole of this bracket in use; `None` if there is no such hole.
    pub fn rehung_lines(&self, lines: &[Line], hole: usize) -> Option<Vec<Line>> {
        Some(self.replaced(lines, &self.mount.using(hole)?))
    }

    fn replaced(&self, lines: &[Line], mount: &Mount) -> Vec<Line> {
        let mut lines = lines.to_vec();
        for k in &self.lines {
            match self.on {
                Side::Chassis => lines[*k].chassis = mount.clone(),
                Side::Axle => lines[*k].axle = mount.clone(),
            }
        }
        lines
    }

    /// The vehicle with this bracket's point at `point`, its links re-made to fit.
    pub fn put(&self, vehicle: &Vehicle, axle: usize, point: &Vector3<f64>) -> Vehicle {
        let mut vehicle = vehicle.clone();
        let locating = &mut vehicle.axles[axle].locating;
        let mount = Mount::fixed(*point);
        match self.place {
            Place::LinkChassis(k) => locating.links[k].chassis = mount,
            Place::LinkAxle(k) => locating.links[k].axle = mount,
            Place::Apex(k) => locating.wishbones[k].apex = mount,
            Place::Leg(k, leg) => locating.wishbones[k].legs[leg] = mount,
        }
        vehicle
    }

    /// The bracket on the other side of the vehicle: same element with left and right exchanged, same end.
    pub fn twin<'a>(&self, all: &'a [Bracket]) -> Option<&'a Bracket> {
        let swapped = if self.name.contains("left") {
            self.name.replace("left", "right")
        } else {
            return None;
        };
        all.iter().find(|b| b.name == swapped && b.mount.holes().len() == self.mount.holes().len())
    }
}
