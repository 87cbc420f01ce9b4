//! Folders made, clashing, cut off.

mod damage;

use super::*;
use crate::run::Phase;
use crate::run::header;
use crate::run::marks::Instant;
use crate::run::test_logger::TestLogger;
use crate::run::test_rig::{CENTRE, whole};
use hingeline_protocol::{DeviceMessage, FrameDecoder, Received};
use std::fs;

const ANY_NAME: &str = "2026-11-25-1412-ramp";

/// A published run without readings yet.
fn empty_run(runs: &Path, source: Source) -> PathBuf {
    let draft = Draft::begin(runs).unwrap();
    let mut header = header::tests::header(source);
    draft.describe(&mut header, b"vehicle", b"rig", None).unwrap();
    draft.publish(ANY_NAME).unwrap()
}

/// A run of a second and a half, written as the recorder does.
fn recorded(runs: &Path) -> PathBuf {
    let path = empty_run(runs, Source::Wire);
    let mut writer = Writer::open(&path).unwrap();
    let mut logger = TestLogger::whole();
    logger.introduce();
    logger.start();
    let at = |device_us| Instant { boot: 1, device_us, host_us: 0 };
    writer.mark(&Mark::Phase { at: at(1_000_000), phase: Phase::Still }).unwrap();
    for k in 1..=15 {
        logger.run(100_000);
        writer.append(&std::mem::take(&mut logger.output), k * 100_000).unwrap();
    }
    writer.mark(&Mark::Phase { at: at(2_000_000), phase: Phase::RampLeft }).unwrap();
    writer.mark(&Mark::End { at: at(2_500_000), why: "asked to stop".into() }).unwrap();
    writer.close().unwrap();
    path
}

fn read(path: &Path) -> Recording {
    RunFolder::open(path).unwrap().read(&whole(), &[CENTRE]).unwrap()
}

#[test]
fn a_run_comes_back_with_its_marks_facts_and_hashes() {
    let dir = tempfile::tempdir().unwrap();
    let path = recorded(dir.path());
    let recording = read(&path);
    let spans: Vec<_> = recording.phases.iter().map(|s| (s.phase.words(), s.from_s, s.to_s)).collect();
    assert_eq!(spans, [("still", 0.0, 1.0), ("ramp left", 1.0, 1.5)]);
    assert!(recording.counts.received > 2000);
    assert_eq!(recording.facts.ramp_angle_rad, Some(0.35));
    assert_eq!(recording.provenance.run, ANY_NAME);
    assert_eq!(recording.provenance.rig_hash, blake3::hash(b"rig").to_hex().as_str());
    let bytes = fs::read(path.join(WIRE)).unwrap();
    assert_eq!(recording.provenance.data_hash, blake3::hash(&bytes).to_hex().as_str());
    assert_eq!(recording.provenance.firmware.as_deref(), Some("0.1.0 build abc"));
    assert!(recording.remarks.is_empty(), "{:?}", recording.remarks);
}

#[test]
fn a_log_cut_at_any_byte_gives_every_frame_before_the_cut() {
    let dir = tempfile::tempdir().unwrap();
    let path = recorded(dir.path());
    let bytes = fs::read(path.join(WIRE)).unwrap();
    let rig = whole();
    // Readings of the rig's 15 channels completed by each byte, from the protocol's own decoder.
    let mut whole_readings = vec![0];
    let mut decoder = FrameDecoder::<DeviceMessage>::new();
    for byte in &bytes {
        let mut total = *whole_readings.last().unwrap();
        if let Some(Received::Message(DeviceMessage::Samples(block))) = decoder.push(*byte) {
            total += if block.group == 0 { u64::from(block.scans) * 15 } else { 0 };
        }
        whole_readings.push(total);
    }
    assert!(*whole_readings.last().unwrap() > 2000);
    let arrivals = arrivals(&fs::read(path.join(ARRIVALS)).unwrap());
    for (cut, expected) in whole_readings.iter().enumerate() {
        let mut reader = WireReader::new(&rig);
        let mut hasher = blake3::Hasher::new();
        feed(&mut &bytes[..cut], &arrivals, &mut hasher, &mut reader).unwrap();
        assert_eq!(reader.finish(&Context::default()).counts.received, *expected, "cut at {cut}");
    }
}

