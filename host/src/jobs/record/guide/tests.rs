//! A guide beside a virtual vehicle in a test: what it says against what is true.

use super::*;
use crate::files::starters::Layout;
use crate::run::channels::Target;
use crate::virtual_rig::readings::{Felt, Readings};
use crate::virtual_rig::{Test, VehicleOnRamp};

const PLAN: [Phase; 4] = [Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight];
const RATE_HZ: f64 = 25.0;

/// A guide that has watched the starter's test up to a time, the trail that it watched, and the test.
fn watched(until: impl Fn(&VehicleOnRamp) -> f64, without: &[&str]) -> (Guide, Trail, VehicleOnRamp) {
    let layout = Layout::DoubleTriangulatedFourLink;
    let vehicle = crate::vehicle::file::parse(&layout.vehicle_text("Bramble"), "vehicle.toml").unwrap();
    let mut rig = crate::rig::file::parse(layout.rig_text(), "rig.toml", &vehicle).unwrap();
    rig.sensors.retain(|s| !without.contains(&s.name.as_str()));
    let test = Test { axle: 0, phases: PLAN.to_vec(), ramp_rad: 20f64.to_radians() };
    let stage = VehicleOnRamp::new(&vehicle, &test).unwrap();
    let mut readings = Readings::new(stage.clone(), &rig, Some(3)).unwrap();
    let mut guide = Guide::new(vehicle, rig.clone(), Facts::default());
    let mut trail = Trail::new(&rig);
    let until_s = until(&stage);
    for k in 0..(until_s * RATE_HZ) as u64 {
        let t_s = k as f64 / RATE_HZ;
        for sensor in 0..rig.sensors.len() {
            let values: Vec<f64> = match readings.read(sensor, t_s) {
                Some(Felt::Scalar(value)) => vec![value],
                Some(Felt::Unit([force, rate])) => force.iter().chain(rate.iter()).copied().collect(),
                None => continue,
            };
            for (channel, value) in values.into_iter().enumerate() {
                trail.take(Target { sensor, channel }, (t_s * 1e6) as u64, value);
            }
        }
        let phase = stage.phases().find(|s| s.from_s <= t_s && t_s < s.to_s).map(|s| s.phase);
        guide.watch(&trail, phase);
    }
    (guide, trail, stage)
}

fn middle_of(phase: Phase) -> impl Fn(&VehicleOnRamp) -> f64 {
    move |stage| {
        let span = stage.phases().find(|s| s.phase == phase).unwrap();
        0.5 * (span.from_s + span.to_s)
    }
}

fn number(judged: &[AxleResolved], key: Key) -> Resolved {
    judged[0].numbers.iter().find(|n| n.key == key).unwrap().clone()
}

#[test]
fn before_a_still_there_is_nothing_to_tell_and_after_it_the_truth() {
    let (mut guide, trail, _) = watched(|_| 1.0, &[]);
    assert!(guide.now(&trail).is_empty() && guide.so_far(&trail).is_none());
    let (mut guide, trail, stage) = watched(middle_of(Phase::RampLeft), &[]);
    let now = guide.now(&trail);
    let [axle] = now.as_slice() else { panic!("one axle: {now:?}") };
    // The window ends now: what it says is a quarter of a second old, of a motion that is slow.
    let truth = stage.at(trail.end_s() - 0.5 * WINDOW_S);
    let pose = &truth.poses[0];
    let within = |(value, u): (f64, f64), truth: f64, slack: f64| (value - truth).abs() < 4.0 * u + slack;
    assert!(within(axle.articulation_rad.unwrap(), pose.roll_rad, 0.005), "{axle:?} {pose:?}");
    assert!(within(axle.heave_m.unwrap(), pose.z_m, 0.005), "{axle:?} {pose:?}");
    let [left, right] = axle.wheel_travel_m.unwrap();
    assert!(left - right > 0.1, "the left wheel is up: {axle:?}");
    assert!(axle.rise_m.unwrap() > left - right, "the chassis leans with the axle: {axle:?}");
}

