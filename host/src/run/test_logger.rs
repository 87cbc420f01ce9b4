//! A scripted logger for tests: speaks the protocol crate, keeps a list of every reading that it sent.

use super::test_rig;
use crate::rig::{Kind, Rig};
use heapless::String as Short;
use hingeline_protocol::channel::MAX_CHANNELS;
use hingeline_protocol::sizes::{MAX_HOST_FRAME, MAX_WIRE};
use hingeline_protocol::{
    BlockEncoder, Channel, Component, DeviceMessage, Event, EventKind, FrameDecoder, HostMessage, Identity,
    Outcome, Pong, Press, Quantity, Received, Reply, ResetCause, Scan, Status, StoredRecord, Unit,
    encode_frame,
};

/// Counts of the excitation at 3.3 V, at 125 µV per count.
pub const NOMINAL_COUNTS: i32 = 26_400;
/// Time between scans, µs.
pub const PERIOD_US: u32 = 10_000;
/// Every so many scans the excitation is read.
const EXCITATION_EVERY: u32 = 20;

/// One reading that was put into a block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sent {
    pub channel: u8,
    pub time_us: u64,
    pub raw: i32,
    pub block: u32,
}

/// The logger.
pub struct TestLogger {
    pub rows: Vec<Channel>,
    pub boot: u32,
    pub now_us: u64,
    pub streaming: bool,
    /// Everything that it has to say and nobody took.
    pub output: Vec<u8>,
    /// Every reading sent, in order.
    pub sent: Vec<Sent>,
    /// Kinds of the host messages that arrived.
    pub heard: Vec<HostMessage>,
    /// Counts by channel at a scan's start, µs.
    pub counts: fn(u8, u64) -> i32,
    /// Records in its own store.
    pub store: Vec<StoredRecord>,
    decoder: FrameDecoder<HostMessage, MAX_HOST_FRAME>,
    configured: u8,
    encoders: [BlockEncoder; 2],
    sequence: u32,
    scan: u32,
    next_us: u64,
    status_us: u64,
}

fn short<const N: usize>(text: &str) -> Short<N> {
    text.try_into().expect("short enough")
}

fn slow_counts(channel: u8, t_us: u64) -> i32 {
    400 + i32::from(channel) + ((t_us / 10_000) % 50) as i32
}

/// Rows of the table that a logger with a rig's sensors has.
pub fn rows(rig: &Rig) -> Vec<Channel> {
    let row = |sensor_index: usize, sensor: &str, component| Channel {
        index: 0,
        count: 0,
        sensor_index: sensor_index as u8,
        sensor: short(sensor),
        component,
        quantity: Quantity::Voltage,
        unit: Unit::Volt,
        scale: 125e-6,
        offset: 0.0,
        raw_min: -32768,
        raw_max: 32767,
        ratio_to: None,
        group: 0,
        slot_us: 0,
        period_us: PERIOD_US,
    };
    let mut rows = Vec::new();
    for (k, s) in rig.sensors.iter().enumerate() {
        match s.kind {
            Kind::Inertial(_) => {
                let parts = [
                    Component::Ax,
                    Component::Ay,
                    Component::Az,
                    Component::Gx,
                    Component::Gy,
                    Component::Gz,
                ];
                for (n, component) in parts.into_iter().enumerate() {
                    let (unit, scale) = if n < 3 {
                        (Unit::MetrePerSecondSquared, 0.001)
                    } else {
                        (Unit::RadianPerSecond, 1e-4)
                    };
                    rows.push(Channel { unit, scale, ..row(k, &s.name, component) });
                }
            }
            Kind::Angle(_) => rows.push(Channel {
                unit: Unit::Radian,
                scale: (std::f64::consts::TAU / 4096.0) as f32,
                raw_min: 0,
                raw_max: 4095,
                ..row(k, &s.name, Component::Angle)
            }),
            _ => rows.push(row(k, &s.name, Component::Length)),
        }
    }
    let excitation = rows.len() as u8;
    rows.push(Channel { group: 1, ..row(0, &rig.sensors[0].name, Component::Excitation) });
    let count = rows.len() as u8;
    for (k, r) in rows.iter_mut().enumerate() {
        (r.index, r.count, r.slot_us) = (k as u8, count, 100 * k as u32);
        if r.component == Component::Length {
            r.ratio_to = Some(excitation);
        }
    }
    rows
}

