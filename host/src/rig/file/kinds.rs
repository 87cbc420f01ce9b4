//! The kinds of sensors and where their parts sit.

use super::reading::{Defaults, reading};
use super::{POINT, unknown};
use crate::files::{Bound, Example, Item, Quantity, Section};
use crate::geometry::{Matrix3, Vector3};
use crate::rig::{AngleSensor, Carrier, DrawWire, ForceSensor, Inertial, Kind, RangeFinder, UnitFound};
use crate::vehicle::Vehicle;

/// The words for kinds.
#[derive(Debug, Clone, Copy)]
pub(super) enum Word {
    DrawWire,
    Angle,
    Inertial,
    Range,
    Force,
}

const WORDS: [(&str, Word); 5] = [
    ("draw-wire", Word::DrawWire),
    ("angle", Word::Angle),
    ("inertial", Word::Inertial),
    ("range", Word::Range),
    ("force", Word::Force),
];
const CARRIERS: [(&str, Carrier); 4] = [
    ("chassis", Carrier::Chassis),
    ("axle", Carrier::Axle),
    ("knuckle left", Carrier::KnuckleLeft),
    ("knuckle right", Carrier::KnuckleRight),
];

/// Ends closer than this are one point, m.
const SAME_POINT_M: f64 = 1e-3;
/// A link nearer to a sensor's axis than this turns nothing, as the sine of the angle between them: 3°.
const ALONG_AXIS: f64 = 0.05;
/// A ray nearer to its plane than this slides along it, as the sine of the angle between them: 3°.
const ALONG_PLANE: f64 = 0.05;

/// Potentiometers: 0.3 % of range and 1 mm of hysteresis unless the data sheet says otherwise.
const WIRE_LINEARITY_OF_RANGE: f64 = 0.003;
const WIRE_HYSTERESIS_M: f64 = 1e-3;
/// Magnetic angle sensors: 1° unless calibrated.
const ANGLE_LINEARITY_RAD: f64 = std::f64::consts::PI / 180.0;
/// Range finders are never better than this.
const RANGE_LINEARITY_M: f64 = 5e-3;
/// Noise of one reading and the scale's share, in the order of common parts.
const WIRE_NOISE_M: f64 = 0.3e-3;
const ANGLE_NOISE_RAD: f64 = 0.1 * std::f64::consts::PI / 180.0;
const RANGE_NOISE_M: f64 = 2e-3;
const FORCE_NOISE_N: f64 = 10.0;
const SCALE_U: f64 = 0.003;
const FORCE_SCALE_U: f64 = 0.01;

/// Uncalibrated inertial units: heading 3°, accelerometer scale 1 % and bias 0.2 m/s², noise as common parts have it.
const HEADING_U_RAD: f64 = 3.0 * std::f64::consts::PI / 180.0;
const INERTIAL_SCALE_U: f64 = 0.01;
const ACCEL_BIAS_U: f64 = 0.2;
const GYRO_BIAS_U: f64 = 0.02;
const ACCEL_NOISE: f64 = 0.02;
const GYRO_NOISE: f64 = 0.002;
/// What the still leaves of a gyro's bias, rad/s: 0.02 °/s.
const GYRO_BIAS_AFTER_STILL_U: f64 = 0.02 * std::f64::consts::PI / 180.0;

/// The kind that the section names.
pub(super) fn word(section: &mut Section<'_>) -> Option<Word> {
    let meaning = "or angle, inertial, range, force";
    section.require("kind", Example::Text("\"draw-wire\""), meaning)?.choice(&WORDS)
}

/// The rest of the section, as a sensor of kind `word` on the axle with this index.
pub(super) fn kind(
    section: &mut Section<'_>,
    word: Word,
    vehicle: &Vehicle,
    axle: Option<usize>,
) -> Option<Kind> {
    match word {
        Word::DrawWire => draw_wire(section, vehicle).map(Kind::DrawWire),
        Word::Angle => angle(section, vehicle).map(Kind::Angle),
        Word::Inertial => inertial(section).map(Kind::Inertial),
        Word::Range => range_finder(section, vehicle).map(Kind::Range),
        Word::Force => force(section, vehicle, axle).map(Kind::Force),
    }
}

fn point(section: &mut Section<'_>, key: &'static str, meaning: &str) -> Option<Vector3<f64>> {
    section.require(key, POINT, meaning)?.point()
}

