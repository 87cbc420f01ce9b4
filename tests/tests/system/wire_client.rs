//! A client that was written from the wire's document alone records from the firmware, and its readings are the host's.

use crate::bench::{simulate, twelve_channels, workshop};
use crate::heard::Heard;
use crate::image;
use hingeline::device::setup::Setup;
use hingeline::run::wire::{Context, WireReader};
use hingeline::virtual_rig::scenario;
use hingeline::{rig, vehicle};
use hingeline_protocol::SensorConfig;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;

/// How long it records, s of the logger's time.
const SECONDS: f64 = 8.0;
/// The client works in doubles from a scale that travels in single precision, as the host does.
const SAME: f64 = 1e-12;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("wire_client")
}

/// Runs one of the client's programs; gives what it printed.
fn run(program: &str, arguments: &[&str]) -> String {
    let python = std::env::var("HINGELINE_PYTHON").unwrap_or_else(|_| "python3".into());
    let output = Command::new(&python)
        .arg(folder().join(program))
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{python}: {error}"));
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program}: {errors}");
    String::from_utf8(output.stdout).unwrap()
}

/// A sensor as the document's field names say it.
fn sensor(config: &SensorConfig) -> Value {
    json!({
        "name": config.name.as_str(),
        "part": config.part.as_str(),
        "bus": config.bus,
        "multiplexer": config.mux.map(|port| [port.address, port.channel]),
        "address": config.address,
        "input": config.input,
        "excitation": config.excitation,
        "component": config.component.as_str(),
        "every": config.every,
        "full_scale_mv": config.full_scale_mv,
        "full_scale_g": config.full_scale_g,
        "full_scale_dps": config.full_scale_dps,
    })
}

/// One line of the client's table.
struct Row {
    channel: u8,
    time_us: u64,
    raw: i32,
    sensor: String,
    component: String,
    value: Option<f64>,
}

fn table(path: &Path) -> Vec<Row> {
    let text = std::fs::read_to_string(path).unwrap();
    let rows = text.lines().skip(1).map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        let &[time_us, channel, sensor, component, raw, value, _] = cells.as_slice() else {
            panic!("{line}")
        };
        Row {
            channel: channel.parse().unwrap(),
            time_us: time_us.parse().unwrap(),
            raw: raw.parse().unwrap(),
            sensor: sensor.to_owned(),
            component: component.to_owned(),
            value: (!value.is_empty()).then(|| value.parse().unwrap()),
        }
    });
    rows.collect()
}

/// Has the client record, then decodes the same bytes here and compares.
fn record_and_compare(arguments: &[&str]) {
    let dir = tempfile::tempdir().unwrap();
    workshop(dir.path(), &twelve_channels());
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let drawn = vehicle::file::load(Path::new(&at("bramble/vehicle.toml"))).unwrap();
    let rig = rig::file::load(Path::new(&at("bramble/rig.toml")), &drawn).unwrap();
    let setup = Setup::of(&rig).unwrap();
    let sensors: Vec<Value> = setup.sensors.iter().map(sensor).collect();
    let wanted = json!({ "period_us": setup.period_us, "sensors": sensors });
    std::fs::write(at("sensors.json"), wanted.to_string()).unwrap();
    let (_simulation, port) = simulate(dir.path(), arguments);
    let seconds = SECONDS.to_string();
    let told = run(
        "record.py",
        &[
            &port,
            "--sensors",
            &at("sensors.json"),
            "--seconds",
            &seconds,
            "--raw",
            &at("bytes.bin"),
            "--output",
            &at("table.csv"),
        ],
    );
    let summary: Value = serde_json::from_str(&told).unwrap();
    let bytes = std::fs::read(at("bytes.bin")).unwrap();
    let heard = Heard::of(&bytes);

    let table_rows = table(Path::new(&at("table.csv")));
    same_line(&summary, &heard);
    same_readings(&table_rows, &heard);
    // And the recording that the host makes of these bytes has as many readings of each sensor as the client.
    let mut reader = WireReader::new(&rig);
    reader.feed(&bytes, None);
    let recording = reader.finish(&Context::default());
    for (sensor, series) in rig.sensors.iter().zip(&recording.series) {
        let of_sensor = |row: &&Row| row.sensor == sensor.name && row.component != "excitation";
        let theirs = table_rows.iter().filter(of_sensor).count();
        let ours: usize = series.iter().map(|channel| channel.t_s.len()).sum();
        assert!(
            ours > 0 && theirs.abs_diff(ours) <= 1,
            "{}: {theirs} by the client, {ours} by the host",
            sensor.name
        );
    }
}

/// What the client says of the line is what the host's decoder says.
fn same_line(summary: &Value, heard: &Heard) {
    let board = heard.identities.last().unwrap().board.as_str();
    assert_eq!(summary["board"], board);
    assert_eq!(summary["lost_blocks"], heard.loss.lost_blocks);
    assert_eq!(summary["lost_scans"], heard.loss.lost_scans);
    assert_eq!((&summary["malformed"], &summary["unknown"]), (&json!(0), &json!(0)));
    assert_eq!(summary["events"].as_array().unwrap().len(), heard.events.len());
    assert!(heard.loss.lost_blocks == 0 && heard.loss.received_scans as f64 > 0.9 * 200.0 * SECONDS);
}

/// Every reading: when, of which channel, which count, which value.
fn same_readings(rows: &[Row], heard: &Heard) {
    assert_eq!(rows.len(), heard.readings.len());
    let mut latest = vec![None; heard.channels.len()];
    for (theirs, ours) in rows.iter().zip(&heard.readings) {
        assert_eq!((theirs.channel, theirs.time_us, theirs.raw), (ours.channel, ours.time_us, ours.raw));
        let row = heard.channels[usize::from(ours.channel)].as_ref().unwrap();
        assert_eq!(
            (theirs.sensor.as_str(), theirs.component.as_str()),
            (row.sensor.as_str(), row.component.as_str())
        );
        let value = f64::from(ours.raw) * f64::from(row.scale) + f64::from(row.offset);
        latest[usize::from(ours.channel)] = Some(value);
        let below = row.ratio_to.map_or(Some(1.0), |channel| latest[usize::from(channel)]);
        match (theirs.value, below) {
            (Some(theirs), Some(below)) => {
                assert!((theirs - value / below).abs() <= SAME * value.abs().max(1.0));
            }
            (theirs, below) => assert_eq!((theirs, below), (None, None)),
        }
    }
}

#[test]
fn the_documents_own_frames_are_read_and_made() {
    let _alone = crate::alone();
    let document = Path::new(env!("CARGO_MANIFEST_DIR")).join("../protocol/WIRE.md");
    let told = run("golden.py", &[document.to_str().unwrap()]);
    assert!(told.starts_with("23 frames from the logger, 11 from the host"), "{told}");
}

#[test]
fn a_run_from_the_native_firmware_reads_the_same() {
    let _alone = crate::alone();
    assert!(scenario::RIG.contains("ads1115"));
    record_and_compare(&["--speed", "4"]);
}

#[test]
fn a_run_from_the_machine_image_reads_the_same() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no machine image, or no emulator");
    };
    record_and_compare(&["--leap", "--image", image.to_str().unwrap()]);
}
