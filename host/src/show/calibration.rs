//! What a calibration says, in a builder's words.

use super::units::{HALF_95, Scale, Units, number};
use crate::files::Quantity;
use crate::rig::calibration::{Entry, Found, Standing, TumbleFound};

/// What stands above it.
pub const QUESTION: &str = "Are the sensors calibrated?";

/// The unit in which a sensor's own values are shown.
fn scale_of(quantity: Option<Quantity>, units: Units) -> Scale {
    match quantity {
        Some(Quantity::Angle) => units.angle(),
        Some(Quantity::Force) => units.force(),
        _ => units.length(),
    }
}

/// m/s², as screens show it.
const ACCELERATION: Scale = Scale { unit: " m/s²", per_si: 1.0 };

/// A scale further than this from rig.toml's is more likely a slip than a sensor.
const FAR_OFF: f64 = 0.2;

/// What was found and is to be looked at again, as sentences.
pub fn cautions(added: &[Entry]) -> Vec<String> {
    let scales = added.iter().filter_map(|entry| match &entry.found {
        Found::Scale(found) if (found.factor - 1.0).abs() > FAR_OFF => Some((&entry.sensor, found.factor)),
        _ => None,
    });
    scales
        .map(|(sensor, factor)| {
            format!(
                "The scale of {sensor} is {} times what rig.toml says. Are two lengths swapped, or is it another sensor? \
                 Calibrate it again if so; where rig.toml states no scale this is how it is found.",
                number(factor, 3)
            )
        })
        .collect()
}

/// The day of a date.
fn day(date: &str) -> &str {
    date.get(..10).unwrap_or(date)
}

/// What was found, the residual and the age; or why it is not used.
pub fn sentences(standing: &Standing, units: Units) -> Vec<String> {
    let entry = &standing.entry;
    let word = entry.found.word();
    let date = day(&entry.date);
    if let Some(void) = &standing.void {
        return vec![format!("the {word} of {date} is not used: {}", void.words())];
    }
    let mut line = format!("{word} calibrated {date}");
    if let Some(residual) = entry.found.residual() {
        let scale = match entry.found {
            Found::Tumble(_) => ACCELERATION,
            Found::Heading(_) => units.angle(),
            _ => scale_of(standing.quantity, units),
        };
        line.push_str(&format!(", residual {}", scale.limit(residual)));
    }
    if let Some(age) = standing.age_days.map(age_words) {
        line.push_str(&format!("; {age}"));
    }
    let mut said = vec![line, found(standing, units)];
    if let Some((change, u)) = standing.since {
        let change = scale_of(standing.quantity, units).with_u(change, Some(u));
        said.push(format!("at the still of this run {change} against that"));
    }
    said
}

fn age_words(days: f64) -> String {
    let whole = days.abs().floor();
    let count = match whole as u64 {
        0 => return if days < -0.01 { "made after this run, the same day".into() } else { "today".into() },
        1 => "1 day".to_owned(),
        n => format!("{n} days"),
    };
    if days < 0.0 { format!("made {count} after this run") } else { format!("{count} old") }
}

/// The values.
fn found(standing: &Standing, units: Units) -> String {
    let own = scale_of(standing.quantity, units);
    match &standing.entry.found {
        Found::Scale(f) => {
            let percent = Scale { unit: " %", per_si: 100.0 };
            let off = percent.signed(f.factor - 1.0, Some(f.relative_u * f.factor.abs()));
            let straight = match f.linearity {
                Some(l) => format!(", straight to {}", own.limit(l)),
                None => String::new(),
            };
            // A rig file that had no scale at all is off by a factor, not by some per cent.
            if (f.factor - 1.0).abs() > 0.5 {
                let bare = Scale { unit: "", per_si: 1.0 };
                let factor = bare.with_u(f.factor, Some(f.relative_u * f.factor.abs()));
                return format!("{factor} times what rig.toml gives{straight}");
            }
            format!("{off} % against rig.toml{straight}")
        }
        Found::Zero(f) => format!(
            "reads {} at the still, truly {}",
            own.with_u(f.reading, None),
            own.with_u(f.reading + f.offset, Some(f.u))
        ),
        Found::Tumble(f) => tumble(f),
        Found::Heading(f) => {
            format!("turned by {} about the vertical", units.angle().with_u(f.heading_rad, Some(f.u_rad)))
        }
    }
}

fn tumble(f: &TumbleFound) -> String {
    let bias: Vec<String> = f.bias.iter().map(|b| number(*b, 3)).collect();
    let scale: Vec<String> = f.matrix.diagonal().iter().map(|s| number(100.0 * (s - 1.0), 2)).collect();
    format!(
        "bias x, y, z {} ± {} m/s², scale {} ± {} %",
        bias.join(", "),
        number(HALF_95 * f.bias_u.max(), 3),
        scale.join(", "),
        number(100.0 * HALF_95 * f.scale_u.max(), 2)
    )
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::rig::calibration::{Entry, HeadingFound, ScaleFound, Void, ZeroFound};

    /// A calibration of "left travel" that is half a year old.
    pub fn standing(found: Found) -> Standing {
        let entry = Entry {
            sensor: "left travel".into(),
            found,
            date: "2026-11-26T10:11:12+01:00".into(),
            at_us: 0,
            valid_days: 365.0,
            method: String::new(),
            from: String::new(),
            from_hash: None,
            points: 4,
            fitted: vec![],
        };
        Standing { entry, quantity: Some(Quantity::Length), age_days: Some(190.4), void: None, since: None }
    }

    #[test]
    fn a_calibration_reads_as_a_builder_says_it() {
        let scale = ScaleFound {
            factor: 1.0312,
            relative_u: 8e-4,
            offset: 0.0,
            known: vec![0.1; 4],
            residuals: vec![4e-4, -4e-4, 3e-4, -3e-4],
            residual: 4e-4,
            linearity: None,
        };
        let mut standing = standing(Found::Scale(scale));
        let said = sentences(&standing, Units::Mm);
        assert_eq!(
            said,
            [
                "scale calibrated 2026-11-26, residual 0.40 mm; 190 days old",
                "+3.12 ± 0.16 % against rig.toml",
            ]
        );
        standing.void = Some(Void::Changed("chassis".into()));
        let said = sentences(&standing, Units::Mm);
        assert_eq!(
            said,
            [
                "the scale of 2026-11-26 is not used: rig.toml says another `chassis` of it than then: calibrate it anew"
            ]
        );
        standing.void = None;
        standing.entry.found = Found::Zero(ZeroFound { offset: 0.25, u: 1e-3, reading: 0.3, factor: 1.0 });
        standing.age_days = Some(-3.0);
        let said = sentences(&standing, Units::Mm);
        assert_eq!(
            said,
            [
                "zero calibrated 2026-11-26; made 3 days after this run",
                "reads 300.0 mm at the still, truly 550.0 ± 2.0 mm",
            ]
        );
        let heading = HeadingFound { heading_rad: 0.03, u_rad: 0.004, residuals_rad: vec![0.0] };
        standing.entry.found = Found::Heading(heading);
        standing.age_days = Some(0.2);
        let said = sentences(&standing, Units::Mm);
        assert_eq!(
            said,
            ["heading calibrated 2026-11-26; today", "turned by 1.72 ± 0.45° about the vertical"]
        );
    }
}
