//! The other facts of the trade that the guide gives numbers for (common practice, no source): what locates an axle
//! sideways, triangulation, length, the fourth link, radius arms.

use super::layouts::{Layout, P, SIZES};
use super::page::{Answers, shown};
use hingeline::design::{DesignError, Mechanism};
use hingeline::explain::Explain;
use hingeline::files::starters::Layout as Starter;
use hingeline::vehicle::numbers::Key;

/// Flexed by this, rad (10°).
const FLEX_RAD: f64 = 10.0 * std::f64::consts::PI / 180.0;
/// A long bump or droop, m.
const BUMP_M: f64 = 0.1;
/// How far the guide moves a bush or a bracket, m.
const MOVED_M: f64 = 0.06;
/// From hole to hole of a bracket, m.
const HOLE_M: f64 = 0.025;

const FRONT_LOWER: [P; 2] = [[-0.95, 0.42, 0.50], [0.0, 0.45, 0.40]];
const FRONT_UPPER: [P; 2] = [[-0.80, 0.30, 0.66], [0.03, 0.33, 0.62]];
const FRONT_PANHARD: [P; 2] = [[0.05, 0.45, 0.62], [0.08, -0.42, 0.52]];
const REAR_UPPER: [P; 2] = [[0.80, 0.30, 0.66], [0.03, 0.33, 0.62]];

/// Double triangulated: lowers and uppers both run together, in opposite ways.
pub fn double_triangulated() -> Layout {
    Layout::rear("double-triangulated four-link")
        .pair("lower", [0.95, 0.36, 0.50], [0.02, 0.58, 0.40], "")
        .pair("upper", [0.80, 0.45, 0.66], [0.03, 0.12, 0.62], "")
}

/// A parallel front three-link or four-link with a panhard bar; `joints` are those of every link.
pub fn parallel(uppers: usize, joints: &str) -> Layout {
    let keys = format!("joints = [\"{joints}\", \"{joints}\"]\n");
    let layout = Layout::front("parallel links").pair("lower", FRONT_LOWER[0], FRONT_LOWER[1], &keys);
    let layout = match uppers {
        1 => layout.link("upper", FRONT_UPPER[0], FRONT_UPPER[1], &keys),
        _ => layout.pair("upper", FRONT_UPPER[0], FRONT_UPPER[1], &keys),
    };
    layout.link("panhard", FRONT_PANHARD[0], FRONT_PANHARD[1], &keys)
}

/// A rear three-link that a panhard bar or a Watts linkage of the same reach holds sideways.
fn three_link(name: &str) -> Layout {
    let [from, to] = SIZES.lower;
    Layout::rear(name).pair("lower", from, to, "").link("upper", REAR_UPPER[0], REAR_UPPER[1], "")
}

/// With a panhard bar as long as both links of [`with_watts`] together.
pub fn with_panhard() -> Layout {
    three_link("panhard bar").link("panhard", [-0.10, 0.55, 0.50], [-0.10, -0.55, 0.50], "")
}

/// With a Watts linkage.
pub fn with_watts() -> Layout {
    three_link("Watts linkage").watts([-0.10, 0.0, 0.50], 0.10, 0.55)
}

/// Radius arms with their axle bushes front and rear, `lifted_m` higher than drawn.
pub fn radius_arms(lifted_m: f64) -> Layout {
    let bushes = [[0.09, 0.42, 0.47 + lifted_m], [-0.11, 0.42, 0.47 + lifted_m]];
    arms("radius arms", bushes)
}

/// Radius arms with their axle bushes one above the other, as far apart.
fn arms_top_and_bottom() -> Layout {
    arms("radius arms", [[-0.01, 0.42, 0.57], [-0.01, 0.42, 0.37]])
}

fn arms(name: &str, bushes: [P; 2]) -> Layout {
    Layout::front(name).radius_arms([-0.95, 0.40, 0.52], bushes).link(
        "panhard",
        [0.12, 0.45, 0.62],
        [0.15, -0.42, 0.54],
        "joints = [\"rubber\", \"rubber\"]\n",
    )
}

/// Single triangulated with all links `factor` as long, forward of the same axle joints: their chassis joints as high as
/// drawn, or as steep as drawn.
pub fn longer(factor: f64, as_steep: bool) -> Layout {
    let stretched = |[from, to]: [P; 2]| {
        let x = to[0] + factor * (from[0] - to[0]);
        let z = if as_steep { to[2] + factor * (from[2] - to[2]) } else { from[2] };
        [[x, from[1], z], to]
    };
    let mut sizes = SIZES;
    sizes.lower = stretched(sizes.lower);
    sizes.upper = stretched(sizes.upper);
    sizes.four_link()
}

/// The tables and numbers of all these.
pub fn answer(answers: &mut Answers) {
    starters(answers);
    loose(answers);
    triangulation(answers);
    length(answers);
    sideways(answers);
    fourth_link(answers);
    arm_pinion(answers);
}

