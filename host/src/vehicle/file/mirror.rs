//! Right twins of left elements.

use crate::files::{Item, Names, Section};
use crate::geometry::Vector3;
use crate::vehicle::{KeepOut, Link, Mount, RadiusArm, RideMark, Shock, Spring, Stop, Wishbone};

/// Something that `mirror = true` can make a twin of.
pub(super) trait Mirror: Clone {
    /// The same on the other side of the vehicle's centre plane, called `name`.
    fn mirrored(&self, name: String) -> Self;
}

/// The point on the other side.
fn across(p: &Vector3<f64>) -> Vector3<f64> {
    Vector3::new(p.x, -p.y, p.z)
}

/// A line's direction on the other side. A bolt points both ways: the sign that keeps its greatest component positive
/// is taken, so that the mirror of y is y.
fn line_across(d: &Vector3<f64>) -> Vector3<f64> {
    let mirrored = across(d);
    let flipped = if mirrored[mirrored.iamax()] < 0.0 { -mirrored } else { mirrored };
    flipped.add_scalar(0.0)
}

fn bracket_across(mount: &Mount) -> Mount {
    mount.map(across)
}

impl Mirror for Link {
    fn mirrored(&self, name: String) -> Self {
        Self {
            name,
            chassis: bracket_across(&self.chassis),
            axle: bracket_across(&self.axle),
            bolts: self.bolts.each_ref().map(line_across),
            ..self.clone()
        }
    }
}

impl Mirror for Wishbone {
    fn mirrored(&self, name: String) -> Self {
        Self {
            name,
            apex: bracket_across(&self.apex),
            legs: self.legs.each_ref().map(bracket_across),
            ..self.clone()
        }
    }
}

impl Mirror for RadiusArm {
    fn mirrored(&self, name: String) -> Self {
        Self {
            name,
            chassis: bracket_across(&self.chassis),
            axle: self.axle.each_ref().map(bracket_across),
            bolt: line_across(&self.bolt),
            ..self.clone()
        }
    }
}

macro_rules! mirror_ends {
    ($($kind:ident),*) => { $(
        impl Mirror for $kind {
            fn mirrored(&self, name: String) -> Self {
                Self { name, chassis: across(&self.chassis), axle: across(&self.axle), ..self.clone() }
            }
        }
    )* };
}
mirror_ends!(Spring, Shock, Stop, RideMark);

impl Mirror for KeepOut {
    fn mirrored(&self, name: String) -> Self {
        let (a, b) = (across(&self.min), across(&self.max));
        Self { name, min: a.inf(&b), max: a.sup(&b), ..self.clone() }
    }
}

/// `name` with "left" and "right" swapped wherever they stand as words; `None` if neither does.
pub(super) fn other_side(name: &str) -> Option<String> {
    const SWAPS: [(&str, &str); 6] = [
        ("left", "right"),
        ("right", "left"),
        ("Left", "Right"),
        ("Right", "Left"),
        ("LEFT", "RIGHT"),
        ("RIGHT", "LEFT"),
    ];
    let mut out = String::with_capacity(name.len() + 1);
    let mut swapped = false;
    for word in name.split_inclusive(|c: char| !c.is_alphabetic()) {
        let letters = word.trim_end_matches(|c: char| !c.is_alphabetic());
        let gap = word.get(letters.len()..).unwrap_or_default();
        match SWAPS.iter().find(|(from, _)| *from == letters) {
            Some((_, to)) => {
                swapped = true;
                out.push_str(to);
            }
            None => out.push_str(letters),
        }
        out.push_str(gap);
    }
    swapped.then_some(out)
}

/// Reads the sections `[[key]]` with `read`, which is handed each one's name, and adds the mirror images asked for.
pub(super) fn elements<'s, T: Mirror>(
    parent: &mut Section<'s>,
    key: &'static str,
    kind: &str,
    names: &mut Names,
    read: impl FnMut(&mut Section<'s>, String) -> Option<T>,
) -> Vec<T> {
    elements_and_twins(parent, key, kind, names, read).0
}

/// As [`elements`], with the names of each element and its mirror image.
pub(super) fn elements_and_twins<'s, T: Mirror>(
    parent: &mut Section<'s>,
    key: &'static str,
    kind: &str,
    names: &mut Names,
    mut read: impl FnMut(&mut Section<'s>, String) -> Option<T>,
) -> (Vec<T>, Vec<[String; 2]>) {
    let (mut all, mut twins) = (Vec::new(), Vec::new());
    for mut section in parent.sections(key, kind) {
        let name = section.named(kind);
        let free = name.as_deref().is_some_and(|name| names.take(&section, name));
        let twin = section.get("mirror").and_then(|item| twin_name(&item, name.as_deref()?));
        // The twin of a name that is taken is taken too; that is said once.
        if let (Some((item, twin)), true) = (&twin, free) {
            names.take_twin(item, twin);
        }
        let name = name.unwrap_or_default();
        let element = read(&mut section, name.clone());
        section.finish();
        if let Some(element) = element {
            let mirrored = twin.map(|(_, twin)| {
                twins.push([name, twin.clone()]);
                element.mirrored(twin)
            });
            all.push(element);
            all.extend(mirrored);
        }
    }
    (all, twins)
}

fn twin_name<'s>(item: &Item<'s>, name: &str) -> Option<(Item<'s>, String)> {
    if !item.flag()? {
        return None;
    }
    let twin = other_side(name);
    if twin.is_none() {
        item.wrong(
            format!("the mirror image of \"{name}\" would have the same name"),
            "put the word \"left\" or \"right\" into the name, or take the mirror out",
        );
    }
    Some((item.clone(), twin?))
}
