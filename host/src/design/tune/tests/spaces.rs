//! What there is to choose: brackets, twins, alternatives, and how many settings they make.

use super::super::{Bracket, Space, brackets::holes_of};
use super::{LOWER, UPPER, drawn, four_link};
use proptest::prelude::*;
use std::collections::HashSet;

fn space(elements: &str) -> Space {
    Space::new(&drawn(elements), 0, false).unwrap()
}

#[test]
fn a_mirrored_pair_is_bolted_alike_unless_the_sides_are_apart() {
    let vehicle = drawn(&four_link(LOWER, UPPER, ""));
    let together = Space::new(&vehicle, 0, false).unwrap();
    assert_eq!(together.count(), 2 * 3);
    assert_eq!(together.parts()[0].brackets[1].elements, ["upper left", "upper right"]);
    let apart = Space::new(&vehicle, 0, true).unwrap();
    assert_eq!(apart.count(), 2 * 2 * 3 * 3);
    assert!(apart.parts()[0].brackets.iter().all(|b| b.elements.len() == 1));
    // Second of two, second of three: 1·3 + 1.
    assert_eq!(together.present(), 4);
}

#[test]
fn sides_that_the_file_writes_for_themselves_are_free() {
    let link = |name: &str, y: f64, axle: f64| {
        format!(
            "[[axle.link]]\nname = \"{name}\"\nchassis = {{ holes = [[800, {y}, 640], [800, {y}, 660]], use = 1 }}\n\
             axle = [30, {axle}, 620]\n"
        )
    };
    let uppers = link("upper left", 450.0, 120.0) + &link("upper right", -450.0, -120.0);
    let lower = "[[axle.link]]\nname = \"lower left\"\nchassis = [950, 360, 500]\naxle = [20, 580, 400]\nmirror = true\n";
    assert_eq!(space(&format!("{lower}{uppers}")).count(), 4);
}

fn alternative(name: &str, replaces: &str, holes: usize) -> String {
    let holes: Vec<String> = (0..holes).map(|k| format!("[700, 420, {}]", 640 + 10 * k)).collect();
    format!(
        "[[axle.alternative]]\nname = \"{name}\"\nreplaces = [{replaces}]\n[[axle.alternative.link]]\nname = \"{name} left\"\n\
         chassis = {{ holes = [{}], use = 1 }}\naxle = [30, 120, 620]\nmirror = true\n",
        holes.join(", ")
    )
}

#[test]
fn alternatives_that_take_one_place_exclude_each_other() {
    let uppers = "\"upper left\", \"upper right\"";
    let lowers = "\"lower left\", \"lower right\"";
    let more =
        alternative("one", uppers, 4) + &alternative("two", uppers, 5) + &alternative("three", lowers, 7);
    // As it stands 2·3; one 2·4; two 2·5; three 7·3; one and three 4·7; two and three 5·7; never one and two.
    let space = space(&four_link(LOWER, UPPER, &more));
    let counts: Vec<(Vec<String>, u64)> =
        space.parts().iter().map(|p| (p.alternatives.clone(), p.count)).collect();
    let set = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
    assert_eq!(
        counts,
        [
            (set(&[]), 6),
            (set(&["one"]), 8),
            (set(&["two"]), 10),
            (set(&["three"]), 21),
            (set(&["one", "three"]), 28),
            (set(&["two", "three"]), 35)
        ]
    );
    assert_eq!(space.count(), 108);
    for (part, next) in space.parts().iter().zip(space.parts().iter().skip(1)) {
        assert_eq!(part.first + part.count, next.first);
        assert_eq!((space.part_of(next.first - 1), space.part_of(next.first)), {
            let k = space.parts().iter().position(|p| p == part).unwrap();
            (k, k + 1)
        });
    }
}

#[test]
fn an_alternative_for_one_side_parts_the_pair() {
    let space = space(&four_link(LOWER, UPPER, &alternative("one", "\"upper left\", \"lower left\"", 1)));
    // It brings one left and one right with one hole; the right links that stay are free now: 2·3.
    assert_eq!(space.parts()[1].count, 6);
    let free: Vec<_> = space.parts()[1].brackets.iter().map(|b| b.elements.clone()).collect();
    assert_eq!(free, [["lower right"], ["upper right"]]);
}

proptest! {
    #[test]
    fn every_setting_has_a_number_of_its_own(bases in prop::collection::vec(1usize..5, 0..5)) {
        let brackets: Vec<Bracket> = bases.iter().map(|holes| Bracket {
            spot: crate::vehicle::Spot::LinkChassis(0),
            twin: None,
            elements: vec![],
            end: "chassis end",
            holes: *holes,
            in_use: holes - 1,
        }).collect();
        let count: u64 = bases.iter().map(|b| *b as u64).product();
        prop_assert_eq!(super::super::brackets::settings(&brackets), Some(count));
        let all: HashSet<Vec<usize>> = (0..count).map(|n| holes_of(&brackets, n)).collect();
        prop_assert_eq!(all.len() as u64, count);
        prop_assert!(all.iter().all(|holes| holes.iter().zip(&bases).all(|(h, b)| h < b)));
        prop_assert_eq!(super::super::brackets::number_in_use(&brackets), count - 1);
    }
}