/// Every starter, by what it does.
fn starters(answers: &mut Answers) {
    let rows: Vec<Vec<String>> = Starter::WORDS
        .into_iter()
        .map(|(word, layout)| {
            let vehicle =
                hingeline::vehicle::file::parse(&layout.vehicle_text("Bramble"), "starter").unwrap();
            let axle = Mechanism::new(&vehicle, 0).unwrap();
            let flexed = axle.solve(0.0, FLEX_RAD).unwrap();
            let bumped = axle.solve(BUMP_M, 0.0).unwrap();
            vec![
                format!("`{word}`"),
                format!("{:?}", vehicle.axles[0].position).to_lowercase(),
                shown(flexed.pose.axle_steer_rad().to_degrees().abs(), 2),
                shown(1e3 * bumped.pose.y_m.abs(), 1),
                shown(bumped.pose.pitch_rad.to_degrees().abs(), 1),
                shown(flexed.roll_moment_nm.abs(), 0),
                vehicle.axles[0].locating.joints().to_string(),
            ]
        })
        .collect();
    let heads = [
        "starter",
        "axle",
        "steer flexed to 10°, °",
        "sideways in 100 mm of bump, mm",
        "pinion turns in 100 mm of bump, °",
        "bind flexed to 10°, N·m",
        "joints",
    ];
    answers.table("starters", &heads, &rows);
}

/// What the program says of parallel links without a panhard bar.
fn loose(answers: &mut Answers) {
    let straight = |uppers: usize| {
        let layout = Layout::front("front").pair("lower", [-0.95, 0.45, 0.50], [0.0, 0.45, 0.40], "");
        let (from, to) = ([-0.80, 0.30, 0.66], [0.03, 0.30, 0.62]);
        match uppers {
            1 => layout.link("upper", from, to, ""),
            _ => layout.pair("upper", from, to, ""),
        }
    };
    let bare = |uppers: usize| {
        Mechanism::new(&straight(uppers).vehicle(), 0).map(|_| ()).expect_err("nothing locates it sideways")
    };
    for uppers in [1, 2] {
        let error = bare(uppers);
        assert!(matches!(error, DesignError::NotLocated { .. }), "{error}");
        assert!(error.to_string().ends_with("nothing locates the axle sideways"), "{error}");
    }
    answers.words("loose", &bare(2).to_string());
    answers.words("loose-remedy", &bare(2).hint().unwrap_or_default());
    // Links that stand a little askew hold the axle, but badly: the program says so.
    let mut askew = parallel(2, "rubber").vehicle();
    askew.axles[0].locating.links.retain(|l| l.name != "panhard");
    let weak = Mechanism::new(&askew, 0).expect("held, though weakly");
    assert!(weak.notes().iter().any(|n| n.starts_with("The axle is held sideways only weakly")));
}

fn triangulation(answers: &mut Answers) {
    let [single, double] =
        [SIZES.four_link(), double_triangulated()].map(|l| l.flex_steer_rad(FLEX_RAD).to_degrees());
    answers.number("single", single, 2);
    answers.number("double", double, 2);
    answers.number("double-times", single / double, 1);
    // Next to none beside some.
    assert!(double < 0.3 && single > 4.0 * double, "{single} {double}");
}

fn length(answers: &mut Answers) {
    let steer = |factor: f64, as_steep: bool| longer(factor, as_steep).flex_steer_rad(FLEX_RAD).to_degrees();
    let rows: Vec<Vec<String>> = [0.75, 1.0, 1.25, 1.5, 2.0]
        .into_iter()
        .map(|factor| {
            let lower = longer(factor, false).axle().members().next().map_or(0.0, |m| m.length_m);
            vec![
                format!("{:.0} %", 100.0 * factor),
                shown(1e3 * lower, 0),
                shown(steer(factor, false), 2),
                shown(steer(factor, true), 2),
            ]
        })
        .collect();
    let heads = [
        "links as long as",
        "lower link, mm",
        "steer flexed to 10°, brackets as high as drawn, °",
        "the same, links as steep as drawn, °",
    ];
    answers.table("length", &heads, &rows);
    answers.number("length-half-more", steer(1.5, false), 2);
    answers.number("length-steep-half-more", steer(1.5, true), 2);
    // Flatter links steer less; the same slope steers as much.
    assert!(steer(1.5, false) < 0.7 * steer(1.0, false));
    assert!((steer(1.5, true) / steer(1.0, true) - 1.0).abs() < 0.05);
}

