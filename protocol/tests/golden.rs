//! The wire, frozen: whole frames of wire version 1, one for every message kind and event kind.
//!
//! Do not change a vector that is here: a logger in the field writes it. Add new ones for what is new. A change that
//! needs one of these changed is a new major version.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]

use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::*;

/// Frames from the logger: name, bytes in hexadecimal.
const FROM_DEVICE: &[(&str, &str)] = &[
    (
        "identity",
        "02 01 02 01 10 05 30 2e 31 2e 30 05 62 65 6e 63 68 04 e6 61 12 01 07 33 61 37 35 35 39 66 03 a0 cb 98 01 01 02 0c 01 05 f2 77 16 16 00",
    ),
    (
        "channel",
        "03 01 01 02 0c 0d 0b 6c 65 66 74 20 74 72 61 76 65 6c 01 01 05 6f 12 03 39 01 01 01 09 ff ff 03 fe ff 03 01 01 09 bc 05 88 27 06 f7 4c d0 00",
    ),
    ("samples", "04 01 02 07 01 09 c0 84 3d 88 27 05 02 0a 0e d0 0f 05 02 01 08 90 03 03 f7 01 7c d4 00"),
    ("event sensor lost", "06 01 03 c0 84 3d 07 04 02 d8 49 cd 45 00"),
    ("event sensor found", "0c 01 03 c0 84 3d 01 04 48 ec 64 04 00"),
    ("event saturated", "0e 01 03 c0 84 3d 02 06 ac 02 8c 94 48 2d 00"),
    ("event overrun", "0c 01 03 c0 84 3d 03 02 ff 2b 31 df 00"),
    ("event queue full", "0c 01 03 c0 84 3d 04 05 9b 28 14 0e 00"),
    ("event booted", "0c 01 03 c0 84 3d 05 03 ef bc 6c fe 00"),
    ("event supply low", "0d 01 03 c0 84 3d 06 86 17 48 2b 28 25 00"),
    ("event button", "07 01 03 c0 84 3d 07 05 d7 8f 53 55 00"),
    ("event still", "07 01 03 c0 84 3d 08 04 95 7c c9 00"),
    ("event bus recovered", "0c 01 03 c0 84 3d 09 01 cf 92 d7 bc 00"),
    ("event bus stuck", "0c 01 03 c0 84 3d 0a 01 0c c1 fa 97 00"),
    ("event started", "0b 01 03 c0 84 3d 0b ba c4 75 50 00"),
    ("event stopped", "0b 01 03 c0 84 3d 0c 19 51 11 ce 00"),
    ("event store full", "0b 01 03 c0 84 3d 0d 8f 61 16 b9 00"),
    ("reply", "0b 01 04 03 06 f8 23 5d 1d 24 e7 00"),
    ("pong", "0e 01 05 95 9a ef 3a c0 84 3d e2 ad a5 1b 00"),
    ("bus scan", "1a 01 06 01 01 70 02 80 80 80 80 80 80 80 20 80 82 80 80 80 80 01 95 e7 a7 a8 00"),
    ("stored", "10 01 07 02 28 03 05 03 c0 84 3d 0b a2 19 7e 07 00"),
    ("status", "0d 01 08 a0 cb 98 01 01 10 02 05 11 01 05 24 14 6b f4 00"),
    ("last words", "15 01 09 0d 64 65 76 69 63 65 2e 72 73 3a 36 32 30 ba 23 a3 28 00"),
];

/// Frames from the host.
const FROM_HOST: &[(&str, &str)] = &[
    ("identify", "02 01 05 be 23 c2 58 00"),
    ("clear sensors", "07 01 01 28 13 c5 2f 00"),
    (
        "set sensor",
        "03 01 02 15 0b 6c 65 66 74 20 74 72 61 76 65 6c 07 61 64 73 31 31 31 35 05 01 70 02 48 03 01 03 04 01 80 20 01 05 bd 44 d4 66 00",
    ),
    ("set rate", "0a 01 03 88 27 14 63 5d ce c6 00"),
    ("start", "07 01 04 a7 e7 af 5f 00"),
    ("stop", "07 01 05 31 d7 a8 28 00"),
    ("still", "07 01 06 8b 86 a1 b1 00"),
    ("ping", "0b 01 07 95 9a ef 3a 37 b4 4e ad 00"),
    ("scan bus", "08 01 08 01 bb 09 5d 41 00"),
    ("fetch stored", "03 01 09 07 e8 07 60 7d 89 8e 00"),
    ("erase stored", "07 01 0a a0 ca 17 b8 00"),
];

fn text<const N: usize>(text: &str) -> heapless::String<N> {
    text.try_into().unwrap()
}

