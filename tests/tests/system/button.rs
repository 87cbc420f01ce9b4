//! One person without a computer: the board's button begins a recording, marks the still and ends it; a host fetches it later.

use crate::image;
use crate::line::Bench;
use hingeline_protocol::{DeviceMessage, EventKind, FrameDecoder, Press, Received};

/// A host that says nothing for ten seconds is gone; a little longer, s.
const GONE_S: f64 = 12.0;
/// How long sensors are watched, s of the board's time: a supply is read twice a second.
const WATCH: &str = "3";
/// How long each part of the recording lasts, s, and how many scans that is at least at the 50 Hz of a recording alone.
const PART_S: f64 = 4.0;
const SCANS: u32 = 250;

#[test]
fn a_test_is_recorded_with_the_button_and_fetched_later() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    let bench = Bench::emulated(&image, "off", &[]);
    // The host sets it up, and goes.
    let (told, errors) = bench.run(&["device", "--seconds", WATCH]);
    assert!(told.starts_with("The logger answers, and all"), "{told}{errors}");
    bench.pass(GONE_S);
    bench.press(Press::Long);
    bench.pass(PART_S);
    bench.press(Press::Short);
    bench.pass(PART_S);
    bench.press(Press::Long);
    bench.pass(PART_S);

    let (told, errors) = bench.run(&["record", "--fetch", "--reconnect", "1"]);
    assert!(errors.starts_with("Fetched ") && !errors.contains("did not come"), "{errors}");
    let [run] =
        told.lines().collect::<Vec<_>>().try_into().unwrap_or_else(|_| panic!("one run: {told}{errors}"));
    let (mut scans, mut events) = (0, Vec::new());
    FrameDecoder::<DeviceMessage>::new().feed(&bench.bytes(run), |received| {
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
