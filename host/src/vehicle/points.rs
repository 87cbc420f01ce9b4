//! Every point of an axle that a builder measures, so that one can be moved and its effect seen.

use super::{Axle, Mount};
use crate::geometry::Vector3;

/// One measured point of an axle. Numbers count elements from 0 in the order of their lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Spot {
    /// Chassis end of a link.
    LinkChassis(usize),
    /// Axle end of a link.
    LinkAxle(usize),
    /// Apex of a wishbone.
    WishboneApex(usize),
    /// Far end of a wishbone's leg.
    WishboneLeg(usize, usize),
    /// Chassis joint of a radius arm.
    ArmChassis(usize),
    /// Axle bush of a radius arm.
    ArmAxle(usize, usize),
    /// Pivot of a Watts linkage.
    WattsPivot(usize),
    /// End of a Watts crank.
    WattsCrank(usize, usize),
    /// Far joint of a Watts link.
    WattsEnd(usize, usize),
    /// Chassis end of a spring.
    SpringChassis(usize),
    /// Axle end of a spring.
    SpringAxle(usize),
    /// Steering arm end of the drag link.
    DragLinkChassis,
    /// Knuckle end of the drag link.
    DragLinkAxle,
    /// The kingpin's point.
    Kingpin,
}

impl Spot {
    /// What a builder calls this end of its element.
    pub fn words(self) -> &'static str {
        match self {
            Spot::LinkChassis(_) | Spot::ArmChassis(_) | Spot::SpringChassis(_) => "chassis end",
            Spot::LinkAxle(_) | Spot::SpringAxle(_) => "axle end",
            Spot::WishboneApex(_) => "apex",
            Spot::WishboneLeg(_, 0) => "first leg",
            Spot::WishboneLeg(..) => "second leg",
            Spot::ArmAxle(_, 0) => "first axle bush",
            Spot::ArmAxle(..) => "second axle bush",
            Spot::WattsPivot(_) => "pivot",
            Spot::WattsCrank(_, 0) => "first end of the crank",
            Spot::WattsCrank(..) => "second end of the crank",
            Spot::WattsEnd(_, 0) => "first far joint",
            Spot::WattsEnd(..) => "second far joint",
            Spot::DragLinkChassis => "steering arm end",
            Spot::DragLinkAxle => "knuckle end",
            Spot::Kingpin => "point",
        }
    }
}

impl Axle {
    /// Every point that locates the axle, carries its springs or steers it.
    pub fn spots(&self) -> Vec<Spot> {
        let l = &self.locating;
        let mut spots = Vec::new();
        for k in 0..l.links.len() {
            spots.extend([Spot::LinkChassis(k), Spot::LinkAxle(k)]);
        }
        for k in 0..l.wishbones.len() {
            spots.extend([Spot::WishboneApex(k), Spot::WishboneLeg(k, 0), Spot::WishboneLeg(k, 1)]);
        }
        for k in 0..l.radius_arms.len() {
            spots.extend([Spot::ArmChassis(k), Spot::ArmAxle(k, 0), Spot::ArmAxle(k, 1)]);
        }
        for k in 0..l.watts.len() {
            spots.push(Spot::WattsPivot(k));
            spots.extend((0..2).flat_map(|end| [Spot::WattsCrank(k, end), Spot::WattsEnd(k, end)]));
        }
        for k in 0..self.springs.len() {
            spots.extend([Spot::SpringChassis(k), Spot::SpringAxle(k)]);
        }
        if self.drag_link.is_some() {
            spots.extend([Spot::DragLinkChassis, Spot::DragLinkAxle, Spot::Kingpin]);
        }
        spots
    }

    /// Name of the element that a point belongs to.
    pub fn element(&self, spot: Spot) -> Option<&str> {
        let l = &self.locating;
        match spot {
            Spot::LinkChassis(k) | Spot::LinkAxle(k) => l.links.get(k).map(|e| e.name.as_str()),
            Spot::WishboneApex(k) | Spot::WishboneLeg(k, _) => l.wishbones.get(k).map(|e| e.name.as_str()),
            Spot::ArmChassis(k) | Spot::ArmAxle(k, _) => l.radius_arms.get(k).map(|e| e.name.as_str()),
            Spot::WattsPivot(k) | Spot::WattsCrank(k, _) | Spot::WattsEnd(k, _) => {
                l.watts.get(k).map(|e| e.name.as_str())
            }
            Spot::SpringChassis(k) | Spot::SpringAxle(k) => self.springs.get(k).map(|e| e.name.as_str()),
            Spot::DragLinkChassis | Spot::DragLinkAxle => self.drag_link.as_ref().map(|_| "drag link"),
            Spot::Kingpin => self.drag_link.as_ref().map(|_| "kingpin"),
        }
    }

