//! The table of numbers: one row per axle and key, and one per link and what is measured of it.

use super::columns::{Batch, Cell, Column};
use super::file::{TableFile, TableFileError};
use crate::history::quantity::Quantity;
use crate::history::record::{Entry, entries};
use crate::measure::{Analysis, Status};
use crate::vehicle::numbers::Key;

/// Columns of the numbers: `u` is standard (k = 1), `u_noise` … `u_model` are its parts, which add in squares. Keys end in
/// their unit. The hashes are those of the run's readings, its drawing and its rig.
pub const COLUMNS: &[Column] = &[
    Column::text("axle"),
    Column::text("key"),
    Column::text("link").or_none(),
    Column::number("value").or_none(),
    Column::number("u").or_none(),
    Column::text("status"),
    Column::text("why").or_none(),
    Column::number("u_noise").or_none(),
    Column::number("u_mount").or_none(),
    Column::number("u_scale").or_none(),
    Column::number("u_zero").or_none(),
    Column::number("u_heading").or_none(),
    Column::number("u_model").or_none(),
    Column::instant("started").or_none(),
    Column::text("test").or_none(),
    Column::text("run_hash"),
    Column::text("design_hash"),
    Column::text("rig_hash"),
];

/// Length of a link as drawn.
const NOMINAL: &str = "nominal_m";

/// Writes the numbers of a run that began at `started_us` (µs since 1970); how many rows there were.
///
/// # Errors
/// Where the disk does not take them.
pub fn write(
    files: &mut [TableFile],
    analysis: &Analysis,
    started_us: Option<i64>,
) -> Result<u64, TableFileError> {
    let mut count = 0;
    for axle in &analysis.axles {
        let found = entries(axle);
        let mut batch = Batch::new(COLUMNS);
        let run = Run { analysis, axle: &axle.name, started_us };
        for entry in &found {
            run.push(&mut batch, entry);
        }
        // Every key has its row, whether an axle at this end of the vehicle has such a number or not.
        for key in Key::ALL.into_iter().filter(|key| !axle.measured.contains_key(key)) {
            let head = [key.as_str().into(), Cell::Text(None), Cell::Number(None), Cell::Number(None)];
            run.row(&mut batch, head, Status::NotMeasured.word(), None, [None; 6]);
        }
        for link in &axle.links {
            let head = [NOMINAL.into(), link.name.as_str().into(), link.nominal_m.into(), Cell::Number(None)];
            run.row(&mut batch, head, Status::FromDesign.word(), None, [None; 6]);
        }
        count += batch.rows() as u64;
        files.iter_mut().try_for_each(|file| file.write(&batch))?;
    }
    Ok(count)
}

/// What the rows of an axle have in common.
struct Run<'a> {
    analysis: &'a Analysis,
    axle: &'a str,
    started_us: Option<i64>,
}

impl<'a> Run<'a> {
    fn push(&self, batch: &mut Batch<'a>, entry: &'a Entry) {
        let link = match &entry.quantity {
            Quantity::Link(_, name) => Some(name.as_str()),
            _ => None,
        };
        let measured = &entry.measured;
        let head = [entry.quantity.name().into(), link.into(), measured.value.into(), measured.u.into()];
        let parts = entry.budget.map(|b| [b.noise, b.mount, b.scale, b.zero, b.heading, b.model]);
        let parts = std::array::from_fn(|k| parts.and_then(|p| p.get(k).copied()));
        self.row(batch, head, measured.status.word(), measured.why.as_deref(), parts);
    }

    fn row(
        &self,
        batch: &mut Batch<'a>,
        [key, link, value, u]: [Cell<'a>; 4],
        status: &'static str,
        why: Option<&'a str>,
        [noise, mount, scale, zero, heading, model]: [Option<f64>; 6],
    ) {
        let origin = &self.analysis.provenance;
        batch.push([
            self.axle.into(),
            key,
            link,
            value,
            u,
            status.into(),
            why.into(),
            noise.into(),
            mount.into(),
            scale.into(),
            zero.into(),
            heading.into(),
            model.into(),
            Cell::Instant(self.started_us),
            self.analysis.facts.test.as_deref().into(),
            origin.data_hash.as_str().into(),
            origin.vehicle_hash.as_str().into(),
            origin.rig_hash.as_str().into(),
        ]);
    }
}
