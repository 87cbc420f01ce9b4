//! What holds for every drawing of every layout: true to scale, badges apart, text large enough and inside.

use super::*;
use crate::files::starters::Layout;
use crate::geometry::Pose;
use crate::show::{Units, font, sample};
use crate::vehicle::Vehicle;
use crate::vehicle::file::parse;

fn starter(layout: Layout) -> Vehicle {
    parse(&layout.vehicle_text("Bramble"), "starter").expect("a starter is valid")
}

fn known(roll_rad: f64) -> Known {
    let value = |value| Value { value, half: 0.02 };
    Known {
        pose: Some(Pose::heave_roll(0.02, roll_rad)),
        centre_m: Some([value(2.4), value(0.8)]),
        roll_centre_m: Some(value(0.6)),
        roll_axis_rise_rad: Some(0.05),
    }
}

fn every_drawing() -> Vec<(String, Drawing, f64)> {
    let mut all = Vec::new();
    for (word, layout) in Layout::WORDS {
        let vehicle = starter(layout);
        for size in [Size::Narrow, Size::Wide] {
            for drawing in views(&vehicle, 0, Some(&known(0.17)), Some(&known(0.18)), Units::Mm, size) {
                all.push((format!("{word}: {}", drawing.slug), drawing, size.width_px()));
            }
        }
    }
    all
}

fn attribute(tag: &str, name: &str) -> Option<f64> {
    tag.split_once(&format!(" {name}=\""))?.1.split('"').next()?.parse().ok()
}

/// Tags of one kind, each with what follows up to its content's end.
fn tags<'a>(svg: &'a str, name: &str) -> Vec<&'a str> {
    svg.split(&format!("<{name}")).skip(1).map(|rest| rest.split("</").next().unwrap_or(rest)).collect()
}

#[test]
fn every_layout_is_drawn_from_three_sides() {
    assert_eq!(every_drawing().len(), Layout::WORDS.len() * 2 * 3);
    for (name, drawing, _) in every_drawing() {
        assert!(drawing.svg.contains("<title") && drawing.svg.contains("<desc"), "{name}");
        assert!(!drawing.svg.contains("://") && !drawing.svg.contains("NaN"), "{name}");
    }
}

#[test]
fn text_is_large_enough_and_inside() {
    for (name, drawing, width) in every_drawing() {
        for tag in tags(&drawing.svg, "text") {
            let size = attribute(tag, "font-size").expect("a size");
            // 9 pt are 12 CSS px, and a drawing may be shown at 0.94 of its width.
            assert!(0.94 * size >= 12.0, "{name}: {size}");
            let content = tag.split_once('>').expect("content").1;
            let (x, wide) = (attribute(tag, "x").expect("a place"), font::width_px(content, size));
            let left = if tag.contains("\"middle\"") { x - wide / 2.0 } else { x };
            assert!(left >= -0.5 && left + wide <= width + 0.5, "{name}: \"{content}\" at {left}");
        }
    }
}

#[test]
fn badges_do_not_lie_on_each_other() {
    for (name, drawing, _) in every_drawing() {
        let radius = format!("r=\"{:.1}\"", labels::BADGE_PX);
        let picture = drawing.svg.split("<g transform").next().unwrap_or_default();
        let badges: Vec<[f64; 2]> = tags(picture, "circle")
            .into_iter()
            .filter(|tag| tag.contains(&radius))
            .map(|tag| ["cx", "cy"].map(|a| attribute(tag, a).expect("a place")))
            .collect();
        assert!(!badges.is_empty(), "{name}");
        for (k, a) in badges.iter().enumerate() {
            for b in &badges[k + 1..] {
                let apart = (a[0] - b[0]).hypot(a[1] - b[1]);
                assert!(apart >= 2.0 * labels::BADGE_PX, "{name}: {a:?} and {b:?}");
            }
        }
    }
}

#[test]
fn every_link_is_named_in_the_key() {
    for (name, drawing, _) in every_drawing() {
        if name.contains("narrow-rear-view") && name.starts_with("four-link") {
            for link in ["lower left", "lower right", "upper left", "upper right"] {
                assert!(drawing.svg.contains(link), "{name}: {link}");
            }
        }
    }
}

#[test]
fn drawings_are_true_to_scale() {
    let vehicle = sample::bramble();
    for drawing in views(&vehicle, 0, Some(&known(0.17)), None, Units::Mm, Size::Wide) {
        let svg = &drawing.svg;
        // The bar of 500 mm is the only horizontal line right before its words.
        let before = svg.split("500 mm").next().expect("the bar");
        let ends: Vec<f64> = before
            .rsplit("points=\"")
            .nth(1)
            .and_then(|p| p.split('"').next())
            .expect("its points")
            .split([' ', ','])
            .filter_map(|v| v.parse().ok())
            .collect();
        let px_per_m = (ends[2] - ends[0]) / 0.5;
        if drawing.slug.ends_with("side-view") {
            let wheel = tags(svg, "circle").into_iter().filter_map(|t| attribute(t, "r"));
            let greatest = wheel.fold(0.0, f64::max);
            assert!((greatest - 0.46 * px_per_m).abs() < 0.02 * greatest, "{greatest} at {px_per_m} px/m");
        } else {
            let tyres: Vec<f64> = tags(svg, "rect x").iter().filter_map(|t| attribute(t, "height")).collect();
            assert_eq!(tyres.len(), 2);
            assert!(tyres.iter().all(|h| (h - 0.92 * px_per_m).abs() < 0.02 * h), "{tyres:?}");
        }
    }
}

#[test]
fn a_centre_off_the_paper_is_told_in_words() {
    let vehicle = sample::bramble();
    let far = Known { centre_m: Some([9.1, 1.2].map(|value| Value { value, half: 0.1 })), ..known(0.17) };
    let drawings = views(&vehicle, 0, None, Some(&far), Units::Mm, Size::Narrow);
    assert!(drawings[0].svg.contains("instant centre, 9100 mm ahead, off the paper"));
}

#[test]
fn a_centre_off_the_paper_has_its_mark_by_an_arrow_at_the_edge() {
    /// The mark stands by the arrow's head: its own width and the head's, and room to get out of another mark's way, px.
    const BY_THE_EDGE_PX: f64 = 60.0;
    let vehicle = sample::bramble();
    for (x, size) in [(9.1, Size::Narrow), (-9.1, Size::Narrow), (9.1, Size::Wide)] {
        let far = Known { centre_m: Some([x, 1.2].map(|value| Value { value, half: 0.1 })), ..known(0.17) };
        let drawings = views(&vehicle, 0, None, Some(&far), Units::Mm, size);
        let picture = drawings[0].svg.split("<g transform").next().expect("a picture");
        let marks: Vec<&str> = tags(picture, "text").into_iter().filter(|tag| tag.ends_with(">A")).collect();
        assert_eq!(marks.len(), 1, "{x} {size:?}");
        let at = attribute(marks[0], "x").expect("a place");
        let edge = if x > 0.0 { size.width_px() - at } else { at };
        assert!((0.0..BY_THE_EDGE_PX).contains(&edge), "{x} {size:?}: {at}");
    }
}

#[test]
fn without_a_pose_there_is_the_side_view_alone() {
    let vehicle = sample::bramble();
    let only = Known { pose: None, ..known(0.17) };
    assert_eq!(views(&vehicle, 0, Some(&only), None, Units::Mm, Size::Wide).len(), 1);
    assert!(views(&vehicle, 7, Some(&only), None, Units::Mm, Size::Wide).is_empty());
}
