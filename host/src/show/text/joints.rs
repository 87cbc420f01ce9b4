//! How far joints turn, against what they bear, how far springs and shocks move, whether the driveshaft follows and
//! whether there is room to move.

use super::page::Page;
use super::parts;
use crate::design::prediction::{AxlePrediction, LinkPrediction};
use crate::show::units::Units;
use crate::show::{clearances, driveshaft, entries};

/// Joints that are turned furthest, beside what they bear.
pub(super) fn joints(page: &mut Page, links: &[LinkPrediction], units: Units) {
    let joints = entries::joints(links, units);
    if !joints.is_empty() {
        page.heading("Do the joints turn far enough?");
        parts::entries(page, &joints);
    }
}

/// Whether the driveshaft follows.
pub(super) fn shaft(page: &mut Page, axle: &AxlePrediction, units: Units) {
    if let Some(shaft) = &axle.driveshaft {
        page.heading("Does the driveshaft follow?");
        parts::entries(page, &driveshaft::entries(shaft, units));
    }
}

/// Whether anything is in the way.
pub(super) fn room(page: &mut Page, axle: &AxlePrediction, units: Units) {
    let clearances = clearances::entries(&axle.clearances, units);
    if !clearances.is_empty() {
        page.heading("Is there room to move?");
        parts::entries(page, &clearances);
    }
}

/// How far springs and shocks move for the left wheel's movement.
pub(super) fn struts(page: &mut Page, axle: &AxlePrediction) {
    let struts = entries::struts(&axle.struts);
    if !struts.is_empty() {
        page.heading("How far do springs and shocks move?");
        parts::entries(page, &struts);
    }
}
