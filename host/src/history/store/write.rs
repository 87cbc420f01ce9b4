//! Putting runs and service records in.

use super::{Store, StoreError};
use crate::history::record::{AxleRecord, Entry, Fingerprint, RunFacts, RunRecord};
use crate::history::service::ServiceEvent;
use crate::measure::Status;
use rusqlite::{Transaction, TransactionBehavior, params};

/// Statuses by the number that the database keeps; only ever added to at the end.
pub const STATUSES: [Status; 5] =
    [Status::Measured, Status::NotResolved, Status::NotExcited, Status::NotMeasured, Status::FromDesign];

fn count(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

impl Store {
    /// Puts a run in, in place of what was known of it.
    ///
    /// # Errors
    /// When the database refuses; then nothing has changed.
    pub fn put(&mut self, record: &RunRecord) -> Result<(), StoreError> {
        self.write(|transaction| {
            let facts = &record.facts;
            take_out(transaction, &facts.vehicle, &facts.run)?;
            let run = put_run(transaction, facts, record.fingerprint)?;
            record.axles.iter().try_for_each(|axle| put_axle(transaction, run, &facts.vehicle, axle))
        })
    }

    /// Takes a run out whose folder is gone.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn take_out(&mut self, vehicle: &str, run: &str) -> Result<(), StoreError> {
        self.write(|transaction| take_out(transaction, vehicle, run))
    }

    /// Keeps how a run's files look now, where they were touched without a change.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn set_fingerprint(&mut self, vehicle: &str, run: &str, look: Fingerprint) -> Result<(), StoreError> {
        self.write(|transaction| {
            let data = look.data_bytes.map(count);
            transaction
                .prepare_cached(
                    "UPDATE run SET header_bytes = ?3, header_us = ?4, data_bytes = ?5 WHERE vehicle = ?1 AND name = ?2",
                )?
                .execute(params![vehicle, run, count(look.header_bytes), look.header_us, data])?;
            Ok(())
        })
    }

    /// Keeps a vehicle's service record as it is now.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn set_services(&mut self, vehicle: &str, events: &[ServiceEvent]) -> Result<(), StoreError> {
        self.write(|transaction| {
            transaction.execute("DELETE FROM service WHERE vehicle = ?1", [vehicle])?;
            let mut insert = transaction.prepare_cached(
                "INSERT INTO service (vehicle, date, at_us, text, work, element) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?;
            for event in events {
                let work = event.work.words();
                insert.execute(params![vehicle, event.date, event.at_us, event.text, work, event.work.element()])?;
            }
            Ok(())
        })
    }

    fn write(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()>,
    ) -> Result<(), StoreError> {
        let path = self.path.clone();
        let told = |e: rusqlite::Error| StoreError::of(&path, &e);
        let transaction =
            self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(told)?;
        work(&transaction).map_err(told)?;
        transaction.commit().map_err(told)
    }
}

fn take_out(transaction: &Transaction<'_>, vehicle: &str, run: &str) -> rusqlite::Result<()> {
    const RUN: &str = "(SELECT id FROM run WHERE vehicle = ?1 AND name = ?2)";
    for table in ["measurement", "axle"] {
        let sql = format!("DELETE FROM {table} WHERE run = {RUN}");
        transaction.prepare_cached(&sql)?.execute([vehicle, run])?;
    }
    transaction
        .prepare_cached("DELETE FROM run WHERE vehicle = ?1 AND name = ?2")?
        .execute([vehicle, run])?;
    Ok(())
}

fn put_run(transaction: &Transaction<'_>, facts: &RunFacts, look: Fingerprint) -> rusqlite::Result<i64> {
    transaction
        .prepare_cached(
            "INSERT INTO run (vehicle, name, started, started_us, test, ramp_angle_rad, notes, design_hash, rig_hash,
             calibration_hash, data_hash, rig_basis, firmware, program, received, lost, excluded, problem,
             header_bytes, header_us, data_bytes)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21)",
        )?
        .insert(params![
            facts.vehicle,
            facts.run,
            facts.started,
            facts.started_us,
            facts.test,
            facts.ramp_angle_rad,
            facts.notes,
            facts.design_hash,
            facts.rig_hash,
            facts.calibration_hash,
            facts.data_hash,
            facts.rig_basis,
            facts.firmware,
            facts.program,
            count(facts.counts.received),
            count(facts.counts.lost),
            count(facts.counts.excluded),
            facts.problem,
            count(look.header_bytes),
            look.header_us,
            look.data_bytes.map(count),
        ])
}

fn put_axle(
    transaction: &Transaction<'_>,
    run: i64,
    vehicle: &str,
    axle: &AxleRecord,
) -> rusqlite::Result<()> {
    // Maps of text to text always have a form in JSON.
    let facts = serde_json::to_string(&axle.basis).unwrap_or_default();
    let basis = named(transaction, "basis", "facts", &facts)?;
    transaction
        .prepare_cached(
            "INSERT INTO axle (run, name, chi_square_per_dof, heave_low_m, heave_high_m, roll_low_rad, roll_high_rad, basis)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute(params![
            run,
            axle.name,
            axle.chi_square_per_dof,
            axle.heave_m[0],
            axle.heave_m[1],
            axle.roll_rad[0],
            axle.roll_rad[1],
            basis
        ])?;
    axle.entries.iter().try_for_each(|entry| put_entry(transaction, run, vehicle, &axle.name, entry))
}

fn put_entry(
    transaction: &Transaction<'_>,
    run: i64,
    vehicle: &str,
    axle: &str,
    entry: &Entry,
) -> rusqlite::Result<()> {
    let series = series(transaction, vehicle, axle, entry)?;
    let measured = &entry.measured;
    let why = measured.why.as_deref().map(|w| named(transaction, "reason", "text", w)).transpose()?;
    let status = STATUSES.iter().position(|s| *s == measured.status).unwrap_or(0) as i64;
    let finite = |v: Option<f64>| v.filter(|v| v.is_finite());
    let parts = entry.budget.map(|b| [b.noise, b.mount, b.scale, b.zero, b.heading, b.model]);
    let part = |k: usize| finite(parts.map(|p| p[k]));
    transaction
        .prepare_cached(
            "INSERT INTO measurement (series, run, status, value, u, why, noise, mount, scale, zero, heading, model)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
        )?
        .execute(params![
            series,
            run,
            status,
            finite(measured.value),
            finite(measured.u),
            why,
            part(0),
            part(1),
            part(2),
            part(3),
            part(4),
            part(5)
        ])?;
    Ok(())
}

fn series(transaction: &Transaction<'_>, vehicle: &str, axle: &str, entry: &Entry) -> rusqlite::Result<i64> {
    let key = params![vehicle, axle, entry.quantity.name(), entry.quantity.element()];
    transaction
        .prepare_cached(
            "INSERT INTO series (vehicle, axle, quantity, element) VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING",
        )?
        .execute(key)?;
    transaction
        .prepare_cached(
            "SELECT id FROM series WHERE vehicle = ?1 AND axle = ?2 AND quantity = ?3 AND element = ?4",
        )?
        .query_row(key, |row| row.get(0))
}

/// The number of a text in a table that keeps each text once.
fn named(transaction: &Transaction<'_>, table: &str, column: &str, text: &str) -> rusqlite::Result<i64> {
    let insert = format!("INSERT INTO {table} ({column}) VALUES (?1) ON CONFLICT DO NOTHING");
    transaction.prepare_cached(&insert)?.execute([text])?;
    let select = format!("SELECT id FROM {table} WHERE {column} = ?1");
    transaction.prepare_cached(&select)?.query_row([text], |row| row.get(0))
}
