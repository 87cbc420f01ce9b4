//! Does a wishbone three-link steer more when flexed than a single-triangulated four-link of the same size?

use super::layouts::{Layout, SIZES, Sizes};
use super::page::{Answers, shown};
use hingeline::design::tolerance::number_u;
use hingeline::measure::numbers::HALF_95;
use hingeline::vehicle::numbers::Key;

/// Articulations that the tables show, degrees.
const FLEXED_DEG: [f64; 5] = [5.0, 10.0, 15.0, 20.0, 25.0];
/// The articulation of an ordinary long climb, degrees.
pub const FLEX_DEG: f64 = 10.0;
/// About as far as links of this size let an axle go, degrees.
pub const FAR_DEG: f64 = 20.0;

/// One comparison at one articulation, degrees of steer.
struct Pair {
    four_deg: f64,
    wishbone_deg: f64,
    matched_deg: f64,
}

fn pair(sizes: &Sizes, flex_deg: f64) -> Pair {
    let steer = |layout: Layout| layout.flex_steer_rad(flex_deg.to_radians()).to_degrees();
    Pair {
        four_deg: steer(sizes.four_link()),
        wishbone_deg: steer(sizes.wishbone()),
        matched_deg: steer(sizes.matched_wishbone()),
    }
}

/// Every combination of upper length, height and slope, lower slope, and how far apart the uppers' axle ends stand; with
/// lowers that run straight, or toe in by as much on each side.
fn sizes(toe_m: f64) -> Vec<Sizes> {
    let mut all = Vec::new();
    for reach_m in [0.55, 0.80, 1.05] {
        for height_m in [0.56, 0.64, 0.74] {
            for rise_m in [-0.06, 0.02, 0.10] {
                for lower_rise_m in [0.02, 0.10, 0.18] {
                    for half_apart_m in [0.06, 0.10, 0.18] {
                        let y = 0.45 - toe_m / 2.0;
                        all.push(Sizes {
                            lower: [[0.95, y, 0.40 + lower_rise_m], [0.0, y + toe_m, 0.40]],
                            upper: [[reach_m, 0.42, height_m + rise_m], [0.03, half_apart_m, height_m]],
                        });
                    }
                }
            }
        }
    }
    all
}

/// What came out of a set of sizes at one articulation.
struct Outcome {
    layouts: usize,
    steers_more: usize,
    least_deg: f64,
    most_deg: f64,
    matched_least_deg: f64,
    matched_most_deg: f64,
    /// Greatest difference of roll steer at ride height, wishbone against four-link, rad/rad.
    at_ride: f64,
}

fn outcome(all: &[Sizes], flex_deg: f64) -> Outcome {
    let mut out = Outcome {
        layouts: all.len(),
        steers_more: 0,
        least_deg: f64::INFINITY,
        most_deg: f64::NEG_INFINITY,
        matched_least_deg: f64::INFINITY,
        matched_most_deg: f64::NEG_INFINITY,
        at_ride: 0.0,
    };
    for sizes in all {
        let Pair { four_deg, wishbone_deg, matched_deg } = pair(sizes, flex_deg);
        let more = wishbone_deg - four_deg;
        out.steers_more += usize::from(more > 0.0);
        (out.least_deg, out.most_deg) = (out.least_deg.min(more), out.most_deg.max(more));
        let matched = matched_deg - four_deg;
        out.matched_least_deg = out.matched_least_deg.min(matched);
        out.matched_most_deg = out.matched_most_deg.max(matched);
        let [a, b] = [sizes.four_link(), sizes.wishbone()].map(|l| roll_steer(&l));
        out.at_ride = out.at_ride.max((a - b).abs());
    }
    out
}

fn number(layout: &Layout, key: Key) -> f64 {
    let axle = layout.axle();
    axle.numbers(axle.ride()).get(key).expect("a number at ride height")
}

fn roll_steer(layout: &Layout) -> f64 {
    number(layout, Key::RollSteer)
}

/// The tables and numbers of this question.
pub fn answer(answers: &mut Answers) {
    of_one_size(answers);
    of_many_sizes(answers);
}