impl TestLogger {
    /// A logger with the sensors of a rig, idle since it booted.
    pub fn new(rig: &Rig) -> Self {
        let rows = rows(rig);
        let last = rows.len() - 1;
        let encoder = |group, mask, scans| BlockEncoder::new(group, mask, PERIOD_US, scans);
        Self {
            encoders: [encoder(0, (1 << last) - 1, 8), encoder(1, 1 << last, 1)],
            rows,
            boot: 1,
            now_us: 1_000_000,
            streaming: false,
            output: Vec::new(),
            sent: Vec::new(),
            heard: Vec::new(),
            counts: slow_counts,
            store: Vec::new(),
            decoder: FrameDecoder::new(),
            configured: 0,
            sequence: 0,
            scan: 0,
            next_us: 0,
            status_us: 0,
        }
    }

    /// One with the whole test rig.
    pub fn whole() -> Self {
        Self::new(&test_rig::whole())
    }

    pub fn say(&mut self, message: &DeviceMessage) {
        let mut frame = [0; MAX_WIRE];
        let used = encode_frame(message, &mut frame).expect("fits");
        self.output.extend_from_slice(&frame[..used]);
    }

    pub fn event(&mut self, kind: EventKind) {
        let event = Event { time_us: self.now_us, kind };
        self.say(&DeviceMessage::Event(event));
    }

    pub fn press(&mut self) {
        self.event(EventKind::Button { press: Press::Short });
    }

    /// What it says when asked who it is.
    pub fn identity(&self) -> Identity {
        Identity {
            major: hingeline_protocol::MAJOR,
            minor: hingeline_protocol::MINOR,
            firmware: short("0.1.0"),
            board: short("bench"),
            unique_id: heapless::Vec::from_slice(&[1, 2, 3]).expect("fits"),
            build: short("abc123"),
            boot_count: self.boot,
            uptime_us: self.now_us,
            reset_cause: ResetCause::PowerOn,
            buses: 1,
            channels: self.rows.len() as u8,
            streaming: self.streaming,
            stored: self.store.len() as u32,
        }
    }

    pub fn introduce(&mut self) {
        let identity = self.identity();
        self.say(&DeviceMessage::Identity(identity));
        for row in self.rows.clone() {
            self.say(&DeviceMessage::Channel(row));
        }
    }

    /// Bytes from the host.
    pub fn receive(&mut self, bytes: &[u8]) {
        let mut messages = Vec::new();
        self.decoder.feed(bytes, |received| {
            if let Received::Message(message) = received {
                messages.push(message);
            }
        });
        for message in messages {
            self.answer(&message);
            self.heard.push(message);
        }
    }

    fn answer(&mut self, message: &HostMessage) {
        let reply = |to, outcome, detail| DeviceMessage::Reply(Reply { to, outcome, detail });
        match message {
            HostMessage::Identify => self.introduce(),
            HostMessage::ClearSensors if self.streaming => self.say(&reply(1, Outcome::Streaming, 0)),
            HostMessage::ClearSensors => {
                self.configured = 0;
                self.say(&reply(1, Outcome::Done, 0));
            }
            HostMessage::SetSensor(config) => {
                let fits = config.index == self.configured;
                self.configured += u8::from(fits);
                let (outcome, detail) =
                    if fits { (Outcome::Done, config.index) } else { (Outcome::OutOfOrder, self.configured) };
                self.say(&reply(2, outcome, detail.into()));
            }
            HostMessage::SetRate { .. } => self.say(&reply(3, Outcome::Done, 0)),
            HostMessage::Start => {
                self.say(&reply(4, Outcome::Done, 0));
                self.start();
            }
            HostMessage::Stop => {
                self.stop();
                self.say(&reply(5, Outcome::Done, 0));
            }
            HostMessage::Still => {
                self.event(EventKind::Still);
                self.say(&reply(6, Outcome::Done, 0));
            }
            HostMessage::Ping { host_us } => {
                let pong = Pong { host_us: *host_us, device_us: self.now_us };
                self.say(&DeviceMessage::Pong(pong));
            }
            HostMessage::ScanBus { .. } | HostMessage::EraseStored => {
                self.say(&reply(8, Outcome::NotSupported, 0))
            }
            HostMessage::FetchStored { first, count } => {
                let wanted = self.store.iter().skip(*first as usize).take(*count as usize).cloned();
                let records: Vec<_> = wanted.collect();
                let sent = records.len() as u32;
                for record in records {
                    self.say(&DeviceMessage::Stored(record));
                }
                self.say(&reply(9, Outcome::Done, sent));
            }
        }
    }

