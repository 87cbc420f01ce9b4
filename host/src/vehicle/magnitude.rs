//! Whether every point of a vehicle can have been typed in the unit that its file states. One that was read off a tape in inches
//! and typed among millimetres is no mistake of the file's form, and makes every number wrong.

use super::{Axle, Vehicle};
use crate::geometry::Vector3;

/// Where points of an axle and of what holds it lie, by the size of the vehicle (common practice, no source): not lower than this
/// part of the tyre's radius, not higher than so many of them, within a wheelbase fore and aft and a track sideways.
const LOWEST: f64 = 0.15;
const HIGHEST: f64 = 5.0;

/// What a point must be multiplied by where it was typed in another unit, and which that was.
const FACTORS: [(f64, &str); 4] = [
    (25.4, "inches among millimetres"),
    (1000.0, "metres among millimetres"),
    (1.0 / 25.4, "millimetres among inches"),
    (1.0 / 1000.0, "micrometres among millimetres"),
];

/// Sentences about points of an axle that lie where none can, and would lie among the others had they been typed in another unit.
pub fn remarks(vehicle: &Vehicle, axle: &Axle) -> Vec<String> {
    let spots = axle.spots();
    let odd: Vec<(String, &str)> = spots
        .iter()
        .filter_map(|spot| {
            let unit = typed_as(vehicle, axle, &axle.place(*spot)?)?;
            Some((format!("the {} of \"{}\"", spot.words(), axle.element(*spot)?), unit))
        })
        .collect();
    if let Some((_, unit)) = odd.first()
        && 2 * odd.len() > spots.len()
    {
        let axle = &axle.name;
        return vec![format!(
            "Most points of the axle \"{axle}\" lie where none can, as if {unit} had been typed: check `units` at the head of the file."
        )];
    }
    let remark = |(what, unit): (String, &str)| {
        format!(
            "Look at {what}: it lies where no point of an axle can, and would lie among the others if it had been typed as {unit}. Type \
             its three coordinates again in the file's own unit."
        )
    };
    odd.into_iter().map(remark).collect()
}

/// Which unit a point was typed in by mistake, as far as its place tells.
fn typed_as(vehicle: &Vehicle, axle: &Axle, point: &Vector3<f64>) -> Option<&'static str> {
    if lies_well(vehicle, axle, point) {
        return None;
    }
    FACTORS.iter().find(|(factor, _)| lies_well(vehicle, axle, &(point * *factor))).map(|(_, unit)| *unit)
}

fn lies_well(vehicle: &Vehicle, axle: &Axle, point: &Vector3<f64>) -> bool {
    let radius_m = axle.tyre_radius_m;
    point.x.abs() <= vehicle.wheelbase_m
        && point.y.abs() <= axle.track_m
        && (LOWEST * radius_m..=HIGHEST * radius_m).contains(&point.z)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::vehicle::{Spot, file};

    fn starters() -> impl Iterator<Item = Vehicle> {
        let parse =
            |(word, layout): &(&str, Layout)| file::parse(&layout.vehicle_text("Bramble"), word).unwrap();
        Layout::WORDS.iter().map(parse).collect::<Vec<_>>().into_iter()
    }

    #[test]
    fn the_starters_are_as_they_should_be() {
        for vehicle in starters() {
            assert_eq!(remarks(&vehicle, &vehicle.axles[0]), Vec::<String>::new());
        }
    }

    /// Every bracket of every starter, typed in another unit: it is named, with that unit, and nothing else is.
    #[test]
    fn a_single_point_in_another_unit_is_named() {
        let mut tried = 0;
        for vehicle in starters() {
            let spots: Vec<Spot> = vehicle.axles[0].spots();
            for spot in spots {
                for (factor, unit) in FACTORS {
                    let mut typed = vehicle.clone();
                    let Some(mount) = typed.axles[0].mount_mut(spot) else { continue };
                    *mount = mount.map(|hole| hole / factor);
                    let told = remarks(&typed, &typed.axles[0]);
                    let name = vehicle.axles[0].element(spot).unwrap();
                    assert!(
                        matches!(told.as_slice(), [one] if one.contains(unit) && one.contains(name) && one.contains(spot.words())),
                        "{spot:?} as {unit}: {told:?}"
                    );
                    tried += 1;
                }
            }
        }
        assert!(tried > 200, "{tried}");
    }

    #[test]
    fn a_whole_file_in_another_unit_is_told_of_once() {
        for mut vehicle in starters() {
            let spots = vehicle.axles[0].spots();
            for spot in spots {
                if let Some(mount) = vehicle.axles[0].mount_mut(spot) {
                    *mount = mount.map(|hole| hole / 25.4);
                }
            }
            let told = remarks(&vehicle, &vehicle.axles[0]);
            assert!(matches!(told.as_slice(), [one] if one.contains("`units`")), "{told:?}");
        }
    }
}