#[test]
fn a_number_is_asked_for_until_the_motion_has_shown_it() {
    let end_of = |phase| move |stage: &VehicleOnRamp| stage.phases().find(|s| s.phase == phase).unwrap().to_s;
    let (guide, trail, _) = watched(end_of(Phase::Bounce), &[]);
    let judged = guide.judge(&guide.so_far(&trail).unwrap());
    let steer = number(&judged, Key::RollSteer);
    assert_eq!(steer.resolution, Resolution::NotYet);
    let Some(Advice::Articulate { more_rad, .. }) = steer.advice else { panic!("{steer:?}") };
    assert!((0.02..0.2).contains(&more_rad), "{more_rad}");
    let pitch = number(&judged, Key::PitchPerHeave);
    assert_ne!(pitch.resolution, Resolution::NotYet, "{pitch:?} {:?}", judged[0].heave_m);

    // Both ways of one ramp: the other side is what lacks.
    let (guide, trail, _) =
        watched(|stage| stage.phases().find(|s| s.phase == Phase::RampLeft).unwrap().to_s, &[]);
    let after_left = guide.judge(&guide.so_far(&trail).unwrap());
    let (guide, trail, _) = watched(VehicleOnRamp::end_s, &[]);
    let after_both = guide.judge(&guide.so_far(&trail).unwrap());
    for key in [Key::RollSteer, Key::RollCentreZ] {
        let (one, both) = (number(&after_left, key), number(&after_both, key));
        assert!(both.measured.u.unwrap() < one.measured.u.unwrap(), "{key:?}: {one:?} {both:?}");
        if let Some(Advice::Articulate { left, .. }) = one.advice {
            assert_eq!(left, Some(false), "{key:?}: the right wheel has not been up");
        }
    }
}

#[test]
fn what_a_missing_sensor_costs_is_told_before_the_test() {
    let (guide, ..) = watched(|_| 0.0, &[]);
    assert!(guide.blind().is_empty());
    let rig = &guide.known.rig;
    let keep = rig.sensors.iter().position(|s| s.kind_word() == "draw-wire").unwrap();
    let names: Vec<String> =
        rig.sensors.iter().enumerate().filter(|(k, _)| *k != keep).map(|(_, s)| s.name.clone()).collect();
    let without: Vec<&str> = names.iter().map(String::as_str).collect();
    let (guide, ..) = watched(|_| 0.0, &without);
    assert!(guide.blind().contains(&"in yaw"), "{:?}", guide.blind());
    let said = guide.advice_before(&PLAN, &Facts::default(), &names).join("\n");
    assert!(said.contains("nothing sees the axle move") && said.contains("--ramp-angle"), "{said}");
}

#[test]
fn advice_follows_from_what_limits_a_number() {
    let (guide, trail, _) = watched(VehicleOnRamp::end_s, &[]);
    let analysis =
        measure::analyse(&guide.known.vehicle, &guide.known.rig, &guide.so_far(&trail).unwrap()).unwrap();
    let found = &analysis.axles[0];
    let excitation = Excitation { heave_m: 0.05, roll_rad: 0.1, lean_rad_per_m: 0.0, seen: [true; 6] };
    let motion = Motion { found, excitation: &excitation };
    let budget = |noise, mount| Budget { noise, mount, ..Budget::default() };
    let finer = |b: Budget, enough: f64| motion.finer(Key::RollSteer, &b, b.total(), enough);
    assert!(
        matches!(finer(budget(0.01, 0.02), 0.01), Some(Advice::NoMotion { because }) if because.contains("mounts"))
    );
    let [low, high] = found.travel.roll_rad;
    match finer(budget(0.015, 0.0), 0.01) {
        Some(Advice::Articulate { more_rad, .. }) => assert!((more_rad - 0.5 * (high - low)).abs() < 1e-9),
        other => panic!("{other:?}"),
    }
    assert_eq!(finer(budget(0.025, 0.0), 0.01), Some(Advice::Repeat { times: 6 }));
    assert_eq!(finer(budget(0.5, 0.0), 0.01), None, "fifty times finer is no advice");
}
