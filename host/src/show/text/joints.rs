//! How far joints turn, against what they bear, and how far springs and shocks move.

use super::page::{Ink, Page};
use crate::design::prediction::{AxlePrediction, LinkPrediction};
use crate::show::units::{self, Units};
use crate::show::words;

/// Joints that are turned furthest, beside what they bear.
pub(super) fn joints(page: &mut Page, links: &[LinkPrediction], units: Units) {
    if links.iter().all(|l| l.misalignment.is_none()) {
        return;
    }
    page.heading("Do the joints turn far enough?");
    let angle = |rad: f64| units.angle().set_to(rad, 1);
    for link in links {
        let Some(joints) = &link.misalignment else { continue };
        let worst = &joints.worst;
        let (end, turned) = if worst.at.axle_rad > worst.at.chassis_rad {
            ("axle", worst.at.axle_rad)
        } else {
            ("chassis", worst.at.chassis_rad)
        };
        let turned = worst.at.shared_spin_rad.map_or(turned, |shared| shared.max(turned));
        let state = words::state(worst.heave_m, worst.roll_rad, units);
        let at = format!("at most {} at its {end} end, at {state}", angle(turned));
        let (sign, ink, bears) = match joints.limit_rad {
            Some(limit) if turned > limit => {
                ('!', Ink::Bad, format!("more than the {} it bears", angle(limit)))
            }
            Some(limit) => ('·', Ink::Plain, format!("it bears {}", angle(limit))),
            None => ('·', Ink::Plain, "the file does not say what it bears".into()),
        };
        page.entry(sign, ink, &link.name, &[at, bears]);
    }
}

/// How far springs and shocks move for the left wheel's movement.
pub(super) fn struts(page: &mut Page, axle: &AxlePrediction) {
    if axle.struts.is_empty() {
        return;
    }
    page.heading("How far do springs and shocks move?");
    for strut in &axle.struts {
        let text = format!(
            "{} of the left wheel's travel in bump, {} in articulation",
            units::number(strut.heave_ratio, 2),
            units::number(strut.roll_ratio, 2)
        );
        page.entry('·', Ink::Plain, &strut.name, &[text]);
    }
}
