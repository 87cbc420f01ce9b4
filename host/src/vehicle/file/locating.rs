//! The elements that locate an axle: links, wishbones, radius arms, Watts linkages, and the brackets they sit in.

use super::mirror::elements_and_twins;
use crate::files::{Bound, Example, Item, Names, Quantity, Section};
use crate::geometry::Vector3;
use crate::vehicle::{
    Bush, BushStiffness, JointKind, Link, Locating, Mount, RadiusArm, Side, Tube, Watts, Wishbone,
};

/// Two joints closer than this are one point, m: no link is that short.
const SAME_POINT_M: f64 = 1e-3;
/// Young's modulus of steel where the file gives none, Pa.
const STEEL_PA: f64 = 205e9;
/// Words for the two bodies.
pub(super) const SIDES: [(&str, Side); 2] = [("chassis", Side::Chassis), ("axle", Side::Axle)];

const CHASSIS_END: Example = Example::Point([0.95, 0.36, 0.5]);
const AXLE_END: Example = Example::Point([0.02, 0.58, 0.4]);

/// Reads everything that locates the axle or the alternative `parent`.
pub(super) fn locating(parent: &mut Section<'_>, names: &mut Names) -> Locating {
    let (links, mut twins) = elements_and_twins(parent, "link", "link", names, link);
    let (wishbones, more) = elements_and_twins(parent, "wishbone", "wishbone", names, wishbone);
    twins.extend(more);
    let (radius_arms, more) = elements_and_twins(parent, "radius_arm", "radius arm", names, radius_arm);
    twins.extend(more);
    Locating { links, wishbones, radius_arms, watts: watts_linkages(parent, names), twins }
}

