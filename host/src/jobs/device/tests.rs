//! A virtual logger with its faults, looked over in virtual time.

use super::*;
use crate::jobs::vehicle_folder::tests::logbook_with_rig;
use crate::jobs::virtual_line::VirtualLine;
use crate::run::Phase;
use crate::virtual_rig::hands::Hands;
use crate::virtual_rig::logger::VirtualLogger;
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::{Test, VehicleOnRamp, scenario};
use hingeline_protocol::Press;

/// All checks of eight sensors take less, µs of the logger's time.
const PATIENCE_US: u64 = 120_000_000;

/// A bench: the rig file that the host reads, and what is done to the sensors.
struct Bench {
    rig: String,
    hands: Hands,
    missing: Vec<usize>,
    recording: bool,
}

impl Default for Bench {
    fn default() -> Self {
        Self { rig: scenario::RIG.to_owned(), hands: Hands::default(), missing: Vec::new(), recording: false }
    }
}

impl Bench {
    fn look(&self, wiggle: bool, stop: bool) -> Result<Report, String> {
        let (_dir, path) = logbook_with_rig(&self.rig);
        std::fs::write(path.join("vehicle.toml"), scenario::VEHICLE).unwrap();
        // What is wired is what the scenario's own file says.
        let folder = VehicleFolder::load(&path).map_err(|e| e.to_string())?;
        let wired = crate::rig::file::parse(scenario::RIG, "rig.toml", &folder.vehicle).unwrap();
        let phases = vec![Phase::RampLeft, Phase::Still];
        let test = Test { axle: 0, phases, ramp_rad: 0.35 };
        let readings =
            Readings::new(VehicleOnRamp::new(&folder.vehicle, &test).unwrap(), &wired, Some(1)).unwrap();
        let logger = VirtualLogger::new(&wired, readings, 1).unwrap();
        let mut logger = logger.with_hands(self.hands.clone(), &self.missing);
        if self.recording {
            let setup = Setup::of(&wired).unwrap();
            logger.configure(&setup.sensors, setup.period_us).unwrap();
            logger.run(20_000_000, 1 << 20, &mut Vec::new());
            logger.press(Press::Long);
            logger.run(25_000_000, 1 << 20, &mut Vec::new());
        }
        let request = Request { vehicle_folder: Some(path), rig: None, watch_s: 2.0, wiggle, stop };
        let mut line = VirtualLine::new(logger);
        let clock = line.clone();
        // A check that waits for what never comes is ended.
        let mut stop = |_: &Progress<'_>| (clock.now_us() > PATIENCE_US).then_some(Command::Stop);
        run(&request, &mut line, &clock, &mut stop).map_err(|e| e.to_string())
    }
}

fn troubled(report: &Report) -> Vec<&str> {
    report.rows.iter().filter(|r| r.trouble.is_some()).map(|r| r.name.as_str()).collect()
}

#[test]
fn a_rig_that_is_well_is_told_so() {
    let report = Bench::default().look(false, false).unwrap();
    assert!(report.is_well(), "{report:?}");
    assert_eq!((report.rows.len(), report.identity.boot_count), (8, 1));
    assert!(report.rows.iter().flat_map(|r| &r.readings).all(|c| c.seen.is_some()));
    // Its own clock is the clock that it is held against.
    assert!(report.drift.is_none_or(|d| d.ppm.abs() <= 3.0 * d.u_ppm));
    let bus_0 = report.answering.iter().find(|a| a.bus == 0 && a.mux.is_none()).unwrap();
    assert!([0x48, 0x49].iter().all(|address| bus_0.addresses.contains(address)));
    assert_eq!(report.left_out.map(|l| l[0]), Some(0));
}

#[test]
fn a_missing_part_is_named_with_its_place_and_what_to_check() {
    let unit = Bench { missing: vec![7], ..Bench::default() }.look(false, false).unwrap();
    assert_eq!(troubled(&unit), [unit.rows[7].name.as_str()]);
    let trouble = unit.rows[7].trouble.as_ref().unwrap();
    assert!(
        trouble.what.contains("lsm6dso at 0x6b on bus 1") && trouble.what.ends_with("does not answer."),
        "{trouble:?}"
    );
    // The other unit answers on that bus, so the bus is not what is wrong, nor is that unit taken for this one.
    let check = trouble.check.join("\n");
    assert!(check.contains("the rest of bus 1 works") && !check.contains("0x6a"), "{check}");

    // Both gone: nothing answers on that bus at all.
    let both = Bench { missing: vec![6, 7], ..Bench::default() }.look(false, false).unwrap();
    assert_eq!(troubled(&both).len(), 2);
    let check = both.rows[6].trouble.as_ref().unwrap().check.join("\n");
    assert!(check.contains("Nothing at all answers on bus 1") && check.contains("Pull-ups"), "{check}");

    // A converter that is gone takes three wires with it, and each says so.
    let converter = Bench { missing: vec![0], ..Bench::default() }.look(false, false).unwrap();
    assert_eq!(troubled(&converter), ["left travel", "right travel", "left fore-aft"]);
    let what = &converter.rows[1].trouble.as_ref().unwrap().what;
    assert!(what.contains("ads1115 at 0x48, input 1 on bus 0"), "{what}");
    assert!(what.contains("It serves left travel, right travel, left fore-aft."), "{what}");
}

