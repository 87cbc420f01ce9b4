//! Predictions as a terminal shows them, and what holds for every one of them.

use super::{Options, WIDTH, prediction};
use crate::files::starters::Layout;
use crate::jobs::predict::{Predicted, Request, run};
use crate::show::{Units, phrases, rows};
use crate::vehicle::numbers::Key;

/// Predicts starters, with loads where there are states, each from a file of its own name; names of files do not hang on the folder.
fn predicted(layouts: &[(&str, Layout)], states: Option<&str>) -> Predicted {
    let folder = tempfile::tempdir().expect("a folder");
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("a file");
        path
    };
    let vehicles = layouts
        .iter()
        .map(|(word, layout)| file(&format!("{word}.toml"), &layout.vehicle_text("Bramble")))
        .collect();
    let states = states.map(|text| file("states.csv", text));
    let (drive_n, side_n) = if states.is_some() { (Some(8000.0), Some(5000.0)) } else { (None, None) };
    let request = Request { vehicles, states, drive_n, side_n, ..Request::default() };
    let mut predicted = run(&request).expect("starters predict");
    for (vehicle, (word, _)) in predicted.vehicles.iter_mut().zip(layouts) {
        vehicle.file = format!("{word}.toml");
    }
    predicted
}

fn starters(words: &[&str], states: Option<&str>) -> Predicted {
    let layouts: Vec<(&str, Layout)> =
        words.iter().map(|word| (*word, Layout::parse(word).expect("a layout"))).collect();
    predicted(&layouts, states)
}

fn text(predicted: &Predicted, units: Units) -> String {
    prediction(predicted, &Options { units, ..Options::default() })
}

const THREE: [&str; 3] = ["radius-arm", "three-link", "four-link"];
const STATES: Option<&str> = Some("heave_m,roll_rad\n0.08,0\n-0.06,0.3\n0.1,4\n");

#[test]
fn one_vehicle_reads_by_question() {
    insta::assert_snapshot!(text(&starters(&["triangulated-four-link"], STATES), Units::Mm));
}

#[test]
fn one_vehicle_in_inches() {
    insta::assert_snapshot!(text(&starters(&["four-link"], None), Units::In));
}

#[test]
fn three_vehicles_stand_side_by_side() {
    insta::assert_snapshot!(text(&starters(&THREE, None), Units::Mm));
}

#[test]
fn three_vehicles_in_inches() {
    insta::assert_snapshot!(text(&starters(&THREE, STATES), Units::In));
}

/// Every starter alone, and all of them together: four rear axles, three front axles and more than fit in a row.
fn all() -> Vec<Predicted> {
    let words: Vec<&str> = Layout::WORDS.iter().map(|(word, _)| *word).collect();
    let mut all: Vec<Predicted> = words.iter().map(|word| starters(&[word], STATES)).collect();
    all.push(starters(&words, None));
    all.push(starters(&["three-link"; 6], None));
    all
}

#[test]
fn lines_fit_a_terminal_and_plus_minus_is_explained_once() {
    for predicted in all() {
        for units in [Units::Mm, Units::In] {
            let text = text(&predicted, units);
            for line in text.lines() {
                assert!(line.chars().count() <= WIDTH, "{line}");
                assert_eq!(line, line.trim_end());
            }
            assert_eq!(text.matches("95 % interval").count(), 1, "{text}");
            let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert_eq!(flowing.matches(phrases::ONLY_DRAWN).count(), 1, "{text}");
        }
    }
}

#[test]
fn every_number_that_has_a_value_appears() {
    for predicted in all() {
        let text = text(&predicted, Units::Mm);
        // Labels hang in a column of their own, 26 wide at most; a comparison begins it two blanks further left.
        let column = |from: usize| {
            let part = |line: &str| line.chars().skip(from).take(27).collect::<String>();
            let parts: Vec<String> = text.lines().map(part).collect();
            parts.join(" ").split_whitespace().collect::<Vec<_>>().join(" ")
        };
        let labels = [column(2), column(4)].join(" | ");
        for axle in predicted.vehicles.iter().flat_map(|v| &v.prediction.axles) {
            for key in Key::ALL.into_iter().filter(|key| axle.ride.numbers.get(*key).is_some()) {
                let label = match key {
                    Key::RollCentreZ => "roll centre (roll axis at",
                    _ => rows::label(key),
                };
                assert!(labels.contains(label), "{}:\n{text}", key.as_str());
            }
        }
    }
}

