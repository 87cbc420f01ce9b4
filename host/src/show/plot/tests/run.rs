//! What plots of a run by itself show, held to the sample's numbers; and plots with too little in them.

use super::super::*;
use super::plots;
use crate::measure::{AxleAnalysis, Measured, Status};
use crate::show::units::HALF_95;
use crate::show::{Units, sample};
use crate::vehicle::numbers::Key;

fn axle() -> AxleAnalysis {
    sample::comparison().axles.remove(0).analysis
}

fn points(line: &Line) -> Vec<Point> {
    line.pieces.iter().flatten().copied().collect()
}

#[test]
fn a_climb_shows_articulation_inclination_and_the_lift() {
    let [plot] = <[Plot; 1]>::try_from(climbs(&axle(), Units::Mm)).expect("the right wheel never climbed");
    let looks: Vec<Look> = plot.lines.iter().map(|l| l.look).collect();
    assert_eq!(
        (plot.slug.as_str(), looks),
        ("rear-ramp-left", vec![Look::First, Look::Second, Look::Moment])
    );
    let articulation = points(&plot.lines[0]);
    let highest = articulation.iter().map(|p| p.y).fold(0.0, f64::max);
    assert!((highest - 0.25_f64.to_degrees()).abs() < 1e-9);
    assert!((articulation[3].half.expect("a band") - (HALF_95 * 0.0012).to_degrees()).abs() < 1e-9);
    assert!(points(&plot.lines[2]).iter().all(|p| p.x == 31.0));
    let mut never = axle();
    never.ramp_travel_index[0].lift_t_s = None;
    let plot = climbs(&never, Units::Mm).remove(0);
    assert!(plot.lines.len() == 2 && plot.description.ends_with("The other wheel did not lift."));
}

#[test]
fn holds_differ_by_the_jump_that_is_told() {
    let [plot] = <[Plot; 1]>::try_from(holds(&axle(), Some(1500.0), Units::Mm)).expect("one load");
    assert_eq!(plot.rows.len(), 4);
    assert_eq!(plot.rows[0], "Lower left: 3.10 ± 0.78 mm");
    let [one, other] = plot.lines.as_slice() else { panic!("two ways") };
    let jump = points(one)[0].x - points(other)[0].x;
    assert!((jump - 3.1).abs() < 1e-9, "{jump}");
    assert!(plot.title.contains("1500 N"), "{}", plot.title);
    assert_ne!(one.look.marker(), other.look.marker());
}

#[test]
fn a_loop_gapes_by_its_slack() {
    let all = loops(&axle(), Units::Mm);
    let slugs: Vec<&str> = all.iter().map(|p| p.slug.as_str()).collect();
    assert_eq!(slugs.len(), 8, "four links over articulation and over heave: {slugs:?}");
    // The sample has 1.6 mm in the first link, and a tenth of it in the others.
    assert!(all[0].description.contains("at most 1.6"), "{}", all[0].description);
    assert!(all[2].description.contains("at most 0."), "{}", all[2].description);
    let mut blind = axle();
    for link in &mut blind.links {
        link.apparent_m.clear();
    }
    assert!(loops(&blind, Units::Mm).is_empty());
}

#[test]
fn what_strays_is_marked_and_what_nothing_checks_has_no_plot() {
    let all = residuals(&axle(), Units::Mm);
    let titles: Vec<&str> = all.iter().map(|p| p.title.as_str()).collect();
    // The second wire of the sample slips at 30 of 52 s.
    assert_eq!(titles, ["Left down: 0 % beyond", "Left fore: 42 % beyond", "Axle unit, up: 0 % beyond"]);
    let crosses = |plot: &Plot| plot.lines.iter().any(|l| l.look == Look::Beyond);
    assert_eq!(all.iter().map(crosses).collect::<Vec<_>>(), [false, true, false]);
    for plot in &all {
        let band = plot.lines.iter().find(|l| l.look == Look::Allowed).expect("the band");
        assert!(points(band).iter().all(|p| p.y == 0.0 && p.half.is_some_and(|half| half > 0.0)));
    }
}

#[test]
fn the_worst_of_a_stretch_is_what_is_shown() {
    let mut one = axle();
    let sensor = &mut one.residuals[0];
    sensor.points = sensor.points.repeat(10);
    for (k, point) in sensor.points.iter_mut().enumerate() {
        (point.t_s, point.residual) = (0.02 * k as f64, if k == 1234 { 0.02 } else { 0.0 });
    }
    let plot = residuals(&one, Units::Mm).remove(0);
    assert!(plot.lines.iter().map(|l| points(l).len()).max() <= Some(200));
    assert!(plot.lines.iter().any(|l| l.look == Look::Beyond && (points(l)[0].y - 20.0).abs() < 1e-9));
}

#[test]
fn a_number_that_hardly_any_state_has_is_named_and_not_drawn() {
    let mut comparison = sample::comparison();
    let axle = &mut comparison.axles[0];
    for (k, point) in axle.analysis.along.iter_mut().enumerate() {
        if k > 1 {
            point.numbers.insert(Key::AntiSquat, Measured::without(Status::NotResolved, "too coarse"));
        }
    }
    let curves = of_axle(&axle.analysis, &axle.designed_along, &sample::bramble(), Units::Mm);
    assert_eq!(curves.left_out, ["Anti-squat over heave"]);
    assert!(!curves.plots.iter().any(|p| p.slug.contains("anti-squat-percent-over-heave")));
}

#[test]
fn a_point_that_stands_alone_is_seen_with_its_interval() {
    let mut plot = plots(Units::Mm).remove(0);
    let alone = Point { x: 3.0, y: 4.0, half: Some(0.5) };
    plot.lines = vec![Line { name: "one run".into(), look: Look::First, pieces: vec![vec![alone]] }];
    let svg = inline_svg(&plot).expect("an SVG");
    assert!(svg.contains("<circle") && svg.matches("<line").count() + svg.matches("<polyline").count() > 3);
}
