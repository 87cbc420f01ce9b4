//! A simulation behind a port, used by the program's own recorder as any other program would.

use super::*;
use crate::device::line::SystemClock;
use crate::device::ports::{DEFAULT_BAUD, PortConnector};
use crate::jobs::record;
use crate::jobs::vehicle_folder::tests::some_time;
use crate::run::Facts;
use crate::virtual_rig::scenario;
use std::sync::mpsc::channel;

fn request(folder: &std::path::Path) -> Request {
    let (vehicle_file, rig_file) = (folder.join("vehicle.toml"), folder.join("rig.toml"));
    std::fs::write(&vehicle_file, scenario::VEHICLE).unwrap();
    std::fs::write(&rig_file, scenario::RIG).unwrap();
    Request {
        vehicle_file,
        rig_file,
        axle: None,
        plan: vec![Phase::Still, Phase::Bounce],
        ramp_rad: 0.35,
        seed: 1,
        deviation_seed: None,
        swapped: None,
        missing: Vec::new(),
        wiggle: false,
        calibrates: None,
        speed: 1.0,
        seconds: None,
        baud: None,
        bad_line_seed: None,
        image: None,
    }
}

#[test]
fn any_program_can_record_from_its_port() {
    let dir = tempfile::tempdir().unwrap();
    let request = Request { baud: Some(DEFAULT_BAUD), deviation_seed: Some(2), ..request(dir.path()) };
    let record = record::Request {
        shelf: crate::run::find::RUNS,
        vehicle_folder: dir.path().to_owned(),
        test: None,
        plan: vec![Phase::Still, Phase::Bounce],
        facts: Facts::default(),
        without: Vec::new(),
        seconds: Some(1.5),
        reconnect_s: 1.0,
        now: some_time(),
    };
    let (tell_port, port) = channel();
    let (tell_end, end) = channel();
    let (simulated, recorded) = std::thread::scope(|scope| {
        let simulated = scope.spawn(move || {
            run(&request, &SystemClock::start(), &mut |progress| {
                tell_port.send(progress.port.to_owned()).is_ok() && end.try_recv().is_err()
            })
            .map_err(|e| e.to_string())
        });
        let path = port.recv().unwrap();
        let mut connect = PortConnector::new(&path, DEFAULT_BAUD);
        let recorded = record::run(&record, &mut connect, &SystemClock::start(), &mut |_| None);
        tell_end.send(()).unwrap();
        (simulated.join().unwrap().unwrap(), recorded.map_err(|e| e.to_string()).unwrap())
    });
    assert_eq!((recorded.why.as_str(), recorded.lost, recorded.damaged_frames), ("the time is up", 0, 0));
    // 18 channels at 100 Hz for a second and a half, less what the start takes.
    assert!((2000..3000).contains(&recorded.received), "{}", recorded.received);
    assert!(simulated.bytes > 2000 && simulated.seconds > 1.5);
    assert_eq!(
        simulated.deviation.as_deref(),
        Some("the chassis bracket of \"lower right\" is welded 20 mm too high")
    );
}

#[test]
fn it_ends_after_its_seconds_without_anybody_there() {
    let dir = tempfile::tempdir().unwrap();
    let request = Request { seconds: Some(2.0), speed: 50.0, ..request(dir.path()) };
    let mut seen = 0.0_f64;
    let simulated = run(&request, &SystemClock::start(), &mut |progress| {
        assert!(!progress.open);
        seen = seen.max(progress.seconds);
        true
    })
    .map_err(|e| e.to_string())
    .unwrap();
    assert!((2.0..2.1).contains(&simulated.seconds) && seen >= 2.0);
    assert_eq!((simulated.bytes, simulated.deviation), (0, None));
}

#[test]
fn what_cannot_be_simulated_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let base = request(dir.path());
    let fails = |request: &Request| {
        let failure = run(request, &SystemClock::start(), &mut |_| false).unwrap_err();
        format!("{failure}\n  {}", failure.hint().unwrap_or_default())
    };
    let told = [
        fails(&Request { axle: Some("front".into()), ..base.clone() }),
        fails(&Request { ramp_rad: 0.0, ..base.clone() }),
    ];
    let rig = scenario::RIG.replacen("ads1115", "max11254", 1);
    std::fs::write(&base.rig_file, rig).unwrap();
    let part = fails(&base);
    let fast = scenario::RIG.replacen("rate_hz = 100", "rate_hz = 900", 1);
    std::fs::write(&base.rig_file, fast).unwrap();
    insta::assert_snapshot!(format!("{}\n{part}", told.join("\n")));
    // A rate that the buses do not bear is refused when streaming begins, as a real logger does it.
    assert!(run(&base, &SystemClock::start(), &mut |_| false).is_ok());
    let no_image = Image { file: Some("nowhere.elf".into()), leap: false };
    assert_eq!(
        fails(&Request { image: Some(no_image), ..base }).lines().next(),
        Some("there is no machine image nowhere.elf")
    );
}
