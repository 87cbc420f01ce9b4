//! The Pico-class board's image under an emulator of its chip: USB serial end to end, its buses on the same parts as everywhere.

use crate::built;
use crate::heard::Heard;
use crate::line::Bench;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{ChildStdin, Command, Stdio};

/// How long it records, host time, s.
const SECONDS: &str = "12";
/// How long sensors are watched, host time, s: a supply is read twice a second of the board's time, which a loaded PC stretches.
const WATCH: &str = "15";
/// The chip's emulator may be slower than time: so many scans are enough.
const SCANS: u64 = 100;

/// The image and the emulator, if they are here.
fn image() -> Option<PathBuf> {
    let promised = std::env::var_os("HINGELINE_PICO_IMAGE").map(PathBuf::from);
    let image = promised.clone().unwrap_or_else(|| built().join("../boards/pico.uf2"));
    let emulator = folder().join("node_modules/rp2040js").is_dir();
    let node = Command::new("node").arg("--version").output().is_ok();
    let there = image.is_file() && emulator && node;
    assert!(there || promised.is_none(), "{} or its emulator is missing", image.display());
    there.then_some(image)
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("pico")
}

/// A board that runs the image, and a line to its emulator.
fn start(image: &Path) -> (Bench, ChildStdin) {
    let mut input = None;
    let bench = Bench::start(|host, buses| {
        let mut node = Command::new("node");
        node.arg(folder().join("run.mjs")).arg(image).args([host, buses]);
        let mut node = node.stdin(Stdio::piped()).stdout(Stdio::null()).spawn().unwrap();
        input = node.stdin.take();
        node
    });
    (bench, input.unwrap())
}

fn device(bench: &Bench) -> serde_json::Value {
    let (told, errors) = bench.run(&["device", "--json", "--seconds", WATCH]);
    serde_json::from_str(&told).unwrap_or_else(|_| panic!("{errors}"))
}

/// Where a function of the core library that panics at a place is, in the image.
fn panicking(image: &Path) -> Option<String> {
    let names = Command::new("arm-none-eabi-nm").arg("-C").arg(image.with_extension("elf")).output().ok()?;
    let names = String::from_utf8(names.stdout).unwrap();
    let line = names.lines().find(|line| line.ends_with("core::cell::panic_already_borrowed"))?;
    Some(format!("0x{}", line.split_whitespace().next()?))
}

#[test]
fn a_program_that_fails_says_where_after_its_reset() {
    let _alone = crate::alone();
    let Some((image, address)) = image().and_then(|image| panicking(&image).map(|address| (image, address)))
    else {
        return eprintln!(
            "left out: there is no image of the board, no emulator of its chip, or nobody to read the image"
        );
    };
    let (bench, mut emulator) = start(&image);
    assert_eq!(device(&bench)["identity"]["last_words"], serde_json::Value::Null);
    writeln!(emulator, "panic {address} some/folder/other.rs 1020").unwrap();
    let report = device(&bench);
    assert_eq!(report["identity"]["reset_cause"], "fault");
    assert_eq!(report["identity"]["last_words"], "some/folder/other.rs:1020");
    // It works again; the parts, which count time by the board's clock, have yet to make up for its second beginning.
    assert_eq!(report["answering"][0]["addresses"].as_array().unwrap().len(), 3);
}

#[test]
fn a_pico_class_board_is_looked_over_and_recorded_from() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no image of the board, or no emulator of its chip");
    };
    let (bench, _emulator) = start(&image);
    let report = device(&bench);
    assert_eq!(
        (&report["identity"]["board"], &report["well"]),
        (&"pico rp2040".into(), &true.into()),
        "{report}"
    );
    assert_eq!(report["identity"]["buses"], 2);
    let found = report["answering"][0]["addresses"].as_array().unwrap();
    assert!([0x48, 0x49].iter().all(|address| found.contains(&(*address).into())), "{report}");

    let (told, errors) = bench.run(&["record", "--plan", "still", "--seconds", SECONDS]);
    let heard = Heard::of(&bench.bytes(told.lines().last().unwrap_or_else(|| panic!("{errors}"))));
    assert_eq!((heard.loss.lost_blocks, heard.loss.lost_scans, heard.refused), (0, 0, 0), "{errors}");
    assert!(heard.loss.received_scans > SCANS, "{} scans: {errors}", heard.loss.received_scans);
    assert_eq!(heard.times_us().len(), 12 + 2);
    let status = heard.status.expect("a status every second");
    assert_eq!((status.bus_errors, status.dropped_messages), (0, 0));
    eprintln!("{} scans, {} left out", heard.loss.received_scans, heard.overrun_scans);
}
