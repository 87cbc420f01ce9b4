//! The table of measured poses: one row per axle and instant.

use super::columns::{Batch, Column};
use super::file::{Form, TableFile, TableFileError};
use crate::measure::{Analysis, PosePoint};
use std::path::Path;

/// Columns of the poses: of the axle against the chassis, from ride height, with standard uncertainties (k = 1). What the
/// sensors do not see is empty.
pub const COLUMNS: &[Column] = &[
    Column::text("axle"),
    Column::number("t_s"),
    Column::text("phase"),
    Column::number("x_m").or_none(),
    Column::number("y_m").or_none(),
    Column::number("heave_m").or_none(),
    Column::number("roll_rad").or_none(),
    Column::number("pitch_rad").or_none(),
    Column::number("yaw_rad").or_none(),
    Column::number("x_u_m").or_none(),
    Column::number("y_u_m").or_none(),
    Column::number("heave_u_m").or_none(),
    Column::number("roll_u_rad").or_none(),
    Column::number("pitch_u_rad").or_none(),
    Column::number("yaw_u_rad").or_none(),
    Column::number("axle_steer_rad").or_none(),
    Column::number("chi_square"),
    Column::number("redundancy"),
];

/// Writes every pose; how many there were.
///
/// # Errors
/// Where the disk does not take them.
pub fn write(files: &mut [TableFile], analysis: &Analysis) -> Result<u64, TableFileError> {
    let mut count = 0;
    for axle in &analysis.axles {
        // Instants are a fifth of a second apart: an axle's path is short beside its readings.
        let mut batch = Batch::new(COLUMNS);
        for point in &axle.path {
            push(&mut batch, &axle.name, point);
        }
        count += batch.rows() as u64;
        files.iter_mut().try_for_each(|file| file.write(&batch))?;
    }
    Ok(count)
}

fn push<'a>(batch: &mut Batch<'a>, axle: &'a str, point: &PosePoint) {
    let coordinates = point.pose.to_array();
    let [x, y, z, roll, pitch, yaw] =
        std::array::from_fn(|k| point.u.get(k).copied().flatten().and_then(|_| coordinates.get(k).copied()));
    let [x_u, y_u, z_u, roll_u, pitch_u, yaw_u] = point.u;
    let steer = pitch_u.and(yaw_u).map(|_| point.pose.axle_steer_rad());
    batch.push([
        axle.into(),
        point.t_s.into(),
        point.phase.words().into(),
        x.into(),
        y.into(),
        z.into(),
        roll.into(),
        pitch.into(),
        yaw.into(),
        x_u.into(),
        y_u.into(),
        z_u.into(),
        roll_u.into(),
        pitch_u.into(),
        yaw_u.into(),
        steer.into(),
        point.chi_square.into(),
        (point.redundancy as f64).into(),
    ]);
}

/// Writes every measured pose to a file of its own, whole or not at all; its ending says how.
///
/// # Errors
/// If the name is not a table's, the file is there, or it cannot be written.
pub fn write_file(
    analysis: &Analysis,
    path: &Path,
    facts: &[(&'static str, String)],
) -> Result<(), TableFileError> {
    let form = Form::of(path).ok_or_else(|| TableFileError::NotATable(path.to_owned()))?;
    if path.symlink_metadata().is_ok() {
        return Err(TableFileError::Exists(path.to_owned()));
    }
    let mut files = [TableFile::begin(path, form, "poses", COLUMNS, facts)?];
    write(&mut files, analysis)?;
    let [file] = files;
    file.publish()
}
