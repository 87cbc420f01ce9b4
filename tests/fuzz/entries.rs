//! What outside bytes may reach, one entry for each: a fuzzer and `cargo test` call the same functions. None may panic, hang,
//! or take memory out of proportion; and what comes out must hold together.

use hingeline::files::starters::Layout;
use hingeline::geometry::Vector3;
use hingeline::rig::Rig;
use hingeline::run::header::Header;
use hingeline::run::table::{self, Choices};
use hingeline::run::wire::{Context, WireReader};
use hingeline::run::{Recording, marks};
use hingeline::vehicle::Vehicle;
use hingeline_protocol::sizes::{MAX_HOST_FRAME, MAX_WIRE};
use hingeline_protocol::{DeviceMessage, FrameDecoder, HostMessage, Received, encode_frame};
use std::sync::LazyLock;

/// An entry, and the folder of the corpus that its inputs lie in.
pub type Entry = (&'static str, fn(&[u8]));

/// Every entry.
pub const ENTRIES: [Entry; 7] = [
    ("frames", frames),
    ("wire_log", wire_log),
    ("table", table),
    ("vehicle", vehicle),
    ("rig", rig),
    ("header", header),
    ("marks", marks_of_a_run),
];

/// What tables and logs are read against. Made once: a fuzzer's time is for the bytes.
static STARTER: LazyLock<(Vehicle, Rig)> = LazyLock::new(|| {
    let layout = Layout::DoubleTriangulatedFourLink;
    let vehicle = hingeline::vehicle::file::parse(&layout.vehicle_text("Bramble"), "vehicle.toml");
    let vehicle = vehicle.expect("the starter is sound");
    let rig =
        hingeline::rig::file::parse(layout.rig_text(), "rig.toml", &vehicle).expect("the starter is sound");
    (vehicle, rig)
});

fn centres(vehicle: &Vehicle) -> Vec<Vector3<f64>> {
    vehicle.axles.iter().map(|axle| axle.centre()).collect()
}

/// Frames in both directions. A message that is delivered goes back onto the wire and comes back the same.
pub fn frames(bytes: &[u8]) {
    let mut from_device = FrameDecoder::<DeviceMessage>::new();
    let mut from_host = FrameDecoder::<HostMessage, MAX_HOST_FRAME>::new();
    let mut frame = [0; MAX_WIRE];
    for byte in bytes {
        if let Some(Received::Message(message)) = from_device.push(*byte) {
            let used = encode_frame(&message, &mut frame).expect("what was decoded can be encoded");
            let mut again = FrameDecoder::<DeviceMessage>::new();
            let back = frame[..used].iter().find_map(|b| again.push(*b));
            assert!(matches!(back, Some(Received::Message(m)) if m == message));
        }
        if let Some(Received::Message(message)) = from_host.push(*byte) {
            encode_frame(&message, &mut frame).expect("what was decoded can be encoded");
        }
    }
}

/// What every recording must hold to, wherever it came from.
fn holds_together(recording: &Recording) {
    for series in recording.series.iter().flatten() {
        assert_eq!(series.t_s.len(), series.value.len());
        assert!(series.t_s.windows(2).all(|w| w[1] > w[0]), "times rise");
        assert!(series.t_s.iter().all(|t| t.is_finite()));
    }
    assert!(recording.phases.iter().all(|s| s.to_s >= s.from_s));
}

/// A log of a logger's bytes.
pub fn wire_log(bytes: &[u8]) {
    let (vehicle, rig) = &*STARTER;
    let mut reader = WireReader::new(rig);
    reader.feed(bytes, None);
    let centres = centres(vehicle);
    holds_together(&reader.finish(&Context { centres: &centres, ..Context::default() }));
}

/// A table of readings.
pub fn table(bytes: &[u8]) {
    let (vehicle, rig) = &*STARTER;
    if let Ok(recording) = table::read(bytes, rig, &centres(vehicle), None, &Choices::default()) {
        holds_together(&recording);
    }
}

/// A vehicle file.
pub fn vehicle(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Err(errors) = hingeline::vehicle::file::parse(&text, "vehicle.toml") {
        // The report underlines a place in the text.
        let report = hingeline::explain::Explain::report(&errors, false);
        assert!(report.is_some_and(|text| !text.is_empty()));
    }
}

/// A rig file.
pub fn rig(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (vehicle, _) = &*STARTER;
    if let Err(errors) = hingeline::rig::file::parse(&text, "rig.toml", vehicle) {
        let report = hingeline::explain::Explain::report(&errors, false);
        assert!(report.is_some_and(|text| !text.is_empty()));
    }
}

/// The header of a run; one that is read can be written, and comes back the same.
pub fn header(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(header) = Header::parse(&text) {
        let back = header.to_text().and_then(|text| Header::parse(&text));
        assert!(back.is_ok_and(|back| same(&back, &header)));
    }
}

/// Equal, where a number that is none equals itself.
fn same(a: &Header, b: &Header) -> bool {
    format!("{a:?}") == format!("{b:?}")
}

/// The marks of a run.
pub fn marks_of_a_run(bytes: &[u8]) {
    let (marks, _) = marks::parse(bytes);
    for mark in &marks {
        assert!(marks::parse(mark.line().as_bytes()).0.len() == 1);
    }
    let spans = marks::spans(&marks, 1e9, |at| at.device_us as f64 * 1e-6);
    assert!(spans.iter().all(|s| s.to_s > s.from_s));
}
