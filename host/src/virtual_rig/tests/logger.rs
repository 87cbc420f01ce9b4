//! The real firmware on the virtual rig, from registers to numbers, in virtual time.

use super::{PLAN, RAMP_RAD, bramble, test};
use crate::files::starters::Layout;
use crate::geometry::placed::PlacedBody;
use crate::measure;
use crate::rig::model::Model;
use crate::rig::{self, Input, Kind, Rig};
use crate::run::marks::Mark;
use crate::run::wire::{Context, WireReader};
use crate::run::{Phase, Recording};
use crate::vehicle::numbers::Key;
use crate::vehicle::{self, Vehicle};
use crate::virtual_rig::logger::VirtualLogger;
use crate::virtual_rig::parts::bus::Trouble;
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::stage::{Upset, What};
use crate::virtual_rig::wiring::wired;
use crate::virtual_rig::{Test, VehicleOnRamp, scenario};
use hingeline_protocol::channel::MAX_CHANNELS;
use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::{
    Component, DeviceMessage, EventKind, FrameDecoder, HostMessage, LostReason, MuxPort, Outcome, Press,
    Received, SensorConfig, encode_frame,
};

/// Time that the host lets pass at once, µs.
const SLICE_US: u64 = 20_000;
/// More than a line holds in a slice.
const ROOM: usize = 1 << 16;

fn send(logger: &mut VirtualLogger, message: &HostMessage) {
    let mut frame = [0; MAX_WIRE];
    let used = encode_frame(message, &mut frame).expect("it fits");
    logger.feed(&frame[..used]);
}

fn config(index: usize, name: &str, kind: &Kind, input: &Input, every: u16) -> SensorConfig {
    SensorConfig {
        index: index as u8,
        name: name.try_into().expect("short enough"),
        part: input.device.as_str().try_into().expect("short enough"),
        bus: input.bus,
        mux: input.mux.map(|(address, channel)| MuxPort { address, channel }),
        address: input.address,
        input: input.channel,
        excitation: input.excitation,
        component: match kind {
            Kind::Angle(_) => Component::Angle,
            Kind::Range(_) => Component::Range,
            _ => Component::Length,
        },
        every,
        full_scale_mv: 0,
        full_scale_g: 0,
        full_scale_dps: 0,
    }
}

/// Sets the logger up for a rig and lets it stream for `seconds` or until the test is over; gives what it said.
fn stream(logger: &mut VirtualLogger, rig: &Rig, seconds: f64) -> Vec<u8> {
    send(logger, &HostMessage::ClearSensors);
    let inputs = rig.sensors.iter().filter_map(|s| Some((s, s.input.as_ref()?)));
    for (index, (sensor, input)) in inputs.enumerate() {
        let every = (rig.rate_hz / sensor.rate_hz).round() as u16;
        send(logger, &HostMessage::SetSensor(config(index, &sensor.name, &sensor.kind, input, every)));
    }
    let period_us = (1e6 / rig.rate_hz).round() as u32;
    send(logger, &HostMessage::SetRate { period_us, scans_per_block: 0 });
    send(logger, &HostMessage::Start);
    let mut out = Vec::new();
    let end_us = logger.now_us() + (seconds * 1e6) as u64;
    while logger.now_us() < end_us && !logger.is_over() {
        // Once a second, as every host does, so that the logger knows that somebody listens.
        if logger.now_us() % 1_000_000 < SLICE_US {
            send(logger, &HostMessage::Ping { host_us: 0 });
        }
        let until_us = logger.now_us() + SLICE_US;
        let room = out.len() + ROOM;
        logger.run(until_us, room, &mut out);
    }
    out
}

fn messages(bytes: &[u8]) -> Vec<DeviceMessage> {
    let mut decoder = FrameDecoder::<DeviceMessage>::new();
    let all = bytes.iter().filter_map(|b| match decoder.push(*b) {
        Some(Received::Message(message)) => Some(message),
        _ => None,
    });
    all.collect()
}

fn recording(vehicle: &Vehicle, rig: &Rig, bytes: &[u8], marks: &[Mark]) -> Recording {
    let mut reader = WireReader::new(rig);
    reader.feed(bytes, None);
    let centres: Vec<_> = vehicle.axles.iter().map(|a| a.centre()).collect();
    let context = Context { marks, plan: &PLAN, test: None, centres: &centres };
    let mut recording = reader.finish(&context);
    recording.facts.ramp_angle_rad = Some(RAMP_RAD);
    recording
}

