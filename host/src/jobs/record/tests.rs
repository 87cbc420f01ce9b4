//! Recordings from the scripted logger, end to end in memory, with the line's and the disk's faults.

mod bad_line;

use super::*;
use crate::device::line::{Line, SystemClock};
use crate::device::memory;
use crate::device::scripted::{Bench, Fault};
use crate::jobs::vehicle_folder::tests::{logbook_with_rig, some_time};
use crate::run::Recording;
use crate::run::folder::RunFolder;
use crate::run::test_logger::{Sent, TestLogger};
use crate::run::test_rig;
use hingeline_protocol::{DeviceMessage, Event, EventKind, Press, StoredRecord};
use proptest::prelude::*;
use std::io;

/// The rig of the scripted logger as a file: counts are mm.
const RIG: &str = r#"
format = 1
[[sensor]]
name = "left"
kind = "draw-wire"
chassis = [0, 500, 1000]
axle = [0, 620, 460]
input = { bus = 0, device = "ads1115", address = 0x48, channel = 0, excitation = 3 }
[[sensor]]
name = "right"
kind = "draw-wire"
chassis = [0, -500, 1000]
axle = [0, -620, 460]
input = { bus = 0, device = "ads1115", address = 0x48, channel = 1, excitation = 3 }
[[sensor]]
name = "arm"
kind = "angle"
pivot = [950, 360, 500]
axle = [20, 580, 400]
scale = 0.087890625
[[sensor]]
name = "axle unit"
kind = "inertial"
body = "axle"
at = [0, 200, 500]
[[sensor]]
name = "frame unit"
kind = "inertial"
body = "chassis"
at = [0, 200, 900]
"#;

fn request(vehicle_folder: PathBuf, test: Option<Test>) -> Request {
    let facts = Facts { ramp_angle_rad: Some(0.3), notes: "windy".into(), ..Facts::default() };
    let plan = test.map(Test::plan).unwrap_or_default();
    let without = Vec::new();
    Request {
        vehicle_folder,
        shelf: crate::run::find::RUNS,
        test,
        plan,
        facts,
        without,
        seconds: None,
        reconnect_s: 5.0,
        now: some_time(),
    }
}

fn read(recorded: &Recorded, vehicle: &Path) -> Recording {
    let folder = VehicleFolder::load(vehicle).map_err(|e| e.to_string()).unwrap();
    RunFolder::open(&recorded.folder).unwrap().read(&folder.rig, &folder.centres()).unwrap()
}

/// Records with a bench until the watch ends it.
fn record_bench(
    request: &Request,
    bench: &Bench,
    watch: &mut dyn FnMut(&Progress) -> Option<Command>,
) -> Result<Recorded, String> {
    run(request, &mut bench.clone(), bench, watch).map_err(|e| e.to_string())
}

fn stop_after(seconds: f64) -> impl FnMut(&Progress) -> Option<Command> {
    move |p| p.elapsed_s.is_some_and(|s| s > seconds).then_some(Command::Stop)
}

#[test]
fn a_ramp_test_stepped_by_the_button_becomes_a_run() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let mut presses = vec![9_000_000, 6_000_000, 3_000_000];
    let bench = Bench::new(TestLogger::whole(), move |now_us, logger| {
        if presses.last().is_some_and(|at| now_us > *at) {
            presses.pop();
            logger.press();
        }
    });
    let mut phases_seen = Vec::new();
    let recorded = record_bench(&request(vehicle.clone(), Some(Test::Ramp)), &bench, &mut |p| {
        phases_seen.extend(p.phase);
        phases_seen.dedup();
        None
    })
    .unwrap();
    assert_eq!(recorded.name, "2026-11-25-1412-ramp");
    assert_eq!((recorded.why.as_str(), recorded.trouble.is_none()), ("the plan is done", true));
    assert_eq!(phases_seen, Test::Ramp.plan());
    assert_eq!(recorded.phases, Test::Ramp.plan());
    let recording = read(&recorded, &vehicle);
    assert_eq!(recording.counts.received, recorded.received);
    let logger = bench.logger.borrow();
    let sent: Vec<&Sent> = logger.sent.iter().filter(|s| s.channel < 15).collect();
    assert_eq!(recording.counts.received as usize, sent.len());
    let words: Vec<_> = recording.phases.iter().map(|s| s.phase.words()).collect();
    assert_eq!(words, ["still", "ramp left", "ramp right"]);
    assert!((recording.phases[1].to_s - recording.phases[1].from_s - 3.0).abs() < 0.1);
    assert_eq!(recording.facts.ramp_angle_rad, Some(0.3));
    assert_eq!(recording.provenance.firmware.as_deref(), Some("0.1.0 build abc123"));
    assert!(recording.remarks.is_empty(), "{:?}", recording.remarks);
}

