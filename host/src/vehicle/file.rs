//! `vehicle.toml` becomes a [`Vehicle`]: the one place that knows the keys of a vehicle file, their units and defaults.

mod axle;
mod fittings;
mod locating;
mod mirror;
mod wishes;

#[cfg(test)]
mod tests;

use super::Vehicle;
use crate::files::{self, Bound, Example, FileErrors, LoadError, Quantity, Section, Units};
use std::path::Path;

/// Standard deviation of a coordinate where the file gives none, m.
const TOLERANCE_M: f64 = 0.003;

/// Reads the vehicle file `text`; `path_label` is what messages call it.
///
/// # Errors
/// Every mistake of the file at once, each with its place and how to mend it.
pub fn parse(text: &str, path_label: &str) -> Result<Vehicle, FileErrors> {
    let mut vehicle = files::read(text, path_label, vehicle)?;
    vehicle.hash = blake3::hash(text.as_bytes()).to_hex().to_string();
    Ok(vehicle)
}

/// Reads the vehicle file at `path`.
///
/// # Errors
/// If there is no such file, if it cannot be read, or if it has mistakes.
pub fn load(path: &Path) -> Result<Vehicle, LoadError> {
    let text = files::read_text(path)?;
    Ok(parse(&text, &path.display().to_string())?)
}

fn vehicle(root: &mut Section<'_>) -> Option<Vehicle> {
    if root.has("sensor") && !root.has("vehicle") {
        root.other_kind(
            "this is a rig file, and a vehicle file is wanted",
            "name the vehicle.toml beside it",
        );
        return None;
    }
    let reader = root.reader();
    reader.set_units(Units::read(root));
    let name = root
        .require("name", Example::Text("\"Bramble\""), "what you call the vehicle")
        .and_then(|item| item.name());
    let body = root
        .need("vehicle", || "add a section [vehicle] with wheelbase and cg_height".to_owned())
        .and_then(|item| item.section("[vehicle]"))
        .and_then(|mut section| whole(&mut section));
    let help = || "add a section [[axle]] with name, position, track and tyre_radius".to_owned();
    if let Some(item) = root.need("axle", help)
        && item.is_list()
        && item.list("").is_some_and(|list| list.is_empty())
    {
        item.wrong("this file has no axle", help());
    }
    let axles = axle::all(root);
    let body = body?;
    if axles.is_empty() {
        return None;
    }
    Some(Vehicle {
        name: name?,
        wheelbase_m: body.wheelbase_m,
        cg_height_m: body.cg_height_m,
        mass_kg: body.mass_kg,
        tolerance_m: body.tolerance_m,
        axles,
        defaults_used: reader.defaults(),
        hash: String::new(),
    })
}

/// What `[vehicle]` says.
struct Whole {
    wheelbase_m: f64,
    cg_height_m: f64,
    mass_kg: Option<f64>,
    tolerance_m: f64,
}

fn whole(section: &mut Section<'_>) -> Option<Whole> {
    let length = |si| Example::Value(Quantity::Length, si);
    let wheelbase = section.require("wheelbase", length(2.54), "the distance between the wheel centrelines");
    let wheelbase = wheelbase.and_then(|i| i.quantity(Quantity::Length, Bound::Positive));
    let cg_height =
        section.require("cg_height", length(0.81), "the height of the centre of gravity above the floor");
    let cg_height = cg_height.and_then(|i| i.quantity(Quantity::Length, Bound::Positive));
    let mass_kg = section.get("mass").and_then(|i| i.quantity(Quantity::Mass, Bound::Positive));
    let tolerance = match section.get("tolerance") {
        Some(item) => item.quantity(Quantity::Length, Bound::NotNegative),
        None => {
            section.reader().default_used("tolerance 3 mm".to_owned());
            Some(TOLERANCE_M)
        }
    };
    section.finish();
    Some(Whole { wheelbase_m: wheelbase?, cg_height_m: cg_height?, mass_kg, tolerance_m: tolerance? })
}
