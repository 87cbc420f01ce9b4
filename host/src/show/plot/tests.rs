//! What holds for every plot: text large enough and inside the picture, every line told by more than its colour, a PNG that
//! is one, and nothing that reaches outside the file.

mod run;

use super::*;
use crate::show::{Units, sample};
use std::collections::BTreeSet;

fn plots(units: Units) -> Vec<Plot> {
    let comparison = sample::comparison();
    let axle = &comparison.axles[0];
    of_axle(&axle.analysis, &axle.designed_along, &sample::bramble(), units).plots
}

/// The plots of a run by itself.
fn by_itself(units: Units) -> Vec<Plot> {
    let axle = &sample::comparison().axles.remove(0).analysis;
    [climbs(axle, units), holds(axle, Some(1500.0), units), loops(axle, units), residuals(axle, units)]
        .concat()
}

#[test]
fn every_asked_plot_is_there() {
    let slugs: BTreeSet<String> = plots(Units::Mm).into_iter().map(|p| p.slug).collect();
    for slug in [
        "rear-wheel-travel",
        "rear-articulation",
        "rear-flex-steer",
        "rear-instant-centre-path",
        "rear-anti-squat-percent-over-heave",
        "rear-roll-steer-rad-per-rad-over-articulation",
    ] {
        assert!(slugs.contains(slug), "{slug} is missing from {slugs:?}");
    }
    assert!(!slugs.iter().any(|s| s.contains("heave-rate")), "what was not measured has no plot");
}

#[test]
fn flex_steer_shows_drawn_and_both_ways_with_their_bands() {
    let plot = plots(Units::Mm).into_iter().find(|p| p.slug == "rear-flex-steer").expect("the plot");
    let looks: Vec<Look> = plot.lines.iter().map(|l| l.look).collect();
    assert_eq!(looks, [Look::Drawn, Look::Up, Look::Down]);
    for line in &plot.lines {
        let points: Vec<&Point> = line.pieces.iter().flatten().collect();
        assert_eq!(points.len(), 9);
        // 14.9° is the sample's greatest articulation, 4 · 0.065 rad.
        assert!((points[8].x - 4.0 * 0.065_f64.to_degrees()).abs() < 1e-9);
        assert_eq!(points.iter().all(|p| p.half.is_some()), line.look != Look::Drawn);
    }
}

#[test]
fn a_state_without_a_value_parts_the_line() {
    let mut axle = sample::comparison().axles.remove(0);
    let sweeps = crate::show::sweeps::Sweeps::of(&axle.analysis.along);
    let middle = sweeps.roll[0][4];
    axle.analysis.along[middle].axle_steer_rad =
        crate::measure::Measured::without(crate::measure::Status::NotMeasured, "a gap");
    let curves = of_axle(&axle.analysis, &axle.designed_along, &sample::bramble(), Units::Mm);
    let plot = curves.plots.into_iter().find(|p| p.slug == "rear-flex-steer").expect("the plot");
    assert_eq!(plot.lines[1].pieces.iter().map(Vec::len).collect::<Vec<_>>(), [4, 4]);
}

#[test]
fn looks_differ_in_more_than_colour() {
    let together = [
        [Look::Drawn, Look::Up],
        [Look::Drawn, Look::Down],
        [Look::Up, Look::Down],
        [Look::First, Look::Second],
        [Look::First, Look::Moment],
        [Look::Second, Look::Moment],
        [Look::First, Look::Beyond],
        [Look::First, Look::Allowed],
    ];
    for [a, b] in together {
        let told = |look: Look| (look.is_line(), look.dash(), look.marker());
        assert!(told(a) != told(b), "{a:?} and {b:?}");
    }
    let layouts: Vec<Look> = (0..MOST_LAYOUTS).map(Look::Layout).collect();
    for (k, a) in layouts.iter().enumerate() {
        for b in &layouts[k + 1..] {
            let same_colour = a.colour() == b.colour();
            assert!(!(same_colour && (a.dash() == b.dash() || a.marker() == b.marker())), "{a:?} and {b:?}");
        }
    }
}

/// A text with its size and the box that it fills, in drawing units.
struct Written {
    text: String,
    size: f64,
    across: [f64; 2],
    down: [f64; 2],
}

