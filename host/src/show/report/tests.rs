//! What holds for every report: verdict first, nothing from outside, every part there, sizes that can be read, sound HTML.

use super::{Options, Picture, html, pictures};
use crate::jobs::cautions::CAUTIONS;
use crate::judge::{Comparison, Verdict};
use crate::rig::calibration::{Found, ZeroFound};
use crate::show::calibration::{QUESTION, tests::standing};
use crate::show::palette;
use crate::show::{Units, sample};
use crate::vehicle::numbers::Key;

fn report(comparison: &Comparison) -> String {
    let options = Options {
        units: Units::Mm,
        recorded: Some("17 May 2026, 14:02".into()),
        made: Some("18 May 2026".into()),
        calibration: Vec::new(),
    };
    html(comparison, &sample::bramble(), &options)
}

/// The page without its style sheet.
fn body(page: &str) -> &str {
    page.split_once("<body>").expect("a body").1
}

#[test]
fn the_verdict_comes_first_then_why_then_evidence_then_origin_then_cautions() {
    let page = report(&sample::comparison());
    let places: Vec<usize> = [
        "it does not move as drawn",
        "<h2>Why",
        "<h2>The numbers",
        "<h2>What that looks like",
        "<h2>What it does along the travel",
        "<h2>How far does it go?",
        "<h2>Are the links as drawn",
        "what limits each number?",
        "<h2>Where this came from",
        "Before anyone goes near",
        "<h2>Every number along the travel",
    ]
    .iter()
    .map(|part| body(&page).find(part).unwrap_or_else(|| panic!("{part} is missing")))
    .collect();
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn nothing_is_fetched_from_outside() {
    let page = report(&sample::comparison());
    for reach in ["http:", "https:", "//", "<script", "<link", "<img", "<iframe", "@import", "src=\""] {
        // Base64 may hold two slashes in a row.
        let outside_fonts: String = page
            .split("base64,")
            .enumerate()
            .map(|(k, part)| if k == 0 { part } else { part.split_once(')').map_or("", |(_, rest)| rest) })
            .collect();
        assert!(!outside_fonts.contains(reach), "{reach}");
    }
    assert_eq!(page.matches("url(").count(), 2 + page.matches("url(#").count(), "two fonts and clip paths");
}

#[test]
fn provenance_and_every_caution_are_there() {
    let comparison = sample::comparison();
    let page = report(&comparison);
    let from = &comparison.provenance;
    for part in [&from.run, &from.vehicle_hash, &from.rig_hash, &from.data_hash] {
        assert!(page.contains(part.as_str()), "{part}");
    }
    for part in ["62400 received, 38 lost, 12 set aside", "17 May 2026, 14:02"] {
        assert!(page.contains(part), "{part}");
    }
    for caution in CAUTIONS {
        assert!(page.contains(caution), "{caution}");
    }
}

#[test]
fn no_text_is_smaller_than_nine_points() {
    let page = report(&sample::comparison());
    let style = page.split_once("</style>").expect("a style sheet").0;
    let mut sizes = Vec::new();
    for (at, _) in style.match_indices("font-size:").chain(style.match_indices("font:")) {
        let rule = style[at..].split_once(':').expect("a value").1;
        let number: String = rule.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
        let unit = &rule[number.len()..number.len() + 2];
        let size: f64 = number.parse().expect("a number");
        // CSS: 1 pt = 4/3 px.
        let points = if unit == "px" { 0.75 * size } else { size };
        assert!(points >= 9.0, "{number}{unit}");
        sizes.push(points);
    }
    assert!(sizes.len() > 10);
}

#[test]
fn colours_of_the_page_are_those_whose_contrast_is_tested() {
    let page = report(&sample::comparison());
    let known = [
        palette::PAPER,
        palette::SHADE,
        palette::INK,
        palette::FAINT,
        palette::GRID,
        palette::PETROL,
        palette::RUST,
        palette::PLUM,
    ]
    .map(palette::Colour::hex);
    for (at, _) in page.match_indices("=\"#").chain(page.match_indices(":#")) {
        let start = page[at..].find('#').map_or(at, |k| at + k);
        let colour = page[start..start + 7].to_lowercase();
        assert!(known.contains(&colour), "{colour}");
    }
    for (at, _) in page.match_indices("<text") {
        let tag = page[at..].split_once('>').expect("a tag").0;
        assert!(
            !tag.to_lowercase().contains(&palette::GRID.hex()),
            "guide lines' grey is too light for text"
        );
    }
}

#[test]
fn identifiers_are_unique_and_what_is_referred_to_is_there() {
    let page = report(&sample::comparison());
    let mut ids: Vec<&str> = page.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count);
    for list in page.split("aria-labelledby=\"").skip(1) {
        for id in list.split('"').next().unwrap_or_default().split(' ') {
            assert!(ids.contains(&id), "{id}");
        }
    }
}

