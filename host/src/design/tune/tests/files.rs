//! Every setting against a file of its own, edited by hand and predicted the usual way.

use super::super::{AxleTuning, Candidate, Extreme};
use super::{drawn, four_link, parsed, text, tuned};
use crate::design::predict::{Wanted, predict_wanted};
use crate::design::prediction::AxlePrediction;
use crate::vehicle::Vehicle;
use crate::vehicle::numbers::Key;

/// Both ways go to the same states by other steps; each settles to 1e-11 m.
const SAME: f64 = 1e-8;

fn predicted(vehicle: &Vehicle) -> AxlePrediction {
    let sweep = vehicle.axles[0].sweep;
    let states = Extreme::ALL.map(|e| e.state(&sweep)).to_vec();
    predict_wanted(vehicle, &Wanted { states, ..Wanted::default() }).unwrap().axles.remove(0)
}

fn agrees(candidate: &Candidate, by_hand: &AxlePrediction) {
    let look = candidate.look.as_ref().expect("it can be hung");
    for key in Key::ALL {
        match (look.ride.get(key), by_hand.ride.numbers.get(key)) {
            (Some(one), Some(other)) => {
                assert!((one - other).abs() <= SAME * other.abs().max(1.0), "{key:?}: {one} {other}");
            }
            (one, other) => assert_eq!(one, other, "{key:?}"),
        }
    }
    for (end, state) in look.ends.iter().zip(&by_hand.states) {
        let (Ok(seen), Ok(reached)) = (end, &state.outcome) else {
            assert_eq!(end.as_ref().err(), state.outcome.as_ref().err().map(|stop| &stop.member));
            continue;
        };
        let off = seen.pose.to_array().into_iter().zip(reached.pose.to_array()).map(|(a, b)| (a - b).abs());
        assert!(off.fold(0.0, f64::max) < SAME, "{seen:?} {reached:?}");
        assert!(
            (seen.roll_moment_nm - reached.roll_moment_nm).abs()
                < 1e-3 * (1.0 + reached.roll_moment_nm.abs())
        );
    }
}

/// The setting with these holes (counted from 1).
fn with<'a>(axle: &'a AxleTuning, holes: &[usize]) -> &'a Candidate {
    let fits = |c: &&Candidate| {
        c.alternatives.is_empty() && c.holes.iter().map(|h| h.hole + 1).eq(holes.iter().copied())
    };
    axle.best.iter().find(fits).expect("tried")
}

fn lower(hole: usize) -> String {
    format!("{{ holes = [[950, 360, 480], [950, 360, 500]], use = {hole} }}")
}

fn upper(hole: usize) -> String {
    format!("{{ holes = [[800, 450, 640], [800, 450, 660], [800, 450, 680]], use = {hole} }}")
}

#[test]
fn settings_are_what_predict_says_of_files_edited_by_hand() {
    let axle = tuned(&drawn(&four_link(&lower(2), &upper(2), "")));
    assert_eq!(axle.best.len(), 6);
    for (low, high) in [(1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (2, 3)] {
        let by_hand = drawn(&four_link(&lower(low), &upper(high), ""));
        agrees(with(&axle, &[low, high]), &predicted(&by_hand));
    }
}

#[test]
fn elastic_layouts_too() {
    // Parallel links on rubber and a panhard bar: redundant, every setting is built anew.
    let elements = |hole: usize| {
        format!(
            "[[axle.link]]\nname = \"lower left\"\nchassis = [950, 420, 500]\naxle = [0, 450, 400]\njoints = \"rubber\"\nmirror = true\n\
             [[axle.link]]\nname = \"upper left\"\nchassis = {{ holes = [[800, 300, 640], [800, 300, 670]], use = {hole} }}\n\
             axle = [-30, 330, 620]\njoints = \"rubber\"\nmirror = true\n\
             [[axle.link]]\nname = \"panhard bar\"\nchassis = [-50, 450, 620]\naxle = [-80, -420, 520]\njoints = \"rubber\"\n"
        )
    };
    let axle = tuned(&drawn(&elements(1)));
    for hole in [1, 2] {
        agrees(with(&axle, &[hole]), &predicted(&drawn(&elements(hole))));
        assert!(with(&axle, &[hole]).trouble[2] > 1.0, "it binds");
    }
}

#[test]
fn a_link_that_is_not_refitted_keeps_its_length() {
    let link = |hole: usize, more: &str| {
        four_link("[950, 360, 500]", &upper(hole), "")
            .replace("axle = [30, 120, 620]\n", &format!("axle = [30, 120, 620]\n{more}\n"))
    };
    let axle = tuned(&drawn(&link(2, "refit = false")));
    let length_mm = (770.0_f64.powi(2) + 330.0_f64.powi(2) + 40.0_f64.powi(2)).sqrt();
    for hole in [1, 3] {
        let by_hand = parsed(&text(&link(hole, &format!("length = {length_mm:.9}"))));
        let predicted = predicted(&by_hand);
        assert!(predicted.ride_shift.is_some());
        agrees(with(&axle, &[hole]), &predicted);
        assert!(with(&axle, &[hole]).rehung.is_empty(), "no link is re-made");
    }
    // Re-made, the ride pose stays and the links change.
    let axle = tuned(&drawn(&link(2, "")));
    assert_eq!(with(&axle, &[1]).rehung.len(), 2);
    agrees(with(&axle, &[1]), &predicted(&drawn(&link(1, ""))));
}

#[test]
fn a_stated_length_stays_as_long_as_the_hole_does() {
    let link = |hole: usize, length: &str| {
        four_link(&lower(1), &upper(hole), "")
            .replace("axle = [30, 120, 620]\n", &format!("axle = [30, 120, 620]\n{length}\n"))
    };
    let axle = tuned(&drawn(&link(2, "length = 842")));
    agrees(with(&axle, &[1, 2]), &predicted(&drawn(&link(2, "length = 842"))));
    // The file's own rule for another hole: re-made to the distance of its new ends.
    agrees(with(&axle, &[1, 3]), &predicted(&drawn(&link(3, ""))));
}

#[test]
fn an_alternative_is_a_file_with_other_elements() {
    let wishbone = "name = \"wishbone\"\napex_on = \"axle\"\napex = { holes = [[30, 0, 620], [30, 0, 640]], use = 2 }\n\
                    legs = [[700, 400, 660], [700, -400, 660]]\n";
    let lowers = four_link(&lower(2), &upper(2), "");
    let more = format!(
        "[[axle.alternative]]\nname = \"A\"\nreplaces = [\"upper left\", \"upper right\"]\n[[axle.alternative.wishbone]]\n{wishbone}"
    );
    let axle = tuned(&drawn(&format!("{lowers}{more}")));
    let candidate =
        axle.best.iter().find(|c| !c.alternatives.is_empty() && c.holes.iter().map(|h| h.hole).eq([0, 0]));
    let head =
        lowers.split("[[axle.link]]\nname = \"upper left\"").next().unwrap().replace("use = 2", "use = 1");
    let by_hand = format!("{head}[[axle.wishbone]]\n{}", wishbone.replace("use = 2", "use = 1"));
    let candidate = candidate.expect("tried");
    agrees(candidate, &predicted(&drawn(&by_hand)));
    assert_eq!(candidate.replaced, ["upper left", "upper right"]);
    assert_eq!(
        (candidate.holes[0].now, candidate.holes[1].now),
        (Some(1), None),
        "the wishbone is not there at present"
    );
}
