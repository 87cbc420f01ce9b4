//! Whether every point of a vehicle can lie where the file puts it. A point that was read off a tape in inches and typed among
//! millimetres, or one with a digit too many, is no mistake of the file's form, and makes every number wrong.

use super::{Axle, Mount, Spot, Vehicle};
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

/// A point of an axle with what a builder calls it.
struct Placed<'a> {
    end: String,
    element: &'a str,
    point: Vector3<f64>,
}

/// Sentences about points of an axle that lie where none can: what they may have been typed as, or how far off they are. A point
/// and its mirror image are told of together.
pub fn remarks(vehicle: &Vehicle, axle: &Axle) -> Vec<String> {
    let placed: Vec<Placed> = spots(vehicle, axle).into_iter().chain(fittings(axle)).collect();
    let odd: Vec<(&Placed, Option<&str>)> = placed
        .iter()
        .filter(|p| !lies_well(vehicle, axle, &p.point))
        .map(|p| (p, typed_as(vehicle, axle, &p.point)))
        .collect();
    if let Some(unit) = odd.iter().find_map(|(_, unit)| *unit)
        && 2 * odd.iter().filter(|(_, u)| u.is_some()).count() > axle.spots().len()
    {
        let axle = &axle.name;
        return vec![format!(
            "Most points of the axle \"{axle}\" lie where none can, as if {unit} had been typed: check `units` at the head of the file."
        )];
    }
    let twin = |a: &Placed, b: &Placed| {
        a.end == b.end
            && a.point.x == b.point.x
            && a.point.y.abs() == b.point.y.abs()
            && a.point.z == b.point.z
    };
    let firsts = odd.iter().enumerate().filter(|(k, (p, _))| !odd.iter().take(*k).any(|(q, _)| twin(p, q)));
    firsts
        .map(|(k, (p, unit))| {
            let also = odd.iter().skip(k + 1).filter(|(q, _)| twin(p, q));
            let also: String = also.map(|(q, _)| format!(" and of \"{}\"", q.element)).collect();
            let what = format!("the {} of \"{}\"{also}", p.end, p.element);
            match unit {
                Some(unit) => format!(
                    "Look at {what}: it lies where no point of an axle can, and would lie among the others if it had been typed as \
                     {unit}. Type its three coordinates again in the file's own unit."
                ),
                None => format!(
                    "Look at {what}: it lies {}. Check the digits of its coordinates.",
                    how_far(vehicle, axle, &p.point)
                ),
            }
        })
        .collect()
}

/// The points that locate the axle, carry its springs or steer it; of a bracket the hole in use, else the first that is off.
fn spots<'a>(vehicle: &Vehicle, axle: &'a Axle) -> Vec<Placed<'a>> {
    let placed = |spot: Spot| {
        let (point, element) = (axle.place(spot)?, axle.element(spot)?);
        let off = |hole: &&Vector3<f64>| !lies_well(vehicle, axle, hole);
        let holes = axle.mount(spot).map(Mount::holes).unwrap_or_default();
        let other = holes.iter().position(|hole| off(&hole)).filter(|_| !off(&&point));
        Some(match other.and_then(|hole| Some((hole, *holes.get(hole)?))) {
            Some((hole, point)) => {
                Placed { end: format!("{}, hole {},", spot.words(), hole + 1), element, point }
            }
            None => Placed { end: spot.words().to_owned(), element, point },
        })
    };
    axle.spots().into_iter().filter_map(placed).collect()
}

/// The points of what else hangs between axle and chassis.
fn fittings(axle: &Axle) -> Vec<Placed<'_>> {
    let shocks = axle.shocks.iter().map(|s| (&s.name, s.chassis, s.axle));
    let stops = axle.bump_stops.iter().chain(&axle.straps).map(|s| (&s.name, s.chassis, s.axle));
    let marks = axle.ride_marks.iter().map(|m| (&m.name, m.chassis, m.axle));
    let shaft = axle.driveshaft.iter().flat_map(|shaft| {
        [("output", shaft.output), ("pinion", shaft.pinion)].map(|(end, point)| Placed {
            end: end.to_owned(),
            element: "driveshaft",
            point,
        })
    });
    shocks.chain(stops).chain(marks).flat_map(both_ends).chain(shaft).collect()
}

fn both_ends((element, chassis, on_axle): (&String, Vector3<f64>, Vector3<f64>)) -> [Placed<'_>; 2] {
    [("chassis end", chassis), ("axle end", on_axle)].map(|(end, point)| Placed {
        end: end.to_owned(),
        element,
        point,
    })
}