fn sideways(answers: &mut Answers) {
    let [panhard, watts] = [with_panhard(), with_watts()].map(|l| l.axle());
    let y = |axle: &Mechanism, heave_m: f64| 1e3 * axle.solve(heave_m, 0.0).unwrap().pose.y_m;
    let rows: Vec<Vec<String>> = [-0.13, -0.10, -0.05, 0.05, 0.10]
        .into_iter()
        .map(|heave_m| {
            let way = if heave_m < 0.0 { "droop" } else { "bump" };
            vec![
                format!("{:.0} mm of {way}", 1e3 * f64::abs(heave_m)),
                shown(y(&panhard, heave_m).abs(), 2),
                shown(y(&watts, heave_m).abs(), 2),
            ]
        })
        .collect();
    let heads = ["", "panhard bar: sideways, mm", "Watts linkage: sideways, mm"];
    answers.table("sideways", &heads, &rows);
    answers.number("panhard", y(&panhard, BUMP_M).abs(), 1);
    answers.number("watts", y(&watts, BUMP_M).abs(), 2);
    // A level bar of 1.1 m sweeps a circle. Its axle end stands 0.10 m behind the axle, so that pitch lifts it beyond the heave,
    // and it goes a few millimetres forward, which is left out here.
    let pitch_rad = panhard.solve(BUMP_M, 0.0).unwrap().pose.pitch_rad;
    let rise_m = BUMP_M + 0.10 * pitch_rad.sin();
    let circle = 1e3 * (1.1 - (1.1_f64.powi(2) - rise_m.powi(2)).sqrt());
    assert!((y(&panhard, BUMP_M).abs() - circle).abs() < 0.1, "{} {circle}", y(&panhard, BUMP_M));
    // The linkage alone strays by Z⁵/(8a³b) = 0.075 mm; that its pivot also goes forward and up adds as much again.
    assert!(y(&watts, BUMP_M).abs() < 0.2, "{}", y(&watts, BUMP_M));
}

fn fourth_link(answers: &mut Answers) {
    let flexed = |uppers: usize, joints: &str| parallel(uppers, joints).at(0.0, FLEX_RAD);
    let mut rows = Vec::new();
    for joints in ["rubber", "polyurethane", "rod-end"] {
        let [three, four] = [1, 2].map(|uppers| flexed(uppers, joints));
        let steer = |s: &hingeline::design::State| shown(s.pose.axle_steer_rad().to_degrees().abs(), 2);
        rows.push(vec![
            joints.to_owned(),
            steer(&three),
            steer(&four),
            shown(three.roll_moment_nm.abs(), 0),
            shown(four.roll_moment_nm.abs(), 0),
        ]);
        // Flexes alike; only the four-link binds.
        let apart = (three.pose.axle_steer_rad() - four.pose.axle_steer_rad()).abs().to_degrees();
        assert!(apart < 0.2, "{joints}: {apart}");
        assert!(three.roll_moment_nm.abs() < 1e-3 && four.roll_moment_nm.abs() > 1.0);
    }
    let heads = [
        "joints",
        "three-link: steer at 10°, °",
        "four-link: steer at 10°, °",
        "three-link: bind, N·m",
        "four-link: bind, N·m",
    ];
    answers.table("fourth-link", &heads, &rows);
    answers.number("four-link-rubber-bind", flexed(2, "rubber").roll_moment_nm.abs(), 0);
    answers.number("arms-bind", radius_arms(0.0).at(0.0, FLEX_RAD).roll_moment_nm.abs(), 0);
    answers.number("arms-upright-bind", arms_top_and_bottom().at(0.0, FLEX_RAD).roll_moment_nm.abs(), 0);
}

/// Side-view swing arm, m.
fn swing_arm_m(layout: &Layout) -> f64 {
    let axle = layout.axle();
    1.0 / axle.numbers(axle.ride()).get(Key::PitchPerHeave).expect("it pitches")
}

fn arm_pinion(answers: &mut Answers) {
    let arms = [0.0, MOVED_M].map(|lifted_m| swing_arm_m(&radius_arms(lifted_m)).abs());
    let links = [0.0, MOVED_M].map(|lifted_m| {
        let [from, [x, y, z]] = FRONT_UPPER;
        let keys = "joints = [\"rubber\", \"rubber\"]\n";
        let layout = Layout::front("parallel links")
            .pair("lower", FRONT_LOWER[0], FRONT_LOWER[1], keys)
            .pair("upper", from, [x, y, z + lifted_m], keys)
            .link("panhard", FRONT_PANHARD[0], FRONT_PANHARD[1], keys);
        swing_arm_m(&layout).abs()
    });
    let row = |name: &str, [drawn, lifted]: [f64; 2]| {
        let change = 100.0 * (lifted / drawn - 1.0);
        vec![name.to_owned(), shown(1e3 * drawn, 0), shown(1e3 * lifted, 0), shown(change, 1)]
    };
    let heads = ["", "swing arm as drawn, mm", "axle ends 60 mm higher, mm", "change, %"];
    let rows = [row("radius arms, both bushes moved", arms), row("four-link, uppers moved", links)];
    answers.table("arm-pinion", &heads, &rows);
    assert!((arms[1] / arms[0] - 1.0).abs() < 0.01 && (links[1] / links[0] - 1.0).abs() > 0.1);
    // An arm whose chassis joint is one hole lower stands to its axle as if the axle had risen by as much.
    let turned = radius_arms(0.0).at(HOLE_M, 0.0).pose.pitch_rad.to_degrees().abs();
    answers.number("hole-turns", turned, 1);
    answers.number("hole", 1e3 * HOLE_M, 0);
    // atan(25/950) = 1.51°.
    assert!((turned - 1.51).abs() < 0.05, "{turned}");
}