#[test]
fn keys_notes_and_lifts_are_kept() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let bench = Bench::new(TestLogger::whole(), |_, _| {});
    let mut commands = vec![
        (4.0, Command::Stop),
        (3.0, Command::Lift),
        (2.5, Command::Note("tyre rubs".into())),
        (2.0, Command::Next),
        (1.5, Command::Pause),
    ];
    let recorded =
        record_bench(&request(vehicle.clone(), Some(Test::One(Phase::Bounce))), &bench, &mut |p| {
            let due = commands.last().is_some_and(|(at_s, _)| p.elapsed_s.is_some_and(|s| s > *at_s));
            due.then(|| commands.pop().map(|c| c.1)).flatten()
        })
        .unwrap();
    let recording = read(&recorded, &vehicle);
    let [still, bounce] = recording.phases.as_slice() else { panic!("{:?}", recording.phases) };
    assert!((still.to_s - 1.5).abs() < 0.15 && (bounce.from_s - 2.0).abs() < 0.15);
    assert_eq!(recording.lifts_s.len(), 1);
    assert!((recording.lifts_s[0] - 3.0).abs() < 0.15);
    assert_eq!(recording.facts.notes, "windy\nat 3 s: tyre rubs", "both, with the time");
    let marks = RunFolder::open(&recorded.folder).unwrap().marks().unwrap().0;
    assert!(marks.iter().any(|m| matches!(m, Mark::Note { text, .. } if text == "tyre rubs")));
}

#[test]
fn a_cable_that_comes_back_leaves_a_gap_and_one_that_does_not_ends_it() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let bench = Bench::new(TestLogger::whole(), |_, _| {});
    *bench.faults.borrow_mut() = [vec![Fault::None; 60], vec![Fault::Unplug(2_000)]].concat().into();
    let mut down = 0;
    let mut stop = stop_after(8.0);
    let recorded = record_bench(&request(vehicle.clone(), None), &bench, &mut |p| {
        down += u32::from(!p.linked);
        stop(p)
    })
    .unwrap();
    assert_eq!((recorded.gaps.0, recorded.trouble.is_none()), (1, true));
    assert!((recorded.gaps.1 - 2.0).abs() < 0.6 && down > 3);
    let recording = read(&recorded, &vehicle);
    assert!(recording.counts.lost > 0);
    assert_eq!(recording.counts.received + recording.counts.lost, sent_until_last(&bench, &recording));
    assert!(
        recording.remarks.iter().any(|r| r.starts_with("No readings between")),
        "{:?}",
        recording.remarks
    );

    *bench.faults.borrow_mut() = [vec![Fault::None; 60], vec![Fault::Unplug(60_000)]].concat().into();
    let recorded = record_bench(&request(vehicle.clone(), None), &bench, &mut |_| None).unwrap();
    let trouble = recorded.trouble.as_ref().unwrap();
    assert_eq!(trouble.status().code(), 3);
    assert_eq!(trouble.to_string(), "bench was unplugged and did not come back within 5 s");
    assert_eq!(recorded.name, "2026-11-25-1412-run-2");
    assert!(read(&recorded, &vehicle).counts.received > 0);
}

/// Readings of the rig that the logger had sent by the end of its last block that arrived.
fn sent_until_last(bench: &Bench, recording: &Recording) -> u64 {
    let logger = bench.logger.borrow();
    let first_us = logger.sent.iter().find(|s| s.channel == 0).map_or(0, |s| s.time_us);
    let last_s = recording.series[0][0].t_s.last().copied().unwrap_or_default();
    let last_us = first_us + (last_s * 1e6).round() as u64;
    let block = logger.sent.iter().find(|s| s.channel == 0 && s.time_us == last_us).map(|s| s.block);
    logger.sent.iter().filter(|s| s.channel < 15 && Some(s.block) <= block).count() as u64
}