    /// The bracket at a point; `None` for points that are no brackets (a crank's ends, springs, steering).
    pub fn mount(&self, spot: Spot) -> Option<&Mount> {
        let l = &self.locating;
        match spot {
            Spot::LinkChassis(k) => l.links.get(k).map(|e| &e.chassis),
            Spot::LinkAxle(k) => l.links.get(k).map(|e| &e.axle),
            Spot::WishboneApex(k) => l.wishbones.get(k).map(|e| &e.apex),
            Spot::WishboneLeg(k, end) => l.wishbones.get(k).and_then(|e| e.legs.get(end)),
            Spot::ArmChassis(k) => l.radius_arms.get(k).map(|e| &e.chassis),
            Spot::ArmAxle(k, end) => l.radius_arms.get(k).and_then(|e| e.axle.get(end)),
            Spot::WattsPivot(k) => l.watts.get(k).map(|e| &e.pivot),
            Spot::WattsEnd(k, end) => l.watts.get(k).and_then(|e| e.ends.get(end)),
            _ => None,
        }
    }

    /// As [`Self::mount`], to change it.
    pub fn mount_mut(&mut self, spot: Spot) -> Option<&mut Mount> {
        let l = &mut self.locating;
        match spot {
            Spot::LinkChassis(k) => l.links.get_mut(k).map(|e| &mut e.chassis),
            Spot::LinkAxle(k) => l.links.get_mut(k).map(|e| &mut e.axle),
            Spot::WishboneApex(k) => l.wishbones.get_mut(k).map(|e| &mut e.apex),
            Spot::WishboneLeg(k, end) => l.wishbones.get_mut(k).and_then(|e| e.legs.get_mut(end)),
            Spot::ArmChassis(k) => l.radius_arms.get_mut(k).map(|e| &mut e.chassis),
            Spot::ArmAxle(k, end) => l.radius_arms.get_mut(k).and_then(|e| e.axle.get_mut(end)),
            Spot::WattsPivot(k) => l.watts.get_mut(k).map(|e| &mut e.pivot),
            Spot::WattsEnd(k, end) => l.watts.get_mut(k).and_then(|e| e.ends.get_mut(end)),
            _ => None,
        }
    }

    /// Where a point is, m; `None` for one that the axle does not have.
    pub fn place(&self, spot: Spot) -> Option<Vector3<f64>> {
        match spot {
            Spot::WattsCrank(k, end) => self.locating.watts.get(k)?.crank.get(end).copied(),
            Spot::SpringChassis(k) => self.springs.get(k).map(|e| e.chassis),
            Spot::SpringAxle(k) => self.springs.get(k).map(|e| e.axle),
            Spot::DragLinkChassis => self.drag_link.as_ref().map(|e| e.chassis),
            Spot::DragLinkAxle => self.drag_link.as_ref().map(|e| e.axle),
            Spot::Kingpin => self.drag_link.as_ref().map(|e| e.kingpin_point),
            bracket => self.mount(bracket).map(Mount::point),
        }
    }

    /// A link's own tolerance (standard deviation of each coordinate, m); `None` where the vehicle's holds.
    pub fn own_tolerance_m(&self, spot: Spot) -> Option<f64> {
        match spot {
            Spot::LinkChassis(k) | Spot::LinkAxle(k) => self.locating.links.get(k)?.tolerance_m,
            _ => None,
        }
    }

    /// Moves a point by `offset`, m; a point that the axle does not have stays as it is.
    pub fn move_spot(&mut self, spot: Spot, offset: &Vector3<f64>) {
        if let Some(mount) = self.mount_mut(spot) {
            *mount = mount.moved(offset);
            return;
        }
        match spot {
            Spot::WattsCrank(k, end) => {
                let crank = self.locating.watts.get_mut(k).and_then(|e| e.crank.get_mut(end));
                crank.into_iter().for_each(|p| *p += offset);
            }
            Spot::SpringChassis(k) => self.springs.get_mut(k).into_iter().for_each(|e| e.chassis += offset),
            Spot::SpringAxle(k) => self.springs.get_mut(k).into_iter().for_each(|e| e.axle += offset),
            Spot::DragLinkChassis => self.drag_link.iter_mut().for_each(|e| e.chassis += offset),
            Spot::DragLinkAxle => self.drag_link.iter_mut().for_each(|e| e.axle += offset),
            Spot::Kingpin => self.drag_link.iter_mut().for_each(|e| e.kingpin_point += offset),
            _ => {}
        }
    }
}