/// Two ends that must not be one point.
fn ends(
    section: &mut Section<'_>,
    [chassis, axle]: [(&'static str, &str); 2],
) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let a = point(section, chassis.0, chassis.1);
    let b = point(section, axle.0, axle.1);
    let (a, b) = (a?, b?);
    if (a - b).norm() < SAME_POINT_M {
        section.wrong(
            format!("both ends of {} are at the same place", section.what()),
            "check the coordinates of its ends",
        );
        return None;
    }
    Some((a, b))
}

fn draw_wire(section: &mut Section<'_>, vehicle: &Vehicle) -> Option<DrawWire> {
    let ends = ends(
        section,
        [("chassis", "where it sits on the chassis"), ("axle", "where it is clipped to the axle")],
    );
    // A wire without a range is taken to be half out at ride height.
    let span = ends.map_or(0.0, |(a, b)| 2.0 * (a - b).norm());
    let defaults = Defaults {
        quantity: Quantity::Length,
        noise: WIRE_NOISE_M,
        scale_u: SCALE_U,
        linearity_of_range: WIRE_LINEARITY_OF_RANGE,
        linearity: 0.0,
        hysteresis: WIRE_HYSTERESIS_M,
        span,
    };
    let reading = reading(section, &defaults, vehicle);
    let (chassis, axle) = ends?;
    Some(DrawWire { chassis, axle, reading: reading? })
}

/// Defaults of a kind whose departure from a straight line does not grow with its range.
fn fixed(quantity: Quantity, noise: f64, scale_u: f64, linearity: f64) -> Defaults {
    Defaults { quantity, noise, scale_u, linearity_of_range: 0.0, linearity, hysteresis: 0.0, span: 0.0 }
}

fn angle(section: &mut Section<'_>, vehicle: &Vehicle) -> Option<AngleSensor> {
    let ends =
        ends(section, [("pivot", "the link's pivot on the chassis"), ("axle", "the link's end on the axle")]);
    let axis_item = section.get("axis");
    let axis = axis_item.clone().map_or(Some(Vector3::y()), |item| item.direction());
    let defaults = fixed(Quantity::Angle, ANGLE_NOISE_RAD, SCALE_U, ANGLE_LINEARITY_RAD);
    let reading = reading(section, &defaults, vehicle);
    let (pivot, axle) = ends?;
    let axis = axis?;
    if axis.cross(&(axle - pivot).normalize()).norm() < ALONG_AXIS {
        let message = format!("the axis of {} lies along the link, which turns nothing", section.what());
        let help = "write the axis that the link swings about, such as \"y\"";
        match axis_item {
            Some(item) => item.wrong(message, help),
            None => section.wrong(message, help),
        }
        return None;
    }
    Some(AngleSensor { pivot, axle, axis, reading: reading? })
}

fn range_finder(section: &mut Section<'_>, vehicle: &Vehicle) -> Option<RangeFinder> {
    let chassis = point(section, "chassis", "where the ray starts");
    let meaning = "the way the ray points";
    let direction = section.require("direction", Example::Text("[0, 0, -1]"), meaning);
    let direction = direction.and_then(|i| i.direction());
    let example = Example::Text("{ point = [0, 300, 530], normal = [0, 0, 1] }");
    let plane = section.require("plane", example, "the flat on the axle that it meets").and_then(|i| {
        let mut plane = i.section(i.what())?;
        let through = plane.require("point", POINT, "a point of the plane").and_then(|i| i.point());
        let normal = plane.require("normal", Example::Text("\"z\""), "the direction square to the plane");
        let normal = normal.and_then(|i| i.direction());
        plane.finish();
        Some((i, through?, normal?))
    });
    let defaults = fixed(Quantity::Length, RANGE_NOISE_M, SCALE_U, RANGE_LINEARITY_M);
    let reading = reading(section, &defaults, vehicle);
    let (chassis, direction) = (chassis?, direction?);
    let (plane, plane_point, plane_normal) = plane?;
    let towards = direction.dot(&plane_normal);
    if towards.abs() < ALONG_PLANE {
        plane.wrong(
            format!("the ray of {} runs along its plane and never meets it", section.what()),
            "turn the direction or the normal",
        );
        return None;
    }
    if (plane_point - chassis).dot(&plane_normal) / towards <= 0.0 {
        plane.wrong(
            format!("the plane of {} lies behind its ray", section.what()),
            "turn the direction round, or check the points",
        );
        return None;
    }
    Some(RangeFinder { chassis, direction, plane_point, plane_normal, reading: reading? })
}

fn force(section: &mut Section<'_>, vehicle: &Vehicle, axle: Option<usize>) -> Option<ForceSensor> {
    let link = section.optional("link", |item| {
        let name = item.name()?;
        // Without an axle, which is noted already, no link can be said to be wrong.
        let Some(axle) = axle.and_then(|i| vehicle.axles.get(i)) else { return Some(name) };
        let known: Vec<&str> = axle.locating.links.iter().map(|l| l.name.as_str()).collect();
        if known.contains(&name.as_str()) {
            return Some(name);
        }
        unknown(&item, &name, &format!("axle \"{}\" has no link called", axle.name), &known);
        None
    });
    let defaults = fixed(Quantity::Force, FORCE_NOISE_N, FORCE_SCALE_U, 0.0);
    let reading = reading(section, &defaults, vehicle);
    Some(ForceSensor { link: link?, reading: reading? })
}

fn inertial(section: &mut Section<'_>) -> Option<Inertial> {
    let body = section.require("body", Example::Text("\"axle\""), "or chassis, knuckle left, knuckle right");
    let carrier = body.and_then(|i| i.choice(&CARRIERS));
    let at = point(section, "at", "where it sits");
    let heading_u_rad =
        section.or("heading_u", HEADING_U_RAD, |i| i.quantity(Quantity::Angle, Bound::NotNegative));
    let scale_u = section.or("scale_u", INERTIAL_SCALE_U, |i| i.number_within(0.0, 1.0));
    let bias = pair(section, "bias_u", Bound::NotNegative, [ACCEL_BIAS_U, GYRO_BIAS_U]);
    let noise = pair(section, "noise", Bound::Positive, [ACCEL_NOISE, GYRO_NOISE]);
    let axes = section.or("axes", Matrix3::identity(), |i| axes(&i));
    let ([accel_bias_u, gyro_bias], [accel_noise, gyro_noise]) = (bias?, noise?);
    Some(Inertial {
        carrier: carrier?,
        at: at?,
        axes: axes?,
        heading_u_rad: heading_u_rad?,
        scale_u: scale_u?,
        accel_bias_u,
        gyro_bias_u: gyro_bias.min(GYRO_BIAS_AFTER_STILL_U),
        accel_noise,
        gyro_noise,
        found: UnitFound::default(),
    })
}

/// `{ accel = …, gyro = … }` in m/s² and rad/s, each with its default.
fn pair(section: &mut Section<'_>, key: &'static str, bound: Bound, defaults: [f64; 2]) -> Option<[f64; 2]> {
    let Some(item) = section.get(key) else { return Some(defaults) };
    let mut both = item.section(item.what())?;
    let [accel, gyro] = defaults;
    let accel = both.or("accel", accel, |i| i.number(bound));
    let gyro = both.or("gyro", gyro, |i| i.number(bound));
    both.finish();
    Some([accel?, gyro?])
}

/// From the sensor's axes to the vehicle's: column by column, where each sensor axis points.
fn axes(item: &Item<'_>) -> Option<Matrix3<f64>> {
    let mut section = item.section(item.what())?;
    let meaning = "where that axis of the sensor points on the vehicle";
    let column = |i: Item<'_>| {
        if !i.is_text() {
            i.wrong(
                format!("{} must be one of the vehicle's axes", i.what()),
                "write \"+x\", \"-x\", \"+y\", \"-y\", \"+z\" or \"-z\"",
            );
            return None;
        }
        i.direction()
    };
    let x = section.require("x", Example::Text("\"+x\""), meaning).and_then(column);
    let y = section.require("y", Example::Text("\"+y\""), meaning).and_then(column);
    let z = section.require("z", Example::Text("\"+z\""), meaning).and_then(column);
    section.finish();
    let matrix = Matrix3::from_columns(&[x?, y?, z?]);
    // A signed permutation has determinant 1, −1 (left-handed) or 0 (an axis named twice).
    match matrix.determinant().round() as i32 {
        1 => Some(matrix),
        -1 => {
            item.wrong(
                format!("{} make a left-handed set, which no sensor has", item.what()),
                "turn one of them round: x turned to y by the right hand points along z",
            );
            None
        }
        _ => {
            item.wrong(
                format!("{} name one direction twice", item.what()),
                "each of x, y and z points its own way",
            );
            None
        }
    }
}
