//! The axles that named alternatives make: each alternative takes the place of some elements, and alternatives that would take
//! the same place exclude each other.

use crate::vehicle::{Alternative, Axle, Locating};
use std::collections::HashSet;

/// An axle with some of its alternatives in place.
#[derive(Debug, Clone, PartialEq)]
pub struct Variant {
    /// The alternatives, by their place in the file, counted from 0; none for the axle as it stands.
    pub alternatives: Vec<usize>,
    /// The axle that they make. It has no alternatives of its own.
    pub axle: Axle,
}

/// Every axle that the alternatives of `axle` make, the axle as it stands first.
pub fn variants(axle: &Axle) -> Vec<Variant> {
    let mut sets: Vec<Vec<usize>> = vec![Vec::new()];
    for (k, alternative) in axle.alternatives.iter().enumerate() {
        let with = |set: &Vec<usize>| {
            let free = set.iter().all(|other| !exclude(&axle.alternatives[*other], alternative));
            free.then(|| set.iter().copied().chain([k]).collect())
        };
        let more: Vec<Vec<usize>> = sets.iter().filter_map(with).collect();
        sets.extend(more);
    }
    sets.into_iter().map(|set| Variant { axle: made(axle, &set), alternatives: set }).collect()
}

/// Whether two alternatives would take the same place: they replace a common element, or bring elements of one name.
fn exclude(one: &Alternative, other: &Alternative) -> bool {
    let brought: HashSet<&str> = names(&one.locating).collect();
    one.replaces.iter().any(|name| other.replaces.contains(name))
        || names(&other.locating).any(|name| brought.contains(name))
}

/// Names of all elements.
pub(super) fn names(locating: &Locating) -> impl Iterator<Item = &str> {
    let links = locating.links.iter().map(|e| e.name.as_str());
    let wishbones = locating.wishbones.iter().map(|e| e.name.as_str());
    let arms = locating.radius_arms.iter().map(|e| e.name.as_str());
    links.chain(wishbones).chain(arms).chain(locating.watts.iter().map(|e| e.name.as_str()))
}

fn made(axle: &Axle, set: &[usize]) -> Axle {
    let taken: Vec<&Alternative> = set.iter().filter_map(|k| axle.alternatives.get(*k)).collect();
    let stays = |name: &String| !taken.iter().any(|a| a.replaces.contains(name));
    let mut made = axle.clone();
    made.alternatives.clear();
    let l = &mut made.locating;
    l.links.retain(|e| stays(&e.name));
    l.wishbones.retain(|e| stays(&e.name));
    l.radius_arms.retain(|e| stays(&e.name));
    l.watts.retain(|e| stays(&e.name));
    l.twins.retain(|pair| pair.iter().all(&stays));
    for alternative in taken {
        let brings = alternative.locating.clone();
        l.links.extend(brings.links);
        l.wishbones.extend(brings.wishbones);
        l.radius_arms.extend(brings.radius_arms);
        l.watts.extend(brings.watts);
        l.twins.extend(brings.twins);
    }
    made
}