fn event(kind: EventKind) -> DeviceMessage {
    DeviceMessage::Event(Event { time_us: 1_000_000, kind })
}

/// Two scans of channels 0 and 2 with a period of 5000 µs and slots 500 and 1500 µs. In the second, channel 2 is 200 µs
/// late and channel 0 has no reading.
fn block() -> SampleBlock {
    let mut slots_us = [0; MAX_CHANNELS];
    slots_us[0] = 500;
    slots_us[2] = 1500;
    let mut encoder = BlockEncoder::new(0, 0b101, 5000, 20);
    let mut scan = Scan::new(1_000_000);
    scan.set(0, 1_000_500, 1000);
    scan.set(2, 1_001_500, -3);
    encoder.push(&scan, &slots_us).unwrap();
    let mut scan = Scan::new(1_005_000);
    scan.set(2, 1_006_700, -5);
    encoder.push(&scan, &slots_us).unwrap();
    encoder.finish(7).unwrap()
}

fn device_message(name: &str) -> DeviceMessage {
    match name {
        "identity" => DeviceMessage::Identity(Identity {
            major: 1,
            minor: 0,
            firmware: text("0.1.0"),
            board: text("bench"),
            unique_id: heapless::Vec::from_slice(&[0xe6, 0x61, 0, 1]).unwrap(),
            build: text("3a7559f"),
            boot_count: 3,
            uptime_us: 2_500_000,
            reset_cause: ResetCause::PowerOn,
            buses: 2,
            channels: 12,
            streaming: false,
            stored: 0,
        }),
        "channel" => DeviceMessage::Channel(Channel {
            index: 0,
            count: 12,
            sensor_index: 0,
            sensor: text("left travel"),
            component: Component::Length,
            quantity: Quantity::Voltage,
            unit: Unit::Volt,
            scale: 0.000125,
            offset: 0.0,
            raw_min: -32768,
            raw_max: 32767,
            ratio_to: Some(1),
            group: 0,
            slot_us: 700,
            period_us: 5000,
        }),
        "samples" => DeviceMessage::Samples(block()),
        "event sensor lost" => event(EventKind::SensorLost { sensor: 4, reason: LostReason::NotReady }),
        "event sensor found" => event(EventKind::SensorFound { sensor: 4 }),
        "event saturated" => event(EventKind::Saturated { channel: 6, count: 300 }),
        "event overrun" => event(EventKind::Overrun { scans: 2 }),
        "event queue full" => event(EventKind::QueueFull { messages: 5 }),
        "event booted" => event(EventKind::Booted { cause: ResetCause::Watchdog }),
        "event supply low" => event(EventKind::SupplyLow { millivolts: 2950 }),
        "event button" => event(EventKind::Button { press: Press::Short }),
        "event still" => event(EventKind::Still),
        "event bus recovered" => event(EventKind::BusRecovered { bus: 1 }),
        "event bus stuck" => event(EventKind::BusStuck { bus: 1 }),
        "event started" => event(EventKind::Started),
        "event stopped" => event(EventKind::Stopped),
        "event store full" => event(EventKind::StoreFull),
        "reply" => DeviceMessage::Reply(Reply { to: 3, outcome: Outcome::TooFast, detail: 4600 }),
        "pong" => DeviceMessage::Pong(Pong { host_us: 123_456_789, device_us: 1_000_000 }),
        "bus scan" => {
            let mux = Some(MuxPort { address: 0x70, channel: 2 });
            let mut scan = BusScan { bus: 1, mux, low: 0, high: 0 };
            for address in [0x36, 0x48, 0x6a] {
                scan.set_answered(address);
            }
            DeviceMessage::BusScan(scan)
        }
        "stored" => DeviceMessage::Stored(StoredRecord::new(2, 40, 3, &event(EventKind::Started)).unwrap()),
        "last words" => DeviceMessage::LastWords(LastWords { place: "device.rs:620".try_into().unwrap() }),
        "status" => DeviceMessage::Status(Status {
            uptime_us: 2_500_000,
            streaming: true,
            sensors_lost: 0b10000,
            overrun_scans: 2,
            dropped_messages: 5,
            bus_errors: 17,
            refused_frames: 1,
            unknown_kinds: 0,
        }),
        other => panic!("no message {other}"),
    }
}

