//! What holds for every designed sheet: the verdict first, every layout told by more than colour, nothing from outside, sound
//! HTML that can be read without seeing it.

use super::{html, pictures, verdict};
use crate::design::Wanted;
use crate::design::cases;
use crate::design::loads::LoadCase;
use crate::jobs::cautions::CAUTIONS;
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::show::report::Options;
use crate::show::{Units, entries};
use crate::vehicle::Vehicle;
use std::collections::BTreeSet;

fn predicted(vehicles: &[(&str, Vehicle)], loads: &[LoadCase]) -> Predicted {
    let wanted = Wanted { states: vec![], loads: loads.to_vec(), ..Wanted::default() };
    let one = |(name, vehicle): &(&str, Vehicle)| {
        let drawn = Vehicle { name: (*name).to_owned(), hash: format!("hash-of-{name}"), ..vehicle.clone() };
        PredictedVehicle::of(&format!("{name}.toml"), drawn, &wanted).expect("a case predicts")
    };
    Predicted { vehicles: vehicles.iter().map(one).collect() }
}

fn three() -> Predicted {
    predicted(
        &[("four-link", cases::s()), ("wishbone", cases::w()), ("double", cases::t())],
        &[LoadCase::Drive(8000.0)],
    )
}

fn page(predicted: &Predicted) -> String {
    let options = Options { made: Some("18 May 2026".into()), ..Default::default() };
    html(predicted, &options)
}

fn body(page: &str) -> &str {
    page.split_once("<body>").expect("a body").1
}

/// Headings of a page with their level, without the swatches in them.
fn headings(page: &str) -> Vec<(u32, String)> {
    let body = body(page);
    let level = |at: usize| body[at + 2..].chars().next().and_then(|c| c.to_digit(10));
    body.match_indices("<h")
        .filter_map(|(at, _)| Some((at, level(at)?)))
        .map(|(at, level)| {
            let inner = body[at..].split_once('>').expect("a tag").1;
            let inner = inner.split(&format!("</h{level}>")).next().expect("an end");
            let text = inner.rsplit("</svg>").next().expect("text");
            (level, text.to_owned())
        })
        .collect()
}

#[test]
fn the_order_is_verdict_drawings_travel_numbers_loads_origin_cautions() {
    let page = page(&three());
    let headings = headings(&page);
    let second: Vec<&str> = headings.iter().filter(|(l, _)| *l == 2).map(|(_, t)| t.as_str()).collect();
    insta::assert_snapshot!(second.join("\n"));
    assert_eq!(headings.first().map(|(level, _)| *level), Some(1));
    assert!(headings.windows(2).all(|w| w[1].0 <= w[0].0 + 1), "{headings:?}");
}

#[test]
fn gains_and_losses_stand_by_question_with_their_numbers() {
    let page = page(&three());
    let gains = body(&page).split("What does it look like?").next().expect("the first part");
    for part in [
        "Does it steer itself?",
        "gains: ",
        "gives up: ",
        "Steers itself less when flexed",
        "No clear difference",
    ] {
        assert!(gains.contains(part), "{part}");
    }
    for word in ["score", "best", "winner", "rank"] {
        let said = gains.matches(word).count();
        assert!(said == 0 || word == "score" && gains.contains("there is no score"), "{word}");
    }
    assert!(verdict(&three(), Units::Mm).contains("double steers itself less when flexed"));
}

#[test]
fn layouts_of_one_geometry_are_level() {
    let same = predicted(&[("one", cases::s()), ("other", cases::s())], &[]);
    assert_eq!(verdict(&same, Units::Mm), "Rear axles, as drawn: there is no clear difference between them.");
}

#[test]
fn one_vehicle_is_told_alone() {
    let page = page(&predicted(&[("Bramble", cases::h())], &[]));
    assert!(page.contains("Bramble, front axle, as drawn: flexed to 10.0° left wheel up"));
    assert!(!page.contains("What does each gain"));
    assert!(!page.contains("What does each link carry?"), "loads only where asked");
}

