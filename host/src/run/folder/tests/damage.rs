//! Runs damaged on purpose: what is found, what is mended, and that no byte is ever lost.

use super::*;
use crate::files::starters::Layout;
use jiff::tz::TimeZone;
use proptest::prelude::*;

/// A run of a second and a half with the files of a starter, as a recorder leaves it; `end` whether it came to its end.
fn run(runs: &Path, end: bool) -> PathBuf {
    let draft = Draft::begin(runs).unwrap();
    let mut header = header::tests::header(Source::Wire);
    let vehicle = Layout::FourLink.vehicle_text("Bramble");
    draft.describe(&mut header, vehicle.as_bytes(), Layout::FourLink.rig_text().as_bytes(), None).unwrap();
    let path = draft.publish(ANY_NAME).unwrap();
    let mut writer = Writer::open(&path).unwrap();
    let mut logger = TestLogger::whole();
    logger.introduce();
    logger.start();
    writer.mark(&Mark::Phase { at: Instant::default(), phase: Phase::Still }).unwrap();
    for k in 1..=15 {
        logger.run(100_000);
        writer.append(&std::mem::take(&mut logger.output), k * 100_000).unwrap();
    }
    if end {
        writer.mark(&Mark::End { at: Instant::default(), why: "asked to stop".into() }).unwrap();
        writer.close().unwrap();
    }
    path
}

/// Repairs, and holds what was said beforehand of each thing to what came of it.
fn mended(path: &Path, donors: &[PathBuf]) -> Repaired {
    let checked = verify(path).unwrap();
    let said: Vec<bool> = checked.found.iter().map(|f| is_mendable(path, f, donors).unwrap()).collect();
    let repaired = repair(path, &Repair { stamp: "2026-11-26", zone: &TimeZone::UTC, donors }).unwrap();
    for (found, mendable) in checked.found.iter().zip(said).filter(|_| !checked.recording) {
        assert_eq!(mendable, !repaired.left.contains(found), "{found}: {repaired:?}");
    }
    repaired
}

fn kinds(found: &[Found]) -> Vec<(&'static str, &'static str)> {
    found.iter().map(|f| (f.file(), f.kind())).collect()
}

fn cut(path: &Path, bytes: usize) {
    let whole = fs::read(path).unwrap();
    fs::write(path, &whole[..whole.len() - bytes]).unwrap();
}

#[test]
fn a_run_that_came_to_its_end_is_sound_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let path = run(dir.path(), true);
    let checked = verify(&path).unwrap();
    assert_eq!(checked.found, []);
    assert!(checked.frames > 20 && !checked.recording && !path.join(RECORDING).exists());
    assert_eq!(mended(&path, &[]), Repaired::default());
}

#[test]
fn a_run_that_is_being_recorded_is_no_damaged_one() {
    let dir = tempfile::tempdir().unwrap();
    let path = run(dir.path(), true);
    let mut writer = Writer::open(&path).unwrap();
    writer.append(b"\x05half a fra", 9).unwrap();
    let checked = verify(&path).unwrap();
    assert!(checked.recording && is_recording(&path));
    assert_eq!(mended(&path, &[]).done, Vec::<String>::new());
    drop(writer);
    assert!(!verify(&path).unwrap().recording);
}

#[test]
fn a_run_that_was_cut_off_is_ended_and_every_reading_stays() {
    let dir = tempfile::tempdir().unwrap();
    let path = run(dir.path(), false);
    cut(&path.join(WIRE), 7);
    cut(&path.join(ARRIVALS), 5);
    fs::OpenOptions::new().append(true).open(path.join(MARKS)).unwrap().write_all(b"{\"mark\":\"li").unwrap();
    let before = [WIRE, ARRIVALS, MARKS].map(|name| fs::read(path.join(name)).unwrap());
    let read_before = read(&path);
    let found = verify(&path).unwrap().found;
    let expected =
        [(WIRE, "cut"), (ARRIVALS, "cut"), (MARKS, "wrong"), (MARKS, "no end"), (RECORDING, "left over")];
    assert_eq!(kinds(&found), expected);
    insta::assert_snapshot!(found.iter().map(|f| format!("{f}\n")).collect::<String>());
    let repaired = mended(&path, &[]);
    assert_eq!(repaired.left, []);
    let originals = repaired.originals.unwrap();
    for (name, bytes) in [WIRE, ARRIVALS, MARKS].iter().zip(&before) {
        assert_eq!(&fs::read(originals.join(name)).unwrap(), bytes, "{name} as it was");
    }
    let after = read(&path);
    assert_eq!((after.series, after.counts), (read_before.series, read_before.counts));
    assert!(!after.remarks.iter().any(|r| r.contains("cut off")), "{:?}", after.remarks);
}