fn logger(vehicle: &Vehicle, rig: &Rig, test: &Test, seed: Option<u64>) -> VirtualLogger {
    let on_ramp = VehicleOnRamp::new(vehicle, test).expect("it runs");
    let readings = Readings::new(on_ramp, rig, seed).expect("every sensor has something to read");
    VirtualLogger::new(rig, readings, 7).expect("every part is known")
}

/// Device time of the earliest reading, µs.
fn first_reading_us(messages: &[DeviceMessage]) -> u64 {
    let mut slots_us = [0; MAX_CHANNELS];
    for message in messages {
        if let DeviceMessage::Channel(row) = message {
            slots_us[usize::from(row.index)] = row.slot_us;
        }
    }
    let blocks = messages
        .iter()
        .filter_map(|m| if let DeviceMessage::Samples(block) = m { Some(block) } else { None });
    let first = blocks.take(2).flat_map(|b| b.readings(&slots_us).map_while(Result::ok)).map(|r| r.time_us);
    first.min().expect("there are readings")
}

#[test]
fn perfect_sensors_come_over_the_wire_to_within_a_count_and_a_clock() {
    // Half a count (0.046 mm at most); the converter's clock, which makes the time of a reading wrong by 40 µs while the wire
    // moves at 0.1 m/s at most; the supply, which is read to half of 1 in 26 000 and, before its first reading at 2 Hz, may
    // have wandered for half a second at 0.2 mV/s, over 0.92 m of wire.
    const WIRE_M: f64 = 0.5 * 0.046e-3 + 0.1 * 40e-6 + 0.92 * (0.5 / 26e3 + 0.5 * 0.2e-3 / 3.3);
    let (vehicle, rig) = bramble();
    let only_bounce = Test { phases: vec![Phase::Still, Phase::Bounce], ..test() };
    let mut logger = logger(&vehicle, &rig, &only_bounce, None);
    let bytes = stream(&mut logger, &rig, 25.0);
    let recording = recording(&vehicle, &rig, &bytes, &[]);
    assert_eq!(recording.counts.lost, 0);
    let truth = VehicleOnRamp::new(&vehicle, &only_bounce).expect("it runs");
    // Times of the recording count from its first reading; those of the test from the logger's start.
    let begun_s = logger.now_us() as f64 * 1e-6 - logger.test_s();
    let origin_s = first_reading_us(&messages(&bytes)) as f64 * 1e-6 - begun_s;
    assert!((0.0..0.3).contains(&origin_s), "{origin_s}");
    for (sensor, series) in rig.sensors.iter().zip(&recording.series) {
        let Some(model) = Model::of(&sensor.kind) else { continue };
        assert!(series[0].t_s.len() > 2300, "{}: {}", sensor.name, series[0].t_s.len());
        let mut worst = 0.0_f64;
        for (t_s, value) in series[0].t_s.iter().zip(&series[0].value) {
            let pose = truth.at(origin_s + t_s).pose(0);
            let exact = model.value(&PlacedBody::new(&pose, truth.centre(0)));
            worst = worst.max((value - exact).abs());
        }
        assert!(worst < WIRE_M, "{}: {worst}", sensor.name);
    }
}

/// A range finder in the box, at half the rig's rate.
const GAP: &str = r#"
[[sensor]]
name = "gap"
kind = "range"
chassis = [0, 300, 900]
direction = [0, 0, -1]
plane = { point = [0, 300, 530], normal = [0, 0, 1] }
input = { bus = 0, device = "vl53l4cd", address = 0x29 }
scale = 1.0
rate_hz = 50
range = [1, 1200]
"#;