#[test]
fn a_logger_that_restarts_goes_on_in_the_same_run() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let mut rebooted = false;
    let bench = Bench::new(TestLogger::whole(), move |now_us, logger| {
        if now_us > 4_000_000 && !std::mem::replace(&mut rebooted, true) {
            logger.reboot();
        }
    });
    let recorded = record_bench(&request(vehicle.clone(), None), &bench, &mut stop_after(8.0)).unwrap();
    assert_eq!((recorded.restarts, recorded.trouble.is_none()), (1, true));
    let recording = read(&recorded, &vehicle);
    let times = &recording.series[0][0].t_s;
    assert!(times.windows(2).all(|w| w[1] > w[0]));
    assert!((times.last().unwrap() - 8.0).abs() < 0.3, "{:?}", times.last());
    assert!(recording.remarks.iter().any(|r| r.contains("restarted")), "{:?}", recording.remarks);
}

/// A disk that takes only so many bytes.
struct SmallDisk {
    to: Writer,
    room: usize,
}

impl Keep for SmallDisk {
    fn append(&mut self, bytes: &[u8], host_us: u64) -> Result<(), FolderError> {
        let fits = bytes.get(..bytes.len().min(self.room)).unwrap_or_default();
        self.room -= fits.len();
        self.to.append(fits, host_us)?;
        if fits.len() == bytes.len() { Ok(()) } else { Err(FolderError::DiskFull("wire.bin".into())) }
    }

    fn mark(&mut self, mark: &Mark) -> Result<(), FolderError> {
        if self.room > 0 { self.to.mark(mark) } else { Err(FolderError::DiskFull("marks.jsonl".into())) }
    }

    fn close(&mut self) -> Result<(), FolderError> {
        self.to.close()
    }
}

#[test]
fn a_full_disk_ends_it_cleanly_and_keeps_what_there_is() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let bench = Bench::new(TestLogger::whole(), |_, _| {});
    let mut open =
        |run: &Path| Writer::open(run).map(|to| Box::new(SmallDisk { to, room: 20_000 }) as Box<dyn Keep>);
    let request = request(vehicle.clone(), Some(Test::Ramp));
    let recorded = record(&request, &mut bench.clone(), &bench, &mut |_| None, &mut open)
        .map_err(|e| e.to_string())
        .unwrap();
    let trouble = recorded.trouble.as_ref().unwrap();
    assert_eq!(trouble.status().code(), 3);
    assert_eq!(trouble.to_string(), "the disk is full: wire.bin could not be written");
    assert_eq!(std::fs::metadata(recorded.folder.join("wire.bin")).unwrap().len(), 20_000);
    let recording = read(&recorded, &vehicle);
    assert!(recording.counts.received > 1000);
    assert!(recording.remarks.iter().any(|r| r.contains("cut off")), "{:?}", recording.remarks);
    assert!(!bench.logger.borrow().streaming, "the logger was told to stop");
}

#[test]
fn nobody_on_the_line_and_no_line_at_all_leave_no_run() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let bench = Bench::new(TestLogger::whole(), |_, _| {});
    *bench.faults.borrow_mut() = vec![Fault::Drop; 1000].into();
    let told = record_bench(&request(vehicle.clone(), None), &bench, &mut |_| None).unwrap_err();
    assert_eq!(told, "the logger does not answer when asked who it is");
    bench.unplugged_until_us.set(u64::MAX);
    let told = record_bench(&request(vehicle.clone(), None), &bench, &mut |_| None).unwrap_err();
    assert!(told.starts_with("bench cannot be opened"), "{told}");
    assert!(!vehicle.join("runs").exists());
}

