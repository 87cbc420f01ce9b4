//! Who comes first, and what is said of those who do not.

use super::super::{AxleTuning, Candidate, Class, Extreme, Reason, Space, Untuned, Wanting, tune};
use super::{LOWER, UPPER, drawn, four_link, tuned, tuned_top};
use crate::design::DesignError;
use crate::vehicle::numbers::Key;

const WISH: &str = "[axle.wish]\nanti_squat_percent = { min = 55, max = 70, weight = 2 }\nroll_centre_z_m = { max = 0.60 }\n";

fn numbers(axle: &AxleTuning) -> Vec<u64> {
    axle.best.iter().map(|c| c.number).collect()
}

#[test]
fn the_order_is_that_of_the_measure_of_merit() {
    let axle = tuned(&drawn(&four_link(LOWER, UPPER, WISH)));
    // The measure once more, from the numbers: 10 % and 10 mm are a point each, anti-squat weighs 2.
    let merit = |c: &Candidate| {
        let ride = &c.look.as_ref().unwrap().ride;
        let (anti, centre) = (ride.get(Key::AntiSquat).unwrap(), ride.get(Key::RollCentreZ).unwrap());
        let points = [(55.0 - anti).max(anti - 70.0).max(0.0) / 10.0, (centre - 0.60).max(0.0) / 0.01];
        (points, 2.0 * points[0] + points[1])
    };
    assert_eq!(axle.best.len(), 6);
    let mut missed: Vec<f64> = Vec::new();
    for candidate in &axle.best {
        let (points, sum) = merit(candidate);
        assert!((candidate.standing.missed - sum).abs() < 1e-8, "{candidate:?}");
        assert!(candidate.points.iter().zip(points).all(|(a, b)| (a - b).abs() < 1e-8));
        assert_eq!(candidate.standing.class, if sum > 0.0 { Class::Misses } else { Class::Keeps });
        missed.push(sum);
    }
    assert!(missed.is_sorted(), "{missed:?}");
    assert!(missed[0] < missed[5]);
    let ranks: Vec<_> = axle.best.iter().filter_map(|c| c.rank).collect();
    assert_eq!(ranks, [1, 2, 3, 4, 5, 6]);
    let place = axle.best.iter().position(|c| c.is_present).unwrap();
    assert_eq!(axle.present.rank, Some(place as u64 + 1));
    assert_eq!(axle.present.sureness, axle.best[place].sureness);
}

#[test]
fn without_a_wish_the_least_flex_steer_comes_first() {
    let axle = tuned(&drawn(&four_link(LOWER, UPPER, "")));
    assert!(axle.wishes.is_empty());
    let steer: Vec<f64> = axle.best.iter().map(|c| c.trouble[0]).collect();
    // Triangulated and rigid: nothing moves sideways and nothing binds.
    assert!(axle.best.iter().all(|c| c.trouble[1] == 0.0 && c.trouble[2] == 0.0));
    assert!(steer.is_sorted() && steer[0] < steer[5], "{steer:?}");
}

#[test]
fn the_answer_does_not_depend_on_the_number_of_processors() {
    let vehicle = drawn(&four_link(LOWER, UPPER, WISH));
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| tuned_top(&vehicle, true, 7).unwrap())
    };
    let (one, three) = (with(1), with(3));
    assert_eq!(one, three);
    assert_eq!(one.best.len(), 7);
    assert_eq!(numbers(&one), numbers(&tuned_top(&vehicle, true, 1000).unwrap())[..7]);
}

#[test]
fn a_search_that_is_told_to_stop_ranks_nothing() {
    let vehicle = drawn(&four_link(LOWER, UPPER, WISH));
    let space = Space::new(&vehicle, 0, false).unwrap();
    let wanting = Wanting { wishes: vec![], top: 3 };
    assert_eq!(tune(&space, &wanting, &|_| false), Err(Untuned::Stopped));
}

#[test]
fn every_setting_is_told_once() {
    let vehicle = drawn(&four_link(LOWER, UPPER, ""));
    let space = Space::new(&vehicle, 0, true).unwrap();
    let told = std::sync::atomic::AtomicU64::new(0);
    let axle = tune(&space, &Wanting { wishes: vec![], top: 3 }, &|more| {
        told.fetch_add(more, std::sync::atomic::Ordering::Relaxed);
        true
    });
    assert_eq!(told.into_inner(), 36);
    assert_eq!(axle.unwrap().classes.iter().sum::<u64>(), 36);
}

