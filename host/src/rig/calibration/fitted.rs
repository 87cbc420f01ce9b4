//! Where and how a sensor is fitted, in words that a later rig file can be held to.

use crate::geometry::Vector3;
use crate::rig::{Carrier, Input, Kind, Scale, Sensor};

/// Everything of a rig entry that a calibration depends on, one statement each, its first word saying what it is about, SI. Noise,
/// uncertainties and rates are left out: to know them better moves no sensor.
pub fn fitted(sensor: &Sensor) -> Vec<String> {
    let mut all = vec![format!("kind {}", sensor.kind_word())];
    match &sensor.kind {
        Kind::DrawWire(s) => all.extend([point("chassis", &s.chassis), point("axle", &s.axle)]),
        Kind::Angle(s) => {
            all.extend([point("pivot", &s.pivot), point("axle", &s.axle), point("axis", &s.axis)])
        }
        Kind::Range(s) => all.extend([
            point("chassis", &s.chassis),
            point("direction", &s.direction),
            point("plane", &s.plane_point),
            point("normal", &s.plane_normal),
        ]),
        Kind::Force(s) => all.push(format!("link {}", s.link.as_deref().unwrap_or("none"))),
        Kind::Inertial(s) => {
            let axes: Vec<String> = s.axes.iter().map(|v| format!("{v:.0}")).collect();
            let body = match s.carrier {
                Carrier::Chassis => "chassis",
                Carrier::Axle => "axle",
                Carrier::KnuckleLeft => "knuckle left",
                Carrier::KnuckleRight => "knuckle right",
            };
            all.extend([format!("body {body}"), point("at", &s.at), format!("axes {}", axes.join(" "))]);
        }
    }
    all.extend(sensor.reading().map(|r| scale(&r.scale)));
    all.extend(sensor.input.as_ref().map(input));
    all
}

/// The first thing that two lists of [`fitted`] do not say alike.
pub fn changed(then: &[String], now: &[String]) -> Option<String> {
    let topic = |text: &str| text.split(' ').next().unwrap_or_default().to_owned();
    let of = |list: &[String], about: &str| list.iter().find(|t| topic(t) == about).cloned();
    then.iter().chain(now).map(|t| topic(t)).find(|about| of(then, about) != of(now, about))
}

fn point(what: &str, at: &Vector3<f64>) -> String {
    // A tenth of a millimetre: nobody moves a sensor by less, and the file stays readable.
    format!("{what} {:.4} {:.4} {:.4}", at.x, at.y, at.z).replace("-0.0000", "0.0000")
}

fn scale(scale: &Scale) -> String {
    match scale {
        Scale::Linear(per_count) => format!("scale {per_count:e}"),
        Scale::Points(points) => {
            let pairs: Vec<String> = points.iter().map(|[count, value]| format!("{count}:{value}")).collect();
            format!("scale {}", pairs.join(" "))
        }
    }
}

fn input(input: &Input) -> String {
    let mux =
        input.mux.map(|(address, channel)| format!(" mux {address:#04x}/{channel}")).unwrap_or_default();
    let supply = input.excitation.map(|channel| format!(" excitation {channel}")).unwrap_or_default();
    let Input { bus, device, address, channel, .. } = input;
    format!("input bus {bus}{mux} {device} {address:#04x} channel {channel}{supply}")
}