#[test]
fn a_bit_that_turned_later_is_found_and_nothing_is_made_up() {
    let dir = tempfile::tempdir().unwrap();
    let path = run(dir.path(), true);
    let mut bytes = fs::read(path.join(WIRE)).unwrap();
    bytes[1000] ^= 4;
    fs::write(path.join(WIRE), &bytes).unwrap();
    assert_eq!(kinds(&verify(&path).unwrap().found), [(WIRE, "changed")]);
    let repaired = mended(&path, &[]);
    assert_eq!(kinds(&repaired.left), [(WIRE, "changed")]);
    assert_eq!(fs::read(path.join(WIRE)).unwrap(), bytes);
}

#[test]
fn copies_come_back_from_where_the_same_file_lies() {
    let dir = tempfile::tempdir().unwrap();
    let (path, other) = (run(dir.path(), true), run(dir.path(), true));
    fs::write(path.join(VEHICLE), "name = \"edited\"").unwrap();
    fs::remove_file(path.join(RIG)).unwrap();
    assert_eq!(kinds(&verify(&path).unwrap().found), [(VEHICLE, "changed"), (RIG, "missing")]);
    assert_eq!(kinds(&mended(&path, &[]).left), [(VEHICLE, "changed"), (RIG, "missing")]);
    let repaired = mended(&path, &[dir.path().to_owned(), other]);
    assert_eq!((repaired.left.len(), repaired.done.len()), (0, 2));
    assert_eq!(fs::read(repaired.originals.unwrap().join(VEHICLE)).unwrap(), b"name = \"edited\"");
}

#[test]
fn a_header_that_is_gone_is_made_anew_from_what_is_there() {
    let dir = tempfile::tempdir().unwrap();
    let path = run(dir.path(), true);
    for text in [None, Some("format = 1\nsource = \"wi")] {
        match text {
            None => fs::remove_file(path.join(HEADER)).unwrap(),
            Some(text) => fs::write(path.join(HEADER), text).unwrap(),
        }
        assert_eq!(verify(&path).unwrap().found.len(), 1);
        assert_eq!(mended(&path, &[]).left, []);
        let header = RunFolder::open(&path).unwrap().header;
        assert_eq!(header.started, "2026-11-25T14:12:00+00:00");
        assert_eq!((header.test.as_deref(), header.plan.as_slice()), (Some("ramp"), &[Phase::Still][..]));
        assert_eq!(header.logger.map(|logger| logger.board).as_deref(), Some("bench"));
    }
}

#[test]
fn what_a_newer_program_wrote_is_not_touched() {
    let dir = tempfile::tempdir().unwrap();
    let path = run(dir.path(), false);
    fs::write(path.join(HEADER), "format = 2").unwrap();
    assert_eq!(kinds(&verify(&path).unwrap().found), [(HEADER, "newer")]);
    let repaired = mended(&path, &[]);
    assert_eq!((repaired.done.len(), repaired.originals, repaired.left.len()), (0, None, 1));
}

/// Every file below a folder.
fn contents(path: &Path) -> Vec<Vec<u8>> {
    let mut all = Vec::new();
    for entry in fs::read_dir(path).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { all.extend(contents(&path)) } else { all.push(fs::read(path).unwrap()) }
    }
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn whatever_happened_to_a_run_a_repair_loses_no_byte_of_it(
        end in any::<bool>(),
        blows in prop::collection::vec((0_usize..5, 0_usize..4, any::<prop::sample::Index>(), any::<u8>()), 1..4),
    ) {
        let dir = tempfile::tempdir().unwrap();
        let path = run(dir.path(), end);
        for (file, blow, at, byte) in blows {
            let name = path.join([HEADER, VEHICLE, WIRE, ARRIVALS, MARKS][file]);
            let Ok(mut bytes) = fs::read(&name) else { continue };
            match blow {
                0 => fs::remove_file(&name).unwrap(),
                _ if bytes.is_empty() => {}
                1 => fs::write(&name, &bytes[..at.index(bytes.len())]).unwrap(),
                2 => {
                    let at = at.index(bytes.len());
                    bytes[at] = byte;
                    fs::write(&name, bytes).unwrap();
                }
                _ => {
                    bytes.splice(at.index(bytes.len()).., [byte; 50]);
                    fs::write(&name, bytes).unwrap();
                }
            }
        }
        let before = contents(&path);
        let frames = verify(&path).unwrap().frames;
        let repaired = mended(&path, &[]);
        let after = contents(&path);
        for bytes in before.iter().filter(|b| !b.is_empty()) {
            prop_assert!(after.contains(bytes), "a file of {} bytes is gone", bytes.len());
        }
        let checked = verify(&path).unwrap();
        prop_assert!(checked.frames >= frames);
        prop_assert_eq!(checked.found, repaired.left);
        // Repaired once, there is nothing more that a repair could do.
        prop_assert_eq!(mended(&path, &[]).done, Vec::<String>::new());
    }
}
