//! What was done to a vehicle, when, and which baselines it ends.

use super::quantity::{self, OfLink, Quantity};
use crate::vehicle::numbers::Key;
use crate::vehicle::{Axle, Side, Vehicle};

/// What was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Work {
    /// An element, or the joint at one of its ends, was replaced.
    Replaced {
        /// The element.
        element: String,
        /// Which end's joint; none for the whole element.
        end: Option<Side>,
    },
    /// Its joints were greased.
    Greased {
        /// The element.
        element: String,
    },
    /// Its bolts were tightened to their torque.
    Retorqued {
        /// The element.
        element: String,
    },
    /// Somebody looked at it and found it sound.
    Checked {
        /// The element.
        element: String,
    },
    /// An end was hung elsewhere.
    Moved {
        /// The element.
        element: String,
        /// Which end.
        end: Side,
        /// The hole, counted from 1, where the bracket has several.
        hole: Option<u32>,
    },
    /// Other tyres.
    Tyre {
        /// The axle; none for all.
        axle: Option<String>,
    },
    /// Another tyre pressure.
    Pressure {
        /// The axle; none for all.
        axle: Option<String>,
    },
    /// Ride height was changed: springs, spacers, load.
    RideHeight {
        /// The axle; none for all.
        axle: Option<String>,
    },
    /// The sensors were taken off and clipped on again.
    Refitted,
    /// Nothing that a number depends on.
    Note,
}

/// One entry of a vehicle's service record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceEvent {
    /// When, RFC 3339 with the zone's offset.
    pub date: String,
    /// The same, µs since 1970.
    pub at_us: i64,
    /// In the builder's words.
    pub text: String,
    /// What was done.
    pub work: Work,
}

/// What an event does to the series of one quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effect {
    /// Nothing.
    None,
    /// It is shown, and the series goes on.
    Shown,
    /// The charts begin anew, the baseline stays.
    ChartsAnew,
    /// A new baseline begins.
    BaselineAnew,
}

/// What kind of thing an element is, as far as wear is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ElementKind {
    /// It locates the axle.
    Locating,
    /// A spring: it sets ride height.
    Spring,
    /// A shock, bump stop or strap: it ends the travel.
    TravelEnd,
    /// The driveshaft or the drag link.
    Shaft,
}

/// Every element of an axle by name.
pub fn elements(axle: &Axle) -> Vec<(&str, ElementKind)> {
    let locating = &axle.locating;
    let mut all: Vec<(&str, ElementKind)> = Vec::new();
    let held = locating.links.iter().map(|e| e.name.as_str());
    let held = held.chain(locating.wishbones.iter().map(|e| e.name.as_str()));
    let held = held.chain(locating.radius_arms.iter().map(|e| e.name.as_str()));
    let held = held.chain(locating.watts.iter().map(|e| e.name.as_str()));
    all.extend(held.map(|n| (n, ElementKind::Locating)));
    all.extend(axle.springs.iter().map(|e| (e.name.as_str(), ElementKind::Spring)));
    let ends = axle.shocks.iter().map(|e| e.name.as_str());
    let ends = ends.chain(axle.bump_stops.iter().chain(&axle.straps).map(|e| e.name.as_str()));
    all.extend(ends.map(|n| (n, ElementKind::TravelEnd)));
    all.extend(axle.driveshaft.iter().map(|_| ("driveshaft", ElementKind::Shaft)));
    all.extend(axle.drag_link.iter().map(|_| ("drag link", ElementKind::Shaft)));
    all
}

/// The element that a measured line belongs to: itself, or the wishbone or arm whose leg it is.
pub fn element_of<'a>(line: &str, elements: &[(&'a str, ElementKind)]) -> Option<&'a str> {
    let owns =
        |name: &str| line.strip_prefix(name).is_some_and(|rest| rest.is_empty() || rest.starts_with(' '));
    elements.iter().map(|e| e.0).filter(|name| owns(name)).max_by_key(|name| name.len())
}

impl Work {
    /// The element concerned.
    pub fn element(&self) -> Option<&str> {
        match self {
            Work::Replaced { element, .. }
            | Work::Greased { element }
            | Work::Retorqued { element }
            | Work::Checked { element }
            | Work::Moved { element, .. } => Some(element),
            _ => None,
        }
    }

