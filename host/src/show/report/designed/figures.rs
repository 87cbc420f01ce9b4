//! Drawings of each layout, true to one scale, and plots of all layouts over each other.

use super::super::{Picture, figures};
use crate::design::prediction::{AtState, AxlePrediction};
use crate::geometry::Pose;
use crate::jobs::predict::Predicted;
use crate::show::drawing::{self, Designed, Drawing, Known, Size, Value};
use crate::show::plot::{self, Look, Plot, PlotError};
use crate::show::told::Told;
use crate::show::units::HALF_95;
use crate::show::{Units, beside};
use crate::vehicle::numbers::Key;
use maud::{Markup, html};

/// Side view over the whole width, rear view and plan side by side, of each layout.
pub fn drawings(axles: &[Told]) -> Markup {
    let Some(units) = axles.first().map(|told| told.units) else { return html! {} };
    let shown = shown(axles);
    let [wide, narrow] = [Size::Wide, Size::Narrow].map(|size| drawing::designed(&shown, units, size));
    html! {
        h2 { "What does it look like?" }
        p.note { "To scale, all layouts to the same one. Tyre widths are only for the look. "
            "Link lines are drawn on only where they really meet the instant centre or the roll axis." }
        @for ((k, told), (wide, narrow)) in axles.iter().enumerate().zip(wide.iter().zip(&narrow)) {
            div.layout {
                @if axles.len() > 1 { h3 { (super::super::swatch::of(k)) (told.name) } }
                (views(wide, narrow))
            }
        }
    }
}

fn views(wide: &[Drawing], narrow: &[Drawing]) -> Markup {
    html! {
        @if let (Some(wide), Some(narrow)) = (wide.first(), narrow.first()) {
            figure.side {
                figcaption { strong { (wide.title) } }
                div.wide { (figures::picture(wide)) }
                div.narrow { (figures::picture(narrow)) }
            }
        }
        div.plots {
            @for drawing in narrow.iter().skip(1) {
                figure { figcaption { strong { (drawing.title) } } (figures::picture(drawing)) }
            }
        }
    }
}

fn shown<'a>(axles: &[Told<'a>]) -> Vec<Designed<'a>> {
    let one = |(k, told): (usize, &Told<'a>)| {
        let axle_index = told.vehicle.drawn.axles.iter().position(|a| a.name == told.axle.name)?;
        Some(Designed {
            vehicle: &told.vehicle.drawn,
            axle_index,
            slug: plot::slug(&told.name),
            ride: at_ride(told.axle),
            heave: ends(&told.axle.sweeps.heave),
            roll: ends(&told.axle.sweeps.roll),
            centre_path_m: centre_path(told.axle),
            colour: Look::Layout(k).colour(),
        })
    };
    axles.iter().enumerate().filter_map(one).collect()
}

fn at_ride(axle: &AxlePrediction) -> Known {
    let value = |key: Key| {
        let value = axle.ride.numbers.get(key)?;
        Some(Value { value, half: HALF_95 * axle.ride_u.get(key).unwrap_or(0.0) })
    };
    Known {
        pose: None,
        centre_m: value(Key::SideViewInstantCentreX)
            .zip(value(Key::SideViewInstantCentreZ))
            .map(|(x, z)| [x, z]),
        roll_centre_m: value(Key::RollCentreZ),
        roll_axis_rise_rad: value(Key::RollAxisRise).map(|v| v.value),
    }
}

/// The furthest poses that a sweep reaches on both sides.
fn ends(sweep: &[AtState]) -> Vec<Pose> {
    let reached = || sweep.iter().filter_map(|at| Some((at, at.outcome.as_ref().ok()?)));
    let far = |at: &AtState| at.heave_m.abs().max(at.roll_rad.abs()) > 0.0;
    let ends = [reached().next(), reached().next_back()];
    ends.into_iter().flatten().filter(|(at, _)| far(at)).map(|(_, r)| r.pose).collect()
}

fn centre_path(axle: &AxlePrediction) -> Vec<[f64; 2]> {
    let at = |at: &AtState| {
        let numbers = &at.outcome.as_ref().ok()?.numbers;
        Some([numbers.get(Key::SideViewInstantCentreX)?, numbers.get(Key::SideViewInstantCentreZ)?])
    };
    axle.sweeps.heave.iter().filter_map(at).collect()
}

/// The plots that everyone looks at first.
pub fn curves(axles: &[Told]) -> Markup {
    let plots = with_units(axles, plot::first_of_layouts);
    html! {
        @if !plots.is_empty() {
            h2 { "What does it do along the travel?" }
            @if axles.len() > 1 { p.note { "Each layout has a line, a mark and a colour of its own." } }
            (figures::grid(&plots))
        }
    }
}

/// Every number along the travel.
pub fn more_curves(axles: &[Told]) -> Markup {
    let plots = with_units(axles, plot::more_of_layouts);
    html! {
        @if !plots.is_empty() {
            section {
                h2 { "Every number along the travel, " (super::end_word(axles)) }
                (figures::grid(&plots))
            }
        }
    }
}

fn with_units(axles: &[Told], of: fn(&[plot::Named], Units) -> Vec<Plot>) -> Vec<Plot> {
    let named: Vec<plot::Named> = axles.iter().map(|told| (told.name.as_str(), told.axle)).collect();
    axles.first().map_or_else(Vec::new, |told| of(&named, told.units))
}

/// Every drawing (SVG) and every plot (SVG, and PNG of `scale` pixels per CSS px) of a sheet, for use elsewhere.
///
/// # Errors
/// If a plot cannot be drawn.
pub fn pictures(predicted: &Predicted, units: Units, scale: f64) -> Result<Vec<Picture>, PlotError> {
    let names = beside::names(&predicted.vehicles);
    let mut all = Vec::new();
    for axles in super::ends(predicted, &names, units) {
        for drawing in drawing::designed(&shown(&axles), units, Size::Wide).iter().flatten() {
            all.push(Picture { name: format!("{}.svg", drawing.slug), bytes: drawing.file().into_bytes() });
        }
        let plots = [plot::first_of_layouts, plot::more_of_layouts].map(|of| with_units(&axles, of));
        for plot in plots.iter().flatten() {
            all.extend(figures::plot_files(plot, scale)?);
        }
    }
    Ok(all)
}