#[test]
fn lines_fit_a_narrow_terminal() {
    for predicted in all() {
        for columns in [40, 60] {
            for line in prediction(&predicted, &Options { columns, ..Options::default() }).lines() {
                assert!(line.chars().count() <= columns, "{columns}: {line}");
            }
        }
    }
}

/// Facts of the trade (common practice, no source): two radius arms clamped to an axle are one rigid piece with it, which flexes
/// by its bushes alone; a three-link with a panhard bar moves freely.
#[test]
fn a_layout_that_binds_in_roll_says_so_after_its_first_sentence() {
    let told = |word| {
        let text = text(&starters(&[word], None), Units::Mm);
        let (first, _) = text.split_once("\n\n").expect("a first paragraph");
        first.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for word in ["radius-arm", "radius-arm-watts"] {
        let told = told(word);
        assert!(
            told.contains("It binds in roll: its radius arms and the axle are one rigid piece"),
            "{told}"
        );
        assert!(
            told.contains("which push back with") && told.contains("N·m at 10.0° left wheel up"),
            "{told}"
        );
    }
    assert!(told("four-link").contains("its links hold it once more than need be"));
    for free in ["three-link", "double-triangulated-four-link"] {
        assert!(!told(free).contains("binds"), "{free}");
    }
}

#[test]
fn colours_carry_no_meaning_of_their_own() {
    for words in [&["four-link"][..], &THREE] {
        let predicted = starters(words, None);
        let styled = prediction(&predicted, &Options { styled: true, ..Options::default() });
        assert_ne!(styled, text(&predicted, Units::Mm));
        assert_eq!(anstream::adapter::strip_str(&styled).to_string(), text(&predicted, Units::Mm));
    }
}

/// Facts of the trade (common practice, no source): the fourth link of a parallel four-link makes it bind and wears two more
/// joints than a three-link, which moves freely.
#[test]
fn what_a_layout_gains_and_gives_up_is_what_builders_know() {
    let text = text(&starters(&THREE, None), Units::Mm);
    let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let (_, trades) = flowing.split_once("What does each gain and give up?").expect("trades");
    let told = |name: &str, what: &str| {
        let (_, after) = trades.split_once(&format!("{name} {what} ")).expect("told");
        after.split(" + ").next().and_then(|one| one.split(" − ").next()).unwrap_or_default().to_owned()
    };
    assert!(told("three-link", "gains").contains("flexes more freely: 0 N·m at 10°"));
    assert!(told("four-link", "gives up").contains("has more joints that wear: 10, the others 8 and 8"));
    assert!(told("radius-arm", "gives up").contains("binds more when flexed"));
}

#[test]
fn an_overloaded_link_is_marked() {
    let mut predicted = starters(&["three-link"], STATES);
    let marked = |predicted: &Predicted, name: &str| {
        let text = text(predicted, Units::Mm);
        let (_, loads) = text.split_once("of drive, half at each wheel").expect("loads");
        let (drive, _) = loads.split_once("of side force").expect("two cases");
        drive.lines().any(|line| line.trim_start().starts_with(&format!("! {name} ")))
    };
    assert!(!marked(&predicted, "upper") && !marked(&predicted, "lower left"));
    // Drive pushes the upper link and pulls the lower ones.
    for link in &mut predicted.vehicles[0].prediction.axles[0].links {
        link.buckling_n = Some(9000.0);
    }
    assert!(marked(&predicted, "upper") && !marked(&predicted, "lower left"));
    for link in &mut predicted.vehicles[0].prediction.axles[0].links {
        link.joint_rating_n = Some(15_000.0);
    }
    assert!(marked(&predicted, "lower left"));
}