fn host_message(name: &str) -> HostMessage {
    match name {
        "identify" => HostMessage::Identify,
        "clear sensors" => HostMessage::ClearSensors,
        "set sensor" => HostMessage::SetSensor(SensorConfig {
            index: 0,
            name: text("left travel"),
            part: text("ads1115"),
            bus: 0,
            mux: Some(MuxPort { address: 0x70, channel: 2 }),
            address: 0x48,
            input: 0,
            excitation: Some(3),
            component: Component::Length,
            every: 1,
            full_scale_mv: 4096,
            full_scale_g: 0,
            full_scale_dps: 0,
        }),
        "set rate" => HostMessage::SetRate { period_us: 5000, scans_per_block: 20 },
        "start" => HostMessage::Start,
        "stop" => HostMessage::Stop,
        "still" => HostMessage::Still,
        "ping" => HostMessage::Ping { host_us: 123_456_789 },
        "scan bus" => HostMessage::ScanBus { bus: 1 },
        "fetch stored" => HostMessage::FetchStored { first: 0, count: 1000 },
        "erase stored" => HostMessage::EraseStored,
        other => panic!("no message {other}"),
    }
}

fn frame<M: WireMessage>(message: &M) -> Vec<u8> {
    let mut out = [0; MAX_WIRE];
    let used = encode_frame(message, &mut out).unwrap();
    out[..used].to_vec()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect::<Vec<_>>().join(" ")
}

fn unhex(text: &str) -> Vec<u8> {
    text.split(' ').map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

fn check<M>(golden: &[(&str, &str)], message: impl Fn(&str) -> M)
where
    M: WireMessage + PartialEq + core::fmt::Debug,
{
    for (name, bytes) in golden {
        let message = message(name);
        assert_eq!(&hex(&frame(&message)), bytes, "{name}");
        let mut received = Vec::new();
        FrameDecoder::<M>::new().feed(&unhex(bytes), |what| received.push(what));
        assert_eq!(received, [Received::Message(message)], "{name}");
    }
}

#[test]
fn frames_from_the_logger() {
    check(FROM_DEVICE, device_message);
}

#[test]
fn frames_from_the_host() {
    check(FROM_HOST, host_message);
}

/// Every kind that exists has a vector.
#[test]
fn every_kind_has_a_vector() {
    let kinds = |golden: &[(&str, &str)], place: usize| {
        let mut kinds: Vec<u8> = golden.iter().map(|(_, bytes)| plain(&unhex(bytes))[place]).collect();
        kinds.dedup();
        kinds
    };
    let all = |count: u32| (0..count as u8).collect::<Vec<u8>>();
    assert_eq!(kinds(FROM_DEVICE, 1), all(DeviceMessage::KINDS));
    assert_eq!(kinds(FROM_HOST, 1), all(HostMessage::KINDS));
    let events: Vec<_> = FROM_DEVICE.iter().filter(|(name, _)| name.starts_with("event")).copied().collect();
    // Version, kind, three bytes of time, then the event's kind. One more is unknown to this version.
    assert_eq!(kinds(&events, 5), all(events.len() as u32));
    assert_eq!(DeviceMessage::decode(&[3, 0, events.len() as u8]), Err(DecodeError::Unknown));
}

/// The frame without stuffing.
fn plain(frame: &[u8]) -> Vec<u8> {
    let mut unstuffer = cobs::Unstuffer::new();
    frame[..frame.len() - 1].iter().filter_map(|&byte| unstuffer.push(byte)).collect()
}

/// The block's readings, as WIRE.md works them out by hand.
#[test]
fn block_in_the_document() {
    let mut slots_us = [0; MAX_CHANNELS];
    slots_us[0] = 500;
    slots_us[2] = 1500;
    let block = block();
    let readings: Vec<_> = block
        .readings(&slots_us)
        .map(|reading| reading.map(|r| (r.scan, r.channel, r.time_us, r.raw)).unwrap())
        .collect();
    assert_eq!(readings, [(0, 0, 1_000_500, 1000), (0, 2, 1_001_500, -3), (1, 2, 1_006_700, -5)]);
}

/// WIRE.md shows exactly these vectors: a fenced line `name: bytes` for each, and no other.
#[test]
fn document_shows_the_vectors() {
    let document = include_str!("../WIRE.md");
    let shown: Vec<(&str, &str)> = document
        .lines()
        .filter_map(|line| line.split_once(": "))
        .filter(|(_, bytes)| {
            bytes.len() >= 5
                && bytes.split(' ').all(|byte| byte.len() == 2 && u8::from_str_radix(byte, 16).is_ok())
        })
        .collect();
    let frozen: Vec<(&str, &str)> = FROM_DEVICE.iter().chain(FROM_HOST).copied().collect();
    for vector in &frozen {
        assert!(shown.contains(vector), "WIRE.md lacks: {}: {}", vector.0, vector.1);
    }
    for vector in &shown {
        assert!(frozen.contains(vector), "WIRE.md shows what is not frozen: {}: {}", vector.0, vector.1);
    }
}