fn of_one_size(answers: &mut Answers) {
    let shorter = Sizes { upper: [[0.70, 0.40, 0.66], SIZES.upper[1]], ..SIZES };
    let all = [SIZES.four_link(), SIZES.wishbone(), SIZES.matched_wishbone(), shorter.wishbone()];
    let row = |label: &str, cells: Vec<String>| [vec![label.to_owned()], cells].concat();
    let of = |value: &dyn Fn(&Layout) -> String| all.iter().map(value).collect::<Vec<_>>();
    let mut rows = vec![
        row("roll steer at ride height, ° per 10°", of(&|l| shown(10.0 * roll_steer(l), 5))),
        row("roll axis rises forward, °", of(&|l| shown(number(l, Key::RollAxisRise).to_degrees(), 3))),
        row("roll centre above the floor, mm", of(&|l| shown(1e3 * number(l, Key::RollCentreZ), 1))),
    ];
    for flex_deg in FLEXED_DEG {
        let steer = |l: &Layout| l.flex_steer_rad(flex_deg.to_radians()).to_degrees();
        rows.push(row(&format!("steer flexed to {flex_deg:.0}°, °"), of(&|l| shown(steer(l), 3))));
    }
    let droop = |l: &Layout| l.at(-0.06, 0.3).pose.axle_steer_rad().to_degrees();
    rows.push(row("steer flexed to 17.2° and 60 mm down, °", of(&|l| shown(droop(l), 3))));
    let sideways = |l: &Layout| 1e3 * l.at(0.0, FLEX_DEG.to_radians()).pose.y_m;
    rows.push(row("axle moves sideways flexed to 10°, mm", of(&|l| shown(sideways(l), 1))));
    answers.table(
        "wishbone",
        &[
            "",
            "four-link",
            "wishbone, same size",
            "wishbone, apex at the crossing",
            "wishbone, legs 100 mm shorter",
        ],
        &rows,
    );
    for (name, flex_deg) in [("flex", FLEX_DEG), ("far", FAR_DEG)] {
        let Pair { four_deg, wishbone_deg, .. } = pair(&SIZES, flex_deg);
        answers.number(&format!("{name}-four"), four_deg, 2);
        answers.number(&format!("{name}-less"), four_deg - wishbone_deg, 3);
        answers.number(&format!("{name}-less-share"), 100.0 * (1.0 - wishbone_deg / four_deg), 1);
    }
    // 95 %, from the tolerance of the file, 3 mm by default.
    let u =
        number_u(&SIZES.four_link().vehicle(), 0).expect("located").get(Key::RollSteer).expect("it is known");
    answers.number("steer-half", 10.0 * HALF_95 * u, 2);
    let [x, _, z] = SIZES.crossing();
    answers.number("crossing-behind", -1e3 * x, 0);
    answers.number("crossing-height", 1e3 * z, 0);
}

fn of_many_sizes(answers: &mut Answers) {
    let mut rows = Vec::new();
    for (label, toe_m) in [("straight lowers", 0.0), ("lowers toed in 90 mm a side", 0.09)] {
        let all = sizes(toe_m);
        for flex_deg in [FLEX_DEG, FAR_DEG] {
            let out = outcome(&all, flex_deg);
            let span = |least: f64, most: f64| format!("{} to {}", signed(least), signed(most));
            rows.push(vec![
                format!("{label}, {flex_deg:.0}°"),
                out.layouts.to_string(),
                out.steers_more.to_string(),
                span(out.least_deg, out.most_deg),
                span(out.matched_least_deg, out.matched_most_deg),
            ]);
            if toe_m == 0.0 {
                // Both roll axes rise like the lowers: the page says equal, which is equal to rounding.
                assert!(out.at_ride < 1e-9, "{}", out.at_ride);
            }
            let name = format!("{}-{flex_deg:.0}", if toe_m == 0.0 { "straight" } else { "toed" });
            answers.number(&format!("{name}-largest"), out.most_deg.max(-out.least_deg), 2);
            answers.words(&format!("{name}-more"), &out.steers_more.to_string());
            answers.words(&format!("{name}-all"), &out.layouts.to_string());
            if toe_m > 0.0 && flex_deg == FLEX_DEG {
                answers.number("toed-at-ride", 10.0 * out.at_ride, 2);
            }
        }
    }
    let heads = [
        "",
        "sizes",
        "wishbone steers more in",
        "wishbone less four-link, °",
        "apex at the crossing, less four-link, °",
    ];
    answers.table("sizes", &heads, &rows);
}

fn signed(value: f64) -> String {
    let text = shown(value, 3);
    if text.starts_with('−') || value == 0.0 { text } else { format!("+{text}") }
}