#[test]
fn a_range_finder_goes_along_with_the_wires_at_half_their_rate() {
    // Half a count of 1 mm; and the part's own clock, by which a reading is at most 1 ms off the middle, at 0.1 m/s.
    const RANGE_M: f64 = 0.5e-3 + 0.1 * 1e-3;
    let (vehicle, _) = bramble();
    let rig =
        rig::file::parse(&format!("{}{GAP}", scenario::RIG), "rig.toml", &vehicle).expect("a good file");
    let only_bounce = Test { phases: vec![Phase::Still, Phase::Bounce], ..test() };
    let mut logger = logger(&vehicle, &rig, &only_bounce, None);
    let bytes = stream(&mut logger, &rig, 25.0);
    let overruns = |m: &DeviceMessage| matches!(m, DeviceMessage::Event(e) if matches!(e.kind, EventKind::Overrun { .. } | EventKind::SensorLost { .. }));
    assert!(!messages(&bytes).iter().any(overruns));
    let recording = recording(&vehicle, &rig, &bytes, &[]);
    // No more is to be said than that nobody ended it.
    assert!(
        matches!(recording.remarks.as_slice(), [one] if one.contains("no end mark")),
        "{:?}",
        recording.remarks
    );
    let wires = recording.series[..6].iter().map(|s| s[0].t_s.len()).min().expect("six wires");
    let series = &recording.series[8][0];
    assert!(wires > 2300 && series.t_s.len() > 1150, "{wires} and {}", series.t_s.len());
    let model = Model::of(&rig.sensors[8].kind).expect("a range finder's");
    let truth = VehicleOnRamp::new(&vehicle, &only_bounce).expect("it runs");
    let begun_s = logger.now_us() as f64 * 1e-6 - logger.test_s();
    let origin_s = first_reading_us(&messages(&bytes)) as f64 * 1e-6 - begun_s;
    let (mut worst, mut least, mut most) = (0.0_f64, f64::INFINITY, 0.0_f64);
    for (t_s, value) in series.t_s.iter().zip(&series.value) {
        let exact = model.value(&PlacedBody::new(&truth.at(origin_s + t_s).pose(0), truth.centre(0)));
        (worst, least, most) = (worst.max((value - exact).abs()), least.min(exact), most.max(exact));
    }
    assert!(most - least > 0.05, "the axle moves: {least} to {most}");
    assert!(worst < RANGE_M, "{worst}");
}

#[test]
fn from_registers_to_numbers_within_their_uncertainty() {
    // Three standard uncertainties, as in the test without a logger in between.
    const COVERAGE: f64 = 3.0;
    let (vehicle, rig) = bramble();
    let mut logger = logger(&vehicle, &rig, &test(), Some(5));
    let lifts: Vec<f64> = {
        let on_ramp = VehicleOnRamp::new(&vehicle, &test()).expect("it runs");
        [Phase::RampLeft, Phase::RampRight].map(|p| on_ramp.lift(p).expect("it lifts").index).to_vec()
    };
    let bytes = stream(&mut logger, &rig, 1000.0);
    let recording = recording(&vehicle, &rig, &bytes, &[]);
    let words: Vec<_> = recording.phases.iter().map(|p| p.phase).collect();
    assert_eq!(words, PLAN, "the builder's presses told the phases");
    assert_eq!(recording.counts.lost, 0);
    let analysis = measure::analyse(&vehicle, &rig, &recording).expect("it can be measured");
    let mechanism = crate::design::Mechanism::new(&vehicle, 0).expect("Bramble is well located");
    let truth = mechanism.numbers(mechanism.ride());
    let axle = &analysis.axles[0];
    for key in
        [Key::PitchPerHeave, Key::AntiSquat, Key::RollCentreZ, Key::RollSteer, Key::SideViewInstantCentreX]
    {
        let (value, u) = axle.measured[&key].measured().unwrap_or_else(|| panic!("{key:?} is measured"));
        let truth = truth.get(key).expect("the design has this number");
        assert!((value - truth).abs() < COVERAGE * u, "{key:?}: {value} ± {u} against {truth}");
    }
    for (found, lift) in axle.ramp_travel_index.iter().zip(lifts) {
        let (value, u) = found.index.measured().unwrap_or_else(|| panic!("{:?}", found.index));
        assert!((value - lift).abs() < COVERAGE * u, "{value} ± {u} against {lift}");
    }
}

#[test]
fn a_part_that_is_unplugged_is_told_of_and_the_others_go_on() {
    let (vehicle, rig) = bramble();
    let mut logger = logger(&vehicle, &rig, &test(), Some(5));
    logger.upset(vec![
        Upset { at_s: 2.0, what: What::Part(7, Trouble::Unplugged) },
        Upset { at_s: 4.0, what: What::Part(7, Trouble::None) },
        Upset { at_s: 6.0, what: What::Stuck { bus: 0, clears: 1 } },
    ]);
    let bytes = stream(&mut logger, &rig, 9.0);
    let events: Vec<EventKind> = messages(&bytes)
        .into_iter()
        .filter_map(|m| match m {
            DeviceMessage::Event(event) => Some(event.kind),
            _ => None,
        })
        .collect();
    assert!(
        events.contains(&EventKind::SensorLost { sensor: 7, reason: LostReason::NoAnswer }),
        "{events:?}"
    );
    assert!(events.contains(&EventKind::SensorFound { sensor: 7 }), "{events:?}");
    assert!(events.contains(&EventKind::BusRecovered { bus: 0 }), "{events:?}");
    let recording = recording(&vehicle, &rig, &bytes, &[]);
    let count = |sensor: usize| recording.series[sensor][0].t_s.len();
    // Two seconds without it, and up to a second more until it is tried again.
    assert!((550..720).contains(&count(7)), "{}", count(7));
    for sensor in 0..7 {
        assert!(count(sensor) > 870, "{sensor}: {}", count(sensor));
    }
}