/// Both ends of an element, as points or brackets, which must not be the same point.
pub(super) fn ends<T>(
    section: &mut Section<'_>,
    read: impl Fn(&Item<'_>) -> Option<T>,
    holes: impl Fn(&T) -> Vec<Vector3<f64>>,
) -> Option<(T, T)> {
    let chassis = section.require("chassis", CHASSIS_END, "its chassis end").and_then(|i| read(&i));
    let axle = section.require("axle", AXLE_END, "its axle end").and_then(|i| read(&i));
    let (chassis, axle) = (chassis?, axle?);
    apart(section, &holes(&chassis), &holes(&axle)).then_some((chassis, axle))
}

/// Whether no hole of `a` is a hole of `b`; notes the mistake if one is.
fn apart(section: &Section<'_>, a: &[Vector3<f64>], b: &[Vector3<f64>]) -> bool {
    let same = a.iter().any(|p| b.iter().any(|q| (p - q).norm() < SAME_POINT_M));
    if same {
        section.wrong(
            format!("{} has no length: two of its joints are at the same place", section.what()),
            "check the coordinates of its ends",
        );
    }
    !same
}

/// A bracket: a point, or `{ holes = [[x, y, z], …], use = 1 }`.
pub(super) fn mount(item: &Item<'_>) -> Option<Mount> {
    if !item.is_section() {
        let of_points = item.is_list() && item.list("").is_some_and(|l| l.iter().any(Item::is_list));
        if of_points {
            item.wrong(
                format!("{} is a list of points, and a point is wanted", item.what()),
                "write { holes = [[x, y, z], …], use = 1 } for a bracket with several holes",
            );
            return None;
        }
        return item.point().map(Mount::fixed);
    }
    let mut section = item.section(item.what())?;
    let holes = section
        .require("holes", Example::Text("[[x, y, z], …]"), "every hole of the bracket")
        .and_then(|i| i.list("write the holes as [[x, y, z], …]").map(|list| (i, list)));
    let in_use = section.require("use", Example::Text("1"), "the hole in use, counted from 1");
    section.finish();
    let (holes_item, list) = holes?;
    if list.is_empty() {
        holes_item.wrong(format!("{} has no holes", section.what()), "write at least one hole: [[x, y, z]]");
        return None;
    }
    let count = list.len();
    let points: Vec<Option<Vector3<f64>>> = list.iter().map(Item::point).collect();
    let in_use = in_use?;
    let number = in_use.whole_number()?;
    let index = usize::try_from(number).ok().and_then(|n| n.checked_sub(1)).filter(|i| *i < count);
    let Some(index) = index else {
        in_use.wrong(
            format!("{} has no hole {number}", section.what()),
            match count {
                1 => "the bracket has one hole: write `use = 1`".to_owned(),
                _ => format!("holes are counted from 1: write `use` from 1 to {count}"),
            },
        );
        return None;
    };
    Mount::with_holes(points.into_iter().collect::<Option<Vec<_>>>()?, index)
}

/// Every hole of a bracket, for [`ends`].
fn holes(mount: &Mount) -> Vec<Vector3<f64>> {
    mount.holes().to_vec()
}

fn mounts(item: &Item<'_>, help: &str) -> Option<[Mount; 2]> {
    let [first, second] = item.list_of::<2>(help)?.map(|i| mount(&i));
    Some([first?, second?])
}

/// A mount that must be there.
fn need_mount(
    section: &mut Section<'_>,
    key: &'static str,
    example: Example,
    meaning: &str,
) -> Option<Mount> {
    section.require(key, example, meaning).and_then(|i| mount(&i))
}

/// Two mounts that must be there.
fn need_mounts(section: &mut Section<'_>, key: &'static str, meaning: &str) -> Option<[Mount; 2]> {
    section
        .require(key, Example::Text("[[x, y, z], [x, y, z]]"), meaning)
        .and_then(|i| mounts(&i, "write two points: [[x, y, z], [x, y, z]]"))
}

/// Joint kinds at the chassis end and at the axle end; one word stands for both.
fn joints(section: &mut Section<'_>) -> Option<[JointKind; 2]> {
    let item = section.get("joints")?;
    if item.is_text() {
        return item.choice(&JointKind::NAMES).map(|kind| [kind, kind]);
    }
    let help = "write two kinds: chassis end, axle end, such as [\"rod-end\", \"rubber\"]";
    let [chassis, axle] = item.list_of::<2>(help)?.map(|i| i.choice(&JointKind::NAMES));
    Some([chassis?, axle?])
}

fn stiffness(section: &mut Section<'_>) -> Option<f64> {
    section.get("stiffness")?.quantity(Quantity::Stiffness, Bound::Positive)
}

fn play(section: &mut Section<'_>) -> f64 {
    let play = section.get("play").and_then(|i| i.quantity(Quantity::Length, Bound::NotNegative));
    play.unwrap_or(0.0)
}

fn tube(section: &mut Section<'_>) -> Option<Tube> {
    let item = section.get("tube")?;
    let mut tube = item.section(&format!("the tube of {}", section.what()))?;
    let length = |i: Item<'_>| i.quantity(Quantity::Length, Bound::Positive);
    let example = |si| Example::Value(Quantity::Length, si);
    let diameter = tube.require("diameter", example(0.0508), "its outside diameter").and_then(length);
    let wall = tube.require("wall", example(0.0064), "its wall thickness");
    let wall_m = wall.clone().and_then(length);
    let stress = |i: Item<'_>| i.quantity(Quantity::Stress, Bound::Positive);
    let yield_pa = tube.get("yield").and_then(stress);
    let modulus_pa = tube.get("modulus").map_or_else(
        || {
            tube.reader().default_used("Young's modulus 205 GPa for tubes that give none".to_owned());
            Some(STEEL_PA)
        },
        stress,
    );
    tube.finish();
    let (diameter_m, wall_m) = (diameter?, wall_m?);
    // A solid bar is a tube whose walls meet.
    if wall_m > 0.5 * diameter_m * (1.0 + 1e-9) {
        wall?.wrong(
            format!("the walls of {} are thicker than half its diameter", tube.what()),
            "write the wall thickness, or half the diameter for a solid bar",
        );
        return None;
    }
    Some(Tube { diameter_m, wall_m, yield_pa, modulus_pa: modulus_pa? })
}

fn link(section: &mut Section<'_>, name: String) -> Option<Link> {
    let ends = ends(section, mount, holes);
    let joints = joints(section);
    let stiffness_n_per_m = stiffness(section);
    if !section.has("joints") && !section.has("stiffness") {
        section.reader().default_used("links without joints or stiffness are rigid".to_owned());
    }
    let tube = tube(section);
    let limit = section.get("misalignment_limit");
    let misalignment_limit_rad = limit.and_then(|i| i.quantity(Quantity::Angle, Bound::Positive));
    let bolts = match section.get("bolts") {
        Some(item) => bolts(&item),
        None => {
            section.reader().default_used("bolts along y where none are given".to_owned());
            Some([Vector3::y(), Vector3::y()])
        }
    };
    let length = section.get("length");
    let length_m = length.clone().and_then(|i| i.quantity(Quantity::Length, Bound::Positive));
    let play_m = play(section);
    let refit = section.get("refit").and_then(|i| i.flag()).unwrap_or(true);
    let rating = section.get("joint_rating");
    let joint_rating_n = rating.and_then(|i| i.quantity(Quantity::Force, Bound::Positive));
    let tolerance = section.get("tolerance");
    let tolerance_m = tolerance.and_then(|i| i.quantity(Quantity::Length, Bound::NotNegative));
    let (chassis, axle) = ends?;
    let link = Link {
        name,
        chassis,
        axle,
        joints,
        stiffness_n_per_m,
        tube,
        misalignment_limit_rad,
        bolts: bolts?,
        length_m,
        play_m,
        refit,
        joint_rating_n,
        tolerance_m,
    };
    if let (Some(item), Some(built)) = (length, length_m) {
        built_near_drawn(&item, &link, built);
    }
    Some(link)
}

/// A link built to another length than drawn shifts the ride pose; one that is far off is a slip, not a link.
fn built_near_drawn(item: &Item<'_>, link: &Link, built_m: f64) {
    /// Threads of a joint adjust a few centimetres; a quarter of the drawn length is beyond any.
    const FURTHEST: f64 = 0.25;
    let drawn_m = link.drawn_length_m();
    if (built_m - drawn_m).abs() > FURTHEST * drawn_m {
        item.wrong(
            format!(
                "{} is far from the distance of its ends, {}",
                item.what(),
                item.reader().units().say_length(drawn_m)
            ),
            "check the length and the coordinates of both ends",
        );
    }
}

fn bolts(item: &Item<'_>) -> Option<[Vector3<f64>; 2]> {
    let help = "write two directions: chassis end, axle end, such as [\"y\", \"y\"]";
    let [chassis, axle] = item.list_of::<2>(help)?.map(|i| i.direction());
    Some([chassis?, axle?])
}

fn side(section: &mut Section<'_>, key: &'static str, meaning: &str) -> Option<Side> {
    let item = section.require(key, Example::Text("\"axle\""), meaning)?;
    item.choice(&SIDES)
}

fn wishbone(section: &mut Section<'_>, name: String) -> Option<Wishbone> {
    let apex_on = side(section, "apex_on", "or \"chassis\": the body that carries the apex");
    let apex = need_mount(section, "apex", Example::Point([0.03, 0.0, 0.64]), "its apex joint");
    let legs = need_mounts(section, "legs", "the far ends of its two legs");
    let joints = joints(section);
    let stiffness_n_per_m = stiffness(section);
    let tube = tube(section);
    let play_m = play(section);
    let (apex, legs) = (apex?, legs?);
    let [first, second] = legs.each_ref().map(holes);
    let good = apart(section, &holes(&apex), &first)
        && apart(section, &holes(&apex), &second)
        && apart(section, &first, &second);
    let apex_on = apex_on?;
    good.then_some(Wishbone { name, apex_on, apex, legs, joints, stiffness_n_per_m, tube, play_m })
}

fn radius_arm(section: &mut Section<'_>, name: String) -> Option<RadiusArm> {
    let chassis = need_mount(section, "chassis", Example::Point([-0.9, 0.38, 0.52]), "its chassis joint");
    let axle = need_mounts(section, "axle", "its axle bushes, front and rear or top and bottom");
    let bolt = match section.get("bolt") {
        Some(item) => item.direction(),
        None => {
            section.reader().default_used("bolts along y where none are given".to_owned());
            Some(Vector3::y())
        }
    };
    let bushes = bushes(section);
    let tube = tube(section);
    let (chassis, axle, bolt) = (chassis?, axle?, bolt?);
    let [first, second] = axle.each_ref().map(holes);
    let good = apart(section, &holes(&chassis), &first)
        && apart(section, &holes(&chassis), &second)
        && apart(section, &first, &second);
    let [chassis_bush, axle_bush] = bushes?;
    good.then_some(RadiusArm { name, chassis, axle, bolt, chassis_bush, axle_bush, tube })
}

/// Chassis bush and axle bushes: a joint kind for all, or one for each place, as a kind or as stiffness.
fn bushes(section: &mut Section<'_>) -> Option<[Bush; 2]> {
    let Some(item) = section.get("bush") else {
        section.reader().default_used("rubber bushes for radius arms that give none".to_owned());
        return Some([assumed(JointKind::Rubber); 2]);
    };
    if item.is_text() {
        return item.choice(&JointKind::NAMES).map(|kind| [assumed(kind); 2]);
    }
    let mut both = item.section(&format!("the bush of {}", section.what()))?;
    let example = Example::Text("\"rubber\"");
    let chassis = both.require("chassis", example, "or its stiffness").and_then(|i| bush(&i));
    let axle = both.require("axle", example, "or its stiffness").and_then(|i| bush(&i));
    both.finish();
    Some([chassis?, axle?])
}

fn assumed(kind: JointKind) -> Bush {
    Bush { stiffness: kind.assumed(), assumed_from: Some(kind) }
}

fn bush(item: &Item<'_>) -> Option<Bush> {
    if item.is_text() {
        return item.choice(&JointKind::NAMES).map(assumed);
    }
    let mut section = item.section(item.what())?;
    let mut read = |key, quantity, bound, si, meaning| {
        let item = section.require(key, Example::Value(quantity, si), meaning)?;
        item.quantity(quantity, bound)
    };
    let (across, about) = (Quantity::Stiffness, Quantity::RotationalStiffness);
    let radial = read("radial", across, Bound::Positive, 8e6, "its stiffness across the bolt");
    let axial = read("axial", across, Bound::NotNegative, 2e6, "its stiffness along the bolt");
    let torsional = read("torsional", about, Bound::NotNegative, 573.0, "its stiffness about the bolt");
    let conical = read("conical", about, Bound::NotNegative, 1719.0, "its stiffness about the other axes");
    section.finish();
    let stiffness = BushStiffness {
        radial_n_per_m: radial?,
        axial_n_per_m: axial?,
        torsional_nm_per_rad: torsional?,
        conical_nm_per_rad: conical?,
    };
    Some(Bush { stiffness, assumed_from: None })
}

/// A Watts linkage reads like the others but has no mirror image: it stands across the centre plane.
fn watts_linkages(parent: &mut Section<'_>, names: &mut Names) -> Vec<Watts> {
    let mut all = Vec::new();
    for mut section in parent.sections("watts", "Watts linkage") {
        let name = section.named("Watts linkage");
        if let Some(name) = &name {
            names.take(&section, name);
        }
        all.extend(watts(&mut section, name.unwrap_or_default()));
        section.finish();
    }
    all
}

fn watts(section: &mut Section<'_>, name: String) -> Option<Watts> {
    let pivot_on = side(section, "pivot_on", "or \"chassis\": the body that carries the crank");
    let pivot = need_mount(section, "pivot", Example::Point([-0.08, 0.0, 0.52]), "the crank's pivot");
    let axis = match section.get("axis") {
        Some(item) => item.direction(),
        None => {
            section.reader().default_used("Watts cranks turn about x where no axis is given".to_owned());
            Some(Vector3::x())
        }
    };
    let two = Example::Text("[[x, y, z], [x, y, z]]");
    let crank = section.require("crank", two, "the crank's two ends").and_then(|i| {
        let [first, second] = i.list_of::<2>("write two points: [[x, y, z], [x, y, z]]")?.map(|i| i.point());
        Some([first?, second?])
    });
    let ends = need_mounts(section, "ends", "where each link's far joint sits, on the other body");
    let stiffness_n_per_m = stiffness(section);
    let tube = tube(section);
    let (pivot, crank, ends) = (pivot?, crank?, ends?);
    let [upper, lower] = crank;
    let [first, second] = ends.each_ref().map(holes);
    let good = apart(section, &[upper], &[lower])
        && apart(section, &holes(&pivot), &[upper])
        && apart(section, &holes(&pivot), &[lower])
        && apart(section, &[upper], &first)
        && apart(section, &[lower], &second);
    let (pivot_on, axis) = (pivot_on?, axis?);
    good.then_some(Watts { name, pivot_on, pivot, axis, crank, ends, stiffness_n_per_m, tube })
}
