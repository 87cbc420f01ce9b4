//! What holds for every page: nothing inline, nothing from outside, landmarks, names for what can be touched.

use super::{Asked, Problem, Setting};
use crate::files::starters::Layout;
use crate::jobs::history::Listing;
use crate::jobs::what_if;
use crate::show::{Units, sample};
use crate::vehicle::Vehicle;
use crate::vehicle::file::parse;

fn setting() -> Setting {
    Setting { logbook: "shed".into(), units: Units::Mm, page_token: "0".repeat(32) }
}

fn listing() -> Listing {
    Listing {
        runs: Vec::new(),
        earlier: 0,
        services: Vec::new(),
        one_number: false,
        with_drawn_give: false,
        said: Vec::new(),
    }
}

fn rigged() -> super::Rigged {
    super::Rigged { name: "Bramble".into(), sensors: vec!["left travel".into(), "axle unit".into()] }
}

fn pages() -> Vec<(&'static str, String)> {
    let vehicle = sample::bramble();
    let comparison = sample::comparison();
    let others = ["2026-05-01-1000-ramp".to_owned()];
    let problem =
        Problem { sentence: "it is gone".into(), hint: Some("look".into()), details: Some("1: x".into()) };
    vec![
        ("runs", super::runs(&listing(), &["Bramble".into()], &Asked::default(), &setting())),
        ("run", super::run(&comparison, (&vehicle, &[]), ["Bramble", "r"], &others, &setting())),
        ("problem", super::problem(&problem, &setting())),
        ("catching up", super::catching_up(Some("Run 1 of 2"), &setting())),
        ("whose axle", super::which_drawing(&["Bramble".into()], &setting())),
        ("board", board()),
        ("record", super::record(&[rigged()], &[("port".into(), "a logger".into())], &setting())),
        ("wear", super::which_vehicle(&[], &[], &setting())),
    ]
}

fn board() -> String {
    board_of(&sample::bramble())
}

fn board_of(vehicle: &Vehicle) -> String {
    let request =
        what_if::Request { vehicle, axle_index: 0, changes: Vec::new(), shown: (0.0, 0.0), with_u: true };
    let drawn = what_if::run(&request).unwrap();
    super::board("Bramble", vehicle, &what_if::handles(&vehicle.axles[0]), &drawn, &setting())
}

#[test]
fn no_page_carries_a_script_a_style_or_an_address_outside() {
    for (name, page) in pages() {
        for forbidden in ["<style", " style=\"", "javascript:", "http:", "https:", " onclick", " onload"] {
            assert!(!page.contains(forbidden), "{name}: {forbidden}");
        }
        for script in page.split("<script").skip(1) {
            assert!(
                script.starts_with(" src=\"/assets/") && script.contains("></script>"),
                "{name}: {script:.80}"
            );
        }
    }
}

#[test]
fn every_page_has_its_landmarks_one_skip_link_and_a_title() {
    for (name, page) in pages() {
        for part in
            ["<html lang=\"en\">", "class=\"skip\"", "<nav aria-label", "<main", "<footer", "</title>"]
        {
            assert!(page.contains(part), "{name}: {part}");
        }
        assert!(page.contains("<h1"), "{name}");
        for field in page.split("<select").skip(1).chain(page.split("<input type=\"date\"").skip(1)) {
            assert!(field.contains("</label>"), "{name}: a field without a label: {field:.60}");
        }
    }
}

#[test]
fn the_drawing_board_says_that_a_layout_binds_in_roll() {
    let of = |layout: Layout| parse(&layout.vehicle_text("Bramble"), "vehicle.toml").unwrap();
    let arms = board_of(&of(Layout::RadiusArm));
    assert!(arms.contains("It binds in roll: its radius arms and the axle are one rigid piece"), "{arms}");
    assert!(!board_of(&of(Layout::ThreeLink)).contains("binds in roll"));
}

#[test]
fn who_starts_a_test_has_the_cautions_before_him() {
    let pages = pages();
    let (_, record) = pages.iter().find(|(name, _)| *name == "record").unwrap();
    for caution in crate::jobs::cautions::CAUTIONS {
        let coded = caution.replace('&', "&amp;").replace('"', "&quot;");
        assert!(
            record.find(&coded) < record.find("type=\"submit\">Start") && record.contains(&coded),
            "{caution}"
        );
    }
}

#[test]
fn parts_of_addresses_are_coded() {
    assert_eq!(super::path_part("Grüne Kiste/2"), "Gr%C3%BCne%20Kiste%2F2");
    assert_eq!(super::path_part("2026-11-25-1412-ramp~1_x.y"), "2026-11-25-1412-ramp~1_x.y");
}