#[test]
fn ends_of_the_vehicle_are_not_mixed() {
    let page = page(&predicted(&[("front", cases::h()), ("rear", cases::t())], &[]));
    let first = headings(&page).into_iter().filter(|(level, _)| *level == 1).map(|(_, text)| text);
    let first: Vec<String> = first.collect();
    assert_eq!(first.len(), 2);
    assert!(
        first[0].starts_with("front, front axle") && first[1].starts_with("rear, rear axle"),
        "{first:?}"
    );
}

#[test]
fn nothing_is_fetched_and_everything_is_told_without_sight() {
    let page = page(&three());
    let without_fonts: String = page
        .split("base64,")
        .enumerate()
        .map(|(k, part)| if k == 0 { part } else { part.split_once(')').map_or("", |(_, rest)| rest) })
        .collect();
    for reach in ["http:", "https:", "//", "<script", "<link", "<img", "<iframe", "@import", "src=\""] {
        assert!(!without_fonts.contains(reach), "{reach}");
    }
    let ids: Vec<&str> = page.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let distinct: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), distinct.len());
    for svg in page.split("<svg ").skip(1) {
        let tag = svg.split('>').next().expect("a tag");
        let labels = tag.split_once("aria-labelledby=\"").and_then(|(_, rest)| rest.split('"').next());
        let named = tag.contains("role=\"img\"")
            && labels
                .is_some_and(|l| l.split(' ').count() == 2 && l.split(' ').all(|id| distinct.contains(id)));
        assert!(named || tag.contains("aria-hidden=\"true\""), "{tag}");
    }
    assert!(!body(&page).contains("NaN"));
}

#[test]
fn every_tag_that_opens_closes() {
    let page = page(&three());
    let page = body(&page);
    for tag in [
        "table", "tbody", "tr", "td", "th", "svg", "figure", "section", "dl", "dt", "dd", "h2", "h3", "div",
        "p",
    ] {
        let opened = page.matches(&format!("<{tag}>")).count()
            + page.matches(&format!("<{tag} ")).count()
            + page.matches(&format!("<{tag}.")).count();
        assert_eq!(opened, page.matches(&format!("</{tag}>")).count(), "{tag}");
        assert!(opened > 0, "{tag}");
    }
}

#[test]
fn origin_loads_and_cautions_are_there() {
    let page = page(&three());
    for part in [
        "four-link.toml",
        "hash-of-wishbone",
        "18 May 2026",
        entries::LOADS_CAUTION,
        "certify a vehicle as safe",
    ] {
        assert!(page.contains(part), "{part}");
    }
    for caution in CAUTIONS {
        assert!(page.contains(caution), "{caution}");
    }
}

#[test]
fn names_that_people_typed_are_text_and_no_markup() {
    let page = page(&predicted(&[("<b>a</b>", cases::s()), ("x & y", cases::w())], &[]));
    assert!(
        !page.contains("<b>a</b>") && page.contains("&lt;b&gt;a&lt;/b&gt;") && page.contains("x &amp; y")
    );
}

#[test]
fn pictures_have_names_of_their_own_and_need_nothing_else() {
    let pictures = pictures(&three(), Units::In, 1.0).expect("pictures");
    let names: BTreeSet<&str> = pictures.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names.len(), pictures.len());
    for name in ["double-rear-wide-plan.svg", "rear-flex-steer.svg", "rear-flex-steer.png"] {
        assert!(names.contains(name), "{name} is missing from {names:?}");
    }
    for picture in pictures.iter().filter(|p| p.name.ends_with(".svg")) {
        let text = std::str::from_utf8(&picture.bytes).expect("text");
        assert_eq!(text.matches("://").count(), 1, "{}: only the name of the format", picture.name);
    }
}
