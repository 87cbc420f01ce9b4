//! From what a logger found to what is missing, where, and what to check: pure functions.

use super::{Answering, Channel, Row, is_excited};
use crate::device::inspection::Found;
use crate::rig::{Input, Kind, Rig, Sensor};
use hingeline_protocol::{BusScan, Component, LostReason};

/// Where a sensor is wired.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The part.
    pub part: String,
    /// Bus.
    pub bus: u8,
    /// Multiplexer and its output.
    pub mux: Option<(u8, u8)>,
    /// Address.
    pub address: u8,
    /// Its input, for a part with several.
    pub input: Option<u8>,
}

impl Place {
    fn of(input: &Input) -> Self {
        Self {
            part: input.device.clone(),
            bus: input.bus,
            mux: input.mux,
            address: input.address,
            input: (input.device == "ads1115").then_some(input.channel),
        }
    }

    /// As a part of a sentence.
    pub fn words(&self) -> String {
        let behind = self.mux.map_or_else(String::new, |(mux, output)| {
            format!(", output {output} of the multiplexer at 0x{mux:02x}")
        });
        let input = self.input.map_or_else(String::new, |input| format!(", input {input}"));
        format!("{} at 0x{:02x}{input} on bus {}{behind}", self.part, self.address, self.bus)
    }
}

/// What is wrong with a sensor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// One sentence.
    pub what: String,
    /// What to check, likeliest first.
    pub check: Vec<String>,
}

/// Everything that answered, by place.
pub fn answering(found: &Found) -> Vec<Answering> {
    let scans = found.scans.iter().map(|scan| Answering {
        bus: scan.bus,
        mux: scan.mux.map(|port| (port.address, port.channel)),
        addresses: (0..128).filter(|address| scan.answered(*address)).collect(),
    });
    scans.collect()
}

/// The sensors of a rig, each with what it read or what is wrong.
pub fn rows(rig: &Rig, found: &Found) -> Vec<Row> {
    let mut wired = 0_u8;
    let row = |(k, sensor): (usize, &Sensor)| {
        let number = sensor.input.is_some().then(|| {
            wired += 1;
            wired - 1
        });
        let trouble = match (&sensor.input, number) {
            (Some(input), Some(number)) => trouble(rig, sensor, input, number, k, found),
            _ => Some(Trouble {
                what: "rig.toml does not say how it is wired".to_owned(),
                check: vec!["Add its `input = { bus = …, device = …, address = … }`.".to_owned()],
            }),
        };
        let seen = found.seen.get(k).cloned().unwrap_or_default();
        let readings = sensor.channel_suffixes().iter().zip(seen).map(|(name, seen)| Channel {
            name: (*name).to_owned(),
            unit: unit(sensor, name),
            seen,
        });
        Row {
            name: sensor.name.clone(),
            place: sensor.input.as_ref().map(Place::of),
            readings: readings.collect(),
            trouble,
            moved: None,
            sense: None,
        }
    };
    rig.sensors.iter().enumerate().map(row).collect()
}

fn unit(sensor: &Sensor, channel: &str) -> &'static str {
    match sensor.kind {
        Kind::DrawWire(_) | Kind::Range(_) => "m",
        Kind::Angle(_) => "rad",
        Kind::Force(_) => "N",
        Kind::Inertial(_) if channel.starts_with('a') => "m/s²",
        Kind::Inertial(_) => "rad/s",
    }
}

fn trouble(
    rig: &Rig,
    sensor: &Sensor,
    input: &Input,
    number: u8,
    k: usize,
    found: &Found,
) -> Option<Trouble> {
    if let Some(reason) = found.lost.get(&number) {
        return Some(missing(rig, input, *reason, found));
    }
    if !found.streamed {
        let there = is_there(found, input.bus, input.mux, input.address);
        return (there == Some(false)).then(|| missing(rig, input, LostReason::NoAnswer, found));
    }
    let silent = found.seen.get(k).is_none_or(|channels| channels.iter().any(Option::is_none));
    if !silent {
        return None;
    }
    let mut trouble = at_an_end(sensor, input);
    if let Some(scans) = found.status.map(|status| status.overrun_scans).filter(|scans| *scans > 0) {
        trouble.check.push(format!(
            "Since it was switched on the logger has left out {scans} scans for want of time: a lower `rate_hz` in rig.toml, or a bus that is disturbed."
        ));
    }
    Some(trouble)
}

