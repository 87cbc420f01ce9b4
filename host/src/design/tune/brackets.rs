//! Brackets with more than one hole, and a setting of all of them as one number: a bracket is a digit, its holes are the base.

use crate::vehicle::{Axle, Mount, Spot};

/// A bracket to choose a hole of; a mirrored pair counts as one, since both sides are bolted alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Bracket {
    /// Where it is.
    pub spot: Spot,
    /// The same on the other side, which moves with it.
    pub twin: Option<Spot>,
    /// Name of the element, and of the one on the other side.
    pub elements: Vec<String>,
    /// Which end of it, such as "chassis end".
    pub end: &'static str,
    /// How many holes it has.
    pub holes: usize,
    /// The one that the file has in use, counted from 0.
    pub in_use: usize,
}

/// Every bracket of an axle that has a choice, in file order; with `apart` each side of a mirrored pair for itself.
pub fn brackets(axle: &Axle, apart: bool) -> Vec<Bracket> {
    let mut found: Vec<Bracket> = Vec::new();
    for spot in axle.spots() {
        let Some(mount) = axle.mount(spot).filter(|m| m.holes().len() > 1) else { continue };
        let name = axle.element(spot).unwrap_or_default();
        let end = spot.words();
        let left = axle.locating.twins.iter().find(|[_, right]| right == name).map(|[left, _]| left);
        let first = left.filter(|_| !apart);
        let pair = found.iter_mut().find(|b| {
            first.is_some_and(|left| b.elements == [left.as_str()]) && b.end == end && b.twin.is_none()
        });
        match pair {
            Some(pair) => {
                pair.twin = Some(spot);
                pair.elements.push(name.to_owned());
            }
            None => found.push(Bracket {
                spot,
                twin: None,
                elements: vec![name.to_owned()],
                end,
                holes: mount.holes().len(),
                in_use: mount.in_use(),
            }),
        }
    }
    found
}

/// How many settings the brackets have; none where the count does not fit 64 bits.
pub fn settings(brackets: &[Bracket]) -> Option<u64> {
    brackets.iter().try_fold(1_u64, |all, b| all.checked_mul(b.holes as u64))
}

/// The holes, counted from 0, of setting `number`; the last bracket changes fastest.
pub fn holes_of(brackets: &[Bracket], number: u64) -> Vec<usize> {
    let mut rest = number;
    let mut holes: Vec<usize> = brackets
        .iter()
        .rev()
        .map(|b| {
            let base = b.holes.max(1) as u64;
            let hole = (rest % base) as usize;
            rest /= base;
            hole
        })
        .collect();
    holes.reverse();
    holes
}

/// The number of the setting that the file has in use.
pub fn number_in_use(brackets: &[Bracket]) -> u64 {
    brackets.iter().fold(0, |number, b| number * b.holes as u64 + b.in_use as u64)
}

/// Puts the elements of an axle into other holes.
#[derive(Debug, Clone)]
pub(super) struct Hanging {
    brackets: Vec<Bracket>,
    /// Links of those brackets: place, holes and length as drawn, length that is kept where it is not re-made.
    links: Vec<DrawnLink>,
}

#[derive(Debug, Clone)]
struct DrawnLink {
    place: usize,
    holes: [usize; 2],
    length_m: Option<f64>,
    kept_m: Option<f64>,
}

impl Hanging {
    /// For an axle in the holes that its file has in use.
    pub fn new(drawn: &Axle, brackets: &[Bracket]) -> Self {
        let spots = || brackets.iter().flat_map(|b| [Some(b.spot), b.twin]).flatten();
        let links = drawn.locating.links.iter().enumerate();
        let moves =
            |place: usize| spots().any(|s| s == Spot::LinkChassis(place) || s == Spot::LinkAxle(place));
        let links = links
            .filter(|(place, _)| moves(*place))
            .map(|(place, link)| DrawnLink {
                place,
                holes: [link.chassis.in_use(), link.axle.in_use()],
                length_m: link.length_m,
                kept_m: (!link.refit).then(|| link.length_m.unwrap_or_else(|| link.drawn_length_m())),
            })
            .collect();
        Self { brackets: brackets.to_vec(), links }
    }

    /// Uses `holes`, one per bracket. A link that leaves its hole is re-made to the distance of its new ends, unless the file
    /// says that it keeps its length.
    pub fn hang(&self, axle: &mut Axle, holes: &[usize]) {
        for (bracket, &hole) in self.brackets.iter().zip(holes) {
            for spot in [Some(bracket.spot), bracket.twin].into_iter().flatten() {
                axle.mount_mut(spot).into_iter().for_each(|mount: &mut Mount| {
                    mount.use_hole(hole);
                });
            }
        }
        for drawn in &self.links {
            let Some(link) = axle.locating.links.get_mut(drawn.place) else { continue };
            let stays = drawn.holes == [link.chassis.in_use(), link.axle.in_use()];
            link.length_m = if stays { drawn.length_m } else { drawn.kept_m };
        }
    }
}
