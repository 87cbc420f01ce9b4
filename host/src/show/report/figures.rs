//! Drawings and curves on the page.

use crate::geometry::Pose;
use crate::judge::{AxleComparison, Comparison};
use crate::measure::Measured;
use crate::show::drawing::{self, Drawing, Known, Size, Value};
use crate::show::plot::{self, Curves, Plot, PlotError};
use crate::show::sweeps::Sweeps;
use crate::show::units::HALF_95;
use crate::show::{Units, rows, words};
use crate::vehicle::Vehicle;
use crate::vehicle::numbers::Key;
use maud::{Markup, PreEscaped, html};

/// Side view over the whole width, rear view and plan side by side, drawn and measured over each other.
pub fn drawings(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Markup {
    let (drawn, measured) = known(axle);
    let views =
        |size| drawing::views(vehicle, axle.analysis.index, Some(&drawn), Some(&measured), units, size);
    let (wide, narrow) = (views(Size::Wide), views(Size::Narrow));
    html! {
        h2 { "What that looks like" }
        @if let (Some(wide), Some(narrow)) = (wide.first(), narrow.first()) {
            figure.side {
                figcaption { strong { (wide.title) } }
                div.wide { (picture(wide)) }
                div.narrow { (picture(narrow)) }
            }
        }
        div.plots {
            @for drawing in narrow.iter().skip(1) {
                figure { figcaption { strong { (drawing.title) } } (picture(drawing)) }
            }
        }
        p.note { "To scale. Tyre widths are only for the look. What is measured is the axle: links are shown from the chassis "
            "joints where they were drawn, for a run by itself does not see those." }
    }
}

/// A drawing on the page.
pub fn picture(drawing: &Drawing) -> Markup {
    PreEscaped(drawing.svg.clone())
}

/// What drawing and measurement know of the axle: at ride height, and its pose near 10° of articulation.
fn known(axle: &AxleComparison) -> (Known, Known) {
    let number = |key: Key| axle.numbers.get(&key);
    let value = |value: f64, u: Option<f64>| Value { value, half: HALF_95 * u.unwrap_or(0.0) };
    let designed = |key: Key| number(key).and_then(|n| Some(value(n.designed.value?, n.designed.u)));
    let seen =
        |key: Key| number(key).and_then(|n| Measured::measured(&n.measured)).map(|(v, u)| value(v, Some(u)));
    let at_ride = |of: &dyn Fn(Key) -> Option<Value>, pose: Option<Pose>| Known {
        pose,
        centre_m: of(Key::SideViewInstantCentreX).zip(of(Key::SideViewInstantCentreZ)).map(|(x, z)| [x, z]),
        roll_centre_m: of(Key::RollCentreZ),
        roll_axis_rise_rad: of(Key::RollAxisRise).map(|v| v.value),
    };
    let near = articulated(axle);
    let measured_pose = near.map(|k| axle.analysis.along[k].pose);
    let designed_pose = near.and_then(|k| axle.designed_along.get(k)?.as_ref()).map(|d| d.pose);
    (at_ride(&designed, designed_pose), at_ride(&seen, measured_pose))
}

/// Poses near 10° of articulation, as drawn and as measured; none where either is not wholly known.
pub fn flexed_poses(axle: &AxleComparison) -> Option<[Pose; 2]> {
    let (drawn, measured) = known(axle);
    Some([drawn.pose?, measured.pose?])
}

/// The state going up that is nearest to 10° with the left wheel up; none where the pose is not wholly measured.
fn articulated(axle: &AxleComparison) -> Option<usize> {
    let along = &axle.analysis.along;
    let off = |k: &usize| (along[*k].roll_rad - rows::FLEX_RAD).abs();
    let whole = axle.analysis.seen.iter().all(|seen| *seen);
    let near = Sweeps::of(along).roll[0].iter().copied().min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (whole && along[near].roll_rad.abs() > rows::LEAST_FLEX_RAD).then_some(near)
}

/// A picture of a report as a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Its name, without folder.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Every drawing (SVG) and every plot (SVG and PNG, `scale` pixels per CSS px) of a report, for use elsewhere.
///
/// # Errors
/// If a plot cannot be drawn.
pub fn pictures(
    comparison: &Comparison,
    vehicle: &Vehicle,
    units: Units,
    scale: f64,
) -> Result<Vec<Picture>, PlotError> {
    let mut all = Vec::new();
    for axle in &comparison.axles {
        let (drawn, measured) = known(axle);
        let index = axle.analysis.index;
        for drawing in drawing::views(vehicle, index, Some(&drawn), Some(&measured), units, Size::Wide) {
            all.push(Picture { name: format!("{}.svg", drawing.slug), bytes: drawing.file().into_bytes() });
        }
        let by_itself = [
            plot::climbs(&axle.analysis, units),
            plot::holds(&axle.analysis, comparison.facts.load_n, units),
            plot::loops(&axle.analysis, units),
            plot::residuals(&axle.analysis, units),
        ];
        for plot in all_plots(axle, vehicle, units).plots.iter().chain(by_itself.iter().flatten()) {
            all.extend(plot_files(plot, scale)?);
        }
    }
    Ok(all)
}

/// A plot as SVG and as PNG.
///
/// # Errors
/// If it cannot be drawn.
pub fn plot_files(plot: &Plot, scale: f64) -> Result<[Picture; 2], PlotError> {
    let svg = Picture { name: format!("{}.svg", plot.slug), bytes: plot::svg(plot)?.into_bytes() };
    let png = Picture { name: format!("{}.png", plot.slug), bytes: plot::png(plot, scale)? };
    Ok([svg, png])
}

/// Plots that everyone looks at first.
const FIRST: [&str; 4] = ["flex-steer", "wheel-travel", "articulation", "instant-centre-path"];

fn all_plots(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Curves {
    plot::of_axle(&axle.analysis, &axle.designed_along, vehicle, units)
}

fn is_first(plot: &Plot, axle: &AxleComparison) -> bool {
    let own = plot::slug(&axle.name);
    FIRST.iter().any(|name| plot.slug == format!("{own}-{name}"))
}

/// Motion over time, flex steer, path of the instant centre.
pub fn curves(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Markup {
    let plots: Vec<Plot> =
        all_plots(axle, vehicle, units).plots.into_iter().filter(|p| is_first(p, axle)).collect();
    html! {
        @if !plots.is_empty() {
            h2 { "What it does along the travel" }
            p.note { "Bands are 95 % intervals; up and down are the two ways of the travel, apart." }
            (grid(&plots))
        }
    }
}

/// Every number and every link along the travel, and what each sensor leaves over.
pub fn more_curves(axle: &AxleComparison, vehicle: &Vehicle, units: Units) -> Markup {
    let Curves { plots, left_out } = all_plots(axle, vehicle, units);
    let plots: Vec<Plot> = plots.into_iter().filter(|p| !is_first(p, axle)).collect();
    let loops = plot::loops(&axle.analysis, units);
    let residuals = plot::residuals(&axle.analysis, units);
    html! {
        @if !plots.is_empty() || !left_out.is_empty() {
            section {
                (headed(html! { h2 { "Every number along the travel of the " (axle.name) " axle" } }, &plots))
                @if !left_out.is_empty() {
                    p.note { "Left out, for too few states of the travel have a value: " (words::list(&left_out)) "." }
                }
            }
        }
        @if !loops.is_empty() {
            section {
                (headed(html! {
                    h2 { "Every link along the travel of the " (axle.name) " axle" }
                    p.note { "A link keeps its length where its ends are where they were drawn. A loop that gapes is slack or friction: in the link's \
                        joints, or in the sensors. Where sensors are clipped moves both ways together, so the gap between them is known better than the bands." }
                }, &loops))
            }
        }
        @if !residuals.is_empty() {
            section {
                (headed(html! {
                    h2 { "What each sensor of the " (axle.name) " axle leaves over" }
                    p.note { "What was read less what the motion that all sensors together give lets expect. By what rig.toml says of the sensors, 95 % \
                        lie within the grey band; of every stretch the worst instant is shown. A sensor that nothing else checks has no plot." }
                }, &residuals))
            }
        }
    }
}

/// Plots under what heads them, which paper does not part from the first of them.
fn headed(head: Markup, plots: &[Plot]) -> Markup {
    let (first, rest) = plots.split_at(plots.len().min(2));
    html! {
        div.kept { (head) (grid(first)) }
        (grid(rest))
    }
}

/// Plots side by side as far as they fit; nothing where there are none.
pub fn grid(plots: &[Plot]) -> Markup {
    html! {
        @if !plots.is_empty() {
            div.plots {
                @for plot in plots {
                    // A plot that cannot be drawn has no points, and those were left out.
                    @if let Ok(svg) = plot::inline_svg(plot) {
                        figure { figcaption { strong { (plot.title) } } (PreEscaped(svg)) }
                    }
                }
            }
        }
    }
}