/// A sensor that answers, with readings that cannot be right.
fn at_an_end(sensor: &Sensor, input: &Input) -> Trouble {
    let check = if input.device == "ads1115" {
        let mut check = vec![
            "Its plug, and the three wires in it: supply, wiper, ground. A wiper that is not connected reads an end of the range."
                .to_owned(),
            "Whether the wire is at its stop: pull it out by a hand's width.".to_owned(),
        ];
        if input.excitation.is_some() {
            check.push(
                "The supply of the potentiometers at the box: 3.3 V between supply and ground.".to_owned(),
            );
        }
        check
    } else if matches!(sensor.kind, Kind::Range(_)) {
        vec![
            "What is before its window: a dull, light flat, nearer than a metre, square to its ray."
                .to_owned(),
            "Its `range` in rig.toml: readings outside are set aside.".to_owned(),
        ]
    } else {
        vec!["Its cable and connector, and that it has power.".to_owned()]
    };
    let what = format!(
        "\"{}\" answers, but reads nothing that can be right: it stands at an end of its range",
        sensor.name
    );
    Trouble { what, check }
}

/// Whether something acknowledged there; none where that was not searched.
fn is_there(found: &Found, bus: u8, mux: Option<(u8, u8)>, address: u8) -> Option<bool> {
    let at = |mux: Option<(u8, u8)>| {
        found.scans.iter().find(|s| s.bus == bus && s.mux.map(|p| (p.address, p.channel)) == mux)
    };
    found.searched.contains(&bus).then(|| at(mux).is_some_and(|scan| scan.answered(address)))
}

/// A part that does not answer as it should.
fn missing(rig: &Rig, input: &Input, reason: LostReason, found: &Found) -> Trouble {
    let place = Place::of(input).words();
    let others: Vec<&str> = rig
        .sensors
        .iter()
        .filter(|s| s.input.as_ref().is_some_and(|i| same_part(i, input)))
        .map(|s| s.name.as_str())
        .collect();
    let shared = match others.len() {
        0 | 1 => String::new(),
        _ => format!(" It serves {}.", others.join(", ")),
    };
    let what = match reason {
        LostReason::WrongPart => {
            format!("something answers where {place} should be, but it is another part.{shared}")
        }
        LostReason::NoSignal => format!("{place} sees no magnet.{shared}"),
        LostReason::NotReady => format!("{place} answers, but does not get ready.{shared}"),
        LostReason::BusFault => format!("the bus of {place} is in trouble.{shared}"),
        _ => format!("{place} does not answer.{shared}"),
    };
    let check = match reason {
        LostReason::WrongPart => vec![
            format!(
                "`device` and `address` of its input in rig.toml: now {} at 0x{:02x}.",
                input.device, input.address
            ),
            "Whether two parts share that address.".to_owned(),
        ],
        LostReason::NoSignal => {
            vec!["The magnet: 1 to 2 mm from the chip, over its middle, magnetised across.".to_owned()]
        }
        LostReason::NotReady => {
            vec!["Its supply: a 100 nF capacitor at the part, and the cable's length.".to_owned()]
        }
        LostReason::BusFault => vec![
            format!("SDA and SCL of bus {}: neither may be shorted to ground or to the other.", input.bus),
            "A part without power that pulls its bus down: unplug one after the other.".to_owned(),
        ],
        _ => where_it_is(rig, input, found),
    };
    Trouble { what, check }
}

fn same_part(a: &Input, b: &Input) -> bool {
    (a.bus, a.mux, a.address) == (b.bus, b.mux, b.address)
}