#[test]
fn every_tag_that_opens_closes() {
    let page = report(&sample::comparison());
    let page = body(&page);
    for tag in [
        "table",
        "tbody",
        "tr",
        "td",
        "th",
        "svg",
        "g",
        "figure",
        "figcaption",
        "section",
        "dl",
        "ul",
        "li",
        "h2",
        "div",
    ] {
        let opened = page.matches(&format!("<{tag}>")).count() + page.matches(&format!("<{tag} ")).count();
        let closed = page.matches(&format!("</{tag}>")).count();
        assert_eq!(opened, closed, "{tag}");
        assert!(opened > 0, "{tag}");
    }
}

#[test]
fn headings_go_down_one_step_at_a_time() {
    let page = report(&sample::comparison());
    let levels: Vec<u32> = body(&page)
        .match_indices("<h")
        .filter_map(|(at, _)| body(&page)[at + 2..].chars().next()?.to_digit(10))
        .collect();
    assert_eq!(levels.first(), Some(&1));
    assert!(levels.windows(2).all(|w| w[1] <= w[0] + 1), "{levels:?}");
}

#[test]
fn what_people_typed_is_text_and_no_markup() {
    let mut comparison = sample::comparison();
    comparison.facts.notes = "<script>alert(1)</script> & more".into();
    comparison.axles[0].findings[0].text = "<b>bold</b>".into();
    let page = report(&comparison);
    assert!(!page.contains("<script") && !page.contains("<b>bold"));
    assert!(page.contains("&lt;script&gt;"));
}

#[test]
fn a_run_in_which_nothing_differs_says_so() {
    let mut comparison = sample::comparison();
    for number in comparison.axles[0].numbers.values_mut() {
        if number.verdict == Verdict::Differs {
            number.verdict = Verdict::Agrees;
        }
    }
    comparison.axles[0].findings.clear();
    let page = report(&comparison);
    assert!(page.contains("it moves as drawn, as far as this run can tell."));
    assert!(page.contains("Nothing differs, so there is nothing to explain."));
    assert!(!page.contains("Likeliest reason"));
    for number in comparison.axles[0].numbers.values_mut() {
        if number.verdict == Verdict::Agrees {
            number.verdict = Verdict::NotResolved;
        }
    }
    let page = report(&comparison);
    assert!(page.contains("the run does not decide whether it moves as drawn."));
    comparison.axles[0].numbers.get_mut(&Key::RollSteer).expect("the number").verdict = Verdict::Agrees;
    assert!(
        report(&comparison).contains("nothing differs from the drawing, but most numbers are not resolved.")
    );
}

#[test]
fn a_run_that_measured_nothing_still_has_a_report() {
    let mut comparison = sample::comparison();
    let axle = &mut comparison.axles[0];
    axle.analysis.along.clear();
    axle.analysis.path.clear();
    axle.analysis.budget.clear();
    axle.analysis.links.clear();
    axle.analysis.turned.clear();
    axle.analysis.residuals.clear();
    axle.analysis.ramp_travel_index.iter_mut().for_each(|index| index.profile.clear());
    axle.analysis.fit.chi_square_per_dof = None;
    axle.designed_along.clear();
    axle.findings.clear();
    for number in axle.numbers.values_mut() {
        number.measured =
            crate::measure::Measured::without(crate::measure::Status::NotExcited, "the axle did not move");
        number.difference = crate::judge::Quantity::default();
        number.verdict = Verdict::NotMeasured;
    }
    let page = report(&comparison);
    assert!(page.contains("nothing could be compared with the drawing."));
    assert!(page.contains("The axle did not move."));
    assert!(!body(&page).contains("NaN"));
}

#[test]
fn every_picture_is_a_file_that_needs_nothing_else() {
    let pictures = pictures(&sample::comparison(), &sample::bramble(), Units::Mm, 1.0).expect("pictures");
    let mut names: Vec<&str> = pictures.iter().map(|p| p.name.as_str()).collect();
    assert!(
        names.contains(&"rear-wide-side-view.svg") && names.contains(&"rear-flex-steer.png"),
        "{names:?}"
    );
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count);
    for Picture { name, bytes } in &pictures {
        if name.ends_with(".png") {
            assert!(bytes.starts_with(b"\x89PNG\r\n\x1a\n"), "{name}");
        } else {
            let text = std::str::from_utf8(bytes).expect("text");
            assert!(text.starts_with("<svg ") && text.trim_end().ends_with("</svg>"), "{name}");
            assert_eq!(text.matches("://").count(), 1, "{name}: only the name of the format");
            assert!(text.contains("@font-face"), "{name}");
        }
    }
}

#[test]
fn where_the_calibration_stands_is_told_before_the_origin() {
    let found = ZeroFound { reading: 0.512, offset: 0.003, u: 0.001, factor: 1.0 };
    let calibration = vec![standing(Found::Zero(found))];
    let page =
        html(&sample::comparison(), &sample::bramble(), &Options { calibration, ..Default::default() });
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("no {text}"));
    assert!(
        at(QUESTION) < at("Zero calibrated 2026-11-26") && at("Zero calibrated") < at("Where this came from")
    );
    assert!(page.contains("190 days old"));
    assert!(!report(&sample::comparison()).contains(QUESTION), "without one nothing is said");
}