    /// The end concerned.
    pub fn end(&self) -> Option<Side> {
        match self {
            Work::Replaced { end, .. } => *end,
            Work::Moved { end, .. } => Some(*end),
            _ => None,
        }
    }

    fn axle(&self) -> Option<&str> {
        match self {
            Work::Tyre { axle } | Work::Pressure { axle } | Work::RideHeight { axle } => axle.as_deref(),
            _ => None,
        }
    }

    /// Whether its names are those of the vehicle; a sentence if not.
    pub fn unknown_name(&self, vehicle: &Vehicle) -> Option<UnknownName> {
        let all: Vec<&str> =
            vehicle.axles.iter().flat_map(|a| elements(a).into_iter().map(|e| e.0)).collect();
        if let Some(element) = self.element()
            && !all.contains(&element)
        {
            return Some(UnknownName {
                what: "element",
                name: element.to_owned(),
                there: all.into_iter().map(str::to_owned).collect(),
            });
        }
        if let Some(hole) = self.unknown_hole(vehicle) {
            return Some(hole);
        }
        let axles: Vec<&str> = vehicle.axles.iter().map(|a| a.name.as_str()).collect();
        let axle = self.axle().filter(|a| !axles.contains(a))?;
        let there = axles.into_iter().map(str::to_owned).collect();
        Some(UnknownName { what: "axle", name: axle.to_owned(), there })
    }

    /// The hole that a link was moved to, where its bracket has no such one.
    fn unknown_hole(&self, vehicle: &Vehicle) -> Option<UnknownName> {
        let Work::Moved { element, end, hole: Some(hole) } = self else { return None };
        let mut links = vehicle.axles.iter().flat_map(|a| &a.locating.links);
        let link = links.find(|l| l.name == *element)?;
        let mount = if *end == Side::Chassis { &link.chassis } else { &link.axle };
        let count = mount.holes().len();
        let there = (1..=count).map(|hole| hole.to_string()).collect();
        let beyond = usize::try_from(*hole).map_or(true, |h| h == 0 || h > count);
        beyond.then(|| UnknownName { what: "hole", name: hole.to_string(), there })
    }

    /// What it does to a quantity of an axle. A new joint has no play yet, and lets the axle sit where the worn one did not: the
    /// element's play and the axle's numbers begin anew, the play of the other links goes on.
    pub fn effect(&self, axle: &Axle, quantity: &Quantity) -> Effect {
        let elements = elements(axle);
        let kind = self.element().and_then(|name| elements.iter().find(|e| e.0 == name)).map(|e| e.1);
        let relative = quantity.is_relative();
        let own = self.element().is_some() && element_of(quantity.element(), &elements) == self.element();
        let when = |yes: bool, effect: Effect| if yes { effect } else { Effect::None };
        match self {
            Work::Replaced { .. } | Work::Moved { .. } => match kind {
                None => Effect::None,
                Some(ElementKind::Locating) => when(own || !relative, Effect::BaselineAnew),
                Some(ElementKind::Spring) => when(!relative, Effect::BaselineAnew),
                Some(ElementKind::TravelEnd) => when(is_ramp_index(quantity), Effect::BaselineAnew),
                Some(ElementKind::Shaft) => when(is_bump_steer(quantity), Effect::BaselineAnew),
            },
            Work::Retorqued { .. } => when(own && relative, Effect::BaselineAnew),
            Work::Checked { .. } => when(own, Effect::ChartsAnew),
            Work::Greased { .. } => when(own, Effect::Shown),
            Work::Tyre { axle: named } | Work::Pressure { axle: named } => {
                let here = named.as_ref().is_none_or(|n| *n == axle.name);
                when(here && quantity.facts().contains(&quantity::TYRE_RADIUS), Effect::BaselineAnew)
            }
            Work::RideHeight { axle: named } => {
                let here = named.as_ref().is_none_or(|n| *n == axle.name);
                when(here && !relative, Effect::BaselineAnew)
            }
            Work::Refitted => when(!relative, Effect::BaselineAnew),
            Work::Note => Effect::None,
        }
    }

