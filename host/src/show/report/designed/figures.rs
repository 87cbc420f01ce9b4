//! Drawings of each layout, true to one scale, and plots of all layouts over each other.

use super::super::{Picture, figures};
use crate::jobs::predict::Predicted;
use crate::show::drawing::{self, Designed, Drawing, Size};
use crate::show::plot::{self, Look, Plot, PlotError};
use crate::show::told::Told;
use crate::show::{Units, beside};
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
        let (slug, colour) = (plot::slug(&told.name), Look::Layout(k).colour());
        Some(Designed::of(&told.vehicle.drawn, axle_index, told.axle, slug, colour))
    };
    axles.iter().enumerate().filter_map(one).collect()
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