/// What a logger says that records alone from 2 s of its clock on: two presses of the button, 10 s in all.
fn alone() -> (TestLogger, Vec<DeviceMessage>) {
    let mut alone = TestLogger::whole();
    alone.now_us = 2_000_000;
    alone.start();
    for _ in 0..2 {
        alone.run(4_000_000);
        alone.press();
    }
    alone.run(2_000_000);
    alone.stop();
    let mut messages = Vec::new();
    hingeline_protocol::FrameDecoder::<DeviceMessage>::new().feed(&alone.output, |r| {
        if let hingeline_protocol::Received::Message(m) = r {
            messages.push(m);
        }
    });
    (alone, messages)
}

fn fetch_from(bench: &Bench, request: &Request) -> Result<fetch::Fetched, String> {
    fetch::run(request, &mut bench.clone(), bench, &mut |_| true).map_err(|e| e.to_string())
}

#[test]
fn each_start_that_the_board_kept_is_fetched_as_a_run_once() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let (alone, messages) = alone();
    let mut logger = TestLogger::whole();
    (logger.boot, logger.now_us) = (2, 100_000_000);
    // The same hands did the same in the boot before.
    let all: Vec<(u32, &DeviceMessage)> =
        (1..=2).flat_map(|boot| messages.iter().map(move |m| (boot, m))).collect();
    let total = all.len() as u32;
    logger.store =
        (0..).zip(&all).map(|(k, (boot, m))| StoredRecord::new(k, total, *boot, m).unwrap()).collect();
    let bench = Bench::new(logger, |_, _| {});
    let request = request(vehicle.clone(), Some(Test::Ramp));
    let fetched = fetch_from(&bench, &request).unwrap();
    assert_eq!((fetched.records, fetched.missing, fetched.left_out), (total, 0, 0));
    let told: Vec<_> = fetched
        .recordings
        .iter()
        .map(|r| (r.name.as_str(), r.known, r.seconds.round(), r.begun.is_some()))
        .collect();
    // The second began 98 s ago: at 14:10.
    assert_eq!(
        told,
        [("2026-11-25-1412-ramp", false, 10.0, false), ("2026-11-25-1410-ramp", false, 10.0, true)]
    );
    let folder = VehicleFolder::load(&vehicle).map_err(|e| e.to_string()).unwrap();
    for recording in &fetched.recordings {
        let run = RunFolder::open(&recording.folder).unwrap();
        assert_eq!(run.header.notes.contains("switched off since"), recording.begun.is_none());
        let read = run.read(&folder.rig, &folder.centres()).unwrap();
        assert_eq!(read.counts.received as usize, alone.sent.iter().filter(|s| s.channel < 15).count());
        let words: Vec<_> = read.phases.iter().map(|s| s.phase.words()).collect();
        assert_eq!(words, ["still", "ramp left", "ramp right"]);
        assert!(read.remarks.is_empty(), "{:?}", read.remarks);
    }

    // Again, and with one recording more.
    let later = messages.iter().cloned().map(|mut message| {
        match &mut message {
            DeviceMessage::Samples(block) => block.first_time_us += 60_000_000,
            DeviceMessage::Event(event) => event.time_us += 60_000_000,
            _ => {}
        }
        message
    });
    let more: Vec<_> =
        (total..).zip(later).map(|(k, m)| StoredRecord::new(k, total, 2, &m).unwrap()).collect();
    bench.logger.borrow_mut().store.extend(more);
    let again = fetch_from(&bench, &request).unwrap();
    let known: Vec<_> = again.recordings.iter().map(|r| r.known).collect();
    assert_eq!(known, [true, true, false]);
    assert_eq!(again.recordings[..2].iter().map(|r| &r.name).collect::<Vec<_>>(), [&told[0].0, &told[1].0]);
    assert_eq!(std::fs::read_dir(vehicle.join("runs")).unwrap().count(), 3);

    bench.logger.borrow_mut().store.clear();
    assert_eq!(fetch_from(&bench, &request).unwrap_err(), "the logger has kept nothing by itself");
    assert_eq!(std::fs::read_dir(vehicle.join("runs")).unwrap().count(), 3, "no empty run");
}

/// One end of a line within the process, once.
struct Once(Option<memory::MemoryLine>);

impl Connect for Once {
    fn connect(&mut self) -> io::Result<Box<dyn Line>> {
        let line = self.0.take().ok_or(io::ErrorKind::NotFound)?;
        Ok(Box::new(line))
    }

    fn name(&self) -> &str {
        "memory"
    }
}

