//! Forces in links and how near their tubes and joints are to giving way: a page of its own, with its caution.

use super::page::{Ink, Page};
use super::parts;
use crate::design::prediction::AxlePrediction;
use crate::show::entries;
use crate::show::units::Units;

/// The loads that were asked for, if any were.
pub(super) fn loads(page: &mut Page, vehicle: &str, axle: &AxlePrediction, units: Units) {
    for load in &axle.loads {
        page.gap();
        let title = entries::load_title(load.case, units);
        page.paragraph(&format!("{vehicle}, {} axle: {title}", axle.name), Ink::Strong);
        page.paragraph(entries::LOADS_CAUTION, Ink::Faint);
        match &load.ride {
            Some(forces) => {
                page.heading("What does each link carry at ride height?");
                parts::entries(page, &entries::carried(&axle.links, forces, units));
                page.item("·", &entries::left_to_springs(forces, units));
                for sentence in entries::driven(load, units) {
                    page.item("·", &sentence);
                }
            }
            None => page
                .item("?", "The forces have no answer at ride height: a link stands so that it cannot hold."),
        }
        if let Some(sentence) = entries::worst_state(axle, load, units) {
            page.item("·", &sentence);
        }
    }
}
