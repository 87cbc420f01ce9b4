//! What the program finds out about a vehicle: the planted bracket or hole, and nothing where nothing was planted.

use crate::bounds::{COVERAGE, FALSELY_DIFFERENT};
use crate::made::{Made, make};
use hingeline::judge::{Finding, FindingKind, Verdict};

fn first(made: &Made) -> &Finding {
    made.axle().findings.first().unwrap_or_else(|| panic!("{}: nothing was found", made.name))
}

#[test]
fn the_hole_in_use_is_named() {
    for (case, rig, hole, element, says) in [
        ("T", "rich", "upper left.chassis=3", "upper left, chassis end", "fit hole 3"),
        ("T", "rich", "upper right.chassis=1", "upper right, chassis end", "fit hole 1"),
        ("S", "rich", "upper right.chassis=3", "upper right, chassis end", "fit hole 3"),
    ] {
        let made = make(case, rig, "planted", 11, &["--hole", hole]);
        let found = first(&made);
        assert_eq!(
            (found.kind, found.element.as_str()),
            (FindingKind::Hole, element),
            "{}: {}",
            made.name,
            found.text
        );
        assert!(found.text.contains(says), "{}: {}", made.name, found.text);
    }
}

/// Of five runs on four wires and two units so many name the hole. Reached: 5; of sixteen, 15. With the rig's errors, headings of 4°
/// above all, judged to first order only it is 8 of sixteen.
const NAMED_OF_FIVE: usize = 5;

#[test]
fn with_four_wires_the_hole_is_named_or_left_open_but_no_other_part_is_accused() {
    let mut named = 0;
    for seed in 22..27 {
        let case = if seed % 2 == 0 { "T" } else { "S" };
        let made =
            make(case, "standard", "planted", seed, &["--hole", "upper left.chassis=3", "--rate", "50"]);
        let found = first(&made);
        let names = found.element.contains("upper left, chassis end");
        assert!(
            names || found.element == "more than one bracket, or a sensor",
            "{}: {}",
            made.name,
            found.text
        );
        named += usize::from(names);
    }
    assert!(named >= NAMED_OF_FIVE, "named in {named} of 5");
}

#[test]
fn the_bracket_that_sits_elsewhere_is_named() {
    for (case, planted, element, size_m, says) in [
        ("T", "upper left.axle.z=-20", "upper left, axle end", 0.020, "lower than drawn"),
        ("T", "upper right.axle.z=15", "upper right, axle end", 0.015, "higher than drawn"),
        ("T", "lower right.chassis.z=-20", "lower right, chassis end", 0.020, "lower than drawn"),
        ("H", "panhard.axle.z=-25", "panhard, axle end", 0.025, "lower than drawn"),
    ] {
        let made = make(case, "rich", "planted", 12, &["--hardpoint", planted]);
        let found = first(&made);
        assert_eq!(found.kind, FindingKind::Hardpoint, "{}: {}", made.name, found.text);
        // Where the data do not decide, the planted bracket is among those that are named.
        assert!(found.element.contains(element), "{}: {}", made.name, found.text);
        assert!(found.text.contains(says), "{}: {}", made.name, found.text);
        if let (Some(size), Some(u)) = (found.size, found.u) {
            assert!((size - size_m).abs() <= COVERAGE * u, "{}: {size} ± u {u}", made.name);
        }
    }
}

#[test]
fn faulty_sensors_accuse_no_part_of_the_vehicle() {
    let mut accused = Vec::new();
    let (mut differ, mut all) = (Vec::new(), 0);
    for (case, rig, seeds) in [("T", "rich", 1..5), ("S", "standard", 5..8), ("H", "rich", 8..11)] {
        for seed in seeds {
            let made = make(case, rig, "planted", seed, &["--brackets", "--rate", "50"]);
            let axle = made.axle();
            accused.extend(axle.findings.iter().map(|f| format!("{}: {}", made.name, f.text)));
            all += axle.numbers.values().filter(|n| n.verdict != Verdict::NotMeasured).count();
            let different = axle.numbers.iter().filter(|(_, n)| n.verdict == Verdict::Differs);
            differ.extend(different.map(|(key, _)| format!("{}: {}", made.name, key.as_str())));
        }
    }
    assert!(accused.is_empty(), "{}", accused.join("\n"));
    assert!(differ.len() as f64 <= FALSELY_DIFFERENT * all as f64, "of {all} differ:\n{}", differ.join("\n"));
}