#[test]
fn every_file_of_a_run_may_be_cut_at_any_byte() {
    let dir = tempfile::tempdir().unwrap();
    let path = recorded(dir.path());
    let full = read(&path);
    for name in [ARRIVALS, MARKS] {
        let bytes = fs::read(path.join(name)).unwrap();
        for cut in 0..bytes.len() {
            fs::write(path.join(name), &bytes[..cut]).unwrap();
            let recording = read(&path);
            assert_eq!(recording.series, full.series, "{name} cut at {cut}");
        }
        fs::write(path.join(name), &bytes).unwrap();
    }
    let bytes = fs::read(path.join(WIRE)).unwrap();
    for cut in [0, 1, 500, bytes.len() - 1] {
        fs::write(path.join(WIRE), &bytes[..cut]).unwrap();
        assert!(read(&path).counts.received <= full.counts.received);
    }
    for name in [ARRIVALS, MARKS, WIRE] {
        fs::remove_file(path.join(name)).unwrap();
    }
    assert_eq!(read(&path).counts.received, 0);
}

#[test]
fn a_run_is_never_overwritten_and_a_draft_is_no_run() {
    let dir = tempfile::tempdir().unwrap();
    let first = empty_run(dir.path(), Source::Wire);
    let second = empty_run(dir.path(), Source::Wire);
    assert_eq!(first.file_name().unwrap(), ANY_NAME);
    assert_eq!(second.file_name().unwrap().to_string_lossy(), format!("{ANY_NAME}-2"));
    let draft = Draft::begin(dir.path()).unwrap();
    draft.write(VEHICLE, b"x").unwrap();
    drop(draft);
    let names = fs::read_dir(dir.path()).unwrap().count();
    assert_eq!(names, 2, "a dropped draft leaves nothing");
}

#[test]
fn two_that_publish_at_once_get_two_names() {
    let dir = tempfile::tempdir().unwrap();
    let threads: Vec<_> = (0..8)
        .map(|_| {
            let runs = dir.path().to_owned();
            std::thread::spawn(move || empty_run(&runs, Source::Wire))
        })
        .collect();
    let mut paths: Vec<_> = threads.into_iter().map(|t| t.join().unwrap()).collect();
    paths.sort();
    paths.dedup();
    assert_eq!(paths.len(), 8);
}

#[test]
fn facts_can_be_added_later_and_other_folders_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let path = empty_run(dir.path(), Source::Wire);
    let mut run = RunFolder::open(&path).unwrap();
    let facts = Facts { taped_ramp_m: [Some(1.5), None], notes: "later".into(), ..run.header.facts() };
    run.set_facts(&facts).unwrap();
    assert_eq!(RunFolder::open(&path).unwrap().header.facts(), facts);
    assert!(matches!(RunFolder::open(dir.path()), Err(FolderError::NotARun(_))));
    fs::write(path.join(HEADER), "format = 9").unwrap();
    let error = RunFolder::open(&path).unwrap_err();
    assert_eq!(error.status(), Status::BadInput);
    assert!(error.to_string().ends_with("run.toml: it has format 9, this program reads up to 1"), "{error}");
}

#[test]
fn an_imported_table_is_read_from_its_copy() {
    let dir = tempfile::tempdir().unwrap();
    let draft = Draft::begin(dir.path()).unwrap();
    let text = "t_s,phase,left\n0,still,540\n0.1,still,541\n";
    draft.describe(&mut header::tests::header(Source::Table), b"v", b"r", Some(b"c")).unwrap();
    draft.copy(TABLE, &mut text.as_bytes()).unwrap();
    let path = draft.publish("a").unwrap();
    let run = RunFolder::open(&path).unwrap();
    assert_eq!(run.header.calibration_hash.as_deref(), Some(blake3::hash(b"c").to_hex().as_str()));
    let recording = read(&path);
    assert_eq!(recording.series[0][0].t_s, [0.0, 0.1]);
    assert_eq!(recording.facts.test.as_deref().and_then(Test::parse), Some(Test::Ramp));
}
