//! The brackets of an axle as things that may sit elsewhere than drawn, and what a vehicle looks like when one does.

use crate::geometry::Vector3;
use crate::measure::links::{Line, Shape, bush_words};
use crate::vehicle::{Axle, Mount, Side, Vehicle, Watts};

/// Which element's bracket.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    LinkChassis(usize),
    LinkAxle(usize),
    Apex(usize),
    Leg(usize, usize),
    ArmChassis(usize),
    ArmAxle(usize, usize),
    WattsPivot(usize),
    WattsEnd(usize, usize),
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
    let mut found = Found { lines, brackets: Vec::new() };
    for (k, link) in axle.locating.links.iter().enumerate() {
        let at = found.lines_named(&link.name);
        let (chassis, axle) = (Place::LinkChassis(k), Place::LinkAxle(k));
        found.add(&link.name, "chassis end", Side::Chassis, &link.chassis, at.clone(), chassis);
        found.add(&link.name, "axle end", Side::Axle, &link.axle, at, axle);
    }
    for (k, wishbone) in axle.locating.wishbones.iter().enumerate() {
        let far = other(wishbone.apex_on);
        let legs = [1, 2].map(|leg| found.lines_named(&format!("{} leg {leg}", wishbone.name)));
        found.add(&wishbone.name, "apex", wishbone.apex_on, &wishbone.apex, legs.concat(), Place::Apex(k));
        for (leg, mount) in wishbone.legs.iter().enumerate() {
            let name = format!("leg {}", leg + 1);
            found.add(&wishbone.name, &name, far, mount, legs[leg].clone(), Place::Leg(k, leg));
        }
    }
    for (k, arm) in axle.locating.radius_arms.iter().enumerate() {
        let words = bush_words(arm);
        let at = words.map(|word| found.lines_named(&format!("{}, {word} bush", arm.name)));
        found.add(&arm.name, "chassis end", Side::Chassis, &arm.chassis, at.concat(), Place::ArmChassis(k));
        for (bush, mount) in arm.axle.iter().enumerate() {
            let name = format!("{} axle bush", words[bush]);
            found.add(&arm.name, &name, Side::Axle, mount, at[bush].clone(), Place::ArmAxle(k, bush));
        }
    }
    for (k, watts) in axle.locating.watts.iter().enumerate() {
        let at = found.lines_named(&watts.name);
        found.add(&watts.name, "pivot", watts.pivot_on, &watts.pivot, at.clone(), Place::WattsPivot(k));
        for (end, mount) in watts.ends.iter().enumerate() {
            let name = format!("link {}", end + 1);
            let far = other(watts.pivot_on);
            found.add(&watts.name, &name, far, mount, at.clone(), Place::WattsEnd(k, end));
        }
    }
    found.brackets
}

fn other(side: Side) -> Side {
    if side == Side::Axle { Side::Chassis } else { Side::Axle }
}

struct Found<'a> {
    lines: &'a [Line],
    brackets: Vec<Bracket>,
}

impl Found<'_> {
    fn lines_named(&self, name: &str) -> Vec<usize> {
        self.lines.iter().position(|l| l.name == name).into_iter().collect()
    }

    fn add(&mut self, element: &str, end: &str, on: Side, mount: &Mount, lines: Vec<usize>, place: Place) {
        self.brackets.push(Bracket {
            name: format!("{element}, {end}"),
            element: element.to_string(),
            on,
            mount: mount.clone(),
            tolerance_m: lines.first().map_or(0.0, |k| self.lines[*k].tolerance_m),
            lines,
            place,
        });
    }
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
            match (&mut lines[*k].shape, self.place) {
                (Shape::Straight { chassis, .. }, _) if self.on == Side::Chassis => *chassis = mount.clone(),
                (Shape::Straight { axle, .. }, _) => *axle = mount.clone(),
                (Shape::Watts(watts), Place::WattsEnd(_, end)) => watts.ends[end] = mount.clone(),
                (Shape::Watts(watts), _) => hang_crank(watts, mount),
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
            Place::ArmChassis(k) => locating.radius_arms[k].chassis = mount,
            Place::ArmAxle(k, bush) => locating.radius_arms[k].axle[bush] = mount,
            Place::WattsPivot(k) => hang_crank(&mut locating.watts[k], &mount),
            Place::WattsEnd(k, end) => locating.watts[k].ends[end] = mount,
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

/// A crank goes where its pivot goes.
fn hang_crank(watts: &mut Watts, pivot: &Mount) {
    let by = pivot.point() - watts.pivot.point();
    watts.crank.iter_mut().for_each(|end| *end += by);
    watts.pivot = pivot.clone();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::{Mechanism, cases};
    use crate::geometry::placed::PlacedBody;
    use crate::measure::links::lines;

    #[test]
    fn every_distance_is_kept_where_the_drawn_mechanism_goes() {
        // Rigid members, to the solver's rounding; a radius arm's bushes give, so its distances are no constants.
        const ROUNDING_M: f64 = 1e-9;
        for vehicle in [cases::t(), cases::w(), cases::h(), cases::q()] {
            let mechanism = Mechanism::new(&vehicle, 0).expect("a state within reach");
            for (heave_m, roll_rad) in [(0.08, 0.0), (0.0, 0.2), (-0.06, 0.3)] {
                let body = PlacedBody::new(
                    &mechanism.solve(heave_m, roll_rad).expect("a state within reach").pose,
                    mechanism.centre(),
                );
                for line in lines(&vehicle.axles[0], 0.003) {
                    let change_m = line.apparent(&body).0 - line.nominal_m();
                    assert!(change_m.abs() < ROUNDING_M, "{}: {change_m}", line.name);
                }
            }
        }
    }

    #[test]
    fn a_bracket_moved_is_the_vehicle_put_together_there() {
        // The lines with a bracket elsewhere are those of the vehicle file edited by hand, for every bracket.
        for vehicle in [cases::t(), cases::w(), cases::q(), cases::r(1000.0)] {
            let drawn = lines(&vehicle.axles[0], 0.003);
            let offset = Vector3::new(0.004, -0.003, 0.02);
            for bracket in brackets(&vehicle.axles[0], &drawn) {
                let put = bracket.put(&vehicle, 0, &(bracket.mount.point() + offset));
                let edited: Vec<_> = lines(&put.axles[0], 0.003).iter().map(Line::points).collect();
                let moved: Vec<_> = bracket.moved_lines(&drawn, &offset).iter().map(Line::points).collect();
                assert!(!bracket.lines.is_empty() && edited == moved, "{}", bracket.name);
            }
        }
    }
}