/// What to check about a part that nobody hears, by what does answer.
fn where_it_is(rig: &Rig, input: &Input, found: &Found) -> Vec<String> {
    if !found.searched.contains(&input.bus) {
        return vec!["Its connector, its supply, and SDA and SCL, which may be swapped.".to_owned()];
    }
    let on_bus = || found.scans.iter().filter(|s| s.bus == input.bus);
    if !on_bus().any(|scan| (0..128).any(|address| scan.answered(address))) {
        return vec![
            format!(
                "Nothing at all answers on bus {}: its connector, 3.3 V and ground at the far end.",
                input.bus
            ),
            "SDA and SCL: they may be swapped.".to_owned(),
            "Pull-ups: with the power on, both lines stand at 3.3 V; 2.2 kΩ each, once per bus.".to_owned(),
        ];
    }
    if let Some((mux, _)) = input.mux
        && is_there(found, input.bus, None, mux) == Some(false)
    {
        return vec![
            format!(
                "The multiplexer at 0x{mux:02x} does not answer either: its supply, its reset pin (high), its address pins."
            ),
            "All sensors behind it are missing with it.".to_owned(),
        ];
    }
    let mut check: Vec<String> = elsewhere(rig, input, found).into_iter().collect();
    check.push(format!(
        "Its connector and cable; 3.3 V between its supply pins; the rest of bus {} works.",
        input.bus
    ));
    let here = on_bus().filter(|scan| socket(scan) == (input.bus, input.mux));
    let near = here.flat_map(|scan| {
        neighbours(&input.device).iter().copied().filter(|a| scan.answered(*a) && !is_taken(rig, scan, *a))
    });
    check.extend(
        near.map(|address| format!("Its address pin: a part of this kind answers at 0x{address:02x} there.")),
    );
    check
}

/// Where a search looked: the bus, and the multiplexer's output.
fn socket(scan: &BusScan) -> (u8, Option<(u8, u8)>) {
    (scan.bus, scan.mux.map(|port| (port.address, port.channel)))
}

/// Whether another sensor of the rig is wired to that place.
fn is_taken(rig: &Rig, scan: &BusScan, address: u8) -> bool {
    let (bus, mux) = socket(scan);
    rig.sensors
        .iter()
        .filter_map(|s| s.input.as_ref())
        .any(|i| (i.bus, i.mux, i.address) == (bus, mux, address))
}

/// A socket in which a part that is missed seems to be instead.
fn elsewhere(rig: &Rig, input: &Input, found: &Found) -> Option<String> {
    let scan = found.scans.iter().find(|scan| {
        scan.answered(input.address)
            && !is_taken(rig, scan, input.address)
            && socket(scan) != (input.bus, input.mux)
            && (scan.mux.is_some() || input.mux.is_none())
    })?;
    let place = scan.mux.map_or_else(
        || format!("bus {}", scan.bus),
        |port| {
            format!(
                "output {} of the multiplexer at 0x{:02x} on bus {}",
                port.channel, port.address, scan.bus
            )
        },
    );
    Some(format!(
        "Something at 0x{:02x} answers on {place}: its plug may be in the wrong socket, or rig.toml names the wrong one.",
        input.address
    ))
}

/// Addresses that a part can be set to by its pins.
fn neighbours(part: &str) -> &'static [u8] {
    match part {
        "ads1115" => &[0x48, 0x49, 0x4a, 0x4b],
        "lsm6dso" => &[0x6a, 0x6b],
        _ => &[],
    }
}

/// What concerns more than one sensor: stuck buses, supplies of potentiometers.
pub fn shared(found: &Found) -> Vec<String> {
    let mut shared: Vec<String> = found
        .stuck
        .iter()
        .map(|bus| {
            format!("Bus {bus} is stuck: a part holds its data line. Unplug its sensors one after the other.")
        })
        .collect();
    for (channel, volts) in found.excitation_v.iter().filter(|(_, volts)| !is_excited(**volts)) {
        shared.push(format!(
            "The supply of the potentiometers on channel {channel} reads {volts:.2} V instead of 3.3 V: check the plug's supply wire, \
             and the converter's fourth input that measures it."
        ));
    }
    shared
}

/// The sensors that the logger was set up for.
pub fn set_up_for(found: &Found) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for name in found.rows.values().map(|row| row.sensor.as_str()) {
        if !names.iter().any(|known| known == name) {
            names.push(name.to_owned());
        }
    }
    names
}

/// How the logger's own table differs from the rig: whom it knows that the rig has not, and the other way round.
pub fn settings(rig: &Rig, found: &Found) -> Vec<String> {
    let known = |name: &str| {
        found.rows.values().any(|row| row.sensor == name && row.component != Component::Excitation)
    };
    let mut told = Vec::new();
    if found.rows.is_empty() {
        return told;
    }
    for sensor in rig.sensors.iter().filter(|s| s.input.is_some() && !known(&s.name)) {
        told.push(format!("It was not set up for \"{}\", which rig.toml has.", sensor.name));
    }
    for name in set_up_for(found).iter().filter(|name| !rig.sensors.iter().any(|s| s.name == **name)) {
        told.push(format!("It was set up for \"{name}\", which rig.toml has not."));
    }
    told
}