    /// In words: `replaced lower left, chassis end`.
    pub fn words(&self) -> String {
        let side = |end: Side| if end == Side::Chassis { "chassis" } else { "axle" };
        let of = |axle: &Option<String>| axle.as_ref().map_or(String::new(), |a| format!(", {a} axle"));
        match self {
            Work::Replaced { element, end: Some(end) } => format!("replaced {element}, {} end", side(*end)),
            Work::Replaced { element, end: None } => format!("replaced {element}"),
            Work::Greased { element } => format!("greased {element}"),
            Work::Retorqued { element } => format!("tightened {element}"),
            Work::Checked { element } => format!("looked at {element}: sound"),
            Work::Moved { element, end, hole: Some(hole) } => {
                format!("moved {element}, {} end, to hole {hole}", side(*end))
            }
            Work::Moved { element, end, hole: None } => format!("moved {element}, {} end", side(*end)),
            Work::Tyre { axle } => format!("other tyres{}", of(axle)),
            Work::Pressure { axle } => format!("other tyre pressure{}", of(axle)),
            Work::RideHeight { axle } => format!("other ride height{}", of(axle)),
            Work::Refitted => "sensors clipped on anew".to_owned(),
            Work::Note => "note".to_owned(),
        }
    }

    /// What begins anew with it, as a sentence; the vehicle's elements tell what each of them is.
    pub fn consequence(&self, elements: &[(&str, ElementKind)]) -> String {
        let kind = self.element().and_then(|name| elements.iter().find(|e| e.0 == name)).map(|e| e.1);
        match self {
            Work::Replaced { .. } | Work::Moved { .. } if kind == Some(ElementKind::Spring) => {
                "Every number of its axle begins a new baseline with the next run; the play of the links goes on."
                    .to_owned()
            }
            Work::Replaced { .. } | Work::Moved { .. } if kind == Some(ElementKind::TravelEnd) => {
                "The ramp travel index of its axle begins a new baseline with the next run; everything else goes on."
                    .to_owned()
            }
            Work::Replaced { .. } | Work::Moved { .. } if kind == Some(ElementKind::Shaft) => {
                "The bump steer of its axle begins a new baseline with the next run; everything else goes on."
                    .to_owned()
            }
            Work::Retorqued { .. } | Work::Greased { .. } if kind.is_some_and(|k| k != ElementKind::Locating) => {
                "No baseline ends.".to_owned()
            }
            Work::Replaced { element, .. } | Work::Moved { element, .. } => format!(
                "The play of {element} and every number that it bears on begin a new baseline with the next run; the play of other links goes on."
            ),
            Work::Retorqued { element } => {
                format!("The play of {element} begins a new baseline with the next run; everything else goes on.")
            }
            Work::Checked { element } => {
                format!("The charts of {element} begin anew with the next run; their baselines stay.")
            }
            Work::Greased { element } => {
                format!("It is shown beside the play of {element}; no baseline ends.")
            }
            Work::Tyre { .. } | Work::Pressure { .. } => {
                "Heights and what follows from the tyre's radius begin a new baseline with the next run; play and steer go on."
                    .to_owned()
            }
            Work::RideHeight { .. } | Work::Refitted => {
                "Every number begins a new baseline with the next run; the play of the links goes on.".to_owned()
            }
            Work::Note => "No baseline ends.".to_owned(),
        }
    }
}

fn is_ramp_index(quantity: &Quantity) -> bool {
    matches!(quantity, Quantity::RampLeft | Quantity::RampRight)
}

fn is_bump_steer(quantity: &Quantity) -> bool {
    matches!(quantity, Quantity::Number(Key::BumpSteerHeave | Key::BumpSteerRoll))
}

/// A name that the vehicle does not have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownName {
    /// Element or axle.
    pub what: &'static str,
    /// The name.
    pub name: String,
    /// Names that there are.
    pub there: Vec<String>,
}

/// Whether a quantity tells of the wear of a joint.
pub fn tells_of_wear(quantity: &Quantity) -> bool {
    matches!(quantity, Quantity::Link(OfLink::Play | OfLink::Compliance, _))
}

#[cfg(test)]
mod tests;