/// Which unit a point was typed in by mistake, as far as its place tells.
fn typed_as(vehicle: &Vehicle, axle: &Axle, point: &Vector3<f64>) -> Option<&'static str> {
    FACTORS.iter().find(|(factor, _)| lies_well(vehicle, axle, &(point * *factor))).map(|(_, unit)| *unit)
}

fn lies_well(vehicle: &Vehicle, axle: &Axle, point: &Vector3<f64>) -> bool {
    along(vehicle, point) && across(axle, point) && high(axle, point)
}

fn along(vehicle: &Vehicle, point: &Vector3<f64>) -> bool {
    point.x.abs() <= vehicle.wheelbase_m
}

fn across(axle: &Axle, point: &Vector3<f64>) -> bool {
    point.y.abs() <= axle.track_m
}

fn high(axle: &Axle, point: &Vector3<f64>) -> bool {
    (LOWEST * axle.tyre_radius_m..=HIGHEST * axle.tyre_radius_m).contains(&point.z)
}

/// Where a point lies that lies where none can, beside the size of the vehicle that says so.
fn how_far(vehicle: &Vehicle, axle: &Axle, point: &Vector3<f64>) -> String {
    let mut parts = Vec::new();
    if !along(vehicle, point) {
        let way = if point.x > 0.0 { "ahead of" } else { "behind" };
        let wheelbase_m = vehicle.wheelbase_m;
        parts.push(format!("{:.2} m {way} the axle, and the wheelbase is {wheelbase_m:.2} m", point.x.abs()));
    }
    if !across(axle, point) {
        let way = if point.y > 0.0 { "left" } else { "right" };
        let track_m = axle.track_m;
        parts.push(format!(
            "{:.2} m to the {way} of the vehicle's middle, and the track is {track_m:.2} m",
            point.y.abs()
        ));
    }
    if !high(axle, point) {
        let way = if point.z < 0.0 { "below" } else { "above" };
        let radius_m = axle.tyre_radius_m;
        parts.push(format!(
            "{:.2} m {way} the floor, and the wheel centre stands at {radius_m:.2} m",
            point.z.abs()
        ));
    }
    parts.join("; and ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::vehicle::file;

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

    /// Each coordinate of every point with a digit too many: it is named, with how far off it is, and nothing else is.
    #[test]
    fn a_coordinate_with_a_digit_too_many_is_named() {
        let mut tried = 0;
        for vehicle in starters() {
            let axle = &vehicle.axles[0];
            for spot in axle.spots() {
                let point = axle.place(spot).unwrap();
                for k in 0..3 {
                    let mut offset = Vector3::zeros();
                    offset[k] = 9.0 * point[k];
                    let mut typed = vehicle.clone();
                    typed.axles[0].move_spot(spot, &offset);
                    if lies_well(&typed, &typed.axles[0], &(point + offset)) {
                        continue;
                    }
                    let told = remarks(&typed, &typed.axles[0]);
                    let shown = format!("{:.2} m", (10.0 * point[k]).abs());
                    let name = axle.element(spot).unwrap();
                    assert!(
                        matches!(told.as_slice(), [one] if one.contains(name) && (one.contains(&shown) || one.contains("typed as"))),
                        "{spot:?} {k}: {told:?}"
                    );
                    tried += 1;
                }
            }
        }
        assert!(tried > 100, "{tried}");
    }

    #[test]
    fn a_hole_a_strap_and_a_mirrored_point_are_looked_at_too() {
        let text = Layout::DoubleTriangulatedFourLink.vehicle_text("Bramble");
        let told = |from: &str, to: &str| {
            assert!(text.contains(from), "{from}");
            let vehicle = file::parse(&text.replacen(from, to, 1), "vehicle.toml").unwrap();
            remarks(&vehicle, &vehicle.axles[0])
        };
        let lower = told("[950, 360, 500]", "[9500, 360, 500]");
        assert_eq!(
            lower,
            [
                "Look at the chassis end of \"lower left\" and of \"lower right\": it lies 9.50 m ahead of the axle, and the \
                 wheelbase is 2.54 m. Check the digits of its coordinates."
            ]
        );
        let hole = told("[800, 450, 680]", "[8000, 450, 680]");
        assert!(
            matches!(hole.as_slice(), [one] if one.contains("chassis end, hole 3, of \"upper left\" and of \"upper right\"")),
            "{hole:?}"
        );
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
