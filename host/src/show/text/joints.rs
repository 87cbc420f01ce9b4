//! How far joints turn, against what they bear, and how far springs and shocks move.

use super::page::Page;
use super::parts;
use crate::design::prediction::{AxlePrediction, LinkPrediction};
use crate::show::entries;
use crate::show::units::Units;

/// Joints that are turned furthest, beside what they bear.
pub(super) fn joints(page: &mut Page, links: &[LinkPrediction], units: Units) {
    let joints = entries::joints(links, units);
    if !joints.is_empty() {
        page.heading("Do the joints turn far enough?");
        parts::entries(page, &joints);
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
