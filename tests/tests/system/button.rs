//! One person without a computer: the board's button begins a recording, marks the still and ends it; a host fetches it later.

use crate::image;
use crate::line::Bench;
use hingeline::device::line::SystemClock;
use hingeline::device::ports::{DEFAULT_BAUD, PortConnector};
use hingeline::jobs::record::{Request, fetch};
use hingeline::run::Facts;
use hingeline_protocol::{DeviceMessage, EventKind, FrameDecoder, Press, Received};

/// A host that says nothing for ten seconds is gone; a little longer, s.
const GONE_S: f64 = 12.0;
/// How long each part of the recording lasts, s, and how many scans that is at least at the 50 Hz of a recording alone.
const PART_S: f64 = 4.0;
const SCANS: u32 = 250;

#[test]
fn a_test_is_recorded_with_the_button_and_fetched_later() {
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    let bench = Bench::emulated(&image, "off", &[]);
    // The host sets it up, and goes.
    let (told, errors) = bench.run(&["device", "--seconds", "1"]);
    assert!(told.starts_with("The logger answers, and all"), "{told}{errors}");
    bench.pass(GONE_S);
    bench.press(Press::Long);
    bench.pass(PART_S);
    bench.press(Press::Short);
    bench.pass(PART_S);
    bench.press(Press::Long);
    bench.pass(PART_S);

    let request = Request {
        vehicle_folder: bench.folder.path().join("bramble"),
        test: None,
        plan: Vec::new(),
        facts: Facts::default(),
        without: Vec::new(),
        seconds: None,
        reconnect_s: 1.0,
        now: "2026-11-25T14:12:03+01:00[+01:00]".parse().unwrap(),
    };
    let mut connector = PortConnector::new(&bench.port, DEFAULT_BAUD);
    let fetched = fetch::run(&request, &mut connector, &SystemClock::start(), &mut |_| true);
    let fetched = fetched.unwrap_or_else(|error| panic!("{error}"));
    assert!(fetched.records > 0 && fetched.missing == 0, "{fetched:?}");
    let (mut scans, mut events) = (0, Vec::new());
    let bytes = std::fs::read(fetched.folder.join("wire.bin")).unwrap();
    FrameDecoder::<DeviceMessage>::new().feed(&bytes, |received| {
        let Received::Message(DeviceMessage::Stored(record)) = received else { return };
        match record.decode().unwrap() {
            DeviceMessage::Samples(block) if block.group == 0 => scans += u32::from(block.scans),
            DeviceMessage::Event(event) => events.push(event.kind),
            _ => {}
        }
    });
    assert!(scans >= SCANS, "{scans} scans: {events:?}");
    for kind in
        [EventKind::Started, EventKind::Still, EventKind::Button { press: Press::Long }, EventKind::Stopped]
    {
        assert!(events.contains(&kind), "{kind:?} is not in {events:?}");
    }
}