    /// Begins to stream.
    pub fn start(&mut self) {
        if self.streaming {
            return;
        }
        (self.streaming, self.sequence, self.scan, self.next_us) = (true, 0, 0, self.now_us);
        let last = self.rows.len() - 1;
        self.encoders = [
            BlockEncoder::new(0, (1 << last) - 1, PERIOD_US, 8),
            BlockEncoder::new(1, 1 << last, PERIOD_US * EXCITATION_EVERY, 1),
        ];
        self.introduce();
        self.event(EventKind::Started);
    }

    /// Ends streaming.
    pub fn stop(&mut self) {
        if self.streaming {
            self.flush();
            self.streaming = false;
            self.event(EventKind::Stopped);
        }
    }

    /// Power off and on: time, numbers and configuration begin anew.
    pub fn reboot(&mut self) {
        (self.boot, self.now_us, self.streaming, self.configured) = (self.boot + 1, 5_000, false, 0);
        self.status_us = 0;
        self.output.clear();
        self.introduce();
        self.event(EventKind::Booted { cause: ResetCause::Watchdog });
    }

    /// Lets time pass.
    pub fn run(&mut self, duration_us: u64) {
        let end_us = self.now_us + duration_us;
        while self.streaming && self.next_us <= end_us {
            self.now_us = self.next_us;
            self.make_scan();
            self.next_us += u64::from(PERIOD_US);
        }
        self.now_us = end_us;
        if self.now_us >= self.status_us + 1_000_000 {
            self.status_us = self.now_us;
            self.say(&DeviceMessage::Status(Status {
                uptime_us: self.now_us,
                streaming: self.streaming,
                sensors_lost: 0,
                overrun_scans: 0,
                dropped_messages: 0,
                bus_errors: 0,
                refused_frames: 0,
                unknown_kinds: 0,
            }));
        }
    }

    fn make_scan(&mut self) {
        let mut slots_us = [0; MAX_CHANNELS];
        let mut scan = Scan::new(self.now_us);
        let with_excitation = self.scan.is_multiple_of(EXCITATION_EVERY);
        for (k, row) in self.rows.iter().enumerate() {
            slots_us[k] = row.slot_us;
            let excitation = row.component == Component::Excitation;
            if !excitation || with_excitation {
                let raw = if excitation { NOMINAL_COUNTS } else { (self.counts)(k as u8, self.now_us) };
                scan.set(k as u8, self.now_us + u64::from(row.slot_us), raw);
            }
        }
        self.scan += 1;
        for group in 0..2 {
            if self.encoders[group].push(&scan, &slots_us).is_err() {
                self.close(group);
                self.encoders[group].push(&scan, &slots_us).expect("a fresh block takes any scan");
            }
        }
    }

    /// Sends what is in the open blocks.
    pub fn flush(&mut self) {
        self.close(0);
        self.close(1);
    }

    fn close(&mut self, group: usize) {
        let Some(block) = self.encoders[group].finish(self.sequence) else { return };
        self.sequence += 1;
        let slots_us: Vec<u32> = self.rows.iter().map(|r| r.slot_us).collect();
        let mut all = [0; MAX_CHANNELS];
        all[..slots_us.len()].copy_from_slice(&slots_us);
        for reading in block.readings(&all) {
            let r = reading.expect("sound");
            self.sent.push(Sent {
                channel: r.channel,
                time_us: r.time_us,
                raw: r.raw,
                block: block.sequence,
            });
        }
        self.say(&DeviceMessage::Samples(block));
    }
}
