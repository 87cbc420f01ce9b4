//! The Pico-class board's image under an emulator of its chip: USB serial end to end, its buses on the same parts as everywhere.

use crate::built;
use crate::heard::Heard;
use crate::line::Bench;
use hingeline::virtual_rig::image::tied;
use hingeline_protocol::{DeviceMessage, EventKind, FrameDecoder, Press, Received};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

/// How long it records, host time, s.
const SECONDS: &str = "12";
/// How long sensors are watched, s of the board's time: a supply is read twice a second.
const WATCH: &str = "3";
/// The number of the emulator's flash chip.
const CHIP_ID: &str = "e6616408432b9a27";
/// A host that says nothing for ten seconds is gone; a little longer, s.
const GONE_S: f64 = 12.0;
/// How long each part of a recording alone lasts, s, and how many scans that is at least at its 50 Hz.
const PART_S: f64 = 3.0;
const SCANS_ALONE: u32 = 200;
/// Clocks that a part takes to let go of the data line: the last of the nine.
const CLOCKS: u32 = 9;
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

/// The chip's emulator, as it is told and tells.
struct Emulator {
    input: ChildStdin,
    output: BufReader<ChildStdout>,
}

impl Emulator {
    fn tell(&mut self, line: &str) {
        writeln!(self.input, "{line}").unwrap();
    }

    /// Waits until it says so.
    fn hear(&mut self, wanted: &str) {
        let mut line = String::new();
        while line.trim() != wanted {
            line.clear();
            assert!(
                self.output.read_line(&mut line).unwrap() > 0,
                "the emulator ended before it said {wanted}"
            );
        }
    }

    /// Lets so much of the board's time pass, s.
    fn pass(&mut self, seconds: f64) {
        self.tell(&format!("pass {seconds}"));
        self.hear("passed");
    }

    /// A builder presses the board's button.
    fn press(&mut self, press: Press) {
        self.tell("button down");
        self.pass(if press == Press::Long { 1.5 } else { 0.15 });
        self.tell("button up");
    }
}

/// A board that runs the image, and a line to its emulator.
fn start(image: &Path) -> (Bench, Emulator) {
    let mut emulator = None;
    let bench = Bench::start(|host, buses| {
        let mut node = tied("node".as_ref());
        node.arg(folder().join("run.mjs")).arg(image).args([host, buses]);
        let mut node = node.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let (input, output) = (node.stdin.take().unwrap(), BufReader::new(node.stdout.take().unwrap()));
        emulator = Some(Emulator { input, output });
        node
    });
    (bench, emulator.unwrap())
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
    let identity = &device(&bench)["identity"];
    assert_eq!(identity["last_words"], serde_json::Value::Null);
    // The flash chip's own number, and the first boot that its memory counts.
    assert_eq!((&identity["unique_id"], &identity["boot_count"]), (&CHIP_ID.into(), &1.into()));
    emulator.tell(&format!("panic {address} some/folder/other.rs 1020"));
    emulator.hear("reset 2");
    let report = device(&bench);
    assert_eq!(report["identity"]["boot_count"], 2);
    assert_eq!(report["identity"]["reset_cause"], "fault");
    assert_eq!(report["identity"]["last_words"], "some/folder/other.rs:1020");
    // It works again, with everything on its buses.
    assert_eq!(
        (&report["well"], report["answering"][0]["addresses"].as_array().unwrap().len()),
        (&true.into(), 3),
        "{report}"
    );
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

#[test]
fn a_bus_that_a_part_holds_is_clocked_free_on_the_pins() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no image of the board, or no emulator of its chip");
    };
    let (bench, mut emulator) = start(&image);
    assert_eq!(device(&bench)["well"], true);
    let mut recorder = bench.command(&["record", "--plan", "still"]);
    let recorder = recorder.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut recorder = recorder.spawn().unwrap();
    while crate::hang::starts(bench.folder.path()) == 0 {
        assert!(recorder.try_wait().unwrap().is_none(), "it records");
        std::thread::sleep(Duration::from_millis(300));
    }
    emulator.tell(&format!("stuck 0 {CLOCKS}"));
    emulator.hear("freed 0");
    emulator.pass(1.0);
    // The person ends it.
    writeln!(recorder.stdin.take().unwrap(), "q").unwrap();
    let (told, errors) = crate::line::texts(&recorder.wait_with_output().unwrap());
    let heard = Heard::of(&bench.bytes(told.lines().last().unwrap_or_else(|| panic!("{errors}"))));
    let recovered = heard.events.iter().find(|e| e.kind == EventKind::BusRecovered { bus: 0 });
    let at_us = recovered.unwrap_or_else(|| panic!("{:?}", heard.events)).time_us;
    let after = heard.times_us().iter().map(|times| times.iter().filter(|t| **t > at_us).count()).max();
    assert!(after.is_some_and(|readings| readings > 50), "it goes on: {after:?}");
}

#[test]
fn a_test_is_recorded_with_the_button_into_the_flash_and_fetched_later() {
    let _alone = crate::alone();
    let Some(image) = image() else {
        return eprintln!("left out: there is no image of the board, or no emulator of its chip");
    };
    let (bench, mut emulator) = start(&image);
    // The host sets it up, and goes.
    assert_eq!(device(&bench)["well"], true);
    emulator.pass(GONE_S);
    for _ in 0..2 {
        for press in [Press::Long, Press::Short, Press::Long] {
            emulator.press(press);
            emulator.pass(PART_S);
        }
    }
    let (told, errors) = bench.run(&["record", "--fetch", "--reconnect", "1"]);
    assert!(errors.starts_with("Fetched ") && !errors.contains("did not come"), "{errors}");
    let runs: Vec<&str> = told.lines().collect();
    assert_eq!(runs.len(), 2, "{told}{errors}");
    for run in runs {
        let (mut scans, mut events) = (0, Vec::new());
        FrameDecoder::<DeviceMessage>::new().feed(&bench.bytes(run), |received| {
            let Received::Message(DeviceMessage::Stored(record)) = received else { return };
            match record.decode().unwrap() {
                DeviceMessage::Samples(block) if block.group == 0 => scans += u32::from(block.scans),
                DeviceMessage::Event(event) => events.push(event.kind),
                _ => {}
            }
        });
        assert!(scans >= SCANS_ALONE, "{scans} scans: {events:?}");
        for kind in [EventKind::Started, EventKind::Still, EventKind::Stopped] {
            assert!(events.contains(&kind), "{kind:?} is not in {events:?}");
        }
        let losses =
            |kind: &EventKind| matches!(kind, EventKind::QueueFull { .. } | EventKind::Overrun { .. });
        assert!(!events.iter().any(losses), "{events:?}");
    }
}
