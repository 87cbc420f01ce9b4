//! Texts as a terminal shows them, and what holds for every one of them.

use super::{Options, WIDTH, analysis, comparison, runs};
use crate::show::{Units, sample};

fn all(options: &Options) -> [String; 3] {
    let vehicle = sample::bramble();
    [
        analysis(&sample::analysis(), &vehicle, options),
        comparison(&sample::comparison(), &vehicle, options),
        runs(&sample::runs(), &vehicle, options),
    ]
}

#[test]
fn an_analysis_reads_by_question() {
    let options = Options::default();
    insta::assert_snapshot!(analysis(&sample::analysis(), &sample::bramble(), &options));
}

#[test]
fn a_comparison_says_first_whether_it_moves_as_drawn() {
    let options = Options::default();
    insta::assert_snapshot!(comparison(&sample::comparison(), &sample::bramble(), &options));
}

#[test]
fn a_comparison_in_inches() {
    let options = Options { units: Units::In, ..Options::default() };
    insta::assert_snapshot!(comparison(&sample::comparison(), &sample::bramble(), &options));
}

#[test]
fn two_runs_say_first_whether_anything_changed() {
    insta::assert_snapshot!(runs(&sample::runs(), &sample::bramble(), &Options::default()));
}

#[test]
fn lines_fit_a_terminal_and_plus_minus_is_explained_once() {
    for units in [Units::Mm, Units::In] {
        for text in all(&Options { units, styled: false }) {
            for line in text.lines() {
                assert!(line.chars().count() <= WIDTH, "{line}");
                assert_eq!(line, line.trim_end());
            }
            assert_eq!(text.matches("95 %").count(), 1, "{text}");
        }
    }
}

#[test]
fn colours_carry_no_meaning_of_their_own() {
    let plain = all(&Options::default());
    let styled = all(&Options { styled: true, ..Options::default() });
    for (plain, styled) in plain.iter().zip(&styled) {
        assert_ne!(plain, styled);
        assert_eq!(&anstream::adapter::strip_str(styled).to_string(), plain);
    }
}

#[test]
fn what_was_not_measured_says_why() {
    let text = analysis(&sample::analysis(), &sample::bramble(), &Options::default());
    let flowing: Vec<&str> = text.split_whitespace().collect();
    let flowing = flowing.join(" ");
    assert!(
        flowing.contains("not excited: the axle hardly moved up and down by itself: bounce it 23 mm more")
    );
    assert!(flowing.contains("not measured: needs forces, and the rig has no force sensor"));
}