#[test]
fn it_works_in_real_time_with_a_logger_on_another_thread() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let (ours, mut theirs) = memory::pair();
    let logger = std::thread::spawn(move || {
        let mut logger = TestLogger::whole();
        let mut buffer = [0; 1024];
        let step = Duration::from_millis(10);
        while let Ok(count) = theirs.read(&mut buffer, step) {
            logger.receive(&buffer[..count]);
            logger.run(10_000);
            let output = std::mem::take(&mut logger.output);
            if !output.is_empty() && theirs.write(&output).is_err() {
                break;
            }
        }
        logger
    });
    let request = Request { seconds: Some(0.7), ..request(vehicle.clone(), None) };
    let clock = SystemClock::start();
    let recorded =
        run(&request, &mut Once(Some(ours)), &clock, &mut |_| None).map_err(|e| e.to_string()).unwrap();
    assert_eq!(recorded.why, "the time is up");
    let logger = logger.join().unwrap();
    let sent = logger.sent.iter().filter(|s| s.channel < 15).count();
    assert_eq!((recorded.received as usize, recorded.lost), (sent, 0));
    assert_eq!(read(&recorded, &vehicle).counts.received as usize, sent);
}

fn fault() -> impl Strategy<Value = Fault> {
    prop_oneof![
        20 => Just(Fault::None),
        2 => Just(Fault::Drop),
        2 => Just(Fault::Twice),
        2 => (0_usize..8000).prop_map(Fault::Flip),
        1 => (100_u64..2_000).prop_map(Fault::Unplug),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn whatever_the_line_does_the_run_is_a_part_of_what_was_sent(faults in prop::collection::vec(fault(), 0..200)) {
        let (_dir, vehicle) = logbook_with_rig(RIG);
        let bench = Bench::new(TestLogger::whole(), |_, _| {});
        *bench.faults.borrow_mut() = faults.into();
        // A line bad enough that no session comes about leaves no run: that is tested elsewhere.
        let Ok(recorded) = record_bench(&request(vehicle.clone(), None), &bench, &mut stop_after(6.0)) else {
            return Ok(());
        };
        let recording = read(&recorded, &vehicle);
        let logger = bench.logger.borrow();
        let rig = test_rig::whole();
        let channels = (0..3).map(|s| (s, 0)).chain((3..5).flat_map(|s| (0..6).map(move |c| (s, c))));
        // Time zero is the first reading that arrived: find which one that was by the first series.
        for (channel, (sensor, part)) in channels.enumerate() {
            let series = &recording.series[sensor][part];
            prop_assert!(series.t_s.windows(2).all(|w| w[1] > w[0]));
            let sent: Vec<&Sent> = logger.sent.iter().filter(|s| usize::from(s.channel) == channel).collect();
            prop_assert!(is_part_of(series, &sent), "{} part {part}", rig.sensors[sensor].name);
        }
        prop_assert_eq!(recording.counts.received, recording.series.iter().flatten().map(|s| s.t_s.len() as u64).sum::<u64>() + recording.counts.excluded);
    }
}

/// Whether a series' readings, by their intervals of time, are among those sent, in order.
fn is_part_of(series: &crate::run::Series, sent: &[&Sent]) -> bool {
    let Some(first_s) = series.t_s.first() else { return true };
    let intervals: Vec<u64> = series.t_s.iter().map(|t| ((t - first_s) * 1e6).round() as u64).collect();
    (0..sent.len()).any(|from| {
        let mut rest = sent[from..].iter();
        intervals.iter().all(|dt| rest.any(|s| s.time_us == sent[from].time_us + dt))
    })
}

#[test]
fn a_long_press_ends_it() {
    let (_dir, vehicle) = logbook_with_rig(RIG);
    let bench = Bench::new(TestLogger::whole(), |now_us, logger| {
        if now_us > 3_000_000 {
            let event = Event { time_us: logger.now_us, kind: EventKind::Button { press: Press::Long } };
            logger.say(&DeviceMessage::Event(event));
        }
    });
    let recorded = record_bench(&request(vehicle, Some(Test::Ramp)), &bench, &mut |_| None).unwrap();
    assert_eq!(recorded.why, "asked to stop");
}