#[test]
fn an_alternative_that_leaves_the_axle_loose_loses_in_words() {
    let more = "[[axle.alternative]]\nname = \"straight uppers\"\nreplaces = [\"upper left\", \"upper right\", \"lower left\", \"lower right\"]\n\
        [[axle.alternative.link]]\nname = \"low left\"\nchassis = [950, 450, 500]\naxle = [0, 450, 400]\nmirror = true\n\
        [[axle.alternative.link]]\nname = \"high left\"\nchassis = [800, 300, 660]\naxle = [30, 300, 620]\nmirror = true\n";
    let axle = tuned(&drawn(&four_link(LOWER, UPPER, more)));
    assert_eq!(axle.classes, [6, 0, 0, 0, 1]);
    let loose = axle.best.last().unwrap();
    assert_eq!(loose.alternatives, ["straight uppers"]);
    assert_eq!(loose.cannot_hang.as_deref(), Some("nothing locates the axle sideways"));
    let why = Reason::CannotHang("nothing locates the axle sideways".into());
    assert!(axle.reasons.contains(&(why, 1)), "{:?}", axle.reasons);
}

#[test]
fn an_axle_that_cannot_be_hung_at_all_is_an_error_of_its_design() {
    let elements = "[[axle.link]]\nname = \"low left\"\nchassis = { holes = [[950, 450, 500], [950, 450, 520]], use = 1 }\naxle = [0, 450, 400]\nmirror = true\n";
    let error = tuned_top(&drawn(elements), false, 10).unwrap_err();
    assert!(matches!(error, Untuned::Design(DesignError::NotLocated { .. })), "{error:?}");
}

#[test]
fn travel_out_of_reach_comes_after_every_missed_limit() {
    // The upper links cannot swing through half a metre of droop.
    let text = super::text(&four_link(LOWER, UPPER, WISH)).replace("down = 130", "down = 900");
    let axle = tuned(&super::parsed(&text));
    assert_eq!(axle.classes[Class::FallsShort as usize], 6);
    let falls = |r: &&(Reason, u64)| matches!(r.0, Reason::FallsShort { extreme: Extreme::FullDroop, .. });
    assert_eq!(axle.reasons.iter().filter(falls).map(|(_, count)| count).sum::<u64>(), 6);
    assert!(axle.best.iter().all(|c| c.sureness.is_none()), "beside what is not reached nothing is known");
    assert!(axle.front.is_empty());
}

#[test]
fn joints_that_pass_their_limit_come_after_those_that_miss_wishes() {
    // The upper links lean by 2.4 to 4.8° over their length and swing with the axle: 10° is passed in every setting.
    let limited = four_link(LOWER, UPPER, WISH)
        .replace("axle = [30, 120, 620]\n", "axle = [30, 120, 620]\nmisalignment_limit = 10\n");
    let axle = tuned(&drawn(&limited));
    assert_eq!(axle.classes[Class::PassesJoints as usize], 6);
    let passed = &axle.best[0].look.as_ref().unwrap().joints[0];
    assert_eq!(passed.link, "upper left");
    assert!(passed.worst_rad > passed.limit_rad);
    assert!(axle.reasons.contains(&(Reason::Joint { link: "upper left".into() }, 6)));
}

#[test]
fn wishes_that_cannot_be_judged_are_set_aside() {
    let axle = tuned(&drawn(&four_link(LOWER, UPPER, "[axle.wish]\npinion_angle_rad = { min = 0.1 }\n")));
    assert_eq!(axle.unjudged, [Key::PinionAngle]);
    assert!(axle.wishes.is_empty());
}

#[test]
fn limits_on_what_is_zero_at_ride_height_apply_over_the_travel() {
    let wish = "[axle.wish]\nwheelbase_change_left_m = { min = -0.004, max = 0.004 }\n";
    let axle = tuned(&drawn(&four_link(LOWER, UPPER, wish)));
    assert!(axle.wishes[0].wanted.over_travel());
    for candidate in &axle.best {
        let ends = candidate.look.as_ref().unwrap().ends.iter().map(|e| e.as_ref().unwrap());
        let most = ends.map(|s| s.numbers.get(Key::WheelbaseChangeLeft).unwrap().abs()).fold(0.0, f64::max);
        assert!((candidate.values[0].1.unwrap().abs() - most).abs() < 1e-12);
        assert!((candidate.points[0] - (most - 0.004).max(0.0) / 0.01).abs() < 1e-8);
    }
    assert!(axle.best.iter().any(|c| c.points[0] > 0.0), "or the test says nothing");
}
