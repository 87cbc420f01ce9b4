//! One person without a laptop: the machine image, its button, its memory; later a host that fetches.

use crate::image;
use hingeline::rig::{self, Rig};
use hingeline::vehicle;
use hingeline::virtual_rig::image::{ImageLogger, Pace};
use hingeline::virtual_rig::readings::Readings;
use hingeline::virtual_rig::stage::Stage;
use hingeline::virtual_rig::{Test, VehicleOnRamp, scenario};
use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::{
    Component, DeviceMessage, EventKind, FrameDecoder, HostMessage, LossCounter, Outcome, Press, Received,
    Reply, SensorConfig, encode_frame,
};
use std::time::{Duration, Instant};

/// Longest wait for anything, of the PC's time: a loaded one is slow.
const PATIENCE: Duration = Duration::from_secs(120);

/// The image and what it said.
struct Host {
    logger: ImageLogger,
    decoder: FrameDecoder<DeviceMessage>,
    heard: Vec<DeviceMessage>,
}

impl Host {
    fn tell(&mut self, message: &HostMessage) {
        let mut frame = [0; MAX_WIRE];
        let used = encode_frame(message, &mut frame).unwrap();
        self.logger.feed(&frame[..used]).unwrap();
    }

    /// Listens until something is heard that was not before.
    fn until(&mut self, what: &str, wanted: impl Fn(&DeviceMessage) -> bool) {
        let (start, from) = (Instant::now(), self.heard.len());
        while !self.heard[from..].iter().any(&wanted) {
            assert!(start.elapsed() < PATIENCE, "{what}: {:?}", self.heard.last());
            let mut bytes = Vec::new();
            self.logger.take_output(&mut bytes).unwrap();
            let heard = &mut self.heard;
            self.decoder.feed(&bytes, |it| {
                if let Received::Message(message) = it {
                    heard.push(message);
                }
            });
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    fn ask(&mut self, message: &HostMessage, kind: u8) -> Reply {
        let from = self.heard.len();
        self.tell(message);
        self.until(&format!("{message:?}"), |m| matches!(m, DeviceMessage::Reply(r) if r.to == kind));
        let reply = self.heard[from..].iter().find_map(|m| match m {
            DeviceMessage::Reply(reply) if reply.to == kind => Some(*reply),
            _ => None,
        });
        reply.unwrap()
    }

    /// Lets time of the logger pass.
    fn pass(&mut self, seconds: u64) {
        let until_us = self.logger.now_us() + seconds * 1_000_000;
        self.until("time passes", |m| matches!(m, DeviceMessage::Status(s) if s.uptime_us >= until_us));
    }
}

fn configs(rig: &Rig) -> Vec<SensorConfig> {
    let wired = rig.sensors.iter().filter_map(|s| Some((s, s.input.as_ref()?)));
    wired
        .enumerate()
        .map(|(index, (sensor, input))| SensorConfig {
            index: index as u8,
            name: sensor.name.as_str().try_into().unwrap(),
            part: input.device.as_str().try_into().unwrap(),
            bus: input.bus,
            mux: None,
            address: input.address,
            input: input.channel,
            excitation: input.excitation,
            component: Component::Length,
            every: 1,
            full_scale_mv: 0,
            full_scale_g: 0,
            full_scale_dps: 0,
        })
        .collect()
}

fn start(image: &std::path::Path) -> (Host, Rig) {
    let vehicle = vehicle::file::parse(scenario::VEHICLE, "vehicle.toml").unwrap();
    let rig = rig::file::parse(scenario::RIG, "rig.toml", &vehicle).unwrap();
    let test = Test { axle: 0, phases: vec![hingeline::run::Phase::Still], ramp_rad: 0.3 };
    let on_ramp = VehicleOnRamp::new(&vehicle, &test).unwrap();
    let stage = Stage::new(&rig, Readings::new(on_ramp, &rig, Some(1)).unwrap()).unwrap();
    let logger = ImageLogger::start(image, Pace::Leaping, stage).unwrap();
    (Host { logger, decoder: FrameDecoder::new(), heard: Vec::new() }, rig)
}

#[test]
fn the_button_records_and_the_host_fetches() {
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    let (mut host, rig) = start(&image);
    host.until("it boots", |m| matches!(m, DeviceMessage::Identity(i) if i.boot_count == 1 && i.stored == 0));
    for config in configs(&rig) {
        let reply = host.ask(&HostMessage::SetSensor(config), 2);
        assert_eq!(reply.outcome, Outcome::Done, "{reply:?}");
    }
    host.ask(&HostMessage::Start, 4);
    host.until("it streams", |m| matches!(m, DeviceMessage::Samples(_)));
    host.ask(&HostMessage::Stop, 5);
    // Silence, until the logger knows that nobody listens.
    host.pass(12);
    host.logger.press(Press::Long);
    host.until("it records", |m| matches!(m, DeviceMessage::Event(e) if e.kind == EventKind::Started));
    host.pass(3);
    host.logger.press(Press::Short);
    host.until(
        "it is told of the still",
        |m| matches!(m, DeviceMessage::Event(e) if e.kind == EventKind::Still),
    );
    host.pass(5);
    host.logger.press(Press::Long);
    host.until("it ends", |m| matches!(m, DeviceMessage::Event(e) if e.kind == EventKind::Stopped));
    host.pass(1);
    let from = host.heard.len();
    assert!(host.logger.flashes() > 5, "the light");
    let reply = host.ask(&HostMessage::FetchStored { first: 0, count: u32::MAX }, 9);
    let stored: Vec<_> = host.heard[from..]
        .iter()
        .filter_map(
            |m| if let DeviceMessage::Stored(record) = m { Some(record.decode().unwrap()) } else { None },
        )
        .collect();
    assert_eq!((reply.outcome, reply.detail as usize), (Outcome::Done, stored.len()));
    assert!(
        matches!(&stored[0], DeviceMessage::Identity(i) if i.board == "emulated lm3s6965evb" && i.streaming)
    );
    let mut loss = LossCounter::new();
    loss.restart();
    for message in &stored {
        if let DeviceMessage::Samples(block) = message {
            assert!(loss.observe(block));
        }
    }
    assert_eq!((loss.lost_blocks, loss.lost_scans), (0, 0));
    // Eight seconds and more at 50 Hz.
    assert!(loss.received_scans > 400, "{}", loss.received_scans);
    assert_eq!(host.ask(&HostMessage::EraseStored, 10).outcome, Outcome::Done);
    assert_eq!(host.ask(&HostMessage::FetchStored { first: 0, count: 9 }, 9).detail, 0);
}
