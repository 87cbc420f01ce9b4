//! `calibrate --json`, and the calibration as other commands show it.

use super::{FORMAT, finite, text};
use crate::files::Quantity;
use crate::jobs::calibrate::Calibrated;
use crate::rig::calibration::{Entry, Found, Standing};
use crate::show::calibration::cautions;
use serde::Serialize;

/// A calibration as JSON.
pub fn calibrated(calibrated: &Calibrated) -> String {
    text(&Document {
        format: FORMAT,
        vehicle: &calibrated.vehicle,
        added: calibrated.added.iter().map(|e| Name { sensor: &e.sensor, kind: e.found.word() }).collect(),
        calibration: calibrated.standings.iter().map(Row::of).collect(),
        cautions: cautions(&calibrated.added),
        kept: calibrated.kept.as_ref().map(|p| p.display().to_string()),
    })
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    vehicle: &'a str,
    added: Vec<Name<'a>>,
    calibration: Vec<Row<'a>>,
    cautions: Vec<String>,
    kept: Option<String>,
}

#[derive(Serialize)]
struct Name<'a> {
    sensor: &'a str,
    kind: &'static str,
}

/// One entry of a calibration and where it stands.
#[derive(Serialize)]
pub(super) struct Row<'a> {
    sensor: &'a str,
    kind: &'static str,
    date: &'a str,
    age_days: Option<f64>,
    used: bool,
    why_not: Option<String>,
    method: &'a str,
    from: &'a str,
    from_hash: Option<&'a str>,
    points: usize,
    residual: Option<f64>,
    since_zero: Option<f64>,
    since_zero_u: Option<f64>,
    unit: &'static str,
    #[serde(flatten)]
    found: Values,
}

/// What was found, by kind.
#[derive(Serialize)]
#[serde(untagged)]
enum Values {
    Zero {
        offset: f64,
        u: f64,
        reading: f64,
    },
    Scale {
        factor: f64,
        factor_relative_u: f64,
        offset: f64,
        residuals: Vec<f64>,
        linearity: Option<f64>,
    },
    Tumble {
        bias_m_per_s2: [f64; 3],
        bias_u_m_per_s2: [f64; 3],
        scale: [f64; 3],
        scale_u: [f64; 3],
        misalignment_rad: [f64; 3],
        misalignment_u_rad: [f64; 3],
        gyro_bias_rad_per_s: [f64; 3],
        gyro_bias_u_rad_per_s: [f64; 3],
        residuals: Vec<f64>,
    },
    Heading {
        heading_rad: f64,
        heading_u_rad: f64,
        residuals: Vec<f64>,
    },
}

impl<'a> Row<'a> {
    pub(super) fn of(standing: &'a Standing) -> Self {
        let Entry { sensor, found, date, method, from, from_hash, points, .. } = &standing.entry;
        Self {
            sensor,
            kind: found.word(),
            date,
            age_days: finite(standing.age_days),
            used: standing.void.is_none(),
            why_not: standing.void.as_ref().map(|v| v.words()),
            method,
            from,
            from_hash: from_hash.as_deref(),
            points: *points,
            residual: finite(found.residual()),
            since_zero: finite(standing.since.map(|s| s.0)),
            since_zero_u: finite(standing.since.map(|s| s.1)),
            unit: unit(found, standing.quantity),
            found: values(found),
        }
    }
}

/// The unit of what a finding's values and residual are in, where its keys do not say it.
fn unit(found: &Found, quantity: Option<Quantity>) -> &'static str {
    match (found, quantity) {
        (Found::Tumble(_), _) => "m/s2",
        (Found::Heading(_), _) | (_, Some(Quantity::Angle)) => "rad",
        (_, Some(Quantity::Force)) => "N",
        _ => "m",
    }
}

fn values(found: &Found) -> Values {
    match found {
        Found::Zero(f) => Values::Zero { offset: f.offset, u: f.u, reading: f.reading },
        Found::Scale(f) => Values::Scale {
            factor: f.factor,
            factor_relative_u: f.relative_u,
            offset: f.offset,
            residuals: f.residuals.clone(),
            linearity: f.linearity,
        },
        Found::Tumble(f) => Values::Tumble {
            bias_m_per_s2: f.bias.into(),
            bias_u_m_per_s2: f.bias_u.into(),
            scale: f.matrix.diagonal().into(),
            scale_u: f.scale_u.into(),
            misalignment_rad: [f.matrix[(1, 2)], f.matrix[(2, 0)], f.matrix[(0, 1)]],
            misalignment_u_rad: f.misalignment_u_rad.into(),
            gyro_bias_rad_per_s: f.gyro_bias.into(),
            gyro_bias_u_rad_per_s: f.gyro_bias_u.into(),
            residuals: f.residuals.clone(),
        },
        Found::Heading(f) => Values::Heading {
            heading_rad: f.heading_rad,
            heading_u_rad: f.u_rad,
            residuals: f.residuals_rad.clone(),
        },
    }
}
