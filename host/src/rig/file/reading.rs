//! The scalar reading of a sensor: scale, noise, linearity, hysteresis, range, and how well its ends are placed.

use crate::files::{Bound, Item, Quantity, Section};
use crate::rig::{Reading, Scale};
use crate::vehicle::Vehicle;

/// What a kind of sensor has where the file says nothing, SI.
pub(super) struct Defaults {
    /// What its reading measures.
    pub quantity: Quantity,
    /// Standard deviation of one reading.
    pub noise: f64,
    /// Relative standard deviation of the scale.
    pub scale_u: f64,
    /// Departure from a straight line, as a part of the range.
    pub linearity_of_range: f64,
    /// Departure from a straight line, besides that.
    pub linearity: f64,
    /// Width of the hysteresis.
    pub hysteresis: f64,
    /// Length of the range where the file gives none, if it can be said.
    pub span: f64,
}

/// Reads the keys of a scalar reading from the sensor's section.
pub(super) fn reading(section: &mut Section<'_>, defaults: &Defaults, vehicle: &Vehicle) -> Option<Reading> {
    let quantity = defaults.quantity;
    let measure = |item: Item<'_>| in_units(&item, quantity, Bound::NotNegative);
    let unit = section.reader().units().of(quantity);
    let scale = section.or("scale", Scale::Linear(unit.to_si), |item| scale(&item, quantity));
    let scale_u = section.or("scale_u", defaults.scale_u, |item| item.number_within(0.0, 1.0));
    let noise = section.or("noise", defaults.noise, |item| in_units(&item, quantity, Bound::Positive));
    let range = section.optional("range", |item| range(&item, quantity));
    let span = range.flatten().map_or(defaults.span, |[low, high]| high - low);
    let straight = defaults.linearity + defaults.linearity_of_range * span;
    let linearity = section.or("linearity", straight, measure);
    let hysteresis = section.or("hysteresis", defaults.hysteresis, measure);
    let mount = |item: Item<'_>| item.quantity(Quantity::Length, Bound::NotNegative);
    let mount_m = section.or("mount", vehicle.tolerance_m, mount);
    Some(Reading {
        scale: scale?,
        scale_u: scale_u?,
        noise: noise?,
        linearity: linearity?,
        hysteresis: hysteresis?,
        range: range?,
        mount_m: mount_m?,
        gain: 1.0,
        zero: None,
    })
}

/// A number in the file's unit of `quantity`, SI. Unlike an angle of the vehicle, a reading may go all the way round.
fn in_units(item: &Item<'_>, quantity: Quantity, bound: Bound) -> Option<f64> {
    match quantity {
        Quantity::Angle => Some(item.number(bound)? * item.reader().units().of(quantity).to_si),
        _ => item.quantity(quantity, bound),
    }
}

fn range(item: &Item<'_>, quantity: Quantity) -> Option<[f64; 2]> {
    let [low, high] = item
        .list_of::<2>("write the least and the greatest reading: [0, 800]")?
        .map(|i| in_units(&i, quantity, Bound::Any));
    let (low, high) = (low?, high?);
    if low >= high {
        item.wrong(format!("{} ends before it begins", item.what()), "write the least reading first");
        return None;
    }
    Some([low, high])
}

/// A number per count, or `{ points = [[count, value], …] }`.
fn scale(item: &Item<'_>, quantity: Quantity) -> Option<Scale> {
    if !item.is_section() {
        let per_count = item.number(Bound::Any)?;
        if per_count == 0.0 {
            item.wrong(format!("{} cannot be 0", item.what()), "write what one count is worth");
            return None;
        }
        return Some(Scale::Linear(per_count * item.reader().units().of(quantity).to_si));
    }
    let mut section = item.section(item.what())?;
    let points = section.need("points", || "add `points = [[count, value], …]`, at least two".to_owned());
    section.finish();
    let points = points?;
    let pair = |i: &Item<'_>| {
        let [count, value] = i.clone().list_of::<2>("write [count, value]")?;
        let (count, value) = (count.number(Bound::Any), in_units(&value, quantity, Bound::Any));
        Some([count?, value?])
    };
    let list = points.list("write points as [[count, value], …]")?;
    let read: Vec<Option<[f64; 2]>> = list.iter().map(pair).collect();
    let read: Vec<[f64; 2]> = read.into_iter().collect::<Option<_>>()?;
    if read.len() < 2 {
        points.wrong(format!("{} needs at least two points", section.what()), "add another [count, value]");
        return None;
    }
    let steps = || {
        read.windows(2).map(|w| match w {
            [a, b] => [b[0] - a[0], b[1] - a[1]],
            _ => [0.0, 0.0],
        })
    };
    if !steps().all(|[count, _]| count > 0.0) {
        points.wrong(
            format!("the counts of {} do not rise", section.what()),
            "sort the points by their counts",
        );
        return None;
    }
    if !steps().all(|[_, value]| value > 0.0) && !steps().all(|[_, value]| value < 0.0) {
        points.wrong(
            format!("the values of {} turn back, so that a value has two counts", section.what()),
            "each value must be greater than the one before it, or each less",
        );
        return None;
    }
    Some(Scale::Points(read))
}
