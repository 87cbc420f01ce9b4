//! `rig.toml` becomes a [`Rig`]: the one place that knows the keys of a rig file, their units and defaults.

mod input;
mod kinds;
mod reading;

#[cfg(test)]
mod tests;

use super::{Input, Rig, Sensor};
use crate::files::{self, Example, FileErrors, Item, LoadError, Names, Section, Units, nearest};
use crate::vehicle::Vehicle;
use std::ops::Range;
use std::path::Path;

/// Scans per second where the file says nothing, Hz.
const RATE_HZ: f64 = 100.0;
/// Slowest and fastest scan, Hz: slower misses a ramp, faster is beyond any bus.
const RATES_HZ: [f64; 2] = [0.5, 5000.0];
/// Columns of a table that are not sensors.
const RESERVED: [&str; 2] = ["t_s", "phase"];

/// Reads the rig file `text` for `vehicle`; `path_label` is what messages call it.
///
/// # Errors
/// Every mistake of the file at once, each with its place and how to mend it.
pub fn parse(text: &str, path_label: &str, vehicle: &Vehicle) -> Result<Rig, FileErrors> {
    let mut rig = files::read(text, path_label, |root| rig(root, vehicle))?;
    rig.hash = blake3::hash(text.as_bytes()).to_hex().to_string();
    Ok(rig)
}

/// Reads the rig file at `path` for `vehicle`.
///
/// # Errors
/// If there is no such file, if it cannot be read, or if it has mistakes.
pub fn load(path: &Path, vehicle: &Vehicle) -> Result<Rig, LoadError> {
    let text = files::read_text(path)?;
    Ok(parse(&text, &path.display().to_string(), vehicle)?)
}

fn rig(root: &mut Section<'_>, vehicle: &Vehicle) -> Option<Rig> {
    if root.has("vehicle") && !root.has("sensor") {
        root.other_kind("this is a vehicle file, and a rig file is wanted", "name the rig.toml beside it");
        return None;
    }
    root.reader().set_units(Units::read(root));
    let rate_hz = rate(root, RATE_HZ);
    let help = || "add a section [[sensor]] with a name, a kind and both ends".to_owned();
    if let Some(item) = root.need("sensor", help)
        && item.is_list()
        && item.list("").is_some_and(|list| list.is_empty())
    {
        item.wrong("this file has no sensor", help());
    }
    let mut names = Names::default();
    let mut sensors = Vec::new();
    let mut wired: Vec<(Input, Range<usize>)> = Vec::new();
    for mut section in root.sections("sensor", "sensor") {
        let sensor = sensor(&mut section, vehicle, rate_hz.unwrap_or(RATE_HZ), &mut names);
        if let Some(sensor) = sensor {
            wired.extend(sensor.input.clone().map(|i| (i, section.span())));
            sensors.push(sensor);
        }
    }
    input::each_alone(root.reader(), &wired);
    let rate_hz = rate_hz?;
    (!sensors.is_empty()).then_some(Rig { sensors, rate_hz, hash: String::new() })
}

fn rate(section: &mut Section<'_>, default: f64) -> Option<f64> {
    let [slowest, fastest] = RATES_HZ;
    section.or("rate_hz", default, |i| i.number_within(slowest, fastest))
}

fn sensor(section: &mut Section<'_>, vehicle: &Vehicle, rate_hz: f64, names: &mut Names) -> Option<Sensor> {
    let name = section.named("sensor");
    if let Some(name) = &name {
        names.take(section, name);
        if RESERVED.contains(&name.as_str()) {
            section.wrong(
                format!(
                    "a sensor cannot be called \"{name}\": tables use that word for a column of their own"
                ),
                "give it another name",
            );
        }
    }
    let axle = axle(section, vehicle);
    let Some(kind) = kinds::word(section) else {
        section.give_up();
        return None;
    };
    let kind = kinds::kind(section, kind, vehicle, axle);
    let input = section.optional("input", |i| input::input(&i));
    let rate_hz = rate(section, rate_hz);
    section.finish();
    Some(Sensor { name: name?, axle: axle?, kind: kind?, input: input?, rate_hz: rate_hz? })
}

/// Index of the axle that the sensor watches.
fn axle(section: &mut Section<'_>, vehicle: &Vehicle) -> Option<usize> {
    let names = || vehicle.axles.iter().map(|a| a.name.as_str());
    let Some(item) = section.get("axle_name") else {
        let only = vehicle.axle_index(None);
        if only.is_none() {
            section.need("axle_name", || {
                format!(
                    "{} has more than one axle: add `axle_name = \"{}\"`, or another",
                    vehicle.name,
                    names().next().unwrap_or_default()
                )
            });
        }
        return only;
    };
    let name = item.name()?;
    let index = vehicle.axle_index(Some(&name));
    if index.is_none() {
        unknown(&item, &name, &format!("{} has no axle called", vehicle.name), &names().collect::<Vec<_>>());
    }
    index
}

/// Notes that `name` is none of `known`.
fn unknown(item: &Item<'_>, name: &str, complaint: &str, known: &[&str]) {
    let help = match (nearest(name, known.iter().copied()), known) {
        (Some(near), _) => format!("did you mean \"{near}\"?"),
        (None, []) => "there is none to name".to_owned(),
        (None, _) => format!("it has: {}", known.join(", ")),
    };
    item.wrong(format!("{complaint} \"{name}\""), help);
}

/// An example point for help lines.
const POINT: Example = Example::Point([0.0, 0.5, 0.9]);
