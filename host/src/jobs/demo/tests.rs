//! The demonstration finds what was planted: over a port, and within the program.

use super::*;
use crate::jobs::vehicle_folder::tests::some_time;
use crate::judge::{FindingKind, Verdict};
use crate::vehicle::numbers::Key;

fn request(folder: PathBuf, seed: u64) -> Request<'static> {
    // Faster than people like it: virtual time waits where the computer does not keep up.
    Request {
        folder,
        seed,
        speed: 60.0,
        now: some_time(),
        report: &|c, v| format!("{} {}", c.vehicle, v.axles.len()),
    }
}

#[cfg(unix)]
#[test]
fn it_finds_the_hole_that_the_file_does_not_say() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("shop");
    let (mut ports, mut phases) = (Vec::new(), Vec::new());
    let done = run(&request(folder.clone(), 5), &mut |step| match step {
        Step::Port(path) => ports.extend(path.map(str::to_owned)),
        Step::Recording(progress) => {
            phases.extend(progress.phase);
            phases.dedup();
        }
        Step::Logbook(_) | Step::Comparing(_) => {}
    })
    .map_err(|e| e.to_string())
    .unwrap();
    assert_eq!(ports.len(), 1, "a port was there");
    assert_eq!(phases, PLAN);
    assert_eq!(done.planted, "\"upper left\" hangs in hole 3 of its chassis bracket; the file says hole 2");
    let finding = done.comparison.axles[0].findings.first().expect("there is one");
    assert_eq!((finding.kind, finding.element.as_str()), (FindingKind::Hole, "upper left, chassis end"));
    assert!(done.found);
    assert_eq!(done.comparison.axles[0].numbers[&Key::PitchPerHeave].verdict, Verdict::Differs);
    assert_eq!((done.recorded.lost, done.recorded.restarts), (0, 0));
    assert_eq!(std::fs::read_to_string(&done.report).unwrap(), "Bramble 1");
    assert!(done.recorded.folder.starts_with(folder.join("Bramble")));
    // What is there stays as it is.
    let again = run(&request(folder, 5), &mut |_| {}).map(|_| ()).unwrap_err();
    assert!(again.to_string().ends_with("is not empty") && again.hint().is_some(), "{again}");
}

#[test]
fn without_a_port_it_is_recorded_within_the_program() {
    let dir = tempfile::tempdir().unwrap();
    init::run(dir.path()).unwrap();
    let folder = dir.path().join(VEHICLE);
    std::fs::create_dir(&folder).unwrap();
    write_new(&folder.join(VEHICLE_FILE), scenario::VEHICLE).unwrap();
    write_new(&folder.join(RIG_FILE), scenario::RIG).unwrap();
    let drawn = vehicle::file::load(&folder.join(VEHICLE_FILE)).unwrap();
    let rig = rig::file::load(&folder.join(RIG_FILE), &drawn).unwrap();
    let mut line = VirtualLine::new(logger(&drawn, None, &rig, 3).unwrap());
    let record = record_request(folder, &request(dir.path().to_owned(), 3));
    let recorded =
        recorded(&record, &line.clone(), &mut line, &mut |_| {}).map_err(|e| e.to_string()).unwrap();
    assert_eq!((recorded.phases.as_slice(), recorded.lost), (PLAN.as_slice(), 0));
    let run = recorded.folder.display().to_string();
    let compared = compare::with_design(&source::Request { run, ..source::Request::default() })
        .map_err(|e| e.to_string())
        .unwrap();
    let axle = &compared.comparison.axles[0];
    assert!(axle.findings.is_empty(), "a vehicle as drawn: {:?}", axle.findings);
    let differs = axle.numbers.iter().filter(|(_, n)| n.verdict == Verdict::Differs);
    assert_eq!(differs.map(|(k, _)| k.as_str()).collect::<Vec<_>>(), Vec::<&str>::new());
}

#[test]
fn every_link_can_be_the_one_and_words_say_which() {
    let drawn = vehicle::file::parse(scenario::VEHICLE, VEHICLE_FILE).unwrap();
    let axle = &drawn.axles[0];
    let all = Deviation::all(axle, 0);
    for link in &axle.locating.links {
        let its: Vec<_> = all.iter().filter(|d| d.link(&drawn) == Some(link)).collect();
        assert_eq!(its.len(), 2, "{}", link.name);
        for deviation in its {
            assert!(deviation.words(&drawn).contains(&format!("\"{}\"", link.name)));
            assert_ne!(deviation.apply(&drawn), drawn);
        }
    }
    assert_eq!(Deviation::choose(axle, 0, 3), Deviation::choose(axle, 0, 11), "eight of them, in turn");
}