fn written(svg: &str) -> Vec<Written> {
    svg.split("<text ")
        .skip(1)
        .map(|tag| {
            let attribute = |name: &str| {
                let from = tag.split_once(&format!(" {name}=\"")).or(tag.split_once(&format!("{name}=\"")));
                from.expect("the attribute").1.split('"').next().expect("a value").to_owned()
            };
            let number = |name: &str| attribute(name).parse::<f64>().expect("a number");
            let text = tag.split_once(">\n").expect("content").1.split('\n').next().unwrap_or_default();
            let (size, x, y) = (number("font-size"), number("x"), number("y"));
            let wide = crate::show::font::width_px(text, size);
            let left = match attribute("text-anchor").as_str() {
                "start" => x,
                "end" => x - wide,
                _ => x - wide / 2.0,
            };
            // Every text of a plot is centred on its height or hangs from it; letters fill ±0.5 em about the middle.
            let middle = if attribute("dy") == "0.76em" { y + 0.4 * size } else { y };
            Written {
                text: text.to_owned(),
                size,
                across: [left, left + wide],
                down: [middle - 0.45 * size, middle + 0.45 * size],
            }
        })
        .collect()
}

/// The sample's plots and some whose numbers are long.
fn many_plots() -> Vec<Plot> {
    let mut all = plots(Units::Mm);
    all.extend(plots(Units::In));
    all.extend([Units::Mm, Units::In].into_iter().flat_map(by_itself));
    for (low, high) in [(-16_400.0, -3_900.0), (0.0, 1e5), (-0.000_4, 0.000_3), (2.0, 2.0)] {
        let mut plot = all[3].clone();
        for point in plot.lines.iter_mut().flat_map(|l| l.pieces.iter_mut().flatten()) {
            let share = point.x / 6000.0;
            (point.x, point.y) = (low + share * (high - low), high - share * (high - low));
        }
        all.push(plot);
    }
    all
}

#[test]
fn text_is_large_enough_and_inside() {
    let width = 4.0 * draw::WIDTH_PX;
    for plot in many_plots() {
        let texts = written(&inline_svg(&plot).expect("an SVG"));
        assert!(texts.len() > 4, "{}", plot.slug);
        for Written { text, size, across, .. } in texts {
            // 9 pt are 12 CSS px, and a picture of 336 px may be shown at 0.94 of it.
            assert!(0.94 * size / 4.0 >= 12.0, "{}: {size}", plot.slug);
            assert!(across[0] >= 0.0 && across[1] <= width, "{}: \"{text}\" at {across:?}", plot.slug);
        }
    }
}

#[test]
fn no_text_lies_on_another() {
    for plot in many_plots() {
        let texts = written(&inline_svg(&plot).expect("an SVG"));
        for (k, a) in texts.iter().enumerate() {
            for b in &texts[k + 1..] {
                let meet = |p: [f64; 2], q: [f64; 2]| p[0] < q[1] && q[0] < p[1];
                let clash = meet(a.across, b.across) && meet(a.down, b.down);
                assert!(!clash, "{}: \"{}\" and \"{}\"", plot.slug, a.text, b.text);
            }
        }
    }
}

#[test]
fn a_picture_needs_nothing_from_outside() {
    let plot = plots(Units::Mm).remove(0);
    let inline = inline_svg(&plot).expect("an SVG");
    assert!(!inline.contains("://"));
    assert!(inline.starts_with("<svg ") && inline.contains("<title") && inline.contains("<desc"));
    let file = svg(&plot).expect("an SVG");
    assert!(file.contains("xmlns=\"http://www.w3.org/2000/svg\"") && file.contains("@font-face"));
    assert_eq!(file.matches("://").count(), 1, "only the name of the format");
}

#[test]
fn a_png_has_the_size_it_was_asked_for() {
    let plot = plots(Units::Mm).remove(2);
    let bytes = png(&plot, 2.0).expect("a PNG");
    let mut reader = png_reader(&bytes);
    let mut pixels = vec![0; reader.output_buffer_size()];
    let info = reader.next_frame(&mut pixels).expect("a frame");
    assert_eq!(info.width, (2.0 * draw::WIDTH_PX) as u32);
    let dark = pixels.chunks(3).filter(|p| p.iter().all(|c| *c < 60)).count();
    assert!(dark > 500, "text and lines are drawn: {dark} dark pixels");
}

fn png_reader(bytes: &[u8]) -> png::Reader<&[u8]> {
    png::Decoder::new(bytes).read_info().expect("a PNG")
}

#[test]
fn a_plot_without_points_is_refused_by_name() {
    let mut plot = plots(Units::Mm).remove(0);
    plot.lines.clear();
    assert!(matches!(inline_svg(&plot), Err(PlotError::Empty(slug)) if slug == "rear-wheel-travel"));
}
