//! What the builder wants and watches: wishes, limits of agreement, wear, and named alternatives.

use super::locating::locating;
use crate::files::{Bound, Example, Item, Names, Section, nearest};
use crate::vehicle::numbers::Key;
use crate::vehicle::{Alternative, Position, Wish};
use std::ops::Range;

/// Limits and weights on numbers, SI.
pub(super) fn wish(axle: &mut Section<'_>, position: Option<Position>) -> Vec<(Key, Wish)> {
    on_numbers(axle, "wish", position, |item, key| {
        let mut section = item.section(item.what())?;
        let read = |i: Item<'_>| i.number(Bound::Any);
        let (min, max) = (section.get("min"), section.get("max"));
        let weight = section.get("weight").map_or(Some(1.0), |i| i.number(Bound::Positive));
        section.finish();
        if min.is_none() && max.is_none() {
            section.wrong(
                format!("{} says neither min nor max", item.what()),
                format!(
                    "write {key} = {{ min = …, max = …, weight = 1 }} with one limit or both",
                    key = key.as_str()
                ),
            );
            return None;
        }
        let (low, high) = (min.and_then(read), max.and_then(read));
        if let (Some(low), Some(high)) = (low, high)
            && low > high
        {
            section.wrong(format!("{} has a min above its max", item.what()), "swap the two");
        }
        Some(Wish { min: low, max: high, weight: weight? })
    })
}

/// The builder's own limits of agreement, SI.
pub(super) fn agree(axle: &mut Section<'_>, position: Option<Position>) -> Vec<(Key, f64)> {
    on_numbers(axle, "agree", position, |item, _| item.number(Bound::Positive))
}

/// Play at which a joint counts as worn, m.
pub(super) fn wear(axle: &mut Section<'_>) -> Option<f64> {
    let what = format!("the wear limits of {}", axle.what());
    let mut section = axle.get("wear")?.section(&what)?;
    let play_m = section
        .require("play_m", Example::Text("0.001"), "in metres: the play at which a joint counts as worn")
        .and_then(|i| i.number(Bound::Positive));
    section.finish();
    play_m
}

/// Reads a section whose keys are the names of numbers.
fn on_numbers<T>(
    axle: &mut Section<'_>,
    table: &'static str,
    position: Option<Position>,
    read: impl Fn(&Item<'_>, Key) -> Option<T>,
) -> Vec<(Key, T)> {
    let what = format!("`{table}` of {}", axle.what());
    let Some(mut section) = axle.get(table).and_then(|i| i.section(&what)) else {
        return Vec::new();
    };
    let mut all = Vec::new();
    for (name, span, item) in section.entries() {
        if let Some(key) = number_key(&section, &name, span, position) {
            all.extend(read(&item, key).map(|value| (key, value)));
        }
    }
    all
}

fn number_key(
    section: &Section<'_>,
    name: &str,
    span: Range<usize>,
    position: Option<Position>,
) -> Option<Key> {
    let Some(key) = Key::parse(name) else {
        let help = match nearest(name, Key::ALL.map(Key::as_str)) {
            Some(known) => format!("did you mean `{known}`?"),
            None => "predict --json lists every number with its name".to_owned(),
        };
        section.reader().problem(span, format!("there is no number called `{name}`"), help);
        return None;
    };
    // Without a position, which is noted already, no number can be said not to apply.
    if let Some(position) = position
        && !key.applies_to(position)
    {
        let this = match position {
            Position::Front => "front",
            Position::Rear => "rear",
        };
        section.reader().problem(
            span,
            format!("a {this} axle has no {}", key.label()),
            format!("take `{name}` out, or move it to the other axle"),
        );
        return None;
    }
    Some(key)
}

/// Named alternatives to some of the elements called `standing`.
pub(super) fn alternatives(axle: &mut Section<'_>, standing: &Names) -> Vec<Alternative> {
    let mut all = Vec::new();
    let mut names = Names::default();
    for mut section in axle.sections("alternative", "alternative") {
        let name = section.named("alternative");
        if let Some(name) = &name {
            names.take(&section, name);
        }
        let replaces = section
            .require(
                "replaces",
                Example::Text("[\"upper left\", \"upper right\"]"),
                "what it takes the place of",
            )
            .map(|i| replaced(&i, standing))
            .unwrap_or_default();
        let locating = locating(&mut section, &mut standing.without(&replaces));
        section.finish();
        all.extend(name.map(|name| Alternative { name, replaces, locating }));
    }
    all
}

fn replaced(item: &Item<'_>, standing: &Names) -> Vec<String> {
    let list = item
        .list("write the names of the elements it replaces, such as [\"upper left\"]")
        .unwrap_or_default();
    let known: Vec<&str> = standing.iter().collect();
    let read = |entry: &Item<'_>| {
        let name = entry.name()?;
        if known.contains(&name.as_str()) {
            return Some(name);
        }
        let help = match nearest(&name, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("this axle has: {}", known.join(", ")),
        };
        entry.wrong(format!("this axle has nothing called \"{name}\" to replace"), help);
        None
    };
    list.iter().filter_map(read).collect()
}