#[test]
fn the_rate_that_a_refusal_offers_keeps_every_sensor_heard() {
    let at = |rate_hz: u32| {
        let rig = scenario::RIG.replace("rate_hz = 100", &format!("rate_hz = {rate_hz}"));
        Bench { rig, ..Bench::default() }.look(false, false)
    };
    // Two units on a bus with 100 kHz hold up the converters of the other.
    let refusal = at(180).unwrap_err();
    let needed = refusal.split("its buses need ").nth(1).expect(&refusal).split(' ').next().unwrap();
    let offered = (1000.0 / needed.parse::<f64>().expect(&refusal)).floor();
    assert!((100.0..180.0).contains(&offered), "{refusal}");
    let report = at(offered as u32).unwrap();
    assert!(report.is_well() && report.left_out.is_some_and(|left_out| left_out[0] == 0), "{report:?}");
}

#[test]
fn a_part_at_another_address_is_found_out() {
    let rig = scenario::RIG.replace("address = 0x49", "address = 0x4b");
    let report = Bench { rig, ..Bench::default() }.look(false, false).unwrap();
    let trouble = report.rows[3].trouble.as_ref().unwrap();
    assert!(trouble.check.join("\n").contains("a part of this kind answers at 0x49 there"), "{trouble:?}");
}

#[test]
fn moved_in_turn_every_row_is_its_own_and_swapped_plugs_are_named() {
    let hands = Hands { swapped: None, moves: 8 };
    let well = Bench { hands: hands.clone(), ..Bench::default() }.look(true, false).unwrap();
    let moved: Vec<_> = well.rows.iter().map(|r| r.moved.clone().unwrap()).collect();
    assert_eq!(moved, vec![Moved::Itself; 8]);
    // The left side of the axle comes up: the travel wires tell, the wires along the vehicle need not move.
    assert_eq!(well.rows[0].sense, Some(Sense::Right));
    assert!(well.is_well() && well.rows.iter().all(|r| r.sense != Some(Sense::Wrong)), "{:?}", well.rows);

    let swapped = Hands { swapped: Some((0, 4)), ..hands };
    let report = Bench { hands: swapped, ..Bench::default() }.look(true, false).unwrap();
    assert_eq!(report.rows[0].moved, Some(Moved::Other(4)));
    assert_eq!(report.rows[4].moved, Some(Moved::Other(0)));
    assert_eq!((report.swapped.as_slice(), report.is_well()), ([(0, 4)].as_slice(), false));
}

#[test]
fn a_scale_with_the_wrong_sign_is_found_by_the_push() {
    let rig = scenario::RIG.replacen("scale = 0.03788 ", "scale = -0.03788 ", 1);
    let rig = rig.replacen("range = [0, 1000]", "range = [-1000, 1000]", 1);
    let hands = Hands { swapped: None, moves: 8 };
    let report = Bench { rig, hands, ..Bench::default() }.look(true, false).unwrap();
    assert_eq!(report.rows[0].moved, Some(Moved::Itself));
    assert_eq!((report.rows[0].sense, report.is_well()), (Some(Sense::Wrong), false));
}

#[test]
fn a_recording_is_left_alone_unless_it_may_be_stopped() {
    let bench = Bench { recording: true, ..Bench::default() };
    assert_eq!(bench.look(false, false).unwrap_err(), "the logger is recording, and was left alone");
    let report = bench.look(false, true).unwrap();
    assert!(report.identity.streaming && report.rows.iter().all(|r| r.trouble.is_none()));
}

#[test]
fn without_a_vehicle_there_is_nothing_to_move() {
    let request = Request { vehicle_folder: None, rig: None, watch_s: 1.0, wiggle: true, stop: false };
    let mut nobody = crate::device::ports::PortConnector::new("nowhere", 115_200);
    let clock = crate::device::line::SystemClock::start();
    let error = run(&request, &mut nobody, &clock, &mut |_| None).unwrap_err();
    assert_eq!(
        (error.to_string().as_str(), error.status()),
        ("the check by hand needs the vehicle whose sensors are on the logger", Status::BadInput)
    );
}