#[test]
fn twelve_channels_at_200_hz_fit_half_a_115_200_baud_line() {
    let (vehicle, mut rig) = bramble();
    rig.sensors.truncate(7);
    // A transfer is waited for: the unit's burst fits between the converters' only at 400 kHz.
    rig.sensors[6].input.iter_mut().for_each(|i| i.bus = 0);
    rig.rate_hz = 200.0;
    rig.sensors.iter_mut().for_each(|s| s.rate_hz = 200.0);
    let mut logger = logger(&vehicle, &rig, &test(), Some(3));
    logger.set_baud(115_200);
    let bytes = stream(&mut logger, &rig, 15.0);
    let all = messages(&bytes);
    let trouble = all.iter().filter_map(|m| match m {
        DeviceMessage::Event(e)
            if matches!(e.kind, EventKind::QueueFull { .. } | EventKind::Overrun { .. }) =>
        {
            Some(e)
        }
        _ => None,
    });
    assert_eq!(trouble.collect::<Vec<_>>(), Vec::<&hingeline_protocol::Event>::new());
    let recording = recording(&vehicle, &rig, &bytes, &[]);
    assert!(recording.series.iter().flatten().all(|s| s.t_s.len() > 2900), "every channel at 200 Hz");
    assert!((bytes.len() as f64) < 0.5 * 11_520.0 * 15.0, "{} bytes in 15 s", bytes.len());
}

#[test]
fn a_rig_without_wiring_is_wired_as_a_builder_would() {
    let (vehicle, mut rig) = bramble();
    rig.sensors.iter_mut().for_each(|s| s.input = None);
    let rig = wired(&rig);
    let mut logger = logger(&vehicle, &rig, &test(), Some(3));
    let bytes = stream(&mut logger, &rig, 1.0);
    let refused = messages(&bytes)
        .into_iter()
        .any(|m| matches!(m, DeviceMessage::Reply(reply) if reply.outcome != Outcome::Done));
    assert!(!refused);
    let recording = recording(&vehicle, &rig, &bytes, &[]);
    assert!(recording.series.iter().flatten().all(|s| s.t_s.len() > 50));
}

#[test]
fn every_starter_can_be_driven_up_the_ramp_with_its_own_rig() {
    for (word, layout) in Layout::WORDS {
        let vehicle = vehicle::file::parse(&layout.vehicle_text("Bramble"), word).expect("a good file");
        let rig = rig::file::parse(layout.rig_text(), word, &vehicle).expect("a good file");
        let on_ramp = VehicleOnRamp::new(&vehicle, &test()).unwrap_or_else(|e| panic!("{word}: {e}"));
        for phase in [Phase::RampLeft, Phase::RampRight] {
            let lift = on_ramp.lift(phase).expect("it lifts");
            assert!((200.0..1500.0).contains(&lift.index), "{word}: {lift:?}");
        }
        let mut logger = logger(&vehicle, &rig, &test(), Some(1));
        let bytes = stream(&mut logger, &rig, 1.0);
        let recording = recording(&vehicle, &rig, &bytes, &[]);
        for (sensor, series) in rig.sensors.iter().zip(&recording.series) {
            assert!(series.iter().all(|s| s.t_s.len() > 50), "{word}: {}", sensor.name);
        }
    }
}

#[test]
fn what_was_recorded_without_a_host_is_handed_over_later() {
    let (vehicle, rig) = bramble();
    let mut logger = logger(&vehicle, &rig, &test(), Some(3));
    stream(&mut logger, &rig, 1.0);
    send(&mut logger, &HostMessage::Stop);
    let mut unheard = Vec::new();
    for press in [Press::Long, Press::Short, Press::Long] {
        // Longer than a host may be silent.
        let until_us = logger.now_us() + 12_000_000;
        logger.run(until_us, ROOM, &mut unheard);
        unheard.clear();
        logger.press(press);
    }
    send(&mut logger, &HostMessage::FetchStored { first: 0, count: u32::MAX });
    let mut bytes = Vec::new();
    let until_us = logger.now_us() + 20_000_000;
    logger.run(until_us, usize::MAX, &mut bytes);
    let recording = recording(&vehicle, &rig, &bytes, &[]);
    // 24 s at 50 Hz, less the start.
    assert!(recording.series.iter().flatten().all(|s| (1150..1210).contains(&s.t_s.len())));
    assert_eq!(recording.counts.lost, 0);
}
